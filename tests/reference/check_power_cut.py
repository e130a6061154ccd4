#!/usr/bin/env python3
"""Power cut: what the program wrote and synced is recorded, and the disk is rebuilt as it may stand
after any of those steps. Every image must open, `verify` must be content, everything acknowledged
must be there, and an import or a copy is wholly there or not at all.

The check proves first that it can see a missing sync: plain SQLite with synchronous = OFF must lose
acknowledged rows in it, and with FULL must not.

Usage: check_power_cut.py [--long] [--seed N] [--seconds S]
"""
import argparse
import json
import pathlib
import random
import sqlite3
import subprocess
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).parent / "disk"))
import disk

HOW = ["nothing", "everything", "some", "torn", "torn", "last"]
CONTROL = """
import sqlite3, sys
sys.path.insert(0, sys.argv[4])
import disk
db = sqlite3.connect(sys.argv[1], isolation_level=None)
db.execute("PRAGMA journal_mode = WAL"); db.execute(f"PRAGMA synchronous = {sys.argv[2]}")
db.execute("CREATE TABLE t (x)")
for n in range(30):
    db.execute("INSERT INTO t VALUES (?)", [n])
    disk.note(sys.argv[3], str(n))
db.close()
"""


def control(folder, shim, sync, rng):
    """Images of plain SQLite that have lost an acknowledged row, of all looked at."""
    root = folder / f"control-{sync}"
    root.mkdir()
    trace = folder / f"control-{sync}.trace"
    subprocess.run([sys.executable, "-c", CONTROL, root / "c.db", sync, trace, str(disk.HERE)], check=True,
                   env=disk.environment(root / "c.db", LD_PRELOAD=shim, DISK_ROOT=str(root), DISK_TRACE=str(trace)))
    state, said, lost, looked = disk.Disk(), 0, 0, 0
    for op, a, b, data in disk.records(trace):
        if op == "A":
            said = int(data) + 1
        else:
            state.feed(op, a, b, data)
        if said:
            image = folder / f"image-{sync}"
            image.mkdir()
            state.image(image, rng, rng.choice(HOW))
            looked += 1
            try:
                db = sqlite3.connect(image / "c.db")
                lost += db.execute("SELECT count(*) FROM t").fetchone()[0] < said
                db.close()
            except sqlite3.Error:
                lost += 1
            disk.shutil.rmtree(image)
    return lost, looked


def work(folder, shim, logs):
    """The recorded work: new, log, import into a store in use, correct, first load, backup, restore in place, log."""
    root, bundle, more = folder / "disk", folder / "bundle", folder / "more"
    for f in (root, bundle, more):
        f.mkdir()
    rows = "".join(f"I-{n},2031-03-30T00:00:00Z,{n % 9 + 12}\n" for n in range(400))
    (bundle / "filter_lots.csv").write_text("filter_lot,received_at,ppi\n" + rows)
    (bundle / "people.csv").write_text("person,role\nOP-9,operator\n")
    trace, store = folder / "trace", root / "store.db"
    recorded = {"LD_PRELOAD": shim, "DISK_ROOT": str(root), "DISK_TRACE": str(trace)}

    def step(said, *arguments, at=store):
        done = disk.run(at, *arguments, **recorded)
        if done.returncode:
            sys.exit(f"{arguments}: {done.returncode} {done.stderr}")
        disk.note(trace, json.dumps(said))

    def log(n):
        step({"tag": f"L-{n}"}, "log", "filter_lots", f"filter_lot=L-{n}", "received_at=2031-03-30T00:00:00Z", "ppi=10")

    step({"store": "store.db"}, "new", "--bare")
    for n in range(logs):
        log(n)
    step({"import": 400}, "import", str(bundle))
    step({"correct": "L-0"}, "correct", "L-0", "ppi=20", "--reason", "read again")
    step({"store": "second.db"}, "import", str(bundle), at=root / "second.db")
    step({"store": "copy.db"}, "backup", str(root / "copy.db"))
    step({"restored": 1}, "restore", str(root / "copy.db"), "--replace")
    for n in range(logs, logs + 3):
        log(n)
    return trace


def judge(image, said):
    """What is wrong with an image, given what was acknowledged."""
    wrong = []
    kept = [p.name for p in image.glob("store.db.replaced-*")]
    if said["restored"] and not kept:
        wrong.append("the replaced store is gone")
    for name in ("store.db", "second.db", "copy.db", *kept):
        path = image / name
        if not path.exists():
            if name in said["stores"]:
                wrong.append(f"{name} is gone")
            continue
        done = disk.run(path, "verify", "--json")
        if done.returncode != 0:
            wrong.append(f"{name}: verify {done.returncode}: {done.stdout}{done.stderr}")
            continue
        db = sqlite3.connect(path)
        tags = dict(db.execute("SELECT filter_lot, ppi FROM filter_lots"))
        db.close()
        came = sum(t.startswith("I-") for t in tags)
        if name == "second.db" and came != 400 or came not in (0, 400):
            wrong.append(f"{name}: half an import, {came} rows")
        if name == "store.db":
            wrong += [f"{t} was acknowledged and is gone" for t in said["tags"] if t not in tags]
            if said["import"] and came != 400:
                wrong.append("the import was acknowledged and is gone")
            if said["correct"] and tags.get("L-0") != 20:
                wrong.append("the correction was acknowledged and is gone")
    return wrong


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("--long", action="store_true")
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--seconds", type=float, help="how long to look at images; all of them with --long")
    ask = ask.parse_args()
    disk.program()
    rng = random.Random(ask.seed)
    failed = 0
    with disk.Scratch() as folder:
        shim = disk.shim(folder)
        lost, looked = control(folder, shim, "OFF", rng)
        print(f"control, synchronous OFF: {lost} of {looked} images lost acknowledged rows (must be many)")
        failed += lost < looked // 4
        lost, looked = control(folder, shim, "FULL", rng)
        print(f"control, synchronous FULL: {lost} of {looked} images lost acknowledged rows (must be none)")
        failed += lost > 0
        steps = list(disk.records(work(folder, shim, 25 if ask.long else 5)))
        points = [i for i, s in enumerate(steps) if s[0] != "A"]
        until = time.monotonic() + (ask.seconds or (100000 if ask.long else 25))
        chosen = {i: (HOW * 2 if ask.long else HOW) for i in points}
        jobs = [(rng.random(), i, how) for i, ways in chosen.items() for how in ways]
        jobs.sort()
        by_point = {}
        for _, i, how in jobs:
            by_point.setdefault(i, []).append(how)
        state, seen, looked = disk.Disk(), set(), 0
        said = {"tags": [], "stores": [], "import": 0, "correct": 0, "restored": 0}
        # Spread over the whole work: the time that is left is shared among the points that are left.
        for i, step in enumerate(steps):
            if step[0] == "A":
                mark = json.loads(step[3])
                if "tag" in mark:
                    said["tags"].append(mark["tag"])
                if "store" in mark:
                    said["stores"].append(mark["store"])
                said["import"] |= "import" in mark
                said["correct"] |= "correct" in mark
                said["restored"] |= "restored" in mark
            else:
                state.feed(*step)
            share = (until - time.monotonic()) / max(1, len(steps) - i)
            stop = time.monotonic() + max(0.0, share) * 4
            for how in by_point.get(i, []):
                if (ask.seconds or not ask.long) and time.monotonic() > stop:
                    continue
                image = folder / "image"
                image.mkdir()
                key = (state.image(image, rng, how), str(said))
                if key not in seen:
                    seen.add(key)
                    looked += 1
                    for wrong in judge(image, said):
                        failed += 1
                        if failed < 20:
                            print(f"FAILED step {i} of {len(steps)} ({step[0]}), {how}: {wrong}")
                disk.shutil.rmtree(image)
        print(f"{len(points)} writes, syncs and names recorded; {looked} different images, "
              f"{len(said['tags'])} entries, an import, a first load, a copy and its restore in them; {failed} failed")
        if looked < 100:
            sys.exit("too few images")
    sys.exit(1 if failed else 0)


main()
