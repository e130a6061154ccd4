#!/usr/bin/env python3
"""Reads the spreadsheets of meltkin with another library (openpyxl) and holds every cell against the
CSVs of a bundle of the same records.

Usage: compare_sheets.py [MELTKIN]
"""

import csv
import datetime
import json
import os
import pathlib
import subprocess
import sys
import tempfile
import venv

HERE = pathlib.Path(__file__).resolve().parent
ROOT = HERE.parent.parent


def target_folder():
    given = os.environ.get("CARGO_TARGET_DIR")
    return pathlib.Path(given) if given else ROOT / "target"


def ensure_packages():
    """Starts over inside an environment that has the readers."""
    base = target_folder() if target_folder().is_dir() else pathlib.Path(tempfile.gettempdir())
    home = base / "labels-venv"
    python = home / "bin" / "python"
    if os.environ.get("LABELS_VENV") == str(home):
        return
    if not (home / "complete").exists():
        print(f"installing the readers under {home}", file=sys.stderr, flush=True)
        venv.create(home, with_pip=True)
        wanted = HERE / "labels_requirements.txt"
        subprocess.run([python, "-m", "pip", "install", "-q", "-r", wanted], check=True)
        (home / "complete").touch()
    os.environ["LABELS_VENV"] = str(home)
    os.execv(python, [str(python), *sys.argv])


def program():
    given = sys.argv[1:2] or [os.environ.get("MELTKIN")]
    if given[0]:
        return pathlib.Path(given[0]).resolve()
    found = [p for p in target_folder().glob("*/meltkin") if p.is_file()]
    if not found:
        sys.exit("build meltkin first, or name it: the first argument, or MELTKIN")
    return max(found, key=lambda p: p.stat().st_mtime)


def run(binary, folder, *arguments):
    env = dict(os.environ, MELTKIN_STORE=str(folder / "s.db"), MELTKIN_NOW="2031-05-26T08:00:00+00:00")
    done = subprocess.run([binary, *arguments], cwd=folder, env=env, capture_output=True, text=True, timeout=120)
    if done.returncode:
        sys.exit(f"{arguments}: exit {done.returncode}\n{done.stderr}")
    return done.stdout


def same(cell, text, header):
    """A cell of the sheet against the text of the bundle."""
    value = cell.value
    if text == "":
        return value is None
    if cell.data_type == "f":
        return False
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return float(text) == float(value)
    if isinstance(value, datetime.datetime):
        try:
            wanted = datetime.datetime.fromisoformat(text).replace(tzinfo=None)
        except ValueError:
            return False
        return abs((value - wanted).total_seconds()) < 0.002
    if isinstance(value, str):
        # A bundle puts an apostrophe before what a spreadsheet would run; the sheet does not.
        return value == text or (text.startswith("'") and value == text[1:])
    return False


def main():
    ensure_packages()
    import openpyxl

    binary, bad, cells = program(), 0, 0
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        run(binary, folder, "import", str(ROOT / "sample_data"))
        for tag, note in (("H-A", '=cmd|"x"!A1'), ("H-B", "+1"), ("H-C", "-2"), ("H-D", "@sum(1)")):
            run(binary, folder, "log", "heats", f"heat={tag}", "alloy=QA-713/3", "furnace=F9", f"note={note}")
        run(binary, folder, "export", "bundle")
        run(binary, folder, "export", "--xlsx", "all.xlsx")
        book = openpyxl.load_workbook(folder / "all.xlsx")
        for sheet in book.worksheets:
            with open(folder / "bundle" / f"{sheet.title}.csv", newline="", encoding="utf-8") as f:
                wanted = list(csv.DictReader(f))
            rows = list(sheet.iter_rows())
            header = [c.value for c in rows[0]]
            if len(rows) - 1 != len(wanted):
                bad += 1
                print(f"FAILED {sheet.title}: {len(rows) - 1} rows, {len(wanted)} in the bundle")
            # Rows of a bundle and of a sheet stand in the same order.
            for row, record in zip(rows[1:], wanted):
                for cell, title in zip(row, header):
                    cells += 1
                    field = title.removesuffix(" (text)")
                    if not same(cell, record[field], title):
                        bad += 1
                        if bad < 20:
                            print(f"FAILED {sheet.title}!{cell.coordinate} {cell.value!r}, {record[field]!r}")
    print(f"sheets: {cells - bad} cells passed, {bad} failed")
    sys.exit(1 if bad else 0)


main()
