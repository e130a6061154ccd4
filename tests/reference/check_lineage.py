#!/usr/bin/env python3
"""Random foundries, traced by meltkin and by others: networkx for parentage and shares of metal, plain
SQL over the exported files for where each blade is, for rates and for stock.

Usage: check_lineage.py [MELTKIN] [SEED...]; else the environment's MELTKIN, else a debug build. Installs
networkx into a folder of its own if it is missing. Ends with "N passed, M failed".
"""
import csv
import json
import os
import random
import sqlite3
import subprocess
import sys
import tempfile
import venv
from collections import Counter
from datetime import datetime
from pathlib import Path

sys.dont_write_bytecode = True
HOME = Path(__file__).resolve().parents[2]


def with_networkx():
    try:
        import networkx  # noqa: F401
        return
    except ImportError:
        pass
    place = Path(os.environ.get("CARGO_TARGET_DIR", HOME / "target")) / "reference-venv"
    if not (place / "bin/python").exists():
        venv.create(place, with_pip=True)
    subprocess.run([place / "bin/pip", "install", "-q", "networkx"], check=True)
    os.execv(place / "bin/python", [str(place / "bin/python"), __file__, *sys.argv[1:]])


with_networkx()
import networkx as nx  # noqa: E402
from foundries import TAG, bundle_of, foundry, instant, real, revision_of  # noqa: E402


def binary():
    if len(sys.argv) > 1:
        return sys.argv[1]
    if os.environ.get("MELTKIN"):
        return os.environ["MELTKIN"]
    subprocess.run(["cargo", "build", "--quiet", "--locked"], cwd=HOME, check=True)
    return str(Path(os.environ.get("CARGO_TARGET_DIR", HOME / "target")) / "debug/meltkin")


MELTKIN = binary()
PASSED = FAILED = 0
METAL = ("heats", "ingot_lots", "revert_lots")


def check(what, ok, detail=""):
    global PASSED, FAILED
    if ok:
        PASSED += 1
    else:
        FAILED += 1
        print(f"FAILED {what} {detail}"[:600])


def run(store, *arguments):
    out = subprocess.run([MELTKIN, "--store", store, "--json", *arguments], capture_output=True, text=True,
                         env={**os.environ, "MELTKIN_NOW": "2031-06-01T00:00:00+00:00"})
    if out.returncode not in (0, 1):
        return {"error": out.stderr + out.stdout}
    return json.loads(out.stdout)


# Which field of which kind is an edge to what, and which field says how, written out from the
# description of the records.
EDGES = [("blades", "blade", "mould", "position"), ("blades", "blade", "pattern_run", "cavity"), ("blades", "blade", "core_lot", None),
         ("pattern_runs", "pattern_run", "wax_lot", None), ("wax_lots", "wax_lot", "split_from", None),
         ("moulds", "mould", "running_system", None), ("moulds", "mould", "shell_batch", None), ("moulds", "mould", "filter_lot", None),
         ("shell_batches", "shell_batch", "recipe", None), ("investments", "mould", "powder_lot", None), ("coats", "mould", "slurry_batch", "coat"),
         ("coats", "mould", "stucco_lot", "coat"), ("oven_loads", "mould", "oven_run", None), ("pours", "mould", "heat", "pour_order"),
         ("charges", "heat", "source", None), ("revert_sources", "revert_lot", "heat", None), ("treatment_loads", "blade", "treatment", None)]


def edges(t):
    """(child, parent, how, mass) of every edge; a definition stands as TAG@REVISION."""
    for kind, child, parent, how in EDGES:
        for row in t.get(kind, []):
            if real(row.get(parent)):
                to = row[parent]
                if parent in ("recipe", "running_system"):
                    to = "@".join(revision_of(t, kind, row, parent))
                yield row[child], to, row.get(how, "") if how else "", row["mass_kg"] if kind in ("charges", "revert_sources") else None


def graph(t):
    g = nx.DiGraph()
    for kind, tag in TAG.items():
        g.add_nodes_from(row[tag] for row in t.get(kind, []))
    g.add_nodes_from(f"{row['recipe']}@{row['revision']}" for row in t["shell_recipes"])
    g.add_nodes_from(f"{row['running_system']}@{row['revision']}" for row in t["running_systems"])
    for child, parent, _, _ in edges(t):
        g.add_edge(child, parent)
    return g


def metal(t):
    g = nx.DiGraph()
    for child, parent, _, mass in edges(t):
        if mass is not None:
            m = g.get_edge_data(child, parent, {"m": 0.0})["m"]
            g.add_edge(child, parent, m=m + float(mass))
    for a in g:
        whole = sum(d["m"] for _, _, d in g.out_edges(a, data=True))
        for _, _, d in g.out_edges(a, data=True):
            d["part"] = d["m"] / whole
    return g


def shares(g, root, plain):
    """The share of every ancestor. Plain: along every simple path, summed. Else over the nodes in
    topological order, for foundries where the paths are too many."""
    out = {root: 1.0}
    if root not in g:
        return out
    above = nx.descendants(g, root)
    if plain:
        for n in above:
            paths = nx.all_simple_edge_paths(g, root, n)
            out[n] = sum(product(g[a][b]["part"] for a, b in path) for path in paths)
        return out
    for n in nx.topological_sort(g.subgraph(above | {root})):
        out.setdefault(n, 0.0)
        for _, b, d in g.out_edges(n, data=True):
            out[b] = out.get(b, 0.0) + out[n] * d["part"]
    return out


def product(parts):
    out = 1.0
    for p in parts:
        out *= p
    return out


READINGS = [("pours", ("mould", "heat"), "pyrometer", "poured_at"), ("slurry_checks", ("slurry_batch",), "instrument", "occurred_at"),
            ("oven_runs", ("oven_run",), "instrument", "started_at"), ("inspections", ("blade",), "instrument", "inspected_at"),
            ("treatments", ("treatment",), "instrument", "started_at"), ("analyses", ("subject",), "instrument", "taken_at")]


def suspect_readings(t, instrument=None):
    """What suspect readings were taken on: the records that carry the suspicion down, and all of them."""
    checks = {}
    for c in t.get("calibrations", []):
        if c["result"] != "not_done":
            checks.setdefault(c["instrument"].lower(), []).append((instant(c["checked_at"]), c["result"] == "failed"))

    def bad(i, time):
        if not real(i) or (instrument and i.lower() != instrument.lower()):
            return False
        done = sorted(checks.get(i.lower(), []))
        before = [f for when, f in done if when <= instant(time)]
        later = [f for when, f in done if when > instant(time)]
        return bool((before and before[-1]) or (later and later[0]))

    carry, on = set(), set()
    for kind, records, tool, time in READINGS:
        for row in t.get(kind, []):
            if bad(row.get(tool), row[time]):
                carry.add(row[records[0]])
                on |= {row[r] for r in records}
    return carry, on


def downstream(g, starts):
    return set(starts).union(*(nx.ancestors(g, s) for s in starts if s in g))


def hold_subject(t, subject):
    """A hold on a definition lies on the newest approved revision, or the one named."""
    for kind, tag in (("shell_recipes", "recipe"), ("running_systems", "running_system")):
        if any(row[tag] == subject for row in t[kind]):
            newest = max((row for row in t[kind] if row[tag] == subject and real(row["approved_at"])), key=lambda r: r["effective_from"])
            return f"{subject}@{newest['revision']}"
    return subject


def fences(t, g):
    wide = g.copy()
    wax_of = {row["pattern_run"]: row["wax_lot"] for row in t["pattern_runs"]}
    for b in t["blades"]:
        if real(b.get("mould")):
            for parent in (b.get("pattern_run"), wax_of.get(b.get("pattern_run")), b.get("core_lot")):
                if real(parent):
                    wide.add_edge(b["mould"], parent)
    held, open_holds = set(), Counter()
    lots = {row["lot"] for row in t["lots"]}
    instruments = {row["instrument"] for row in t["instruments"]}
    for h in t.get("holds", []):
        if real(h["lifted_at"]):
            continue
        subject = hold_subject(t, h["subject"])
        open_holds[subject] += 1
        if subject in lots:
            held |= {row["blade"] for row in t.get("lot_blades", []) if row["lot"] == subject}
        elif subject in instruments:
            held |= downstream(g, suspect_readings(t, subject)[0])
        else:
            held |= downstream(wide, {subject})
    return held, open_holds, downstream(g, suspect_readings(t)[0])


def database(folder):
    """The exported files as plain tables of text."""
    db = sqlite3.connect(":memory:")
    db.create_function("instant", 1, lambda text: instant(text).timestamp() if text else None)
    for path in folder.iterdir():
        with open(path, newline="") as f:
            header, *rows = csv.reader(f)
        columns = ", ".join(f'"{c}"' for c in header)
        db.execute(f"CREATE TABLE {path.stem} ({columns})")
        db.executemany(f"INSERT INTO {path.stem} VALUES ({', '.join('?' * len(header))})", rows)
    return db


def places(db, held):
    """Where every blade is: its state, and the shipment that is out."""
    out = {}
    for blade, last, shipped_at, certificate, undecided in db.execute("""
            SELECT blade,
              (SELECT decision FROM dispositions d WHERE d.blade = b.blade ORDER BY instant(decided_at) DESC LIMIT 1),
              (SELECT shipped_at FROM shipments s WHERE s.blade = b.blade AND returned_at = '' ORDER BY instant(shipped_at) DESC LIMIT 1),
              (SELECT certificate FROM shipments s WHERE s.blade = b.blade AND returned_at = '' ORDER BY instant(shipped_at) DESC LIMIT 1),
              (SELECT max(instant(returned_at)) FROM shipments s WHERE s.blade = b.blade AND returned_at <> '')
                > coalesce((SELECT max(instant(decided_at)) FROM dispositions d WHERE d.blade = b.blade), 0)
            FROM blades b"""):
        if shipped_at:
            state = "shipped"
        elif undecided:
            state = "returned"
        elif last == "scrap":
            state = "scrapped"
        elif blade in held or last == "hold":
            state = "held"
        else:
            state = {"concession": "concession", "accept": "accepted"}.get(last, "in process")
        out[blade] = (state, shipped_at, certificate or None)
    return out


def close(a, b):
    return (a is None) == (b is None) and (a is None or abs(a - b) < 1e-9)


class Foundry:
    """One foundry, imported, with what others make of it."""

    def __init__(self, seed, folder):
        self.name, self.seed, self.folder = f"seed {seed}", seed, folder
        self.t = foundry(seed)
        self.r = random.Random(seed + 1000)
        self.store = str(folder / "store.db")

    def check(self, what, ok, detail=""):
        check(f"{self.name}: {what}", ok, detail)

    def go(self):
        bundle_of(self.t, self.folder / "bundle", self.seed)
        imported = run(self.store, "import", str(self.folder / "bundle"))
        self.check("import", imported.get("faults") == [], json.dumps(imported))
        if imported.get("faults") != []:
            return
        self.round_trip()
        self.db = database(self.folder / "one")
        self.g, self.m = graph(self.t), metal(self.t)
        self.plain = len(self.m) < 30
        self.held, self.holds, self.behind = fences(self.t, self.g)
        self.places = places(self.db, self.held)
        self.heat_of = dict(self.db.execute("SELECT mould, heat FROM pours"))
        self.mould_of = {row["blade"]: row.get("mould", "") for row in self.t["blades"]}
        self.kind_of = {row[tag]: kind for kind, tag in TAG.items() for row in self.t.get(kind, [])}
        self.on = suspect_readings(self.t)[1]
        by_kind = {}
        for tag, kind in self.kind_of.items():
            by_kind.setdefault(kind, []).append(tag)
        some = [tag for tags in by_kind.values() for tag in self.r.sample(tags, min(len(tags), 2))]
        for tag in some + self.r.sample(by_kind["blades"], min(6, len(by_kind["blades"]))):
            self.trace(tag)
        for tag in some:
            self.contain(tag, {x for x in downstream(self.g, {tag}) if x in self.mould_of})
        for row in self.t["lots"]:
            self.contain(row["lot"], {x["blade"] for x in self.t.get("lot_blades", []) if x["lot"] == row["lot"]})
        for row in self.t["instruments"]:
            behind = downstream(self.g, suspect_readings(self.t, row["instrument"])[0])
            self.contain(row["instrument"], {x for x in behind if x in self.mould_of})
        for row in self.t["shell_recipes"] + self.t["running_systems"]:
            tag = f"{row.get('recipe') or row.get('running_system')}@{row['revision']}"
            self.contain(tag, {x for x in downstream(self.g, {tag}) if x in self.mould_of})
        for _ in range(4):
            self.siblings(self.r.choice(by_kind["blades"]))

    def round_trip(self):
        again = str(self.folder / "again.db")
        run(self.store, "export", str(self.folder / "one"))
        run(again, "import", str(self.folder / "one"))
        run(again, "export", str(self.folder / "two"))
        names = {p.name for p in (self.folder / "one").iterdir()} | {p.name for p in (self.folder / "two").iterdir()}
        different = [n for n in names if (self.folder / "one" / n).read_bytes() != (self.folder / "two" / n).read_bytes()]
        self.check("round trip", not different and len(names) > 40, str(different))
        self.check("verify", run(self.store, "verify").get("ok") is True and run(again, "verify").get("ok") is True)
        for kind, rows in self.t.items():
            with open(self.folder / "one" / f"{kind}.csv", newline="") as f:
                out = list(csv.DictReader(f))
            columns = sorted({c for row in rows for c in row})
            a = Counter(tuple(plainly(told(self.t, kind, row, c)) for c in columns) for row in rows)
            b = Counter(tuple(plainly(row[c]) for c in columns) for row in out)
            self.check(f"export of {kind}", a == b, f"only here {list((a - b))[:2]} only there {list((b - a))[:2]}")

    def trace(self, tag):
        asked = self.t.new_tags.get(tag, tag) if self.r.random() < 0.5 else tag
        answer = run(self.store, "trace", asked)
        what = f"trace {asked}"
        self.check(f"{what} tag", answer.get("tag") == tag and answer.get("kind") == self.kind_of[tag], str(answer)[:200])
        # Our own names of definitions are with the revision; the answer shows it where it was named.
        own = {n: n for n in self.g}
        for n in nx.descendants(self.g, tag):
            if "@" in n:
                own[n.split("@")[0]] = n
        nodes = {own.get(n["tag"], n["tag"]): n for n in answer.get("nodes", [])}
        wanted = nx.descendants(self.g, tag) | {tag}
        self.check(f"{what} nodes", set(nodes) == wanted and len(nodes) == len(answer["nodes"]), f"{set(nodes) ^ wanted}")
        depth = nx.single_source_shortest_path_length(self.g, tag)
        self.check(f"{what} depth", all(n["depth"] == depth.get(k) for k, n in nodes.items()))
        inside = [e for e in edges(self.t) if e[0] in wanted]
        expected = Counter((a, b, None if m is None else round(float(m), 6)) for a, b, _, m in inside)
        given = Counter((own.get(e["child"], e["child"]), own.get(e["parent"], e["parent"]), e["mass_kg"] and round(e["mass_kg"], 6)) for e in answer["edges"])
        self.check(f"{what} edges", expected == given, f"{expected - given} {given - expected}")
        ways = Counter((a, b, str(how)) for a, b, how, _ in inside if real(how))
        told = Counter((own.get(e["child"], e["child"]), own.get(e["parent"], e["parent"]), e["via"].split(" ")[-1]) for e in answer["edges"])
        self.check(f"{what} via", not ways - told, f"{ways - told}")
        root = tag if self.kind_of[tag] in METAL else self.heat_of.get(tag if self.kind_of[tag] == "moulds" else self.mould_of.get(tag))
        share = shares(self.m, root, self.plain) if root else {}
        self.check(f"{what} shares", all(close(n["share"], share.get(k)) for k, n in nodes.items()),
                   f"{ {k: (n['share'], share.get(k)) for k, n in nodes.items() if not close(n['share'], share.get(k))} }")
        whole = Counter()
        for e in answer["edges"]:
            if e["mass_kg"] is not None and root:
                whole[e["child"]] += e["share"]
        self.check(f"{what} edge shares sum to one", all(abs(v - 1) < 1e-9 for v in whole.values()), str(whole))
        last = {k for k in share if k not in self.m or not self.m.out_degree(k)}
        ingots = {k for k in share if self.kind_of[k] == "ingot_lots"}
        if root and last == ingots:
            got = sum(n["share"] for n in nodes.values() if n["kind"] == "ingot_lots")
            self.check(f"{what} ingots sum to one", abs(got - 1) < 1e-9, str(got))
        wrong = {k: (n["holds"], n["suspect"]) for k, n in nodes.items()
                 if (n["holds"], n["suspect"]) != (self.holds[k], k in self.on or (k == tag and k in self.behind and k in self.mould_of))}
        self.check(f"{what} holds and suspect", not wrong, str(wrong))
        if tag in self.mould_of:
            self.check(f"{what} where", answer.get("where") == self.places[tag][0], f"{answer.get('where')} {self.places[tag]}")

    def contain(self, tag, wanted):
        answer = run(self.store, "contain", tag)
        what = f"contain {tag}"
        blades = {b["blade"]: b for b in answer.get("blades", [])}
        self.check(what, set(blades) == wanted and len(blades) == len(answer.get("blades", [])), f"{answer.get('error')} {set(blades) ^ wanted}")
        states = Counter(b["where"] for b in blades.values())
        self.check(f"{what} totals", {k: v for k, v in answer.get("totals", {}).items() if v} == dict(states), f"{answer.get('totals')} {states}")
        is_metal = self.kind_of.get(tag) in METAL
        known = {}
        for blade, b in blades.items():
            mould = self.mould_of[blade] if real(self.mould_of[blade]) else None
            heat = self.heat_of.get(mould)
            expected = (*self.places[blade], blade in self.held, blade in self.behind, mould, heat)
            given = (b["where"], b["shipped_at"], b["certificate"], b["held"], b["suspect"], b["mould"], b["heat"])
            self.check(f"{what}: {blade}", given == expected, f"{given} {expected}")
            if is_metal and heat not in known:
                known[heat] = shares(self.m, heat, self.plain).get(tag)
            self.check(f"{what}: share in {blade}", close(b["share"], known.get(heat) if is_metal else None), f"{b['share']} {known.get(heat)}")
        self.stock(tag, answer)

    def stock(self, tag, answer):
        sql = {"ingot_lots": "SELECT mass_kg, (SELECT total(mass_kg) FROM charges WHERE source = ?1) FROM ingot_lots WHERE ingot_lot = ?1",
               "revert_lots": "SELECT sum(mass_kg), (SELECT total(mass_kg) FROM charges WHERE source = ?1) FROM revert_sources WHERE revert_lot = ?1",
               "filter_lots": "SELECT nullif(received_count, '') - CAST(rejected_count AS REAL), (SELECT count(*) FROM moulds WHERE filter_lot = ?1)"
                              " FROM filter_lots WHERE filter_lot = ?1"}.get(self.kind_of.get(tag))
        stock = answer.get("stock")
        if sql is None:
            self.check(f"contain {tag} stock", stock is None, str(stock))
            return
        had, used = self.db.execute(sql, [tag]).fetchone()
        had = None if had in ("", None) else float(had)
        ok = stock and close(stock["used"], float(used)) and close(stock["left"], None if had is None else had - used)
        self.check(f"contain {tag} stock", ok and stock["unit"] == ("pieces" if self.kind_of[tag] == "filter_lots" else "kg"), f"{stock} {had} {used}")

    def siblings(self, blade):
        above = sorted(n for n in nx.descendants(self.g, blade) if n in self.kind_of)
        if not above:
            return
        of, defect = self.r.choice(above), self.r.choice(["inclusion", "misrun"])
        answer = run(self.store, "siblings", blade, "--of", of, "--defect", defect)
        what = f"siblings {blade} --of {of} --defect {defect}"
        below = {x for x in downstream(self.g, {of}) if x in self.mould_of}
        self.check(what, {s["blade"] for s in answer.get("siblings", [])} == below - {blade}, str(answer)[:300])
        # The method under which the defect is found most; the answer names it, and may choose among equals.
        found = self.db.execute("""SELECT method, count(DISTINCT blade) FROM inspections JOIN findings USING (inspection)
            WHERE defect = ? AND purpose IN ('', 'product') GROUP BY method""", [defect]).fetchall()
        most = {m for m, n in found if n == max(n for _, n in found)}
        method = answer.get("method")
        self.check(f"{what} method", method in most if most else method is None, f"{method} {found}")
        rows = self.db.execute("""SELECT b.blade, p.heat,
              count(CASE WHEN ?1 IS NULL OR i.method = ?1 THEN i.inspection END) > 0,
              count(CASE WHEN ?1 IS NULL OR i.method = ?1 THEN f.defect END) > 0
            FROM blades b JOIN pours p ON p.mould = b.mould
            LEFT JOIN inspections i ON i.blade = b.blade AND i.round = '1' AND i.purpose IN ('', 'product')
            LEFT JOIN findings f ON f.inspection = i.inspection AND f.defect = ?2 GROUP BY b.blade""", [method, defect]).fetchall()
        heats = {h for b, h, _, _ in rows if b in below}
        groups = {"rate_in": lambda b, h: b in below, "rate_out": lambda b, h: b not in below, "rate_same_heats": lambda b, h: b not in below and h in heats}
        for key, choose in groups.items():
            seen = [hit for b, h, looked, hit in rows if looked and choose(b, h)]
            self.check(f"{what} {key}", close(answer.get(key), sum(seen) / len(seen) if seen else None), f"{answer.get(key)} {sum(seen)} of {len(seen)}")
        left = sum(1 for b, _, looked, _ in rows if b in below and not looked)
        self.check(f"{what} not inspected", answer.get("not_inspected") == left, f"{answer.get('not_inspected')} {left}")
        for s in answer.get("siblings", []):
            have = self.db.execute("SELECT count(*) FROM findings JOIN inspections USING (inspection) WHERE blade = ?", [s["blade"]]).fetchone()[0]
            position = self.db.execute("SELECT position FROM blades WHERE blade = ?", [s["blade"]]).fetchone()[0]
            ok = s["where"] == self.places[s["blade"]][0] and len(s["findings"]) == have and str(s["position"] or "") == position
            self.check(f"{what}: {s['blade']}", ok, f"{s} {have} {self.places[s['blade']]}")


def told(t, kind, row, column):
    """What an export says of a field: a definition that is referred to stands there with its revision, a blank one too."""
    value = row.get(column, "")
    if not real(value) or "@" in str(value):
        return value
    if column in ("recipe", "running_system") and kind not in ("shell_recipes", "running_systems"):
        return "@".join(revision_of(t, kind, row, column))
    if column in ("alloy", "part") and kind != f"{column}s":    # of one revision, which is blank
        return f"{value}@"
    return hold_subject(t, value) if kind == "holds" and column == "subject" else value


def plainly(text):
    """Numbers as numbers, times as instants."""
    text = str(text)
    try:
        return float(text)
    except ValueError:
        pass
    try:
        return datetime.fromisoformat(text).isoformat() if "T" in text else text
    except ValueError:
        return text


for number in [int(s) for s in sys.argv[2:]] or range(40):
    with tempfile.TemporaryDirectory() as place:
        Foundry(number, Path(place)).go()
print(f"{PASSED} passed, {FAILED} failed")
sys.exit(1 if FAILED else 0)
