#!/usr/bin/env python3
"""Whoever changes the file with SQL is found. A store with rows of every kind (imported, logged, corrected, taken back,
held, lifted, signed) is copied; one edit is made on the copy; then `verify` must exit with 1 or 3 and name the table and
the record, and a record that was edited must not be shown. Every column of every table, several ways each; the journal,
PINs, schema. What is judged is `verify` and `show` alone; an edit of the integer keys, or of an empty `extra`, may go
unfound where a fresh export says that no record changed.

Not tried, as nothing in the file could tell them from honest work: an entry that is written at the end exactly as the
program would have written it (an anchor taken afterwards holds it as well), `pins.failures`, `pins.free_at`,
`about.checked`.

Usage: check_tamper.py [--every] [--only TABLE] [--keep FILE]; --every tries every row, not one row a column and way.
"""
import argparse
import collections
import filecmp
import itertools
import json
import pathlib
import shutil
import sqlite3
import sys
import threading
from multiprocessing.pool import ThreadPool

sys.path.insert(0, str(pathlib.Path(__file__).parent))
from gate import edits, elsewhere
from gate.filled import Filled
from gate.lot import answer, disk, run

PAGES = 2


class Tampering:
    def __init__(self, folder):
        self.folder, self.filled = folder, Filled(folder)
        self.base = folder / "base.db"
        verdict = run(self.base, "verify", "--json")
        if verdict.returncode:
            sys.exit(f"the untouched store is not whole: {verdict.stdout}{verdict.stderr}")
        said = json.loads(verdict.stdout)
        self.head, self.derived = said["head"], said.get("derived", [])
        db = sqlite3.connect(self.base)
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        self.db = db
        self.filled.db = db
        self.filled.tags = {k: self.filled.tag_field(k) for k in self.filled.heads}
        self.bytes = self.base.read_bytes()
        self.place = threading.local()
        self.numbers = itertools.count()
        self.export(self.base, "before")

    def export(self, store, name):
        out = self.folder / name
        shutil.rmtree(out, ignore_errors=True)
        return run(store, "export", str(out)).returncode, out

    def same_records(self, store, name):
        code, out = self.export(store, name)
        same = code == 0 and not filecmp.dircmp(self.folder / "before", out).diff_files
        return same

    def all(self, every, only):
        found = []
        for kind in self.filled.heads:
            if only in (None, kind):
                t = edits.Table(self.db, kind, self.filled)
                if len(t.rows) < 5:
                    sys.exit(f"{kind} has only {sorted(t.rows)}")
                found += [*edits.of_rows(t, every), *edits.whole_rows(t)]
        for name, more in {"journal": elsewhere.of_journal(self.db, self.head, every), "pins": elsewhere.of_pins(self.db),
                           "about": elsewhere.of_about(self.db), "schema": elsewhere.of_schema(self.db)}.items():
            if only in (None, name):
                for edit in more:
                    edit.group = name
                    found.append(edit)
        return found

    def copy(self):
        if not hasattr(self.place, "name"):
            self.place.name = f"copy{next(self.numbers)}"
        store = self.folder / f"{self.place.name}.db"
        for end in ("-wal", "-shm"):
            pathlib.Path(f"{store}{end}").unlink(missing_ok=True)
        store.write_bytes(self.bytes)
        return store

    def tried(self, edit):
        """None: SQLite itself refuses it. Else what is wrong with the answer; empty, where it is found as it should be."""
        store = self.copy()
        db = sqlite3.connect(store, isolation_level=None)
        db.execute("PRAGMA synchronous = OFF")
        db.execute("PRAGMA ignore_check_constraints = ON")
        db.execute("PRAGMA foreign_keys = OFF")
        try:
            changed = db.total_changes
            for step in edit.sql:
                step(db) if callable(step) else db.execute(step)
            if db.total_changes == changed and not any("PRAGMA" in s or "CREATE" in s or "DROP" in s or "ALTER" in s for s in edit.sql if isinstance(s, str)):
                return f"the edit changed nothing: {edit.sql}"
        except sqlite3.IntegrityError:
            return None
        except sqlite3.Error as e:
            return f"the edit fails: {e}: {edit.sql}"
        finally:
            db.close()
        done = run(store, "verify", "--json", *(["--anchor", edit.anchor] if edit.anchor else []))
        said = answer(done)
        if "panicked" in done.stderr or done.returncode not in (0, 1, 3):
            return f"verify: exit {done.returncode} {done.stderr[-300:]}"
        if done.returncode == 0:
            if edit.harmless and self.same_records(store, f"{self.place.name}.out"):
                return "harmless"
            return "UNFOUND"
        if done.returncode == 3 and (said is None or "error" in said):
            return "" if edit.anywhere else f"exit 3 names nothing: {done.stderr[:150]}"
        faults = said["faults"]
        if not faults:
            return "exit 1 without a fault"
        if not edit.anywhere:
            there = [f for f in faults if f["table"] == edit.table]
            if not there:
                return f"no fault names {edit.table}: {faults[:3]}"
            if edit.tag is not None:
                tags = [f["tag"] or "" for f in there]
                if not any(t.lower() == edit.tag.lower() if edit.tag else t for t in tags):
                    return f"no fault names {edit.tag or 'a record'} of {edit.table}: {[(f['tag'], f['message'][:80]) for f in there[:3]]}"
        if edit.show:
            shown = run(store, "show", edit.show, "--json")
            if shown.returncode != 3:
                return f"SHOWN all the same (exit {shown.returncode})"
        return ""


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("--every", action="store_true")
    ask.add_argument("--only")
    ask.add_argument("--keep", help="writes every miss to this file")
    ask = ask.parse_args()
    wrong, tally = [], collections.defaultdict(collections.Counter)
    with disk.Scratch() as folder:
        tampering = Tampering(folder)
        todo = tampering.all(ask.every, ask.only)
        extra = [d for d in tampering.derived if d != "about"]
        if extra:
            wrong.append(f"tables that are not held against the journal: {extra}")
        with ThreadPool(PAGES) as pool:
            for edit, came in zip(todo, pool.imap(tampering.tried, todo, chunksize=8)):
                group = getattr(edit, "group", edit.table)
                if came is None:
                    tally[group]["refused by SQLite"] += 1
                    continue
                tally[group]["tried"] += 1
                tally[group][{"": "found", "harmless": "harmless"}.get(came, "missed")] += 1
                if came not in ("", "harmless"):
                    wrong.append(f"{edit.what}: {edit.way}: {came}" + (f"   {'; '.join(str(s) for s in edit.sql)[:200]}" if ask.keep else ""))
    for group, n in tally.items():
        print(f"{group:18} {n['tried']:5} tried, {n['found']:5} found, {n['harmless']:3} that changed no record, "
              f"{n['refused by SQLite']:3} that SQLite refuses, {n['missed']:4} missed")
    tried = sum(n["tried"] for n in tally.values())
    print(f"{tried} edits of {len(tally)} tables; {len(wrong)} failed")
    print("\n".join(w[:300] for w in wrong[:60]))
    if ask.keep:
        pathlib.Path(ask.keep).write_text("\n".join(wrong) + "\n")
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
