#!/usr/bin/env python3
"""Files as they should not be: single flipped bits, noise over pages, cut files, a spoilt log, a full
disk, no permission, a clock that goes back. An answer is the right one, or there is a sentence and
exit 3; never a panic, never another answer.

Bits are flipped twice: before the first answer of a day, where every command must be right or refuse;
and after the day's check, where `show` must, and where wrong answers of the others are counted.

Usage: check_damage.py [--long] [--seed N]
"""
import argparse
import datetime
import json
import os
import pathlib
import random
import resource
import shutil
import signal
import sqlite3
import subprocess
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).parent / "disk"))
import disk

ASK = [["trace", "M31-070-1"], ["contain", "PS31-05"], ["show", "M31-070"], ["contain", "IL31-03"]]


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("--long", action="store_true")
    ask.add_argument("--seed", type=int, default=1)
    ask = ask.parse_args()
    rng, wrong = random.Random(ask.seed), []
    with disk.Scratch() as folder:
        base, bad = folder / "base.db", folder / "bad.db"
        disk.run(base, "import", str(disk.REPO / "sample_data"))
        ways = [a for a in ASK if disk.run(base, *a).returncode == 0]
        if len(ways) < 3:
            sys.exit("the questions do not fit the sample data")
        right = {tuple(a): disk.run(base, *a, "--json").stdout for a in ways}
        whole = base.read_bytes()       # today's check is noted in it
        day = {"MELTKIN_NOW": "2031-05-27T08:00:00+00:00"}

        def put(data, log=None):
            for end in ("-wal", "-shm"):
                pathlib.Path(f"{bad}{end}").unlink(missing_ok=True)
            bad.write_bytes(data)
            if log is not None:
                pathlib.Path(f"{bad}-wal").write_bytes(log)

        def asked(what, way, codes=(3,), count=None, **more):
            done = disk.run(bad, *way, "--json", **more)
            if "panicked" in done.stderr or done.returncode not in (0, *codes):
                wrong.append(f"{what}, {way}: exit {done.returncode} {done.stderr}")
            elif done.returncode == 0 and done.stdout != right[tuple(way)]:
                if count is None:
                    wrong.append(f"{what}, {way}: a wrong answer")
                else:
                    count[0] += 1
            elif done.returncode and not done.stderr.startswith("meltkin: "):
                wrong.append(f"{what}, {way}: no sentence")
            return done.returncode

        used = [i for i, b in enumerate(whole) if b]
        until = time.monotonic() + (1200 if ask.long else 12)
        flips = refused = 0
        while time.monotonic() < until and flips < (5000 if ask.long else 400):
            data = bytearray(whole)
            at = rng.choice(used)
            data[at] ^= 1 << rng.randrange(8)
            put(data)
            flips += 1
            refused += asked(f"bit of byte {at}", rng.choice(ways), **day) == 3
        print(f"{flips} flipped bits before the check of the day: {refused} refused, the others answered right")
        until, flips, refused, silent = time.monotonic() + (600 if ask.long else 6), 0, 0, [0]
        while time.monotonic() < until:
            data = bytearray(whole)
            at = rng.choice(used)
            data[at] ^= 1 << rng.randrange(8)
            put(data)
            flips += 1
            way = rng.choice(ways)
            refused += asked(f"bit of byte {at}, same day", way, (2, 3), None if way[0] == "show" else silent) == 3
        print(f"{flips} flipped bits after it: {refused} refused, {silent[0]} wrong answers (the stated gap)")
        for n in range(400 if ask.long else 12):
            cut = rng.randrange(len(whole))
            put(whole[:cut])
            asked(f"cut at {cut}", rng.choice(ways), **day)
            page = rng.randrange(len(whole) // 4096)
            data = bytearray(whole)
            data[page * 4096:page * 4096 + 4096] = rng.randbytes(4096)
            put(data)
            asked(f"noise on page {page}", rng.choice(ways), **day)
            other = rng.randrange(len(whole) // 4096)
            data = bytearray(whole)
            data[page * 4096:page * 4096 + 4096] = whole[other * 4096:other * 4096 + 4096]
            put(data)
            asked(f"page {other} in the place of {page}", rng.choice(ways), **day)
            put(whole, rng.choice([rng.randbytes(5000), whole[:50000], b"\x37\x7f\x06\x82" + rng.randbytes(9000)]))
            asked("a log of something else", rng.choice(ways), **day)
        for name, data in {"text": b"hello, this is long enough to be looked at" * 9, "zeros": bytes(8192)}.items():
            put(data)
            if disk.run(bad, "trace", "M31-070-1").returncode != 3:
                wrong.append(f"{name} was opened")

        # A file may not grow: the disk is full, or a quota is.
        put(whole)
        rows = "".join(f"I-{n},2031-03-30T00:00:00Z,{'x' * 80}\n" for n in range(20000))
        (folder / "filter_lots.csv").write_text("filter_lot,received_at,note\n" + rows)

        def small():
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            resource.setrlimit(resource.RLIMIT_FSIZE, (len(whole) // 8,) * 2)

        def limited(what, arguments, before=small, user=None, binary=None, codes=(3,)):
            done = subprocess.run([binary or disk.program(), *arguments], env=disk.environment(bad), text=True, preexec_fn=before,
                                  stdin=subprocess.DEVNULL, capture_output=True, user=user, cwd=folder)
            if done.returncode not in codes or done.returncode and not done.stderr.startswith("meltkin: ") or "panicked" in done.stderr:
                wrong.append(f"{what}: exit {done.returncode} {done.stderr}")
            return done

        limited("a file that may not grow", ["import", str(folder / "filter_lots.csv"), "--as", "QL-01"], codes=(3, 2))
        if disk.run(bad, "verify").returncode:
            wrong.append("after a file that may not grow: verify")
        asked("after a file that may not grow", ways[0])
        if os.getuid() == 0:
            tiny = folder / "tiny"
            tiny.mkdir()
            if subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={len(whole) + 300000}", "none", tiny], capture_output=True).returncode == 0:
                try:
                    shutil.copy(base, tiny / "s.db")
                    full = disk.run(tiny / "s.db", "import", str(folder / "filter_lots.csv"), "--as", "QL-51")
                    if full.returncode != 3 or "full" not in full.stderr:
                        wrong.append(f"full disk: exit {full.returncode} {full.stderr}")
                    if disk.run(tiny / "s.db", "trace", "M31-070-1", "--json").stdout != right[tuple(ways[0])]:
                        wrong.append("full disk: reading")
                    if disk.run(tiny / "s.db", "verify").returncode:
                        wrong.append("full disk: verify")
                    print("a full disk was tried on a small file system")
                finally:
                    subprocess.run(["umount", tiny], check=False)
            # Somebody who may read and not write, in a folder that may not be written.
            os.chmod(folder, 0o755)
            binary = folder / "program"
            shutil.copy(disk.program(), binary)
            put(whole)
            os.chmod(bad, 0o444)
            done = limited("a folder that may only be read", ["trace", "M31-070-1", "--json"], None, 65534, binary, (0,))
            if done.stdout != right[tuple(ways[0])]:
                wrong.append("a folder that may only be read: another answer")
            limited("writing there", ["log", "core_lots", "core_lot=C-9"], None, 65534, binary)
            limited("a new store there", ["new", "--store", "made.db"], None, 65534, binary)
            os.chmod(bad, 0o644)

        # The clock goes back by a day, and by ten years: the note of a later day's check is no excuse.
        found = 0
        for _ in range(40):
            data = bytearray(whole)
            data[rng.choice(used)] ^= 1 << rng.randrange(8)
            put(data)
            if disk.run(bad, *ways[0], **day).returncode == 3:
                found += 1
                for now in ("2031-05-25T08:00:00+00:00", "2021-01-01T00:00:00+00:00"):
                    put(data)
                    if disk.run(bad, *ways[0], MELTKIN_NOW=now).returncode != 3:
                        wrong.append(f"clock at {now}: a damaged file gave an answer without a check")
            if found == 5:
                break
        if found < 5:
            wrong.append("too few damaged files for the clock")
        put(whole)
        for n, now in enumerate(["2031-05-26T08:00:00+00:00", "2031-05-25T08:00:00+00:00", "2021-01-01T00:00:00+00:00"]):
            done = disk.run(bad, "log", "core_lots", f"core_lot=CB-{n}", MELTKIN_NOW=now)
            if done.returncode:
                wrong.append(f"clock at {now}: {done.stderr}")
        verdict = json.loads(disk.run(bad, "verify", "--json", MELTKIN_NOW="2020-01-01T00:00:00+00:00").stdout)
        if not verdict["ok"]:
            wrong.append(f"clock: {verdict}")
        # No entry is earlier than the newest: its time counts for an undo too, on whatever clock, and a minute later it is over.
        for now, code in {"2031-05-26T08:01:01+00:00": 2, "2020-01-01T00:00:00+00:00": 0}.items():
            done = disk.run(bad, "undo", MELTKIN_NOW=now)
            if done.returncode != code:
                wrong.append(f"undo at {now}: {done.returncode} {done.stdout}{done.stderr}")
        db = sqlite3.connect(bad)
        times = [datetime.datetime.fromisoformat(at) for (at,) in db.execute("SELECT at FROM journal ORDER BY seq")]
        db.close()
        if times != sorted(times):
            wrong.append(f"the journal goes back in time: {[str(t) for t in times]}")
    print(f"{len(wrong)} failed")
    print("\n".join(w[:300] for w in wrong[:30]))
    sys.exit(1 if wrong else 0)


main()
