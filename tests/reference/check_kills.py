#!/usr/bin/env python3
"""kill -9 at any moment while entries are logged, files come in and copies are restored: what was acknowledged is there, an
import is there whole or not at all, and `verify` is content.

Usage: check_kills.py [--long] [--seed N]; the long form kills 1,000 times.
"""
import argparse
import pathlib
import random
import sqlite3
import subprocess
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).parent / "disk"))
import disk


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("--long", action="store_true")
    ask.add_argument("--seed", type=int, default=1)
    ask = ask.parse_args()
    rng = random.Random(ask.seed)
    wanted, wrong = (1000 if ask.long else 60), []
    with disk.Scratch() as folder:
        store = folder / "store.db"
        disk.run(store, "new", "--bare")

        def started(n, kind):
            if kind == "restore":
                copy = folder / f"c{n}.db"
                disk.run(store, "backup", str(copy))
                what = ["restore", str(copy), "--replace"]
            elif kind == "log":
                what = ["log", "filter_lots", f"filter_lot=L-{n}", "received_at=2031-03-30T00:00:00Z"]
            else:
                bundle = folder / f"b{n}"
                bundle.mkdir()
                rows = "".join(f"I-{n}-{i},2031-03-30T00:00:00Z\n" for i in range(300))
                (bundle / "filter_lots.csv").write_text("filter_lot,received_at\n" + rows)
                (bundle / "core_lots.csv").write_text(f"core_lot\nC-{n}\n")
                what = ["import", str(bundle)]
            at = folder / f"first-{n}.db" if kind == "first" else store
            return at, subprocess.Popen([disk.program(), *what], env=disk.environment(at), stdin=subprocess.DEVNULL,
                                        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)

        took = {}
        for n, kind in enumerate(["log", "load", "first", "restore"]):
            begin = time.monotonic()
            if started(-n - 1, kind)[1].wait():
                sys.exit(f"{kind} does not work at all")
            took[kind] = time.monotonic() - begin
        kills = n = 0
        done = {"log": [], "load": []}
        tried = {"log": [], "load": []}

        def look():
            verdict = disk.run(store, "verify")
            if verdict.returncode:
                wrong.append(f"after {kills} kills: verify {verdict.returncode}: {verdict.stderr}{verdict.stdout}")
            db = sqlite3.connect(store)
            lots = {t for (t,) in db.execute("SELECT filter_lot FROM filter_lots")}
            cores = {t for (t,) in db.execute("SELECT core_lot FROM core_lots")}
            db.close()
            wrong.extend(f"L-{i} was acknowledged and is gone" for i in done["log"] if f"L-{i}" not in lots)
            for i in tried["load"]:
                have = sum(f"I-{i}-{k}" in lots for k in range(300)) + (f"C-{i}" in cores)
                if have not in (0, 301) or have == 0 and i in done["load"]:
                    wrong.append(f"import {i}: {have} of 301 rows")

        while kills < wanted:
            n += 1
            kind = rng.choice(["log", "log", "load", "first", "restore"])
            at, child = started(n, kind)
            time.sleep(rng.uniform(0, took[kind] * 1.2))
            child.kill()
            code = child.wait()
            kills += code == -9
            if kind == "first":
                if at.exists():     # the rows of the bundle, and the mark of a clock given from outside
                    verdict = disk.run(at, "verify", "--json")
                    if verdict.returncode or '"rows":302' not in verdict.stdout:
                        wrong.append(f"first load {n}: {verdict.stdout}{verdict.stderr}")
                elif code == 0:
                    wrong.append(f"first load {n} was acknowledged and is gone")
                # What an interrupted load left is taken away by the next one.
                disk.run(at, "import", str(folder / f"b{n}"))
                left = [p.name for p in folder.glob(f"first-{n}.db.loading-*")]
                if left:
                    wrong.append(f"left behind: {left}")
                at.unlink(missing_ok=True)
            elif kind == "restore":
                # It goes on from the store: nothing is lost with it, whenever it is stopped; what it kept is whole.
                for kept in folder.glob("store.db.replaced-*"):
                    if disk.run(kept, "verify").returncode:
                        wrong.append(f"restore {n}: {kept.name} does not verify")
                    kept.unlink()
                (folder / f"c{n}.db").unlink()
            else:
                tried[kind].append(n)
                if code == 0:
                    done[kind].append(n)
            if n % 10 == 0:
                look()
        look()
    print(f"{kills} kills in {n} runs; {len(done['log'])} entries and {len(done['load'])} imports acknowledged "
          f"between them; {len(wrong)} failed")
    print("\n".join(wrong[:20]))
    sys.exit(1 if wrong else 0)


main()
