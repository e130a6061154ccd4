#!/usr/bin/env python3
"""Writes sample_data/: the invented foundry, as a bundle, from the outcomes in demo_core/.

Everything is invented. The outcomes (which blade was rejected where, the readings of the slurry and the
pyrometer checks) are kept in demo_core/; the modules under foundry/ add the records of all other stations
around them, with fixed seeds. What truly went wrong is not among them: only what a foundry could have
written down. Standard library only; the same bytes on every machine. check_sample_data.py holds the result.

Usage: make_sample_data.py [FOLDER]
"""
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))
sys.dont_write_bytecode = True

from foundry import book, definitions, hot, inspect, metal, release, shell  # noqa: E402


def main():
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE.parent.parent / "sample_data"
    for room in (definitions, metal, shell, hot, inspect, release):
        room.write()
    for table, rows in book.write(folder).items():
        print(f"{table} {rows}")


if __name__ == "__main__":
    main()
