#!/usr/bin/env python3
"""Random foundries, traced by meltkin and by others: networkx for parentage and shares of metal, plain
SQL over the bundle's own files for containment, where each blade is, held and suspect.

Usage: check_lineage.py [MELTKIN]; else the environment's MELTKIN, else a debug build. Installs networkx
into a folder of its own if it is missing. Ends with "N passed, M failed".
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
from pathlib import Path

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


def binary():
    if len(sys.argv) > 1:
        return sys.argv[1]
    if os.environ.get("MELTKIN"):
        return os.environ["MELTKIN"]
    subprocess.run(["cargo", "build", "--quiet", "--locked"], cwd=HOME, check=True)
    return str(Path(os.environ.get("CARGO_TARGET_DIR", HOME / "target")) / "debug/meltkin")


MELTKIN = binary()
PASSED = FAILED = 0


def check(what, ok, detail=""):
    global PASSED, FAILED
    if ok:
        PASSED += 1
    else:
        FAILED += 1
        print(f"FAILED {what} {detail}"[:600])


def at(day, hour=8, minute=0):
    return f"2031-{1 + day // 28:02}-{1 + day % 28:02}T{hour:02}:{minute:02}:00+00:00"


def foundry(seed):
    """An invented foundry as {kind: [row]}; every row a dict."""
    r = random.Random(seed)
    t = {}

    def put(table, /, **row):
        t.setdefault(table, []).append(row)

    put("alloys", alloy="AL-1")
    put("parts", part="P-1", alloy="AL-1")
    put("running_systems", running_system="RS-1", fill="bottom", positions=8, filter="yes")
    for rev, start in (("A", "2030-01-01"), ("B", "2031-03-01")):
        put("shell_recipes", recipe="SR-1", revision=rev, route="shell", coats=4, effective_from=start, approved_at="2030-01-01")
    put("defect_terms", defect="inclusion", name="inclusion")
    put("people", person="Q-1", role="quality")
    instruments = [f"PY-{i}" for i in range(3)] + ["OV-1", "CU-1", "GA-1"]
    for i in instruments:
        put("instruments", instrument=i, kind="instrument")
        for day in sorted(r.sample(range(0, 110), r.randrange(0, 7))):
            put("calibrations", instrument=i, checked_at=at(day, 7), check="cross_check", result=r.choice(["good", "good", "failed", "not_done"]))
    ingots = [f"IL-{i}" for i in range(r.randrange(2, 5))]
    for i in ingots:
        put("ingot_lots", ingot_lot=i, alloy="AL-1", received_at=at(0), mass_kg=500)
    heats, reverts = [], []
    for h in range(r.randrange(6, 16)):
        heat = f"H-{h:02}"
        put("heats", heat=heat, alloy="AL-1", furnace="F", melted_at=at(3 * h + 8, 9))
        for source in r.sample(ingots, r.randrange(1, min(3, len(ingots)) + 1)) + r.sample(reverts, min(len(reverts), r.randrange(0, 3))):
            for item in range(1, r.choice([1, 1, 2]) + 1):
                put("charges", heat=heat, source=source, item=item, mass_kg=round(r.uniform(0.5, 9), 3))
        heats.append(heat)
        if h % 3 == 2:
            lot = f"RV-{len(reverts)}"
            put("revert_lots", revert_lot=lot, alloy="AL-1", made_at=at(3 * h + 9))
            for source in r.sample(heats, r.randrange(1, min(4, len(heats)) + 1)):
                put("revert_sources", revert_lot=lot, heat=source, mass_kg=round(r.uniform(0.5, 5), 3))
            reverts.append(lot)
    for i, subject in enumerate(r.sample(ingots + reverts + heats, 4)):
        put("analyses", analysis=f"AN-{i}", subject=subject, purpose="check", taken_at=at(r.randrange(110), 12), instrument="GA-1")
    wax = []
    for i in range(5):
        put("wax_lots", wax_lot=f"WL-{i}", grade="W", received_at=at(0), split_from=r.choice(wax) if wax and r.random() < 0.5 else "")
        wax.append(f"WL-{i}")
    runs = [f"WP-{i}" for i in range(8)]
    for i in runs:
        put("pattern_runs", pattern_run=i, wax_lot=r.choice(wax), part="P-1", die="D", injected_at=at(1))
    for i in range(2):
        put("core_lots", core_lot=f"CL-{i}")
        put("filter_lots", filter_lot=f"FL-{i}", received_at=at(0), received_count=50)
        put("stucco_lots", stucco_lot=f"ST-{i}", received_at=at(0))
        put("powder_lots", powder_lot=f"PW-{i}", grade="G", received_at=at(0))
    batches = [f"PS-{i}" for i in range(4)]
    for b in batches:
        put("slurry_batches", slurry_batch=b, use="prime", made_at=at(0))
        for day in sorted(r.sample(range(1, 100), 5)):
            put("slurry_checks", slurry_batch=b, occurred_at=at(day, 6), instrument=r.choice(["CU-1", "cu-1", ""]), ph=9.8)
    for i in range(3):
        put("shell_batches", shell_batch=f"SB-{i}", recipe=r.choice(["SR-1", "SR-1@A", "SR-1@B"]), started_at=at(r.choice([5, 70])))
        put("oven_runs", oven_run=f"OR-{i}", purpose="fire", oven="K", started_at=at(r.randrange(100), 10), instrument=r.choice(["OV-1", ""]))
        put("treatments", treatment=f"HT-{i}", kind="hip", started_at=at(100, 10 + i), instrument=r.choice(["OV-1", ""]))
    blades = []
    lots = ["L-0", "L-1"]
    for lot in lots:
        put("lots", lot=lot, part="P-1", opened_at=at(0))
    put("concessions", concession="CN-0", type="concession", part="P-1", limits="any", granted_at=at(0))
    for m in range(r.randrange(10, 30)):
        mould = f"M-{m:03}"
        put("moulds", mould=mould, part="P-1", running_system="RS-1", shell_batch=r.choice([f"SB-{i}" for i in range(3)] + [""]),
            filter_lot=r.choice(["FL-0", "FL-1", "n/a"]), assembled_at=at(4))
        for coat in range(1, r.randrange(2, 6)):
            put("coats", mould=mould, coat=coat, slurry_batch=r.choice(batches), stucco_lot=r.choice(["ST-0", "ST-1", ""]), in_at=at(6, coat))
        if r.random() < 0.2:
            put("investments", mould=mould, powder_lot=r.choice(["PW-0", "PW-1"]), mixed_at=at(6))
        for o in r.sample(range(3), r.randrange(0, 3)):
            put("oven_loads", oven_run=f"OR-{o}", mould=mould)
        if r.random() < 0.9:
            day = r.randrange(8, 108)
            put("pours", mould=mould, heat=r.choice(heats), poured_at=at(day, r.choice([7, 9])), pyrometer=r.choice(["PY-0", "PY-1", "PY-2", ""]))
        for p in range(1, r.randrange(1, 6)):
            blade = f"{mould}-{p}"
            blades.append(blade)
            put("blades", blade=blade, mould=mould, position=p, pattern_run=r.choice(runs + [""]), core_lot=r.choice(["CL-0", "CL-1", ""]))
    put("blades", blade="LOST-1")
    blades.append("LOST-1")
    for i, blade in enumerate(blades):
        if r.random() < 0.2:
            put("treatment_loads", treatment=f"HT-{r.randrange(3)}", blade=blade)
        if r.random() < 0.5:
            put("lot_blades", lot=r.choice(lots), blade=blade)
        if r.random() < 0.5:
            put("inspections", inspection=f"I-{i}", blade=blade, method="penetrant", round=1, inspected_at=at(r.randrange(8, 112), 11),
                instrument=r.choice(["GA-1", "", ""]), result=r.choice(["accept", "reject"]))
        for day in sorted(r.sample(range(60, 110), r.randrange(0, 3))):
            decision = r.choice(["accept", "accept", "rework", "repair", "scrap", "hold", "concession"])
            put("dispositions", blade=blade, decided_at=at(day), decision=decision, concession="CN-0" if decision == "concession" else "")
        for day in sorted(r.sample(range(60, 110), r.choice([0, 0, 0, 1, 2]))):
            put("shipments", blade=blade, shipped_at=at(day), certificate=f"C-{day}", returned_at=at(111) if r.random() < 0.3 else "")
    some = {"wax_lots": "wax_lot", "heats": "heat", "ingot_lots": "ingot_lot", "moulds": "mould", "blades": "blade", "lots": "lot", "pattern_runs": "pattern_run",
            "slurry_batches": "slurry_batch", "core_lots": "core_lot", "instruments": "instrument", "treatments": "treatment", "shell_batches": "shell_batch"}
    for i, kind in enumerate(r.sample(sorted(some), r.randrange(0, 4))):
        put("holds", hold=f"HD-{i}", subject=r.choice(t[kind])[some[kind]], placed_at=at(60), reason="x",
            lifted_at=at(70) if r.random() < 0.3 else "", lifted_by="", lifted_reason="")
    return t


# Which field of which kind is an edge to what, written out from the description of the records.
TAG = {"ingot_lots": "ingot_lot", "revert_lots": "revert_lot", "heats": "heat", "wax_lots": "wax_lot", "pattern_runs": "pattern_run", "core_lots": "core_lot",
       "filter_lots": "filter_lot", "powder_lots": "powder_lot", "slurry_batches": "slurry_batch", "stucco_lots": "stucco_lot", "shell_batches": "shell_batch",
       "moulds": "mould", "oven_runs": "oven_run", "blades": "blade", "treatments": "treatment"}
EDGES = [("blades", "blade", "mould"), ("blades", "blade", "pattern_run"), ("blades", "blade", "core_lot"), ("pattern_runs", "pattern_run", "wax_lot"),
         ("wax_lots", "wax_lot", "split_from"), ("moulds", "mould", "running_system"), ("moulds", "mould", "shell_batch"), ("moulds", "mould", "filter_lot"),
         ("shell_batches", "shell_batch", "recipe"), ("investments", "mould", "powder_lot"), ("coats", "mould", "slurry_batch"), ("coats", "mould", "stucco_lot"),
         ("oven_loads", "mould", "oven_run"), ("pours", "mould", "heat"), ("charges", "heat", "source"), ("revert_sources", "revert_lot", "heat"),
         ("treatment_loads", "blade", "treatment")]


def real(x):
    return x not in ("", "n/a", "illegible", None)


def graph(t):
    g = nx.DiGraph()
    for kind, child, parent in EDGES:
        for row in t.get(kind, []):
            if real(row.get(parent, "")):
                g.add_edge(row[child], row[parent])
    for kind, tag in TAG.items():
        g.add_nodes_from(row[tag] for row in t.get(kind, []))
    return g


def metal(t):
    g = nx.DiGraph()
    for kind, child, parent in (("charges", "heat", "source"), ("revert_sources", "revert_lot", "heat")):
        for row in t.get(kind, []):
            m = g.get_edge_data(row[child], row[parent], {"m": 0.0})["m"]
            g.add_edge(row[child], row[parent], m=m + float(row["mass_kg"]))
    return g


def shares(g, root):
    """Shares of every ancestor, along every simple path summed: slow and plain."""
    out = {root: 1.0}
    if root not in g:
        return out
    for n in nx.descendants(g, root):
        total = 0.0
        for path in nx.all_simple_paths(g, root, n):
            part = 1.0
            for a, b in zip(path, path[1:]):
                part *= g[a][b]["m"] / sum(d["m"] for _, _, d in g.out_edges(a, data=True))
            total += part
        out[n] = total
    return out


def suspect_readings(t, instrument=None):
    """Records that carry suspicion down: (record, instrument)."""
    checks = {}
    for c in t.get("calibrations", []):
        if c["result"] != "not_done":
            checks.setdefault(c["instrument"].lower(), []).append((c["checked_at"], c["result"] == "failed"))

    def bad(i, time):
        if not i or (instrument and i.lower() != instrument.lower()):
            return False
        done = sorted(checks.get(i.lower(), []))
        before = [f for at_, f in done if at_ <= time]
        later = [f for at_, f in done if at_ > time]
        return bool((before and before[-1]) or (later and later[0]))

    found = set()
    for kind, record, tool, time in (("pours", "mould", "pyrometer", "poured_at"), ("slurry_checks", "slurry_batch", "instrument", "occurred_at"),
                                     ("oven_runs", "oven_run", "instrument", "started_at"), ("inspections", "blade", "instrument", "inspected_at"),
                                     ("treatments", "treatment", "instrument", "started_at"), ("analyses", "subject", "instrument", "taken_at")):
        for row in t.get(kind, []):
            if bad(row.get(tool, ""), row[time]):
                found.add(row[record])
    return found


def downstream(g, starts):
    out = set(starts)
    for s in starts:
        if s in g:
            out |= nx.ancestors(g, s)
    return out


def fences(t, g):
    wide = g.copy()
    wax_of = {row["pattern_run"]: row["wax_lot"] for row in t["pattern_runs"]}
    for b in t["blades"]:
        if real(b.get("mould", "")):
            for parent in (b.get("pattern_run", ""), wax_of.get(b.get("pattern_run", ""), ""), b.get("core_lot", "")):
                if real(parent):
                    wide.add_edge(b["mould"], parent)
    held = set()
    lots = {row["lot"] for row in t["lots"]}
    instruments = {row["instrument"] for row in t["instruments"]}
    for h in t.get("holds", []):
        if real(h["lifted_at"]):
            continue
        if h["subject"] in lots:
            held |= {row["blade"] for row in t.get("lot_blades", []) if row["lot"] == h["subject"]}
        elif h["subject"] in instruments:
            held |= downstream(g, suspect_readings(t, h["subject"]))
        else:
            held |= downstream(wide, {h["subject"]})
    return held, downstream(g, suspect_readings(t))


def database(t):
    db = sqlite3.connect(":memory:")
    for kind, rows in t.items():
        columns = list(dict.fromkeys(c for row in rows for c in row))
        db.execute(f'CREATE TABLE {kind} ({", ".join(chr(34) + c + chr(34) for c in columns)})')
        db.executemany(f'INSERT INTO {kind} VALUES ({", ".join("?" * len(columns))})', [[str(row.get(c, "")) for c in columns] for row in rows])
    for kind, columns in (("shipments", "blade, shipped_at, certificate, returned_at"), ("dispositions", "blade, decided_at, decision")):
        if kind not in t:
            db.execute(f"CREATE TABLE {kind} ({columns})")
    return db


def where(db, blade, held):
    shipped = db.execute("SELECT shipped_at, certificate FROM shipments WHERE blade = ? AND returned_at = '' AND shipped_at = "
                         "(SELECT max(shipped_at) FROM shipments WHERE blade = ?)", [blade, blade]).fetchone()
    last = db.execute("SELECT decision FROM dispositions WHERE blade = ? ORDER BY decided_at DESC LIMIT 1", [blade]).fetchone()
    last = last[0] if last else None
    if shipped:
        return "shipped", shipped
    if last == "scrap":
        return "scrapped", None
    if held or last == "hold":
        return "held", None
    return {"concession": "concession", "accept": "accepted"}.get(last, "in process"), None


def run(store, *arguments):
    out = subprocess.run([MELTKIN, "--store", store, "--json", *arguments], capture_output=True, text=True,
                         env={**os.environ, "MELTKIN_NOW": "2031-06-01T00:00:00+00:00"})
    if out.returncode not in (0, 1):
        return {"error": out.stderr + out.stdout}
    return json.loads(out.stdout)


def one(seed, folder):
    t = foundry(seed)
    bundle = folder / "bundle"
    bundle.mkdir()
    for kind, rows in t.items():
        columns = list(dict.fromkeys(c for row in rows for c in row))
        random.Random(seed).shuffle(columns)
        with open(bundle / f"{kind}.csv", "w", newline="") as f:
            w = csv.DictWriter(f, columns)
            w.writeheader()
            w.writerows(rows)
    store = str(folder / "store.db")
    imported = run(store, "import", str(bundle))
    check(f"seed {seed}: import", not imported.get("faults", True), json.dumps(imported))
    if imported.get("faults", True):
        return
    for n in ("one", "two"):
        source = store if n == "one" else str(folder / "again.db")
        run(source, "export", str(folder / n))
        if n == "one":
            run(str(folder / "again.db"), "import", str(folder / "one"))
    same = all((folder / "one" / p.name).read_bytes() == p.read_bytes() for p in (folder / "two").iterdir())
    check(f"seed {seed}: round trip", same and len(list((folder / "two").iterdir())) > 40)
    check(f"seed {seed}: verify", run(store, "verify").get("ok") is True)

    g, m, db = graph(t), metal(t), database(t)
    held, suspect = fences(t, g)
    heat_of = {row["mould"]: row["heat"] for row in t.get("pours", [])}
    mould_of = {row["blade"]: row.get("mould", "") for row in t["blades"]}
    r = random.Random(seed + 1)
    tags = [row[tag] for kind, tag in TAG.items() for row in t.get(kind, [])]
    kind_of = {row[tag]: kind for kind, tag in TAG.items() for row in t.get(kind, [])}
    for tag in r.sample(tags, min(len(tags), 40)):
        answer = run(store, "trace", tag)
        nodes = {n["tag"]: n for n in answer.get("nodes", [])}
        wanted = nx.descendants(g, tag) | {tag}
        check(f"seed {seed}: trace {tag} nodes", set(nodes) == wanted, f"{set(nodes) ^ wanted}")
        depth = nx.single_source_shortest_path_length(g, tag)
        check(f"seed {seed}: trace {tag} depth", all(n["depth"] == depth.get(k) for k, n in nodes.items()))
        root = tag if kind_of[tag] in ("heats", "ingot_lots", "revert_lots") else heat_of.get(tag if kind_of[tag] == "moulds" else mould_of.get(tag, ""))
        share = shares(m, root) if root else {}
        near = all((n["share"] is None) == (k not in share) and (n["share"] is None or abs(n["share"] - share[k]) < 1e-9) for k, n in nodes.items())
        check(f"seed {seed}: trace {tag} shares", near, f"{ {k: (n['share'], share.get(k)) for k, n in nodes.items() if n['share'] != share.get(k)} }")
        ingot = sum(n["share"] for n in nodes.values() if n["kind"] == "ingot_lots" and n["share"] is not None)
        check(f"seed {seed}: trace {tag} ingots sum to one", root is None or abs(ingot - 1) < 1e-9, str(ingot))
    others = [row["lot"] for row in t["lots"]] + [row["instrument"] for row in t["instruments"]] + ["RS-1"]
    for tag in r.sample(tags, min(len(tags), 25)) + others:
        answer = run(store, "contain", tag)
        if tag in [row["lot"] for row in t["lots"]]:
            wanted = {row["blade"] for row in t.get("lot_blades", []) if row["lot"] == tag}
        elif tag in [row["instrument"] for row in t["instruments"]]:
            wanted = {x for x in downstream(g, suspect_readings(t, tag)) if x in mould_of}
        else:
            wanted = {x for x in downstream(g, {tag}) if x in mould_of}
        blades = {b["blade"]: b for b in answer.get("blades", [])}
        check(f"seed {seed}: contain {tag}", set(blades) == wanted, f"{set(blades) ^ wanted}")
        check(f"seed {seed}: contain {tag} totals", sum(answer.get("totals", {}).values()) == len(blades))
        for blade, b in blades.items():
            state, shipped = where(db, blade, blade in held)
            ok = (b["where"], b["held"], b["suspect"]) == (state, blade in held, blade in suspect)
            if shipped:
                ok = ok and b["certificate"] == shipped[1] and b["shipped_at"] == shipped[0]
            check(f"seed {seed}: contain {tag}: {blade}", ok, f"{b} {state} {blade in held} {blade in suspect}")
            if kind_of.get(tag) in ("heats", "ingot_lots", "revert_lots"):
                expected = shares(m, heat_of[mould_of[blade]]).get(tag)
                check(f"seed {seed}: contain {tag}: share in {blade}", abs(b["share"] - expected) < 1e-9, f"{b['share']} {expected}")


for seed in range(40):
    with tempfile.TemporaryDirectory() as folder:
        one(seed, Path(folder))
print(f"{PASSED} passed, {FAILED} failed")
sys.exit(1 if FAILED else 0)
