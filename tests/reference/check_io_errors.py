#!/usr/bin/env python3
"""The n-th write, sync, read, opening, truncation, change of a name, lock, mapping, look at a file or
allocation fails: an exit code of 3 or 2 with a sentence or the work done all the same, the file
verifies, and nothing is half written.

Allocations are tried twice: those that SQLite makes alone (a program with its symbols tells which they
are), where there must be a sentence too; and all of them. Where the program's own memory runs out it ends
at once by SIGABRT with a sentence of the language's runtime; the file is held to the same.

Usage: check_io_errors.py [--long] [--seed N] [--seconds S]
"""
import argparse
import collections
import errno
import pathlib
import random
import shutil
import sqlite3
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).parent / "disk"))
import disk

ERRORS = {
    "read": [errno.EIO],
    "lock": [errno.EIO],
    "stat": [errno.EIO, errno.EACCES],
    "map": [errno.ENOMEM, errno.EIO],
    "memory": [errno.ENOMEM],
    "sqlite": [errno.ENOMEM],
}


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("--long", action="store_true")
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--seconds", type=float, help="how long to go on")
    ask = ask.parse_args()
    rng = random.Random(ask.seed)
    wrong, ran, told, aborted, unharmed, by_kind = [], 0, 0, 0, 0, collections.Counter()
    with disk.Scratch() as folder:
        shim, where = disk.shim(folder), disk.sqlite_in(disk.program())
        base = folder / "base.db"
        disk.run(base, "new", "--bare")
        disk.run(base, "log", "filter_lots", "filter_lot=L-0", "received_at=2031-03-30T00:00:00Z", "ppi=10")
        more = folder / "more"
        more.mkdir()
        rows = "".join(f"I-{n},2031-03-30T00:00:00Z\n" for n in range(300))
        (more / "filter_lots.csv").write_text("filter_lot,received_at\n" + rows)
        root = folder / "disk"
        store = root / "store.db"
        # What to do, and how the store shows that it was done.
        jobs = {
            "log": (["log", "filter_lots", "filter_lot=L-1", "received_at=2031-03-30T00:00:00Z"], True),
            "import": (["import", str(more)], True),
            "correct": (["correct", "L-0", "ppi=20", "--reason", "read again"], True),
            "first load": (["import", str(more)], False),
            "backup": (["backup", str(root / "copy.db")], True),
            "show": (["show", "L-0"], True),
            "restore": (["restore", str(base), "--replace"], True),
        }

        def fresh(there):
            shutil.rmtree(root, ignore_errors=True)
            root.mkdir()
            if there:
                shutil.copy(base, store)

        def state():
            if not store.exists():
                return None
            db = sqlite3.connect(store)
            out = db.execute("SELECT filter_lot, ppi FROM filter_lots ORDER BY 1").fetchall()
            db.close()
            return out

        plans = []
        for name, (arguments, there) in jobs.items():
            fresh(there)
            old = state()
            done = disk.run(store, *arguments, LD_PRELOAD=shim, DISK_ROOT=str(root), DISK_COUNT=str(folder / "count"), **where)
            if done.returncode:
                sys.exit(f"{name} does not work at all: {done.stderr}")
            new = state()
            for line in (folder / "count").read_text().splitlines():
                kind, n = line.split()
                points = list(range(1, int(n) + 1))
                most = {"memory": 3000 if ask.long else 25, "sqlite": 3000 if ask.long else 25}.get(kind, 2000 if ask.long else 12)
                if len(points) > most:
                    points = rng.sample(points, most)
                plans += [(name, kind, p, old, new, "") for p in points]
                # Locks that fail from then on cost ten seconds each: SQLite tries again for so long.
                kept = points if kind != "lock" else rng.sample(points, min(len(points), 6)) if ask.long else []
                plans += [(name, kind, p, old, new, ":STAY") for p in kept]
        rng.shuffle(plans)
        # The kinds take turns: there are hundreds of allocations for each lock or change of a name.
        turn = collections.Counter()
        order = []
        for plan in plans:
            turn[plan[1]] += 1
            order.append((turn[plan[1]], len(order), plan))
        plans = [plan for _, _, plan in sorted(order, key=lambda o: o[:2])]
        until = time.monotonic() + (ask.seconds or (3000 if ask.long else 25))
        for name, kind, point, old, new, stay in plans:
            if time.monotonic() > until:
                break
            arguments, there = jobs[name]
            fresh(there)
            number = rng.choice(ERRORS.get(kind, [errno.EIO, errno.ENOSPC]))
            done = disk.run(store, *arguments, LD_PRELOAD=shim, DISK_ROOT=str(root), DISK_FAIL=f"{kind}:{point}:{number}{stay}", **where)
            ran += 1
            by_kind[kind] += 1
            at = f"{name}, {kind} {point}{stay} {errno.errorcode[number]}: exit {done.returncode} {done.stderr.strip()}"
            told += done.returncode in (2, 3)
            unharmed += done.returncode == 0
            if kind == "memory" and done.returncode == -6:
                aborted += 1
            elif done.returncode not in (0, 2, 3) or "panicked" in done.stderr:
                wrong.append(f"{at} {done.stdout}")
            elif done.returncode and not done.stderr.startswith("meltkin: "):
                wrong.append(f"no sentence: {at}")
            try:
                now = state()
            except sqlite3.Error as e:
                wrong.append(f"{at}: {e}")
                continue
            if now != (new if done.returncode == 0 else old) and not (done.returncode == -6 and now == new):
                wrong.append(f"{'acknowledged and not' if done.returncode == 0 else 'refused and yet'} written: {at}")
            for file in (store, root / "copy.db"):
                if file.exists():
                    verdict = disk.run(file, "verify")
                    if verdict.returncode:
                        wrong.append(f"{at}: then verify of {file.name}: {verdict.stderr}{verdict.stdout}")
    print(f"{ran} of {len(plans)} failing calls: {told} told with a sentence, {unharmed} did no harm, {aborted} ended for want of "
          f"memory; {len(wrong)} failed")
    print(", ".join(f"{n} of {kind}" for kind, n in sorted(by_kind.items())))
    print("\n".join(wrong[:30]))
    sys.exit(1 if wrong else 0)


main()
