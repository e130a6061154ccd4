#!/usr/bin/env python3
"""Signatures against everything that could come between: in each round a lot that may go is signed, while at the same time
holds are placed, records behind it are corrected, added and taken back, and blades are shipped, each by a process of its
own. Afterwards the journal, read with sqlite3, is held against what was released:

- nothing that blocks stands in the journal before the signature and was open at it;
- what came after it, and belongs behind the lot, makes the release void, and nothing else does (a blade shipped before the
  signature was shipped unreleased: the lot may then be final or void);
- a page of the release holds a head that the journal has;
- every write that was acknowledged is there, in the order of the journal, and the file is whole.

What blocks, and what belongs behind a lot, is written down here by hand, from RECORDS (*What a release stands on*).

Usage: check_races.py [--rounds N] [--seed N]
"""
import argparse
import collections
import json
import pathlib
import random
import re
import shutil
import sqlite3
import subprocess
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).parent))
from gate.lot import CLEAN, NOW, answer, disk, headers, run, write

# What is done: arguments; who; whether it blocks the lot; whether the record belongs behind the lot.
ACTS = {
    "hold of a blade": (["hold", "M31-001-1", "--reason", "a crack"], "OP-01", True, True),
    "hold of the heat": (["hold", "H31-001", "--reason", "a doubt"], "IN-01", True, True),
    "hold of the lot": (["hold", "L31-01", "--reason", "a doubt"], "OP-01", True, True),
    "reject": (["log", "inspections", "inspection=X1", "blade=M31-002-1", "method=radiograph", "round=2", "technique=RT-1",
                "inspected_at=2031-03-13T00:00:00Z", "person=IN-02", "instrument=FV-01", "result=reject"], "IN-02", True, True),
    "accept": (["log", "inspections", "inspection=X2", "blade=M31-002-2", "method=radiograph", "round=2", "technique=RT-1",
                "inspected_at=2031-03-11T12:00:00Z", "person=IN-02", "instrument=FV-01", "result=accept"], "IN-02", False, True),
    "scrap": (["log", "dispositions", "blade=M31-002-2", "decided_at=2031-03-20T00:00:00Z", "decision=scrap", "person=QL-02"], "QL-02", False, True),
    "chemistry put right": (["correct", "analysis_values:AN-2/O", "value=40", "--reason", "misread"], "IN-01", True, True),
    "pour put right": (["correct", "pours:M31-001", "indicated_c=1479", "--reason", "misread"], "OP-01", False, True),
    "slurry check put right": (["correct", "slurry_checks:PS31-01/2031-02-11T00:00:00Z", "viscosity_s=25", "--reason", "misread"], "OP-01", False, True),
    "a failed check": (["log", "calibrations", "instrument=FV-01", "checked_at=2031-03-15T00:00:00Z", "check=cross_check", "result=failed"], "IN-01", True, True),
    "shipment": (["log", "shipments", "blade=M31-001-2", "shipped_at=2031-03-21T00:00:00Z", "--reason", "asked for"], "OP-01", False, False),
    "another heat": (["log", "heats", "heat=H31-999", "alloy=QA-713", "furnace=F2", "melted_at=2031-03-30T09:00:00Z"], "OP-01", False, False),
    "a cost": (["log", "costs", "part=QB-2207", "station=pour", "value=3", "currency=EUR", "from_date=2031-01-01"], "OP-01", False, False),
}
# By whom an entry was taken back right away; the undo is started beside the others, so it may come before, between, after.
UNDONE = ["OP-01", "IN-01", "IN-02"]


class Round:
    def __init__(self, store, rng, number, start_at, takes):
        self.store, self.rng, self.wrong = store, rng, []
        self.start_at = start_at            # the newest entry before the round
        self.takes = takes                  # how long a signature takes by itself
        self.names = rng.sample(sorted(ACTS), rng.randint(2, 5))
        self.number = number

    def start(self):
        """All of it at once, after small delays; gives what each answered."""
        jobs = [(name, [*ACTS[name][0], "--as", ACTS[name][1], "--json"]) for name in self.names]
        self.page = self.store.parent / "page.html"
        self.page.unlink(missing_ok=True)
        paper = ["--html", str(self.page)] if self.number % 2 else []
        jobs.append(("sign", ["lot", "summary", "L31-01", "--final", "--as", "QL-01", "--json", *paper]))
        jobs += [(f"undo by {who}", ["undo", "--as", who, "--json"]) for who in self.rng.sample(UNDONE, self.rng.randint(0, 2))]
        begin = time.monotonic()
        delays = {name: self.rng.uniform(0, self.takes * (0.2 if name == "sign" else 1.5)) for name, _ in jobs}
        running = []
        for name, arguments in sorted(jobs, key=lambda j: delays[j[0]]):
            time.sleep(max(0.0, begin + delays[name] - time.monotonic()))
            running.append((name, subprocess.Popen([disk.program(), *arguments], env=disk.environment(self.store, MELTKIN_NOW=NOW), text=True,
                                                   stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE)))
        out = {}
        for name, process in running:
            said, why = process.communicate(timeout=120)
            out[name] = (process.returncode, said, why)
            if "panicked" in why or process.returncode not in (0, 1, 2):
                self.wrong.append(f"{name}: exit {process.returncode} {why[-200:]}")
        return out

    def act_of(self, entry):
        """The act that a journal entry comes from."""
        for name in self.names:
            arguments = ACTS[name][0]
            if entry["person"] != ACTS[name][1] or entry["action"] not in (arguments[0], "undo", "log" if arguments[0] == "hold" else ""):
                continue
            text = (entry["new"] or "") + (entry["old"] or "")
            wanted = {"hold": f'"subject":"{arguments[1]}"', "log": f"{arguments[1]} ", "correct": f"{arguments[1].split(':')[0]} "}[arguments[0]]
            marks = {"reject": '"X1"', "accept": '"X2"'}.get(name, "")
            if wanted in text and marks in text:
                return name
        return None

    def judge(self, out):
        db = sqlite3.connect(self.store)
        db.row_factory = sqlite3.Row
        entries = [dict(r) for r in db.execute("SELECT * FROM journal WHERE seq > ? ORDER BY seq", (self.start_at,))]
        signed = [e["seq"] for e in entries if e["action"] == "sign" and '"meaning":"released"' in (e["new"] or "")]
        code, said, why = out["sign"]
        if (code == 0) != (len(signed) == 1):
            self.wrong.append(f"sign: exit {code}, {len(signed)} signatures: {said[:300]} {why[-200:]}")
        standing, open_then, after, early = {}, [], [], False
        for e in entries:
            if e["action"] not in ("log", "hold", "correct", "undo", "lift"):
                continue            # changes no record: a refusal, a proposal
            name = self.act_of(e)
            if name is None:
                self.wrong.append(f"an entry of nobody: {e['seq']} {e['action']} {e['kind']} {e['tag']} {e['person']}")
                continue
            _, _, blocks, behind = ACTS[name]
            took_back = e["action"] == "undo"
            standing[name] = not took_back
            early |= bool(signed) and name == "shipment" and e["seq"] < signed[0]
            if signed and e["seq"] > signed[0] and behind:
                after.append(f"{'undo of ' if took_back else ''}{name}")
            if signed and e["seq"] < signed[0]:
                open_then = [n for n, there in standing.items() if there and ACTS[n][2]]
        if signed and self.page.exists() == (self.number % 2 == 0):
            self.wrong.append(f"signed, and its page is {'there' if self.page.exists() else 'not there'}")
        if self.page.exists() and signed:
            heads = set(re.findall("[0-9a-f]{64}", self.page.read_text()))
            known = {r[0] for r in db.execute("SELECT hash FROM journal")}
            if not heads & known:
                self.wrong.append(f"no head of the page is in the journal: {sorted(heads)}")
        if open_then:
            self.wrong.append(f"signed at entry {signed[0]} although before it in the journal: {open_then}")
        done = {n for n in self.names if out[n][0] == 0}
        there = set(standing)
        if done != there:
            self.wrong.append(f"acknowledged {sorted(done)}, in the journal {sorted(there)}: {[out[n][2][-150:] for n in done ^ there]}")
        for n in self.names:
            if out[n][0] != 0:
                self.wrong.append(f"{n}: exit {out[n][0]} {out[n][2][-200:]}")
        asked = run(self.store, "lot", "summary", "L31-01", "--json")
        state = (answer(asked) or {}).get("state")
        if signed:
            should, code = ("void", 1) if after else ("final", 0)
            allowed = {(should, code)} | ({("void", 1)} if early else set())
            if (state, asked.returncode) not in allowed:
                self.wrong.append(f"after the signature came {after or 'nothing behind it'}: the lot is {state} (exit {asked.returncode}), should be {should}")
        elif state != "draft":
            self.wrong.append(f"nobody signed, and the lot is {state}")
        whole = run(self.store, "verify", "--json")
        if whole.returncode:
            self.wrong.append(f"verify: {whole.stdout[:300]}{whole.stderr[:200]}")
        db.close()
        return ("signed, then " + ("void" if after else "final")) if signed else "not signed"


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("--rounds", type=int, default=40)
    ask.add_argument("--seed", type=int, default=1)
    ask = ask.parse_args()
    rng, came, failed = random.Random(ask.seed), collections.Counter(), []
    with disk.Scratch() as folder:
        write(folder / "bundle", CLEAN, headers(folder))
        base = folder / "base.db"
        done = run(base, "import", str(folder / "bundle"), "--as", "QL-01")
        if done.returncode:
            sys.exit(done.stderr)
        clean = run(base, "lot", "summary", "L31-01", "--json")
        blocked = [b["reason"] for b in (answer(clean) or {}).get("blocked", [{"reason": clean.stderr}])]
        if blocked:
            sys.exit(f"the lot could not be signed to begin with: {blocked}")
        db = sqlite3.connect(base)
        start_at = db.execute("SELECT max(seq) FROM journal").fetchone()[0]
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        db.close()
        shutil.copy(base, folder / "first.db")
        begin = time.monotonic()
        first = run(folder / "first.db", "lot", "summary", "L31-01", "--final", "--as", "QL-01")
        takes = time.monotonic() - begin
        if first.returncode:
            sys.exit(f"the lot could not be signed: {first.stderr}")
        for number in range(ask.rounds):
            store = folder / "round.db"
            for end in ("", "-wal", "-shm"):
                pathlib.Path(f"{store}{end}").unlink(missing_ok=True)
            shutil.copy(base, store)
            one = Round(store, rng, number, start_at, takes)
            came[one.judge(one.start())] += 1
            failed += [f"round {number} ({', '.join(one.names)}): {w}" for w in one.wrong]
    print(f"{ask.rounds} rounds: {json.dumps(came)}; {len(failed)} failed")
    print("\n".join(f[:400] for f in failed[:40]))
    if not failed and min(came["signed, then void"], came["not signed"]) == 0:
        sys.exit("every round went the same way: that is no race")
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
