#!/usr/bin/env python3
"""Compares `meltkin calc` with numpy, scipy and statsmodels on random inputs of fixed seeds.

Usage: compare_calc.py [MELTKIN] [--only COMMAND,...] [--jobs N]

The binary is the first argument, or MELTKIN in the environment, or the newest one under the cargo target
folder. Cases come from the `cases_*.py` beside this file: each has functions marked with
`@command("name")` that yield `Case`s. A line for every command, then `N passed, M failed`; the exit code is
1 where something differs. Where the reference packages are missing, the script makes an environment of
its own under the target folder (or the system's temporary folder) and installs them there.
"""

import importlib.util
import json
import math
import os
import pathlib
import subprocess
import sys
import tempfile
import time
import venv
from concurrent.futures import ThreadPoolExecutor

HERE = pathlib.Path(__file__).resolve().parent
ROOT = HERE.parent.parent


def target_folder():
    given = os.environ.get("CARGO_TARGET_DIR")
    return pathlib.Path(given) if given else ROOT / "target"


def ensure_packages():
    """Starts over inside an environment that has the reference packages."""
    if all(importlib.util.find_spec(name) for name in ("numpy", "scipy", "statsmodels")):
        return
    base = target_folder()
    if not base.is_dir():
        base = pathlib.Path(tempfile.gettempdir())
    home = base / "reference-venv"
    python = home / "bin" / "python"
    if os.environ.get("REFERENCE_VENV") == str(home):
        sys.exit(f"the reference packages are still missing in {home}")
    if not (home / "complete").exists():
        print(f"installing the reference packages under {home}", file=sys.stderr, flush=True)
        venv.create(home, with_pip=True)
        subprocess.run([python, "-m", "pip", "install", "-q", "-r", HERE / "requirements.txt"], check=True)
        (home / "complete").touch()
    os.environ["REFERENCE_VENV"] = str(home)
    os.execv(python, [str(python), *sys.argv])


class Case:
    """One call of `calc` and what must come out.

    args: the arguments after `calc`; `FILE` stands for the CSV given as text in `csv`.
    want: figures by key; None where the answer must be null. Lists and dicts are compared inside.
    rel: relative tolerance, or one for a key in `rels`; below `floor` the distance is absolute.
    refused: the call must end with exit code 2, a sentence, and nothing on standard output.
    """

    def __init__(self, args, want=None, csv=None, rel=1e-9, rels=None, floor=1e-13, refused=False):
        self.args = [str(a) for a in args]
        self.want, self.csv, self.rel, self.rels = want or {}, csv, rel, rels or {}
        self.floor, self.refused = floor, refused


COMMANDS = {}


def command(name):
    """Marks a generator of cases of one `calc` command."""

    def mark(function):
        COMMANDS.setdefault(name, []).append(function)
        return function

    return mark


def csv_text(header, rows):
    """A CSV with every double written so that it reads back the same."""
    cell = lambda v: repr(float(v)) if hasattr(v, "dtype") and v.dtype.kind == "f" else str(v)
    return "\n".join([",".join(header), *(",".join(cell(v) for v in row) for row in rows)]) + "\n"


def differs(want, got, rel, floor, path):
    """The first difference as a sentence, or None."""
    if isinstance(want, dict):
        for key, value in want.items():
            if not isinstance(got, dict) or key not in got:
                return f"{path}.{key} is missing"
            found = differs(value, got[key], rel, floor, f"{path}.{key}")
            if found:
                return found
        return None
    if isinstance(want, (list, tuple)):
        if not isinstance(got, list) or len(got) != len(want):
            return f"{path}: {got} instead of {list(want)}"
        for i, (w, g) in enumerate(zip(want, got)):
            found = differs(w, g, rel, floor, f"{path}[{i}]")
            if found:
                return found
        return None
    if want is None or got is None or isinstance(want, str):
        return None if want == got else f"{path}: {got} instead of {want}"
    want = float(want)
    if not math.isfinite(want):
        return f"{path}: the reference gives {want}; mend the case"
    room = max(rel * abs(want), floor)
    return None if abs(got - want) <= room else f"{path}: {got!r} instead of {want!r}"


def run(binary, folder, number, case):
    args = case.args
    if case.csv is not None:
        path = folder / f"{number}.csv"
        path.write_text(case.csv)
        args = [str(path) if a == "FILE" else a for a in args]
    try:
        done = subprocess.run([binary, "--json", "calc", *args], capture_output=True, text=True, timeout=30)
    except subprocess.TimeoutExpired:
        return "does not return"
    if case.refused:
        told = list(json.loads(done.stdout or "{}")) == ["error", "kind", "meltkin"]
        right = done.returncode == 2 and told and done.stderr.strip() and "panicked" not in done.stderr
        return None if right else f"exit {done.returncode}, {done.stdout}{done.stderr} instead of a refusal"
    if done.returncode != 0:
        return f"exit {done.returncode}: {done.stderr.strip()}"
    got = json.loads(done.stdout)
    for key, value in case.want.items():
        if key not in got:
            return f"{key} is missing"
        found = differs(value, got[key], case.rels.get(key, case.rel), case.floor, key)
        if found:
            return found
    return None


def main():
    arguments = sys.argv[1:]
    sys.dont_write_bytecode = True  # no caches beside the cases
    jobs, only, binary = os.cpu_count() or 2, None, os.environ.get("MELTKIN")
    while arguments:
        word = arguments.pop(0)
        if word == "--jobs":
            jobs = int(arguments.pop(0))
        elif word == "--only":
            only = arguments.pop(0).split(",")
        else:
            binary = word
    if not binary:
        built = [p for p in target_folder().glob("*/meltkin") if p.is_file()]
        if not built:
            sys.exit("no meltkin under the target folder; build it, or name it as the first argument")
        binary = max(built, key=lambda p: p.stat().st_mtime)
    sys.modules["compare_calc"] = sys.modules["__main__"]
    sys.path.insert(0, str(HERE))
    for path in sorted(HERE.glob("cases_*.py")):
        importlib.import_module(path.stem)
    import numpy

    passed = failed = 0
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(jobs) as pool:
        folder = pathlib.Path(folder)
        for name, functions in COMMANDS.items():
            if only and name not in only:
                continue
            start = time.monotonic()
            cases = []
            for i, function in enumerate(functions):
                # a stream of its own for every generator, so that adding one moves no other
                seed = [sum(map(ord, name)), i, 20240101]
                cases += list(function(numpy.random.default_rng(seed)))
            found = list(pool.map(lambda p: run(binary, folder, *p), enumerate(cases)))
            bad = [(case, what) for case, what in zip(cases, found) if what]
            passed, failed = passed + len(cases) - len(bad), failed + len(bad)
            seconds = time.monotonic() - start
            print(f"{name:<12} {len(cases) - len(bad):>4} passed {len(bad):>4} failed  {seconds:5.1f} s", flush=True)
            for case, what in bad[:3]:
                print(f"    {' '.join(case.args)}: {what}")
                if case.csv is not None:
                    print("      " + "\n      ".join(case.csv.splitlines()[:6]))
    print(f"{passed} passed, {failed} failed")
    sys.exit(1 if failed or not passed else 0)


if __name__ == "__main__":
    ensure_packages()
    import importlib

    main()
