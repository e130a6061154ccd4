#!/usr/bin/env python3
"""The views of the store as sqlite3, pandas and DuckDB read them, against the bundle that the program exports: every kind has
its view and as many rows; numbers, tags and times are those of the bundle, in each engine. Then the examples of
src/guide/views.md are carried out as they stand there, and must all give the same answer as counting in the bundle by hand.

Usage: compare_views.py [MELTKIN]; else the environment's MELTKIN, else the newest build. Installs pandas and DuckDB, with its
extension for SQLite as a package (DuckDB itself would fetch it from its own site), into a folder of its own.
"""
import contextlib
import csv
import datetime
import io
import math
import os
import pathlib
import re
import sqlite3
import subprocess
import sys
import tempfile
import venv

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
# The extension must be of DuckDB's own version.
PACKAGES = ["duckdb==1.5.5", "duckdb-extension-sqlite-scanner==1.5.5", "pandas>=2", "pytz"]


def target_folder():
    given = os.environ.get("CARGO_TARGET_DIR")
    return pathlib.Path(given) if given else ROOT / "target"


def ensure_packages():
    """Starts over inside an environment that has the engines."""
    base = target_folder() if target_folder().is_dir() else pathlib.Path(tempfile.gettempdir())
    home = base / "views-venv"
    python = home / "bin" / "python"
    if os.environ.get("VIEWS_VENV") == str(home):
        return
    if not (home / "complete").exists():
        print(f"installing the engines under {home}", file=sys.stderr, flush=True)
        venv.create(home, with_pip=True)
        subprocess.run([python, "-m", "pip", "install", "-q", *PACKAGES], check=True)
        (home / "complete").touch()
    os.environ["VIEWS_VENV"] = str(home)
    os.execv(python, [str(python), *sys.argv])


def program():
    given = next(iter(sys.argv[1:]), None) or os.environ.get("MELTKIN")
    if given:
        return str(pathlib.Path(given).resolve())
    found = [p for p in target_folder().glob("*/meltkin") if p.is_file()]
    if not found:
        sys.exit("build meltkin first, or name it: the last argument, or MELTKIN")
    return str(max(found, key=lambda p: p.stat().st_mtime).resolve())


def extension():
    import duckdb_extension_sqlite_scanner as package
    return next(pathlib.Path(package.__path__[0]).rglob("sqlite_scanner.duckdb_extension"))


def duck():
    import duckdb
    db = duckdb.connect()
    db.execute(f"LOAD '{extension()}'")
    return db


def example(name):
    page = (ROOT / "src/guide/views.md").read_text()
    return re.search(rf"^```plain {name}\n(.*?)^```", page, re.M | re.S)[1]


def number(text):
    try:
        return float(text)
    except (TypeError, ValueError):
        return math.nan


def same(a, b):
    """Cells of two engines: nothing is nothing, however it is written; numbers are the same to the last bit."""
    blank = lambda v: v is None or v == "" or (isinstance(v, float) and math.isnan(v))
    if blank(a) or blank(b):
        return blank(a) and blank(b)
    return str(a) == str(b) or number(a) == number(b)


def compare(folder):
    import pandas
    store = f"file:{folder}/store.db?mode=ro"
    lite = sqlite3.connect(store, uri=True)
    other = duck()
    other.execute(f"ATTACH '{folder}/store.db' AS shop (TYPE sqlite, READ_ONLY)")
    cells = times = kinds = 0
    views = {name for (name,) in lite.execute("SELECT name FROM sqlite_schema WHERE type = 'view'")}
    files = {p.stem: list(csv.DictReader(p.open(newline=""))) for p in pathlib.Path(folder, "out").glob("*.csv")}
    if views != {f"v_{kind}" for kind in files}:
        sys.exit(f"views and kinds differ: {views ^ {f'v_{k}' for k in files}}")
    for kind, rows in sorted(files.items()):
        kinds += 1
        cursor = lite.execute(f"SELECT * FROM v_{kind}")
        names = [d[0] for d in cursor.description]
        plain = cursor.fetchall()
        frame = pandas.read_sql(f"SELECT * FROM v_{kind}", lite)
        by_duck = other.execute(f"SELECT * FROM shop.v_{kind}").fetchall()
        assert len(plain) == len(frame) == len(by_duck) == len(rows), f"{kind}: {len(plain)}, {len(frame)}, {len(by_duck)}, {len(rows)} rows"
        for a, b, c in zip(plain, frame.itertuples(index=False), by_duck):
            for name, x, y, z in zip(names, a, b, c):
                assert same(x, y) and same(x, z), f"v_{kind}.{name}: sqlite3 {x!r}, pandas {y!r}, DuckDB {z!r}"
                cells += 1
        # Column by column against the bundle, whatever the order of the rows.
        for name in set(names) & set(next(iter(rows), {})) - {"extra"}:
            at = names.index(name)
            said = [row[at] for row in plain]
            numeric = any(isinstance(v, (int, float)) for v in said)
            given = [row[name] for row in rows]
            if numeric:
                given = [number(v) for v in given]
                said = [number(v) for v in said]
                key = lambda v: (math.isnan(v), v if v == v else 0.0)
                ok = all(same(a, b) for a, b in zip(sorted(said, key=key), sorted(given, key=key)))
            else:
                marks = {"", "n/a", "illegible"}
                bare = lambda v: v.split("@")[0] if f"{name}_revision" in names and isinstance(v, str) else v
                ok = sorted(v for v in said if v not in marks | {None}) == sorted(bare(v) for v in given if v not in marks)
            assert ok, f"v_{kind}.{name} is not what the bundle says"
            stamps = [v for v in said if isinstance(v, str) and re.fullmatch(r"\d{4}-\d\d-\d\dT[\d:.]+[+-]\d\d:\d\d", v)]
            for stamp in stamps[:50]:
                # Every engine takes the text for the instant that it is.
                at_utc = datetime.datetime.fromisoformat(stamp).timestamp()
                assert abs(lite.execute("SELECT unixepoch(?)", [stamp]).fetchone()[0] - at_utc) < 1
                assert pandas.to_datetime(stamp, utc=True).timestamp() == at_utc
                assert other.execute("SELECT epoch(?::TIMESTAMPTZ)", [stamp]).fetchone()[0] == at_utc
                times += 1
    return f"{kinds} views, {cells} cells in three engines, {times} times"


def by_hand(folder):
    """The answer of the examples, counted in the bundle."""
    read = lambda kind: csv.DictReader(pathlib.Path(folder, "out", f"{kind}.csv").open(newline=""))
    heat = {p["mould"]: p["heat"] for p in read("pours")}
    mould = {b["blade"]: b["mould"] for b in read("blades")}
    misrun = {f["inspection"] for f in read("findings") if f["defect"] == "misrun"}
    seen, bad = {}, {}
    for i in read("inspections"):
        if i["method"] == "visual" and mould.get(i["blade"]) in heat:
            of = heat[mould[i["blade"]]]
            seen.setdefault(of, set()).add(i["blade"])
            if i["inspection"] in misrun:
                bad.setdefault(of, set()).add(i["blade"])
    return [(h, len(seen[h]), len(bad.get(h, ()))) for h in sorted(seen)]


def examples(folder):
    expected = by_hand(folder)
    page = (ROOT / "src/guide/views.md").read_text()
    shell = re.search(r"^(sqlite3 .*?ORDER BY p.heat\")$", page, re.M | re.S)[1]
    out = subprocess.run(["bash", "-c", shell], cwd=folder, check=True, capture_output=True, text=True).stdout
    said = [tuple(line.split()) for line in out.splitlines()[2:]]
    assert said == [tuple(map(str, row)) for row in expected], f"sqlite3: {out}"
    names, home = {}, os.getcwd()
    os.chdir(folder)
    try:
        with contextlib.redirect_stdout(io.StringIO()):
            exec(compile(example("pandas"), "views.md", "exec"), names)
        rows = [tuple(r) for r in names["answer"].itertuples(index=False)]
        assert rows == expected, f"pandas: {rows}"
        db = duck()
        # The package stands for what these two lines fetch.
        statements = [s for s in example("duckdb").split(";") if s.strip() and s.split()[0] not in ("INSTALL", "LOAD")]
        attach, rates, weeks = statements
        db.execute(attach)
        assert db.execute(rates).fetchall() == expected, f"DuckDB: {db.execute(rates).fetchall()}"
        means = db.execute(weeks).fetchall()
        assert len(means) > 3 and all(m is None or 1300 < m < 1700 for _, m in means), means
    finally:
        os.chdir(home)
    return f"{len(expected)} heats, the same by hand and by three engines"


def main():
    ensure_packages()
    meltkin = program()
    with tempfile.TemporaryDirectory() as folder:
        around = os.environ | {"MELTKIN_STORE": f"{folder}/store.db", "HOME": folder}
        for words in (["demo", "--no-screen"], ["export", f"{folder}/out"]):
            subprocess.run([meltkin, *words], env=around, check=True, capture_output=True)
        print(compare(folder))
        print(examples(folder))
        # Nothing of this changed the file.
        subprocess.run([meltkin, "verify"], env=around, check=True, capture_output=True)


main()
