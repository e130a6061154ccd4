#!/usr/bin/env python3
"""Holds `compare --trial` against figures worked out here: rates and means, the spread between blocks, every way to
deal the arms. Random small trials of fixed seeds, imported as bundles; every other one has measured values.

Usage: compare_trials.py [MELTKIN] [SEED...]; else the environment's MELTKIN, else the newest build. Installs numpy
and scipy into a folder of its own if they are missing. Ends with "N passed, M failed".
"""
import json
import math
import os
import subprocess
import sys
import tempfile
from collections import defaultdict
from itertools import combinations, product
from pathlib import Path

sys.dont_write_bytecode = True
import compare_calc

compare_calc.ensure_packages()
import numpy as np  # noqa: E402
from scipy import stats  # noqa: E402

PASSED = FAILED = 0
Z = 1.645 + 0.842  # one-sided 5 %, power 80 %, as the planning formula rounds them


def binary():
    if len(sys.argv) > 1 and not sys.argv[1].isdigit():
        return sys.argv.pop(1)
    if os.environ.get("MELTKIN"):
        return os.environ["MELTKIN"]
    built = [p for p in compare_calc.target_folder().glob("*/meltkin") if p.is_file()]
    if not built:
        sys.exit("no meltkin under the target folder; build it, or name it as the first argument")
    return max(built, key=lambda p: p.stat().st_mtime)


def check(what, want, got, rel=1e-9):
    global PASSED, FAILED
    if want is None or got is None or isinstance(want, str):
        ok = want == got
    else:
        ok = abs(want - got) <= max(rel * abs(want), 1e-12)
    PASSED, FAILED = PASSED + ok, FAILED + (not ok)
    if not ok:
        print(f"  {what}: {got!r} instead of {want!r}")


def invent(rng, measured):
    """Moulds: (heat, block, arm, outcomes). An outcome is 0, 1, a value, or None: not inspected."""
    moulds, blocked = [], rng.random() < 0.4
    effect = rng.choice([0.0, 0.3])
    for heat in range(int(rng.integers(2, 7))):
        n = int(rng.integers(1, 4))
        paired = rng.random() < 0.7
        one = rng.random() < 0.5
        shift = rng.normal(0, 0.3)
        for i in range(n):
            arm = "new" if (i % 2 == int(one) if paired else one) else "control"
            blades = int(rng.integers(1, 7))
            p = min(0.95, max(0.0, 0.15 + 0.2 * shift + (effect if arm == "new" else 0.0)))
            if measured:
                out = [round(float(v), 3) for v in rng.normal(3.2 + shift + effect * (arm == "new"), 0.2, blades)]
            else:
                out = [int(v) for v in rng.random(blades) < p]
            out = [None if rng.random() < 0.1 else v for v in out]
            block = f"B{heat // 2}" if blocked else ""
            moulds.append((heat, block, arm, out))
    return moulds


def bundle(moulds, measured):
    files = {
        "alloys.csv": "alloy\nA-1\n", "parts.csv": "part,alloy\nP-1,A-1\n", "defect_terms.csv": "defect,name\npore,pore\n",
        "running_systems.csv": "running_system,fill,positions,filter\nR-1,bottom,8,no\n",
    }
    heats = sorted({m[0] for m in moulds})
    files["heats.csv"] = "heat,alloy,furnace\n" + "".join(f"H{h:02},A-1,F\n" for h in heats)
    names = [f"M{i:03}" for i in range(len(moulds))]
    day = lambda i: f"2031-01-{1 + i // 20:02}T{i % 20:02}:00:00Z"
    files["moulds.csv"] = "mould,part,running_system,assembled_at\n" + "".join(f"{n},P-1,R-1,2030-12-01T00:00:00Z\n" for n in names)
    files["pours.csv"] = "mould,heat,poured_at\n" + "".join(f"{n},H{m[0]:02},{day(i)}\n" for i, (n, m) in enumerate(zip(names, moulds)))
    blades, inspections, findings, measurements = [], [], [], []
    for name, (_, _, _, out) in zip(names, moulds):
        for k, v in enumerate(out):
            blades.append(f"{name}-{k},{name}\n")
            if v is None:
                continue
            tag = f"I-{name}-{k}"
            method = "dimensional" if measured else "radiograph"
            inspections.append(f"{tag},{name}-{k},{method},1,2031-02-01T00:00:00Z,{'accept' if measured or not v else 'reject'}\n")
            if measured:
                measurements.append(f"{tag},wall,{v},mm,3.0,3.4\n")
            elif v:
                findings.append(f"{tag},pore\n")
    # A pore somewhere outside the trial, so that the method is known even where no mould of it has one.
    blades.append("X-1,X\n")
    files["moulds.csv"] += "X,P-1,R-1,2030-12-01T00:00:00Z\n"
    inspections.append("I-X,X-1,radiograph,1,2031-02-01T00:00:00Z,reject\n")
    findings.append("I-X,pore\n")
    if measured:
        inspections.append("I-Y,X-1,dimensional,1,2031-02-01T00:00:00Z,accept\n")
        measurements.append("I-Y,wall,3.2,mm,3.0,3.4\n")
    files["blades.csv"] = "blade,mould\n" + "".join(blades)
    files["inspections.csv"] = "inspection,blade,method,round,inspected_at,result\n" + "".join(inspections)
    files["findings.csv"] = "inspection,defect\n" + "".join(findings)
    files["measurements.csv"] = "inspection,characteristic,value,unit,lower,upper\n" + "".join(measurements)
    files["trials.csv"] = f"trial,question,factor,response,opened_at,status\nT,is it better?,thing,{'wall' if measured else 'pore'},2030-11-01T00:00:00Z,open\n"
    files["trial_moulds.csv"] = "trial,mould,arm,block\n" + "".join(f"T,{n},{m[2]},{m[1]}\n" for n, m in zip(names, moulds))
    return files


def expected(moulds, measured):
    """The method, written out again from its description."""
    units = []  # n, sum, second, block
    for heat, block, arm, out in moulds:
        seen = [v for v in out if v is not None]
        if seen:
            units.append((len(seen), sum(seen), arm == "new", block or f"H{heat:02}"))
    n = {s: sum(u[0] for u in units if u[2] == s) for s in (False, True)}
    y = {s: sum(u[1] for u in units if u[2] == s) for s in (False, True)}
    if not n[False] or not n[True]:
        return None
    rate = {s: y[s] / n[s] for s in n}
    want = {"a": rate[False], "b": rate[True], "difference": rate[True] - rate[False]}
    # p: arms dealt among the moulds of blocks that hold both, and among whole blocks that hold one
    groups = defaultdict(list)
    for u in units:
        groups[u[3]].append(u)
    deals, whole = [], []
    for block in groups.values():
        k = sum(u[2] for u in block)
        if 0 < k < len(block):
            deals.append(([u[:2] for u in block], k))
        else:
            whole.append(((sum(u[0] for u in block), sum(u[1] for u in block)), k > 0))
    k = sum(w[1] for w in whole)
    if 0 < k < len(whole):
        deals.append(([w[0] for w in whole], k))
    fixed = [] if 0 < k < len(whole) else whole
    ways = math.prod(math.comb(len(d[0]), d[1]) for d in deals)
    want["p"], want["ways"] = None, ways
    if deals and ways <= 9999:
        reached = total = 0
        for choice in product(*(combinations(range(len(d[0])), d[1]) for d in deals)):
            s = [[0.0, 0.0], [0.0, 0.0]]
            for (list_, _), chosen in zip(deals, choice):
                for i, (m, v) in enumerate(list_):
                    s[i in chosen][0] += m
                    s[i in chosen][1] += v
            for (m, v), second in fixed:
                s[second][0] += m
                s[second][1] += v
            total += 1
            reached += abs(s[1][1] / s[1][0] - s[0][1] / s[0][0]) >= abs(want["difference"]) * (1 - 1e-9) - 1e-12
        want["p"] = reached / total
    # the spread between blocks
    resid = lambda scale: np.array([sum((u[1] - u[0] * rate[u[2]]) * scale[u[2]] * (1 if u[2] else -1) for u in b) for b in groups.values()])
    s2 = float((resid({x: 1 / n[x] for x in n}) ** 2).sum())
    values = {s: [v for h, b, a, out in moulds if (a == "new") == s for v in out if v is not None] for s in n}
    if measured:
        var = {s: float(np.var(values[s], ddof=1)) if len(values[s]) > 1 else 0.0 for s in n}
        independent = sum(var[s] / n[s] for s in n)
    else:
        independent = sum(rate[s] * (1 - rate[s]) / n[s] for s in n)
    # no variance below that of independent blades; for means below that of the values within moulds
    least = independent
    if measured:
        spare = sum(len([v for v in out if v is not None]) - 1 for _, _, _, out in moulds if any(v is not None for v in out))
        within = [np.array([v for v in out if v is not None]) for _, _, _, out in moulds]
        if spare > 0:
            pooled = sum(((w - w.mean()) ** 2).sum() for w in within if len(w)) / spare
            least = sum(pooled / n[s] for s in n)
    variance = max(s2, least)
    blocks_of = {s: len({u[3] for u in units if u[2] == s}) for s in n}
    fewest = min(blocks_of.values())
    want["design_effect"] = variance / independent if fewest > 1 and 0 < independent <= variance else None
    want["interval"] = want["ratio_interval"] = None
    df = len(groups) - 2
    if df > 0 and fewest > 2 and variance > 1e-24:
        t = float(stats.t.ppf(0.975, df))
        want["interval"] = [want["difference"] - t * variance**0.5, want["difference"] + t * variance**0.5]
        if not measured:
            want["interval"] = [max(-1.0, want["interval"][0]), min(1.0, want["interval"][1])]
            half = {s: y[s] or 0.5 for s in n}
            log = math.log((half[True] / n[True]) / (half[False] / n[False]))
            s2log = float((resid({x: 1 / half[x] for x in n}) ** 2).sum())
            s2log = max(s2log, sum((1 - rate[s]) / y[s] for s in n if y[s])) + sum(2.0 for s in n if not y[s])
            wide = t * s2log**0.5
            if (y[False] or y[True]) and 2 * wide < math.log(10_000):
                want["ratio_interval"] = [math.exp(log - wide), math.exp(log + wide)]
    want["ratio"] = rate[True] / rate[False] if y[False] and not measured else None
    clear = want["interval"] and (want["interval"][0] > 0 or want["interval"][1] < 0) and want["p"] is not None and want["p"] < 0.05
    better = abs(rate[True] - 3.2) < abs(rate[False] - 3.2) if measured else rate[True] < rate[False]
    want["verdict"] = ("b better" if better else "a better") if clear else "cannot tell"
    spread = sum(var.values()) if measured else sum(r * (1 - r) for r in rate.values())
    per_mould = (n[False] + n[True]) / len(units)
    gap = want["difference"]
    want["needed"] = None
    if gap:
        want["needed"] = max(3, math.ceil(Z**2 * spread * max(1.0, want["design_effect"] or 1.0) / (per_mould * gap**2) - 1e-9))
    return want


def one(meltkin, seed):
    measured = seed % 2 == 1
    moulds = invent(np.random.default_rng([seed, 31]), measured)
    want = expected(moulds, measured)
    with tempfile.TemporaryDirectory() as place:
        place = Path(place)
        (place / "b").mkdir()
        for name, text in bundle(moulds, measured).items():
            (place / "b" / name).write_text(text)
        # After the last of what is invented here.
        clock = os.environ | {"MELTKIN_NOW": "2031-04-01T00:00:00+00:00"}
        run = lambda *a: subprocess.run([meltkin, "--store", place / "s.db", *a], capture_output=True, text=True, timeout=60, env=clock)
        done = run("import", place / "b")
        if done.returncode:
            return check(f"seed {seed} import", "done", done.stderr)
        done = run("compare", "--trial", "T", "--json")
        if done.returncode:
            return check(f"seed {seed} compare", "done", done.stderr)
    got = json.loads(done.stdout)
    at = f"seed {seed} "
    if want is None:
        check(at + "verdict", "cannot tell", got["verdict"])
        check(at + "difference", None, got["difference"])
        return
    arms = {m[2] for m in moulds}
    if len(arms) < 2:
        return
    check(at + "a", want["a"], got["a"]["rate"])
    check(at + "b", want["b"], got["b"]["rate"])
    for key in ("difference", "ratio", "design_effect", "verdict"):
        check(at + key, want[key], got[key])
    if want["ways"] <= 9999:
        check(at + "p", want["p"], got["p"])
    check(at + "needed", want["needed"], got["needed"] and got["needed"]["moulds_per_arm"])
    for key in ("interval", "ratio_interval"):
        if want[key] is None or got[key] is None:
            check(at + key, want[key], got[key])
        else:
            for i in (0, 1):
                check(f"{at}{key}[{i}]", want[key][i], got[key][i], 1e-7)
    made = sum(len(m[3]) for m in moulds)
    check(at + "made", made, got["a"]["made"] + got["b"]["made"])
    left = sum(v is None for m in moulds for v in m[3])
    check(at + "not inspected", left, got["a"]["not_inspected"] + got["b"]["not_inspected"])


if __name__ == "__main__":
    meltkin = binary()
    for seed in [int(s) for s in sys.argv[1:]] or range(120):
        one(meltkin, seed)
    print(f"{PASSED} passed, {FAILED} failed")
    sys.exit(1 if FAILED or not PASSED else 0)
