#!/usr/bin/env python3
"""Holds meltkin against engines that could do part of its work: the same bundle read by meltkin, by `sqlite3 .import`
(bare, and with keys, indexes and references), by DuckDB and by pandas. First the answers must agree: what came out of
one ingot lot through every generation of revert, with where each blade went; how many blades there are; the rate of a
defect by position on the tree. Then the processor time of each is printed, and how many times that of meltkin it is.

meltkin is timed as a whole process, from its start to the printed JSON; DuckDB and pandas inside a running one.

Usage: compare_engines.py [--moulds N | M | L] [--bundle FOLDER] [MELTKIN]; else the environment's MELTKIN, else the
newest build. N is 2,000 by itself, M 20,000, L 125,000. Installs duckdb and pandas into a folder of its own.
"""
import argparse
import csv
import json
import os
import pathlib
import re
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
import venv

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
DEFECT, METHOD = "misrun", "visual"
# After the last of what is invented, however many moulds.
CLOCK = os.environ | {"MELTKIN_NOW": "2099-01-01T00:00:00+00:00"}


def target_folder():
    given = os.environ.get("CARGO_TARGET_DIR")
    return pathlib.Path(given) if given else ROOT / "target"


def ensure_packages():
    """Starts over inside an environment that has the engines."""
    base = target_folder() if target_folder().is_dir() else pathlib.Path(tempfile.gettempdir())
    home = base / "engines-venv"
    python = home / "bin" / "python"
    if os.environ.get("ENGINES_VENV") == str(home):
        return
    if not (home / "complete").exists():
        print(f"installing the engines under {home}", file=sys.stderr, flush=True)
        venv.create(home, with_pip=True)
        subprocess.run([python, "-m", "pip", "install", "-q", "duckdb", "pandas"], check=True)
        (home / "complete").touch()
    # The invented foundry reaches into 2031, and what is still to come is not taken in.
    os.environ.setdefault("MELTKIN_NOW", "2041-01-01T08:00:00+00:00")
    os.environ["ENGINES_VENV"] = str(home)
    os.execv(python, [str(python), *sys.argv])


def program(given):
    given = given or os.environ.get("MELTKIN")
    if given:
        return str(pathlib.Path(given).resolve())
    found = [p for p in target_folder().glob("*/meltkin") if p.is_file()]
    if not found:
        sys.exit("build meltkin first, or name it: the last argument, or MELTKIN")
    return str(max(found, key=lambda p: p.stat().st_mtime).resolve())


def spent(who):
    used = resource.getrusage(who)
    return used.ru_utime + used.ru_stime


def child(words, **more):
    """Runs a program; gives its output and its processor time."""
    before = spent(resource.RUSAGE_CHILDREN)
    done = subprocess.run(words, capture_output=True, text=True, timeout=3600, env=CLOCK, **more)
    if done.returncode:
        sys.exit(f"{words}: exit {done.returncode}\n{done.stderr[:2000]}")
    return done.stdout, spent(resource.RUSAGE_CHILDREN) - before


def inside(work):
    """Does something in this process; gives its result and its processor time."""
    before = spent(resource.RUSAGE_SELF)
    result = work()
    return result, spent(resource.RUSAGE_SELF) - before


def often(times, work):
    """The result of something done several times, and the median of its processor times."""
    runs = [work() for _ in range(times)]
    return runs[0][0], statistics.median(used for _, used in runs)


def keyed_script(store, bundle, db):
    """The same tables with text keys: rows first, then unique tags and indexes, then the references counted."""
    def ask(sql):
        out, _ = child(["sqlite3", "-json", str(store), sql])
        return json.loads(out) if out.strip() else []

    tags = {}
    indexes = ask("SELECT tbl_name AS t, sql FROM sqlite_schema WHERE type = 'index' AND sql IS NOT NULL")
    for index in indexes:
        unique = re.fullmatch(r"CREATE UNIQUE INDEX \w+ ON (\w+) \((\w+) COLLATE NOCASE\)", index["sql"])
        if unique:
            tags[unique[1]] = unique[2]
    script, after = [], []
    for file in sorted(bundle.glob("*.csv")):
        table = file.stem
        with open(file, newline="", encoding="utf-8") as text:
            header = next(csv.reader(text))
        parents = {k["from"]: k["table"] for k in ask(f"PRAGMA foreign_key_list({table})")}
        lines = [f'"{name}" TEXT' + (
            f' REFERENCES {parents[name]} ("{tags[parents[name]]}")' if parents.get(name) in tags else "")
            for name in header]
        script += [f"CREATE TABLE {table} ({', '.join(lines)});", f".import --csv --skip 1 '{file}' {table}"]
        if table in tags:
            after.append(f'CREATE UNIQUE INDEX {table}_tag ON {table} ("{tags[table]}");')
        for name in header:
            if name in parents or name == "source":
                after.append(f'UPDATE {table} SET "{name}" = NULL WHERE "{name}" = \'\';')
        for number, index in enumerate(i for i in indexes if i["t"] == table and "UNIQUE" not in i["sql"]):
            columns = re.search(r"\(([^()]*)\)", index["sql"])[1]
            names = [c.split()[0].replace("source_ingot_lot", "source") for c in columns.split(",")]
            if all(n in header for n in names) and "source_revert_lot" not in index["sql"]:
                after.append(f"CREATE INDEX {table}_{number} ON {table} ({', '.join(names)});")
    script += ["BEGIN;", *after, "COMMIT;", "PRAGMA foreign_key_check;"]
    path = db.with_suffix(".sql")
    path.write_text("\n".join(script), encoding="utf-8")
    return path


DOWN = """WITH RECURSIVE down (heat) AS (SELECT heat FROM charges WHERE source = '{lot}'
  UNION SELECT c.heat FROM down JOIN revert_sources s ON s.heat = down.heat JOIN charges c ON c.source = s.revert_lot)
SELECT b.blade, s.certificate FROM down JOIN pours p ON p.heat = down.heat JOIN blades b ON b.mould = p.mould
LEFT JOIN shipments s ON s.blade = b.blade AND coalesce(CAST(s.returned_at AS TEXT), '') = ''"""

RATES = f"""SELECT CAST(b.position AS INTEGER), count(DISTINCT i.blade), count(DISTINCT CASE WHEN f.defect IS NOT NULL
  THEN i.blade END) FROM inspections i JOIN blades b ON b.blade = i.blade
LEFT JOIN findings f ON f.inspection = i.inspection AND f.defect = '{DEFECT}'
WHERE i.method = '{METHOD}' AND i.round = 1 GROUP BY 1 ORDER BY 1"""


def pandas_contain(frames, lot):
    charges, sources = frames["charges"], frames["revert_sources"]
    heats = new = set(charges.loc[charges["source"] == lot, "heat"])
    while new:
        reverts = sources.loc[sources["heat"].isin(new), "revert_lot"]
        new = set(charges.loc[charges["source"].isin(set(reverts)), "heat"]) - heats
        heats = heats | new
    pours = frames["pours"]
    moulds = pours.loc[pours["heat"].isin(heats), "mould"]
    blades = frames["blades"]
    blades = blades.loc[blades["mould"].isin(set(moulds)), ["blade"]]
    # What came back is no longer shipped.
    sent = frames["shipments"]
    sent = sent.loc[sent["returned_at"].isna() | (sent["returned_at"].astype(str) == ""), ["blade", "certificate"]]
    found = blades.merge(sent, on="blade", how="left")
    return list(found.itertuples(index=False, name=None))


def pandas_rates(frames):
    looked = frames["inspections"]
    looked = looked.loc[(looked["method"] == METHOD) & (looked["round"] == 1), ["inspection", "blade"]]
    found = frames["findings"]
    found = set(found.loc[found["defect"] == DEFECT, "inspection"])
    looked = looked.assign(found=looked["inspection"].isin(found)).groupby("blade", as_index=False)["found"].max()
    looked = looked.merge(frames["blades"][["blade", "position"]], on="blade")
    by = looked.groupby("position")["found"].agg(["size", "sum"])
    return [(int(p), int(n), int(k)) for p, n, k in by.itertuples(name=None)]


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("size", nargs="?")
    ask.add_argument("meltkin", nargs="?")
    ask.add_argument("--moulds", type=int)
    ask.add_argument("--bundle", type=pathlib.Path)
    ask = ask.parse_args()
    if ask.size not in (None, "M", "L"):
        ask.size, ask.meltkin = None, ask.size
    moulds = ask.moulds or {None: 2_000, "M": 20_000, "L": 125_000}[ask.size]
    meltkin = program(ask.meltkin)
    ensure_packages()
    import duckdb
    import pandas

    folder = pathlib.Path(tempfile.mkdtemp(prefix="engines-", dir=target_folder() if target_folder().is_dir() else None))
    try:
        bundle = ask.bundle or folder / "bundle"
        if not ask.bundle:
            child([meltkin, "demo", "--moulds", str(moulds), "--seed", "7", "--bundle", str(bundle)])
        times = 1 if moulds > 50_000 else 3
        compare(meltkin, bundle, folder, times, duckdb, pandas)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def compare(meltkin, bundle, folder, times, duckdb, pandas):
    store, bare, keyed = folder / "m.db", folder / "bare.db", folder / "keyed.db"
    files = sorted(bundle.glob("*.csv"))
    size = sum(f.stat().st_size for f in files)

    def fresh(db, work):
        db.unlink(missing_ok=True)
        return work()

    def ours(*words):
        return child([meltkin, "--store", str(store), *words])

    figures = {"import": {}, "contain": {}, "rates": {}}
    _, figures["import"]["meltkin"] = often(times, lambda: fresh(store, lambda: ours("import", str(bundle))))
    script = folder / "bare.sql"
    script.write_text("".join(f".import --csv '{f}' {f.stem}\n" for f in files), encoding="utf-8")

    def sqlite(db, path):
        with open(path, encoding="utf-8") as given:
            return child(["sqlite3", str(db)], stdin=given)

    _, figures["import"]["sqlite3, bare"] = often(times, lambda: fresh(bare, lambda: sqlite(bare, script)))
    path = keyed_script(store, bundle, keyed)
    loose, figures["import"]["sqlite3, keyed"] = often(times, lambda: fresh(keyed, lambda: sqlite(keyed, path)))
    wrong = [f"sqlite3 counts references that lead nowhere:\n{loose[:500]}"] if loose.strip() else []

    def load_duck():
        (folder / "d.duckdb").unlink(missing_ok=True)
        db = duckdb.connect(str(folder / "d.duckdb"), config={"threads": 2})
        for f in files:
            db.execute(f"CREATE TABLE {f.stem} AS SELECT * FROM read_csv('{f}', header = true, sample_size = 20000)")
        return db

    duck, figures["import"]["duckdb"] = inside(load_duck)
    frames, figures["import"]["pandas"] = inside(
        lambda: {f.stem: pandas.read_csv(f, low_memory=False) for f in files})

    # The lot of which most came, among twenty: the longest answer.
    lots = [r["ingot_lot"] for r in csv.DictReader(open(bundle / "ingot_lots.csv", newline="", encoding="utf-8"))]
    counts = {lot: len(duck.execute(DOWN.format(lot=lot)).fetchall()) for lot in lots[:: max(1, len(lots) // 20)]}
    lot = max(counts, key=counts.get)
    sql = DOWN.format(lot=lot)
    told, figures["contain"]["meltkin"] = often(5, lambda: ours("contain", lot, "--json"))
    contained = {
        "meltkin": [(b["blade"], b["certificate"]) for b in json.loads(told)["blades"]],
        "sqlite3, keyed": None,
    }
    told, figures["contain"]["sqlite3, keyed"] = often(5, lambda: child(["sqlite3", "-json", str(keyed), sql]))
    contained["sqlite3, keyed"] = [(r["blade"], r["certificate"]) for r in json.loads(told)]
    contained["duckdb"], figures["contain"]["duckdb"] = often(5, lambda: inside(lambda: duck.execute(sql).fetchall()))
    contained["pandas"], figures["contain"]["pandas"] = often(5, lambda: inside(lambda: pandas_contain(frames, lot)))
    clean = {who: sorted((b, c if isinstance(c, str) and c else None) for b, c in rows)
             for who, rows in contained.items()}

    told, figures["rates"]["meltkin"] = often(
        5, lambda: ours("positions", "--defect", DEFECT, "--method", METHOD, "--json"))
    rates = {"meltkin": [(int(r["label"].split()[-1]), r["inspected"], r["with"]) for r in json.loads(told)["lines"]]}
    told, figures["rates"]["sqlite3, keyed"] = often(3, lambda: child(["sqlite3", str(keyed), RATES]))
    rates["sqlite3, keyed"] = [tuple(int(v) for v in row.split("|")) for row in told.splitlines()]
    rates["duckdb"], figures["rates"]["duckdb"] = often(5, lambda: inside(lambda: duck.execute(RATES).fetchall()))
    rates["pandas"], figures["rates"]["pandas"] = often(5, lambda: inside(lambda: pandas_rates(frames)))
    blades = {
        "meltkin": int(child(["sqlite3", str(store), "SELECT count(*) FROM blades"])[0]),
        "sqlite3, keyed": int(child(["sqlite3", str(keyed), "SELECT count(*) FROM blades"])[0]),
        "duckdb": duck.execute("SELECT count(*) FROM blades").fetchone()[0],
        "pandas": len(frames["blades"]),
    }
    for what, answers in (("the blades of a lot", clean), ("rates by position", rates), ("number of blades", blades)):
        for who, answer in answers.items():
            if answer != answers["meltkin"]:
                differ = [(a, b) for a, b in zip(answer, answers["meltkin"]) if a != b] \
                    if isinstance(answer, list) else (answer, answers["meltkin"])
                wrong.append(f"{what}: {who} says otherwise than meltkin: {str(differ)[:300]}")
    if wrong or not clean["meltkin"] or not sum(r[2] for r in rates["meltkin"]):
        sys.exit("\n".join(wrong) or "the questions have no answer here")
    print(f"{blades['meltkin']} blades, {size / 1e6:.0f} MB of CSV; the answers agree: {len(clean['meltkin'])} blades "
          f"out of {lot}, {len(rates['meltkin'])} positions. Processor seconds, and how many times meltkin's:")
    for what, by in figures.items():
        mine = by["meltkin"]
        cells = [f"{who} {used:.3f} ({used / mine:.2f}x)" for who, used in by.items()]
        print(f"{what + ':':<9} {'; '.join(cells)}")
    _, start = often(5, lambda: ours("--version"))
    print(f"of each meltkin question {start:.3f} s is the start of the process; file {store.stat().st_size / 1e6:.0f} MB")


if __name__ == "__main__":
    started = time.monotonic()
    main()
    print(f"in {time.monotonic() - started:.0f} s")
