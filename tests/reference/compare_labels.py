#!/usr/bin/env python3
"""Reads the labels of meltkin with another library's Data Matrix reader (zxing-cpp): the code as
JSON, as half blocks on a dark screen, and as the rectangles of the SVG sheet.

Usage: compare_labels.py [MELTKIN]
"""

import json
import os
import pathlib
import re
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
    env = dict(os.environ, MELTKIN_STORE=str(folder / "s.db"), MELTKIN_NOW="2031-04-01T00:00:00+00:00")
    done = subprocess.run([binary, *arguments], cwd=folder, env=env, capture_output=True, text=True, timeout=120)
    if done.returncode:
        sys.exit(f"{arguments}: exit {done.returncode}\n{done.stderr}")
    return done.stdout


TAGS = ["M31-041", "M31-041-6", "IL31-03", "WP31-07B", "a/b_c.d", "X" * 40, "0123456789", "Q", "RV-31#4+x"]


def image(rows, scale=6, quiet=4):
    """Dark is 1."""
    import numpy as np

    dark = np.array([[int(c) for c in row] for row in rows], dtype=np.uint8)
    return np.kron(255 - 255 * np.pad(dark, quiet), np.ones((scale, scale), dtype=np.uint8)).astype(np.uint8)


def read(rows):
    import zxingcpp

    found = zxingcpp.read_barcodes(image(rows))
    return [(b.format.name if hasattr(b.format, "name") else str(b.format), b.text) for b in found]


def from_screen(text, width):
    """Light modules are lit on a dark screen."""
    rows = []
    for line in text:
        line = line.ljust(width)
        rows.append("".join("0" if c in "█▀" else "1" for c in line))
        rows.append("".join("0" if c in "█▄" else "1" for c in line))
    return rows


def from_svg(text, size):
    """The first code of a sheet: `Mx yhNv1h-Nz` for each run of dark modules."""
    path = re.search(r' d="([^"]+)"', text).group(1)
    rows = [["0"] * size for _ in range(size)]
    for x, y, n in re.findall(r"M(\d+) (\d+)h(\d+)v1", path):
        for i in range(int(n)):
            rows[int(y)][int(x) + i] = "1"
    return ["".join(r) for r in rows]


def main():
    ensure_packages()
    binary, bad = program(), 0
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        run(binary, folder, "new", "--bare")
        for tag in TAGS:
            code = json.loads(run(binary, folder, "label", "--new", "--json", tag))["labels"][0]["code"]
            os.environ["LC_ALL"] = "C.UTF-8"
            os.environ["NO_COLOR"] = "1"
            os.environ["TERM"] = "xterm"
            lines = run(binary, folder, "label", "--new", tag).split("\n")
            at = lines.index(tag)
            n = (len(code) + 4 + 1) // 2
            screen = from_screen(lines[at - n : at], len(code) + 4)
            run(binary, folder, "label", "--new", tag, "--svg", "l.svg", "--size", "100x50", "--replace")
            svg = from_svg((folder / "l.svg").read_text(), len(code))
            for how, rows in (("json", code), ("screen", screen), ("svg", svg)):
                seen = read(rows)
                if len(seen) != 1 or seen[0][1] != tag or "Matrix" not in seen[0][0]:
                    bad += 1
                    print(f"FAILED {tag} {how}: {seen}")
    print(f"labels: {3 * len(TAGS) - bad} passed, {bad} failed")
    sys.exit(1 if bad else 0)


main()
