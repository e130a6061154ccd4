#!/usr/bin/env python3
"""Two versions of the program on one file: an older one, given as its binary, and this one.

Both write at once: what either acknowledged is there, the older one stops with a sentence once the file
has the newer schema, and the file verifies. Then the older one is stopped at any moment of a write
(SIGSTOP), the newer one migrates the file, and the older one goes on.

Usage: versions.py OLDER_BINARY [--seed N] [--trials N]
Not part of the checks of every change: an older program must be built for it.
"""
import argparse
import csv
import pathlib
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
import time

sys.path.insert(0, str(pathlib.Path(__file__).parent / "disk"))
sys.path.insert(0, str(pathlib.Path(__file__).parent))
import bundle_format
import disk


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("older")
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--trials", type=int, default=200)
    ask = ask.parse_args()
    rng, wrong = random.Random(ask.seed), []
    newer_fields = {kind: [f["name"] for f in fields] for kind, fields in bundle_format.kinds().items()}
    refused = said_old = said_new = 0

    def words(tag):
        return ["log", "filter_lots", f"filter_lot={tag}", "received_at=2031-03-30T00:00:00Z"]

    def older(store, *arguments):
        return subprocess.Popen([ask.older, *arguments], env=disk.environment(store), stdin=subprocess.DEVNULL,
                                stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)

    def holds(store, said, at):
        done = disk.run(store, "verify")
        if done.returncode:
            wrong.append(f"{at}: verify: {done.stdout}{done.stderr}")
        db = sqlite3.connect(store)
        there = {t for (t,) in db.execute("SELECT filter_lot FROM filter_lots")}
        db.close()
        wrong.extend(f"{at}: {t} was acknowledged and is gone" for t in said if t not in there)

    with disk.Scratch() as folder:
        base = folder / "base.db"

        def done(store, *arguments):
            one = older(store, *arguments)
            said = one.communicate()
            if one.returncode:
                sys.exit("".join(said))

        # What the older one knows of the sample: its files and columns.
        done(folder / "bare.db", "new", "--bare")
        done(folder / "bare.db", "export", str(folder / "known"))
        (folder / "bundle").mkdir()
        for file in (folder / "known").glob("*.csv"):
            given = disk.REPO / "sample_data" / file.name
            if given.exists():
                with open(file, newline="") as f:
                    known = next(csv.reader(f))
                with open(given, newline="") as f, open(folder / "bundle" / file.name, "w", newline="") as out:
                    rows = csv.DictReader(f)
                    # A column that the older one does not know and that is none of a kind now is an own field: it stays.
                    gone = set(newer_fields.get(file.stem, [])) - set(known)
                    write = csv.DictWriter(out, [n for n in rows.fieldnames if n not in gone], extrasaction="ignore")
                    write.writeheader()
                    write.writerows(rows)
        done(base, "import", str(folder / "bundle"))
        store = folder / "store.db"
        shutil.copy(base, store)
        said, until = [], time.monotonic() + 4

        def old_writer(w):
            nonlocal refused, said_old
            n = 0
            while time.monotonic() < until:
                one = older(store, *words(f"OLD-{w}-{n}"))
                told = one.communicate()[1]
                if one.returncode == 0:
                    said.append(f"OLD-{w}-{n}")
                    said_old += 1
                elif one.returncode == 3 and "newer" in told:
                    refused += 1
                else:
                    wrong.append(f"the older program: {one.returncode} {told}")
                n += 1

        def new_writer(w):
            nonlocal said_new
            time.sleep(1)
            n = 0
            while time.monotonic() < until:
                done = disk.run(store, *words(f"NEW-{w}-{n}"))
                if done.returncode:
                    wrong.append(f"the newer program: {done.returncode} {done.stderr}")
                else:
                    said.append(f"NEW-{w}-{n}")
                    said_new += 1
                n += 1

        threads = [threading.Thread(target=t, args=(w,)) for w in range(3) for t in (old_writer, new_writer)]
        for t in threads:
            t.start()
        for t in threads:
            t.join()
        holds(store, said, "both at once")
        print(f"both at once: {said_old} entries of the older program, then {refused} refusals; {said_new} entries of the newer")
        # How long a write of the older one takes, to stop it anywhere in it.
        begin = time.monotonic()
        older(base, *words("L-0")).wait()
        takes = time.monotonic() - begin
        across = late = 0
        for n in range(ask.trials):
            for end in ("", "-wal", "-shm"):
                pathlib.Path(f"{store}{end}").unlink(missing_ok=True)
            shutil.copy(base, store)
            one = older(store, *words("L-OLD"))
            time.sleep(rng.random() * takes)
            one.send_signal(signal.SIGSTOP)
            newer = subprocess.Popen([disk.program(), *words("L-NEW")], env=disk.environment(store), stdin=subprocess.DEVNULL,
                                     stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
            try:
                newer.wait(timeout=1)
            except subprocess.TimeoutExpired:
                pass        # the older one holds the lock
            else:
                late += one.poll() is None
            one.send_signal(signal.SIGCONT)
            told, told_new = one.communicate()[1], newer.communicate()[1]
            if newer.returncode:
                wrong.append(f"the newer program: {newer.returncode} {told_new}")
            if one.returncode not in (0, 3) or one.returncode == 3 and "newer" not in told:
                wrong.append(f"the older program: {one.returncode} {told}")
            across += one.returncode == 0
            holds(store, ["L-NEW"] + (["L-OLD"] if one.returncode == 0 else []), "stopped in a write")
        print(f"{ask.trials} writes of the older program stopped on the way: {late} while the newer one migrated and wrote, {across} written all the same")
    print(f"{len(wrong)} failed")
    print("\n".join(wrong[:20]))
    sys.exit(1 if wrong else 0)


main()
