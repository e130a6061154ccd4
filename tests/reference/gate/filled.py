"""A store with rows of every kind: three imported together (the second corrected), two logged one by one (the first
corrected), beside the clean lot; one entry taken back, holds open and lifted, a PIN, a release.

Values come from the headers of an export and the columns of the schema: a kind that is added later is filled too, or
the script stops and says which value it needs.
"""
import re
import sqlite3

from gate.lot import CLEAN, PIN, answer, headers, run, write

NUMBERS = (1, 2, 3)                  # imported
SINGLE = (8, 9)                      # logged
REVISED = {"alloys", "parts", "shell_recipes", "running_systems"}
# What a column cannot hold, in the third row: it stands in `extra`, rightly.
MARKED = {
    ("coats", "rh_pct"): "<45", ("filter_lots", "rejected_count"): "n/a", ("pours", "mould_c"): "illegible",
    ("moulds", "assembled_at"): "2031-03-03T09:05:00.12345+00:00", ("findings", "size_mm"): "<0.5",
    ("analysis_values", "value"): "<2", ("heats", "crucible"): "n/a",
}


def given(kind, field, n):
    """Values that a rule asks for."""
    last = n > 3
    own = {
        ("own_fields", "record"): "moulds", ("own_fields", "field"): f"tilt_{n}", ("own_fields", "type"): "number",
        ("process_limits", "record"): "pours", ("process_limits", "field"): "indicated_c",
        ("process_limits", "scope"): f"T-instruments-{n}",
        ("process_limits", "stop_min"): "1350", ("process_limits", "warn_min"): "1400",
        ("process_limits", "warn_max"): "1500", ("process_limits", "stop_max"): "1550",
        ("people", "role"): "operator" if n in (3, 8) else "quality",
        ("retags", "old_tag"): f"T-blades-{n}", ("retags", "new_tag"): f"N-{n}",
        ("wax_lots", "split_from"): "" if n == 1 else "T-wax_lots-1",
        ("alloy_limits", "min"): "1", ("alloy_limits", "max"): "25", ("alloy_limits", "element"): ["O", "N", "C"][n % 3],
        ("analysis_values", "element"): ["O", "N", "C"][n % 3], ("analysis_values", "unit"): "ppm",
        ("measurements", "lower"): "1", ("measurements", "upper"): "9",
        ("charges", "source"): "T-revert_lots-1" if n == 3 else f"T-ingot_lots-{n}",
        ("analyses", "subject"): [f"T-heats-{n}", f"T-ingot_lots-{n}", f"T-revert_lots-{n}"][n % 3],
        ("analyses", "set_aside_by"): "T-people-1" if n != 2 else "", ("analyses", "set_aside_reason"): "read twice" if n != 2 else "",
        ("dispositions", "decision"): "accept" if n == 1 else "concession", ("dispositions", "person"): "T-people-1",
        # Items of a concession that a blade was decided on by are frozen: those of the first are put right, and left alone.
        ("dispositions", "concession"): "" if n == 1 else f"T-concessions-{3 if n < 4 else 9}",
        ("concessions", "type"): "concession", ("concessions", "granted_by"): "T-people-1",
        ("concession_items", "covers"): "characteristic" if n == 3 else "defect",
        ("concession_items", "name"): "chord" if n == 3 else f"T-defect_terms-{n}",
        ("concession_items", "measure"): "value" if n == 3 else "size_mm", ("concession_items", "unit"): "mm",
        ("concession_items", "zone"): "" if n == 3 else f"words-{n}",
        ("concession_items", "at_least"): "0.5", ("concession_items", "at_most"): "2",
        ("inspections", "blade"): "T-blades-9" if last else "T-blades-1", ("inspections", "method"): "penetrant",
        ("inspections", "result"): "reject" if n in (1, 8) else "accept",
        ("inspections", "purpose"): "product", ("inspections", "round"): str(n),
        ("inspections", "closes"): {2: "T-inspections-1", 9: "T-inspections-8"}.get(n, ""),
        ("inspections", "person"): f"T-people-{n}",
        ("holds", "lifted_at"): "2031-03-20T00:00:00+00:00" if n == 2 else "",
        ("holds", "lifted_by"): "T-people-1" if n == 2 else "", ("holds", "lifted_reason"): "looked at" if n == 2 else "",
        ("shipments", "returned_at"): "2031-03-25T00:00:00+00:00" if n == 2 else "",
        ("shipments", "return_reason"): "a crack" if n == 2 else "",
        # A review is dated when its rows were there, or later: they were written at the clock of `gate/lot.py`.
        ("known_cause_reviews", "reviewed_at"): "2031-04-01T00:00:00+00:00",
        ("trials", "decided_by"): "T-people-1", ("attachments", "path"): f"file-{n}.txt", ("attachments", "sha256"): f"{n:064x}",
        ("blades", "position"): str(n), ("people", "person"): f"T-people-{n}",
    }
    if n == 3 and (kind, field) in MARKED:
        return MARKED[kind, field]
    return own.get((kind, field))


class Filled:
    def __init__(self, folder, log=print):
        self.folder, self.store, self.log = folder, folder / "base.db", log
        self.heads = headers(folder)
        self.db = sqlite3.connect(folder / "headers.db")
        self.schema = {k: self.columns(k) for k in self.heads}
        self.address = {}                # (kind, n): how the record is named
        self.make()
        self.db.close()

    def columns(self, kind):
        """Column: (type, the table it refers to, the words it may hold)."""
        sql = self.db.execute("SELECT sql FROM sqlite_schema WHERE name = ?", (kind,)).fetchone()[0]
        refers = {r[3]: r[2] for r in self.db.execute(f"PRAGMA foreign_key_list({kind})")}
        words = {}
        for column, word in re.findall(r'"?(\w+)"? = \'(\w[^\']*)\'', sql):
            words.setdefault(column, []).append(word)
        return {r[1]: (r[2], refers.get(r[1]), words.get(r[1])) for r in self.db.execute(f"PRAGMA table_info({kind})")}

    def revision(self, n):
        return {2: "R2"}.get(n, "R1")

    def tag(self, kind, n, named=False):
        if kind in REVISED:
            return f"T-{kind}-{1 if n < 3 else n}" + (f"@{self.revision(n)}" if named else "")
        return f"T-{kind}-{n}"

    def value(self, kind, field, n):
        special = given(kind, field, n)
        columns = self.schema[kind]
        if special is not None:
            return special
        if field == "revision":
            return self.revision(n)
        if field == self.tag_field(kind):
            return self.tag(kind, n)
        if f"{field}_kind" in columns and f"{field}_id" in columns:
            return f"T-moulds-{n}"
        split = [c for c in columns if c.startswith(f"{field}_") and columns[c][1]]
        if field not in columns and split:
            return self.tag(columns[split[0]][1], n)
        if field not in columns:
            raise SystemExit(f"{kind}.{field}: no value is known for it; add one to gate/filled.py")
        sort, refers, words = columns[field]
        if refers:
            plain = "revision" in self.heads[kind] and refers in REVISED and "revision" not in columns
            return self.tag(refers, n, named=not plain)
        if words:
            return words[n % len(words)]
        if sort == "TEXT" and (field.endswith("_on") or field.endswith("_date") or field in ("effective_from", "approved_at")):
            return f"2030-03-0{n}"
        if sort == "INTEGER" and field.endswith("_at"):
            return f"2031-03-0{n}T09:05:00+0{n % 3}:00"
        return {"REAL": f"{n + 0.5}", "INTEGER": str(n)}.get(sort, f"words-{n}")

    def tag_field(self, kind):
        """The field of the tag: the first, where the schema has a unique index on it without regard to case."""
        rows = self.db.execute("SELECT sql FROM sqlite_schema WHERE type = 'index' AND tbl_name = ?", (kind,))
        first = self.heads[kind][0]
        return first if any(r[0] and "UNIQUE" in r[0] and f"({first} COLLATE" in r[0].replace('"', "") for r in rows) else None

    def fields(self, kind, n):
        skip = {"recorded_at", "recorded_by", "note"}
        own = {"tilt_1": "<0.5"} if kind == "moulds" else {}
        return {f: v for f in self.heads[kind] if f not in skip and (v := self.value(kind, f, n)) != ""} | own

    def done(self, *arguments, **more):
        done = run(self.store, *arguments, **more)
        if done.returncode:
            raise SystemExit(f"{' '.join(arguments)}: exit {done.returncode}: {done.stderr}{done.stdout}")
        return answer(done) if "--json" in arguments else done

    def order(self):
        """Kinds so that what is referred to stands before; an item of a concession before it is used."""
        kinds = [r[0] for r in self.db.execute("SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY rowid")]
        kinds = [k for k in kinds if k in self.heads]
        if "concession_items" in kinds:
            kinds.remove("concession_items")
            kinds.insert(kinds.index("dispositions"), "concession_items")
        return kinds

    def bundle(self):
        made = {}
        for kind in self.heads:
            names = [f for f in self.heads[kind] if f != "recorded_at"] + (["tilt_1"] if kind == "moulds" else [])
            rows = []
            for n in NUMBERS:
                filled = self.fields(kind, n) | {"recorded_by": "T-people-1", "note": f"noted {n}"}
                rows.append([filled.get(f, "") for f in names])
            if kind in CLEAN:
                head, *lines = CLEAN[kind]
                theirs = head.split(",")
                for line in lines:
                    filled = dict(zip(theirs, line.split(",")))
                    rows.append([filled.get(f, "") for f in names])
            made[kind] = [",".join(names)] + [",".join(r) for r in rows]
        return made

    def make(self):
        write(self.folder / "bundle", self.bundle())
        self.done("import", str(self.folder / "bundle"), "--as", "QL-01")
        for kind in self.order():
            for n in SINGLE:
                fields = [f"{f}={v}" for f, v in self.fields(kind, n).items()]
                said = self.done("log", kind, *fields, f"note=noted {n}", "--reason", "read twice", "--as", "QL-01", "--json")
                self.address[kind, n] = said.get("tag") or said["address"]
        for kind in self.order():
            for n in (2, 8):
                where = self.address.get((kind, n)) or self.named(kind, n)
                self.done("correct", where, f"note=put right {n}", "--reason", "a slip", "--as", "QL-01")
                self.address[kind, n] = where
        for n in (1, 3):
            for kind in self.heads:
                self.address[kind, n] = self.named(kind, n)
        self.done("log", "filter_lots", "filter_lot=GONE-1", "received_at=2031-03-01T00:00:00Z", "--as", "OP-01")
        self.done("undo", "--as", "OP-01")
        self.done("hold", "T-blades-1", "--reason", "a crack", "--as", "OP-01")
        placed = self.done("hold", "T-blades-2", "--reason", "a crack", "--as", "OP-01", "--json")
        self.done("lift", placed.get("tag") or placed.get("hold"), "--reason", "none seen", "--as", "QL-01")
        # What somebody may only propose, and what is refused: both are entries that change no record.
        said = self.done("correct", self.address["findings", 1], "size_mm=0.1", "--reason", "misread", "--as", "OP-01", "--json")
        refused = run(self.store, "lift", "T-blades-1", "--reason", "none seen", "--as", "OP-01")
        if said.get("proposal") is not True or refused.returncode != 1:
            raise SystemExit(f"no proposal, or no refusal: {said} {refused.returncode} {refused.stderr}")
        self.done("pin", "set", "--as", "QL-01", pin=PIN)
        self.done("lot", "summary", "L31-01", "--final", "--as", "QL-01", pin=PIN)

    def named(self, kind, n):
        """How a record is named: its tag (a definition with its revision), else kind, parents and key."""
        if self.tag_field(kind):
            tag = self.tag(kind, n)
            return f"{tag}@{self.revision(n)}" if kind in REVISED else tag
        like = self.address[kind, 9]         # kind:…/…, made of the same fields in the same order
        mine, theirs = self.fields(kind, n), self.fields(kind, 9)
        parts = like.split(":", 1)[1].split("/")
        used, out = set(), []
        for part in parts:
            field = next((f for f, v in theirs.items() if v == part and f not in used), None) \
                or next((f for f, v in theirs.items() if v.split("@")[0] == part.split("@")[0] and f not in used), None)
            if field is None:
                raise SystemExit(f"{like}: cannot tell which field {part} is")
            used.add(field)
            tag = mine.get(field, part)
            plain = "revision" in mine and tag.startswith("T-") and "@" not in tag
            out.append(f"{tag}@{mine['revision']}" if plain else tag)
        return f"{kind}:" + "/".join(out)
