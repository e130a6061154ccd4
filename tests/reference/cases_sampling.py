"""Acceptance sampling. Tolerances: 1e-9 unless a reason stands beside a looser one."""

import csv
import math
import pathlib

import numpy as np
from compare_calc import Case, command
from scipy import optimize, stats

TABLES = pathlib.Path(__file__).resolve().parent.parent / "it" / "reference" / "statistics"


@command("sample-plan")
def plans(rng):
    for _ in range(120):
        n = int(rng.integers(1, 400))
        c = int(rng.integers(0, max(1, n // 8)))
        p, lot = np.round(rng.uniform(0, 0.3), 4), n + int(rng.integers(0, 20_000))
        accept = lambda p: stats.binom.cdf(c, n, p)
        options = ["sample-plan", "--n", n, "--accept", c]
        yield Case([*options, "--p", p], {"accept_probability": accept(p)})
        outgoing = lambda p: p * accept(p) * (lot - n) / lot
        grid = np.linspace(0, 1, 20_001)
        top = grid[np.argmax(outgoing(grid))]
        ends = (max(0, top - 1e-4), min(1, top + 1e-4))
        found = optimize.minimize_scalar(lambda p: -outgoing(p), bounds=ends, method="bounded", options={"xatol": 1e-11})
        want = {"accept_probability": accept(p), "aoq": outgoing(p), "ati": n + stats.binom.sf(c, n, p) * (lot - n)}
        want["aoql"] = max(-found.fun, outgoing(ends[1]))
        yield Case([*options, "--p", p, "--lot", lot], want)
        bad = int(rng.integers(0, lot // 5 + 1))
        # the reference's hypergeometric is good to about 1e-10 of its terms
        want = {"accept_probability": stats.hypergeom.cdf(c, lot, bad, n)}
        yield Case([*options, "--lot", lot, "--defectives", bad], want, rel=1e-8, floor=1e-11)
    yield Case(["sample-plan", "--n", 5, "--accept", 9, "--p", 0.1], {"accept_probability": 1})
    for text in ("--n 0 --accept 0 --p 0.1", "--n 5 --accept 0 --p 1.1", "--n 5 --accept 0 --lot 4 --defectives 1", "--n 5 --accept 0"):
        yield Case(["sample-plan", *text.split()], refused=True)


@command("sample-design")
def designs(rng):
    """Every n in turn, with the largest c that keeps beta; then the smallest c that keeps alpha."""
    for _ in range(80):
        p1 = np.round(10 ** rng.uniform(-3, -0.7), 4)
        p2 = np.round(min(0.95, p1 * rng.uniform(1.8, 8)), 4)
        alpha, beta = np.round(rng.uniform(0.01, 0.2), 3), np.round(rng.uniform(0.01, 0.2), 3)
        n = np.arange(1, 20_001)
        c = stats.binom.ppf(beta, n, p2)
        c = np.where(stats.binom.cdf(c, n, p2) > beta, c - 1, c)
        good = (c >= 0) & (stats.binom.sf(np.maximum(c, 0), n, p1) <= alpha)
        if not good.any():
            continue
        size = int(n[np.argmax(good)])
        accept = next(k for k in range(size) if stats.binom.sf(k, size, p1) <= alpha)
        options = ["--p1", p1, "--p2", p2, "--alpha", alpha, "--beta", beta]
        yield Case(["sample-design", *options], {"n": size, "accept": accept})
    for p1, p2, alpha, beta in ((0.1, 0.05, 0.05, 0.1), (0, 0.1, 0.05, 0.1), (0.01, 0.1, 0.5, 0.5), (0.5, 0.500001, 0.05, 0.05)):
        yield Case(["sample-design", "--p1", p1, "--p2", p2, "--alpha", alpha, "--beta", beta], refused=True)


@command("sample-zero")
def zero(rng):
    """In whole numbers, every n in turn."""
    for _ in range(120):
        lot = int(rng.integers(1, 800))
        percent, sure = int(rng.integers(1, 40)), int(rng.choice([80, 90, 95, 99]))
        bad = max(1, -(-lot * percent // 100))
        fits = lambda n: math.comb(lot - bad, n) * 100 <= (100 - sure) * math.comb(lot, n)
        want = {"n": next(n for n in range(1, lot + 1) if fits(n))}
        yield Case(["sample-zero", "--lot", lot, "--quality", percent / 100, "--confidence", sure / 100], want)
    for lot, quality, sure in ((0, 0.1, 0.9), (10, 2, 0.9), (10, 0.1, 1)):
        yield Case(["sample-zero", "--lot", lot, "--quality", quality, "--confidence", sure], refused=True)


@command("sample-switch")
def switches(rng):
    """The rules of MIL-STD-105E 4.7 with the end of ANSI/ASQ Z1.4-2003 8.4, from the whole history each time."""
    for _ in range(80):
        agreed = bool(rng.integers(0, 2))
        outcomes = [str(rng.choice(list("aaaaarb"))) for _ in range(int(rng.integers(1, 60)))]
        after, severity, begun = [], "normal", 0
        for i, outcome in enumerate(outcomes):
            since = outcomes[begun : i + 1]
            if severity == "normal" and since[-5:].count("r") >= 2:
                severity, begun = "tightened", i + 1
            elif severity == "normal" and agreed and len(since) >= 10 and set(since[-10:]) == {"a"}:
                severity, begun = "reduced", i + 1
            elif severity == "tightened" and len(since) >= 5 and set(since[-5:]) == {"a"}:
                severity, begun = "normal", i + 1
            elif severity == "tightened" and since.count("r") >= 5:
                severity = "ended"
            elif severity == "reduced" and outcome != "a":
                severity, begun = "normal", i + 1
            after.append(severity)
        want = {"after": after, "ended": severity == "ended"}
        yield Case(["sample-switch", *outcomes, *(["--reduced"] if agreed else [])], want)
    yield Case(["sample-switch", "a", "x"], refused=True)


@command("sample-table")
def tables(rng):
    """Against the printed extract (AQL 0.65 to 15, letters A to Q), its arrows followed."""
    letters = list(csv.DictReader(open(TABLES / "mil105e_code_letters.csv")))
    plans = list(csv.DictReader(open(TABLES / "mil105e_single_normal.csv")))
    order = [row["code_letter"] for row in plans]
    for row in letters:
        for level in ("S-1", "S-2", "S-3", "S-4", "I", "II", "III"):
            letter = row[level]
            if letter not in order:
                continue
            lot = int(rng.integers(int(row["lot_min"]), int(row["lot_max"] or 10**7) + 1))
            for aql in ("0.65", "1.0", "1.5", "2.5", "4.0", "6.5", "10", "15"):
                at, way = order.index(letter), {"up": -1, "down": 1}
                while plans[at][aql] in way and 0 <= at + way[plans[at][aql]] < len(order):
                    at += way[plans[at][aql]]
                if plans[at][aql] in way:
                    # an arrow that leaves the table: letter A at 10
                    continue
                accept, reject = map(int, plans[at][aql].split("/"))
                want = {"letter_of_lot": letter, "letter": order[at], "n": int(plans[at]["sample_size"])}
                want |= {"accept": accept, "reject": reject}
                yield Case(["sample-table", "--lot", lot, "--level", level, "--aql", aql], want)
    # every severity, typed by somebody else
    for row in csv.DictReader(open(TABLES / "mil105e_single_plans.csv")):
        if rng.random() < 0.2:
            fits = lambda r: row["letter_of_lot"] in (r["II"], r["III"])
            sizes = next(r for r in letters if fits(r))
            level = "II" if sizes["II"] == row["letter_of_lot"] else "III"
            options = ["--lot", sizes["lot_min"], "--level", level, "--aql", row["aql"], "--severity", row["severity"]]
            want = {key: int(row[key]) for key in ("n", "accept", "reject")}
            yield Case(["sample-table", *options], want)
    for text in ("--lot 1 --aql 1", "--lot 50 --aql 15 --severity tightened", "--lot 50 --aql 1.2", "--lot 50 --aql 1 --level IV"):
        yield Case(["sample-table", *text.split()], refused=True)
