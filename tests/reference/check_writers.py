#!/usr/bin/env python3
"""Sixteen terminals write to one store at once, each entry by a process of its own, while others read:
no write fails, no read fails, every acknowledged entry is there and the journal is whole.

Usage: check_writers.py [--long]; the long form lasts 30 s, the short one 5 s.
"""
import argparse
import json
import pathlib
import sqlite3
import sys
import threading
import time

sys.path.insert(0, str(pathlib.Path(__file__).parent / "disk"))
import disk


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("--long", action="store_true")
    last = 30 if ask.parse_args().long else 5
    with disk.Scratch() as folder:
        store, wrong, said, waits, reads = folder / "store.db", [], [], [], [0]
        made = disk.run(store, "import", str(disk.REPO / "sample_data"))
        if made.returncode:
            sys.exit(made.stderr)
        before = json.loads(disk.run(store, "verify", "--json").stdout)["entries"]
        until = time.monotonic() + last

        def writer(w):
            n = 0
            while time.monotonic() < until:
                tag, begin = f"W-{w}-{n}", time.monotonic()
                done = disk.run(store, "log", "filter_lots", f"filter_lot={tag}", "received_at=2031-03-30T00:00:00Z")
                waits.append(time.monotonic() - begin)
                if done.returncode:
                    wrong.append(f"write {tag}: {done.returncode} {done.stderr}")
                else:
                    said.append(tag)
                n += 1

        def reader(r):
            ways = [["trace", "M31-070"], ["verify"], ["shift"], ["show", "M31-070"], ["contain", "PS31-05"]]
            n = r
            while time.monotonic() < until:
                done = disk.run(store, *ways[n % len(ways)])
                if done.returncode:
                    wrong.append(f"read {ways[n % len(ways)]}: {done.returncode} {done.stderr}")
                reads[0] += 1
                n += 1

        threads = [threading.Thread(target=writer, args=(w,)) for w in range(16)]
        threads += [threading.Thread(target=reader, args=(r,)) for r in range(3)]
        for t in threads:
            t.start()
        for t in threads:
            t.join()
        after = json.loads(disk.run(store, "verify", "--json").stdout)
        db = sqlite3.connect(store)
        there = {t for (t,) in db.execute("SELECT filter_lot FROM filter_lots")}
        wrong += [f"{t} was acknowledged and is gone" for t in said if t not in there]
        if not after["ok"] or after["entries"] != before + len(said):
            wrong.append(f"journal: {before} + {len(said)} entries, {after}")
    waits.sort()
    print(f"16 writers, {last} s: {len(said)} entries, {reads[0]} reads; a whole process that writes took "
          f"{waits[len(waits) // 2] * 1000:.0f} ms in the middle, {waits[-1] * 1000:.0f} ms at worst; {len(wrong)} failed")
    print("\n".join(wrong[:20]))
    sys.exit(1 if wrong else 0)


main()
