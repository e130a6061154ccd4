#!/usr/bin/env python3
"""The replication of src/guide/copies.md, its two commands taken from the page: Litestream copies a store
while four terminals write, another reads and files come in; it is killed on the way and started again; then
everything is killed and the store is lost.

What comes back must verify, must hold every entry acknowledged three seconds before the end, and its
journal must be the beginning of the lost one's. `verify` and `backup` must accept the store while it is
replicated, and a table of another shape under the names of Litestream's must be a fault all the same.
"""
import json
import os
import pathlib
import re
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
import venv

sys.path.insert(0, str(pathlib.Path(__file__).parent / "disk"))
import disk

HERE = pathlib.Path(__file__).resolve().parent


def litestream():
    """The program, in an environment of its own."""
    given = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", disk.REPO / "target"))
    home = (given if given.is_dir() else pathlib.Path(tempfile.gettempdir())) / "replication-venv"
    if not (home / "complete").exists():
        print(f"installing Litestream under {home}", file=sys.stderr, flush=True)
        venv.create(home, with_pip=True)
        wanted = HERE / "replication_requirements.txt"
        subprocess.run([home / "bin/python", "-m", "pip", "install", "-q", "-r", wanted], check=True)
        (home / "complete").touch()
    return str(home / "bin/litestream")


def main():
    tool, page = litestream(), (disk.REPO / "src/guide/copies.md").read_text()
    wrong, said, reads = [], [], [0]
    with disk.Scratch() as folder:
        store, copy, back = folder / "store.db", folder / "other", folder / "back.db"
        names = {"litestream": tool, "/var/lib/meltkin/store.db": str(store), "/mnt/other/meltkin": str(copy), "back.db": str(back)}

        def command(verb):
            line = re.search(rf"^    (litestream {verb} .*)$", page, re.M).group(1)
            words = [names.get(w, w) for w in line.split()]
            return [names["litestream"], *(w.replace("/mnt/other/meltkin", str(copy)) for w in words[1:])]

        def replicating():
            return subprocess.Popen(command("replicate"), stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)

        def must(at, *arguments):
            done = disk.run(at, *arguments)
            if done.returncode:
                wrong.append(f"{arguments}: {done.returncode} {done.stdout}{done.stderr}")
            return done

        must(store, "import", str(disk.REPO / "sample_data"))
        more = folder / "more"
        more.mkdir()
        (more / "filter_lots.csv").write_text("filter_lot,received_at\n" + "".join(f"I-{n},2031-03-30T00:00:00Z\n" for n in range(3000)))
        side = replicating()
        time.sleep(1)
        ends, lost = time.monotonic() + 9, threading.Event()

        def terminal(w):
            n = 0
            while not lost.is_set() and time.monotonic() < ends:
                if w == 9:
                    must(store, "trace", "M31-070-1")
                    reads[0] += 1
                    time.sleep(0.2)
                elif must(store, "log", "filter_lots", f"filter_lot=W-{w}-{n}", "received_at=2031-03-30T00:00:00Z").returncode == 0:
                    said.append((time.monotonic(), f"W-{w}-{n}"))
                n += 1

        threads = [threading.Thread(target=terminal, args=(w,)) for w in (0, 1, 2, 3, 9)]
        for t in threads:
            t.start()
        time.sleep(2)
        must(store, "import", str(more), "--as", "QL-01")
        said.append((time.monotonic(), "I-2999"))
        side.kill()
        side.wait()
        time.sleep(1)
        side = replicating()
        time.sleep(2)
        must(store, "verify")
        must(store, "backup", str(folder / "copy.db"))
        for t in threads:
            t.join()
        ended = time.monotonic()
        side.kill()
        side.wait()
        hashes = dict(sqlite3.connect(store).execute("SELECT seq, hash FROM journal"))
        # The machine is lost: the file, its log, and what Litestream keeps beside it.
        for left in folder.glob("*store.db*"):
            shutil.rmtree(left) if left.is_dir() else left.unlink()
        came = subprocess.run(command("restore"), capture_output=True, text=True, timeout=60)
        if came.returncode:
            sys.exit(f"restore: {came.stdout}{came.stderr}")
        must(store, "restore", str(back))
        head = json.loads(must(store, "verify", "--json").stdout)
        if hashes.get(head["entries"]) != head["head"]:
            wrong.append("the journal that came back is not the beginning of the lost one")
        db = sqlite3.connect(store)
        there = {t for (t,) in db.execute("SELECT filter_lot FROM filter_lots")}
        db.close()
        wrong += [f"{t} was acknowledged {ended - at:.1f} s before the end and is gone" for at, t in said if at < ended - 3 and t not in there]
        missing = [ended - at for at, t in said if t not in there]
        must(store, "log", "filter_lots", "filter_lot=AFTER", "received_at=2031-03-30T00:00:00Z")
        must(store, "trace", "M31-070-1")
        print(f"{len(said)} entries and imports, {reads[0]} reads beside the copying; of them {len(missing)} lost with the machine, "
              f"the oldest of these {max(missing, default=0):.1f} s before it")
        db = sqlite3.connect(store)
        db.execute("DROP TABLE IF EXISTS _litestream_lock")
        db.execute("CREATE TABLE _litestream_lock (id INTEGER, more TEXT)")
        db.commit()
        db.close()
        if disk.run(store, "verify").returncode != 1:
            wrong.append("a table of another shape under Litestream's name was taken")
    print(f"{len(wrong)} failed")
    print("\n".join(w[:300] for w in wrong[:20]))
    sys.exit(1 if wrong else 0)


main()
