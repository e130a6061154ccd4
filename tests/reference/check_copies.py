#!/usr/bin/env python3
"""The loop of src/guide/copies.md, taken from the page, copies a store while four terminals write; the
newest copy is restored, verifies, and holds every entry acknowledged before that copy began."""
import os
import pathlib
import re
import signal
import sqlite3
import subprocess
import sys
import threading
import time

sys.path.insert(0, str(pathlib.Path(__file__).parent / "disk"))
import disk


def main():
    page = (disk.REPO / "src/guide/copies.md").read_text()
    loop = re.search(r"(    #!/bin/sh\n.*?\n    done\n)", page, re.S).group(1)
    loop = "".join(line[4:] + "\n" for line in loop.splitlines())
    wrong, said = [], []
    with disk.Scratch() as folder:
        store, copies, tools = folder / "store.db", folder / "copies", folder / "tools"
        copies.mkdir()
        tools.mkdir()
        (tools / "meltkin").symlink_to(pathlib.Path(disk.program()).resolve())
        (folder / "copies.sh").write_text(loop)
        made = disk.run(store, "new", "--bare")
        if made.returncode:
            sys.exit(made.stderr)
        until = time.monotonic() + 6
        environment = disk.environment(store) | {"PATH": f"{tools}:{os.environ['PATH']}"}
        copier = subprocess.Popen(["sh", folder / "copies.sh", copies, "1"], env=environment, start_new_session=True,
                                  stderr=subprocess.PIPE, text=True)

        def writer(w):
            n = 0
            while time.monotonic() < until:
                done = disk.run(store, "log", "filter_lots", f"filter_lot=W-{w}-{n}", "received_at=2031-03-30T00:00:00Z")
                if done.returncode:
                    wrong.append(f"write: {done.stderr}")
                else:
                    said.append((time.time(), f"W-{w}-{n}"))
                n += 1

        threads = [threading.Thread(target=writer, args=(w,)) for w in range(4)]
        for t in threads:
            t.start()
        for t in threads:
            t.join()
        time.sleep(2)
        os.killpg(copier.pid, signal.SIGTERM)
        told = copier.communicate()[1]
        if "no copy" in told:
            wrong.append(told)
        newest = (copies / "newest.db").resolve()
        began = time.mktime(time.strptime(newest.name, "store-%Y%m%dT%H%M%SZ.db")) - time.timezone
        back = folder / "back.db"
        done = disk.run(back, "restore", str(newest))
        if done.returncode or disk.run(back, "verify").returncode:
            wrong.append(f"restore: {done.stderr}")
        else:
            db = sqlite3.connect(back)
            there = {t for (t,) in db.execute("SELECT filter_lot FROM filter_lots")}
            before = [t for at, t in said if at < began]
            wrong += [f"{t} was acknowledged before the copy began and is not in it" for t in before if t not in there]
            print(f"{len(list(copies.glob('store-*.db')))} copies while {len(said)} entries were written; the newest holds {len(there)}")
        # A store in use is not replaced, and an older copy asks for the word and for quality.
        disk.run(store, "log", "people", "person=QL-01", "role=quality")
        held = sqlite3.connect(store)
        held.execute("SELECT count(*) FROM journal").fetchone()
        done = disk.run(store, "restore", str(newest), "--replace")
        if done.returncode != 2 or "--older" not in done.stderr:
            wrong.append(f"an older copy was not refused: {done.returncode} {done.stderr}")
        older = ["restore", str(newest), "--replace", "--older", "--as", "QL-01"]
        done = disk.run(store, *older)
        if done.returncode != 3 or "open" not in done.stderr:
            wrong.append(f"a store in use was replaced: {done.returncode} {done.stderr}")
        held.close()
        done = disk.run(store, *older)
        if done.returncode or disk.run(store, "verify").returncode:
            wrong.append(f"replace: {done.stderr}")
    print(f"{len(wrong)} failed")
    print("\n".join(wrong[:20]))
    sys.exit(1 if wrong else 0)


main()
