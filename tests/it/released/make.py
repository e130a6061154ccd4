#!/usr/bin/env python3
"""Makes schema_N.sql and schema_N.json with a program of that schema: make.py OLD_BINARY SCHEMA BUNDLE

BUNDLE is a folder of CSVs; that of schema 1 is the slice of the sample data which tests/fuzz/make_corpus.py
takes (corpus/bundle/sample, cut at its lines `== kind`). Not to be run again for a released schema: the
point is that the old program wrote it.
"""
import json
import os
import pathlib
import subprocess
import sys
import tempfile

HERE = pathlib.Path(__file__).resolve().parent
ACTS = [
    ["log", "people", "person=OP-51", "role=quality"],
    ["log", "filter_lots", "filter_lot=FL-A", "received_at=2031-03-30T00:00:00Z", "ppi=10", "received_count=12"],
    ["log", "filter_lots", "filter_lot=FL-B", "received_at=2031-03-30T00:00:00Z", "ppi=<12", "note=read twice", "--as", "OP-02"],
    ["log", "moulds", "mould=M31-900", "part=QB-2207", "running_system=RS-4", "assembled_at=2031-03-30T00:00:00Z", "cup_tilt_deg=<0.5"],
    ["correct", "FL-A", "ppi=20", "--reason", "misread", "--as", "OP-02"],
    ["correct", "pours:M31-002", "indicated_c=1479", "--reason", "chart read again"],
    ["log", "core_lots", "core_lot=CL-X"],
    ["undo"],
    ["hold", "M31-002", "--reason", "slag seen", "--as", "OP-51"],
    ["lift", "HOLD-0002", "--reason", "cleared", "--as", "OP-51"],
    ["hold", "SB31-01", "--reason", "humidity log missing", "--as", "OP-51"],
    ["log", "retags", "old_tag=M31-002", "new_tag=M31-002X", "changed_at=2031-03-30T00:00:00Z"],
]
# What the rules of schema 4 came to judge otherwise: keys, revisions, prose, mappings. BUNDLE holds for it two lots of the
# small clean foundry of tests/it/lots.rs under other tags: one clean, one with a reject that a concession's words allowed.
ACTS_3 = [
    ["log", "qualifications", "person=IN-91", "method=visual", "level=2", "expires_on=2033-01-01", "--as", "QL-91"],
    ["correct", "qualifications:IN-91/radiograph", "level=3", "--reason", "renewed", "--as", "QL-91"],
    ["log", "blades", "blade=B-91", "mould=M91-001", "position=3", "--reason", "found without a mark"],
    ["log", "lot_blades", "lot=L31-01", "blade=B-91"],
    ["log", "moulds", "mould=M91-900", "part=QB-91@C", "running_system=RS-91", "assembled_at=2031-03-30T00:00:00Z"],
    ["correct", "H91-001", "crucible=C-1", "--reason", "from the card"],
    ["log", "samples", "sample=SA-91", "subject=QB-91@C", "kind=retained"],
    ["log", "core_lots", "core_lot=CL:9@x"],
    ["lot", "summary", "L91-01", "--final", "--as", "QL-91"],
    ["lot", "summary", "L91-02", "--final", "--as", "QL-91"],
    ["sheet", "map", "boxes", "filter_lots", "filter_lot=Box", "received_at=Came", "--offset", "+00:00"],
]
# Schema 4 asks for less and refuses more: holds have given tags, a tag has no `:`. BUNDLE is that of schema 3 as the program
# of then exported it, without what its ACTS had added.
ACTS_4 = [
    ["log", "people", "person=OP-51", "role=quality", "--as", "QL-91"],
    *ACTS[1:4],
    ["correct", "FL-A", "ppi=20", "--reason", "misread", "--as", "OP-02"],
    ["correct", "pours:M31-002", "indicated_c=1478", "--reason", "chart read again"],
    ["log", "core_lots", "core_lot=CL-X"],
    ["undo"],
    ["hold", "M31-002", "--reason", "slag seen", "--as", "OP-51"],
    ["lift", "M31-002", "--reason", "cleared", "--as", "OP-51"],
    ["hold", "SB31-01", "--reason", "humidity log missing", "--as", "OP-51"],
    ["log", "retags", "old_tag=M31-002", "new_tag=M31-002X", "changed_at=2031-03-30T00:00:00Z"],
    ["log", "qualifications", "person=IN-91", "method=visual", "level=2", "from_on=2031-01-01", "expires_on=2033-01-01", "--as", "QL-91"],
    ["log", "blades", "blade=B-91", "mould=M31-001", "position=11", "--reason", "found without a mark"],
    ["correct", "H31-001", "crucible=C-2", "--reason", "from the card"],
    ["log", "samples", "sample=SA-91", "subject=QB-91@C", "kind=retained"],
    ["lot", "summary", "L91-01", "--final", "--as", "QL-91"],
    ["sheet", "map", "boxes", "filter_lots", "filter_lot=Box", "received_at=Came", "--offset", "+00:00"],
]
ASKED = ["verify", "trace M31-001-1", "trace M31-002-1", "contain IL31-01", "contain H31-001", "contain PS31-01", "show FL-A --history",
         "show pours:M31-002 --history", "show M31-002X", "show M31-900", "show HOLD-0001", "show HOLD-0002", "show FL-B"]
# From schema 4 on a hold's tag is given by chance.
ASKED_4 = [q for q in ASKED if q != "show HOLD-0002"] + ["lot summary L91-01", "show B-91"]


def main():
    program, schema, bundle = sys.argv[1:]
    with tempfile.TemporaryDirectory() as folder:
        store = f"{folder}/store.db"
        around = os.environ | {"MELTKIN_STORE": store, "HOME": folder, "MELTKIN_NOW": "2031-04-01T00:00:00+00:00"}

        def run(words):
            return subprocess.run([program, *words], env=around, check=True, capture_output=True, text=True).stdout

        first = ["--as", "QL-91"] if int(schema) >= 3 else []
        acts = ACTS_4 if int(schema) >= 4 else [ACTS[0] + first, *ACTS[1:]]
        for words in [["import", bundle], *acts]:
            run(words)
        if int(schema) >= 2:
            pathlib.Path(folder, "pin").write_text("4711-82\n")
            run(["pin", "set", "--as", "OP-51", "--pin-file", f"{folder}/pin"])
        for words in ACTS_3 if int(schema) == 3 else []:
            run(words)
        answers = {q: json.loads(run([*q.split(), "--json"])) for q in (ASKED_4 if int(schema) >= 4 else ASKED)}
        subprocess.run(["sqlite3", store, "PRAGMA wal_checkpoint(TRUNCATE)"], check=True, capture_output=True)
        sql = subprocess.run(["sqlite3", store, ".dump"], check=True, capture_output=True, text=True).stdout
    marks = f"PRAGMA application_id = {0x6d6b696e};\nPRAGMA user_version = {schema};\n"
    (HERE / f"schema_{schema}.sql").write_text(marks + sql)
    lines = ",\n".join(f"{json.dumps(q)}: {json.dumps(a, ensure_ascii=False)}" for q, a in answers.items())
    (HERE / f"schema_{schema}.json").write_text("{\n" + lines + "\n}\n")


main()
