"""Edits beside the records: the journal (as it stands, and rebuilt to the end of its chain), PINs, the table `about`, the
schema itself."""
import hashlib

from gate.edits import Edit, quoted

COLUMNS = ("at", "person", "action", "kind", "tag", "old", "new", "reason", "came")
ARRAY = f"json_array(seq, {', '.join(COLUMNS)})"


def rechained(db):
    """Puts every hash right, as whoever knows the file would."""
    before = "0" * 64
    for seq, text in db.execute(f"SELECT seq, {ARRAY} FROM journal ORDER BY seq").fetchall():
        before = hashlib.sha256((before + text).encode()).hexdigest()
        db.execute("UPDATE journal SET hash = ? WHERE seq = ?", (before, seq))


def of_journal(db, head, every):
    """One entry of each action (or every one), each of its columns; entries taken out, put in, exchanged."""
    last = db.execute("SELECT max(seq) FROM journal").fetchone()[0]
    seen, chosen = set(), []
    for seq, action, kind in db.execute("SELECT seq, action, kind FROM journal ORDER BY seq").fetchall():
        if every or action not in seen:
            chosen.append((seq, action))
        seen.add(action)
    for seq, action in chosen:
        what = f"journal {seq} ({action})"
        row = dict(zip(COLUMNS, db.execute(f"SELECT {', '.join(COLUMNS)} FROM journal WHERE seq = {seq}").fetchone()))
        for column in COLUMNS:
            v = row[column]
            to = [v + 1 if isinstance(v, int) else f"{v or ''}x"] + ([None] if v is not None and column not in ("at", "action", "kind") else [])
            if column == "came" and v is None:
                to = [1]
            for value in to:
                edit = f"UPDATE journal SET {column} = {quoted(value)} WHERE seq = {seq}"
                yield Edit("journal", "changed", f"{what}.{column}", [edit])
                yield Edit("journal", "changed and rebuilt", f"{what}.{column}", [edit, rechained], anchor=head, anywhere=True)
        yield Edit("journal", "changed", f"{what}.hash", [f"UPDATE journal SET hash = '{'0' * 64}' WHERE seq = {seq}"])
        yield Edit("journal", "taken out", what, [f"DELETE FROM journal WHERE seq = {seq}"], anchor=head if seq == last else None, anywhere=seq == last)
        yield Edit("journal", "taken out and rebuilt", what, [f"DELETE FROM journal WHERE seq = {seq}", rechained], anchor=head, anywhere=True)
        closed = [f"DELETE FROM journal WHERE seq = {seq}", f"UPDATE journal SET seq = -seq WHERE seq > {seq}",
                  "UPDATE journal SET seq = -seq - 1 WHERE seq < 0", rechained]
        if seq != last:
            yield Edit("journal", "taken out, the gap closed, rebuilt", what, closed, anchor=head, anywhere=True)
            swap = ["UPDATE journal SET seq = -1 WHERE seq = {0}", "UPDATE journal SET seq = {0} WHERE seq = {1}", "UPDATE journal SET seq = {1} WHERE seq = -1"]
            swap = [s.format(seq, seq + 1) for s in swap]
            yield Edit("journal", "exchanged with the next", what, swap)
            yield Edit("journal", "exchanged with the next and rebuilt", what, [*swap, rechained], anchor=head, anywhere=True)
        copied = f"INSERT INTO journal SELECT {last + 1}, {', '.join(COLUMNS)}, hash FROM journal WHERE seq = {seq}"
        yield Edit("journal", "copied to the end", what, [copied])
        if action in ("log", "correct", "import", "lift", "hold"):
            yield Edit("journal", "copied to the end and rebuilt", what, [copied, rechained], anywhere=True)
    yield Edit("journal", "renumbered", "journal", ["UPDATE journal SET seq = -seq - 1", "UPDATE journal SET seq = -seq"])
    yield Edit("journal", "renumbered and rebuilt", "journal", ["UPDATE journal SET seq = -seq - 1", "UPDATE journal SET seq = -seq", rechained], anchor=head, anywhere=True)
    yield Edit("journal", "emptied", "journal", ["DELETE FROM journal"], anywhere=True)
    for n in (1, 2, 7):
        yield Edit("journal", f"its last {n} entries taken off", "journal", [f"DELETE FROM journal WHERE seq > {last - n}"], anchor=head, anywhere=True)


def of_pins(db):
    have = [r[0] for r in db.execute("SELECT person FROM pins")]
    without = db.execute("SELECT id FROM people WHERE id NOT IN (SELECT person FROM pins) ORDER BY id DESC").fetchone()[0]
    for person in have:
        what = f"PIN of {person}"
        yield Edit("pins", "deleted", what, [f"DELETE FROM pins WHERE person = {person}"])
        yield Edit("pins", "exchanged", what, [f"UPDATE pins SET hash = replace(hash, substr(hash, -8), 'AAAAAAAA') WHERE person = {person}"])
        yield Edit("pins", "no hash", what, [f"UPDATE pins SET hash = '' WHERE person = {person}"])
        yield Edit("pins", "given to another", what, [f"UPDATE pins SET person = {without} WHERE person = {person}"])
        yield Edit("pins", "copied to another", what, [f"INSERT INTO pins (person, hash, failures, entry) SELECT {without}, hash, failures, entry FROM pins WHERE person = {person}"])
        yield Edit("pins", "other entry", what, [f"UPDATE pins SET entry = entry - 1 WHERE person = {person}"])
        # pins.failures counts tries between two right ones, pins.free_at says until when the next one waits; both are
        # changed by every try without an entry: not tried here.


def of_about(db):
    for name, value in db.execute("SELECT name, value FROM about").fetchall():
        # `checked` notes that the pages were read on this day. Whoever changes it makes the next answer of the day check
        # again, or not check; `verify` does not lean on it, and holds nothing against it.
        if name != "checked":
            yield Edit("about", "changed", f"about.{name}", [f"UPDATE about SET value = value || 'x' WHERE name = {quoted(name)}"], anywhere=True)
            yield Edit("about", "deleted", f"about.{name}", [f"DELETE FROM about WHERE name = {quoted(name)}"], anywhere=True)
    for name in ("planted", "clock", "Checked"):
        yield Edit("about", "planted", f"about.{name}", [f"INSERT INTO about VALUES ('{name}', 'x')"], tag=name)


def of_schema(db):
    indexes = db.execute("SELECT name, tbl_name, sql FROM sqlite_schema WHERE type = 'index' AND sql IS NOT NULL").fetchall()
    for name, table, sql in indexes:
        yield Edit(table, "index dropped", name, [f"DROP INDEX {name}"], anywhere=True)
        if "UNIQUE" in sql:
            yield Edit(table, "index not unique any more", name, [f"DROP INDEX {name}", sql.replace("UNIQUE ", "")], anywhere=True)
        if " WHERE " not in sql:
            yield Edit(table, "index of nothing", name, [f"DROP INDEX {name}", f"{sql} WHERE 0"], anywhere=True)
    steal = "UPDATE holds SET lifted_at = placed_at"
    yield Edit("pours", "trigger planted", "trigger", [f"CREATE TRIGGER helpful AFTER INSERT ON pours BEGIN {steal}; END"], anywhere=True)
    yield Edit("journal", "trigger planted", "trigger", ["CREATE TRIGGER helpful BEFORE INSERT ON journal BEGIN SELECT raise(IGNORE); END"], anywhere=True)
    yield Edit("", "view planted", "view", ["CREATE VIEW helpful AS SELECT * FROM holds WHERE 0"], anywhere=True)
    for name, sql in db.execute("SELECT name, sql FROM sqlite_schema WHERE type = 'view'").fetchall():
        yield Edit("schema", "view dropped", name, [f"DROP VIEW {name}"])
        yield Edit("schema", "view of less", name, [f"DROP VIEW {name}", f"{sql} LIMIT 0"])
    yield Edit("holds", "view in the place of a table", "view", ["ALTER TABLE holds RENAME TO kept", "CREATE VIEW holds AS SELECT * FROM kept WHERE 0"], anywhere=True)
    yield Edit("", "table planted", "table", ["CREATE TABLE helpful (x)"], anywhere=True)
    yield Edit("pours", "column added", "pours", ["ALTER TABLE pours ADD COLUMN helpful TEXT"], anywhere=True)
    yield Edit("dispositions", "column renamed", "dispositions", ["ALTER TABLE dispositions RENAME COLUMN reason TO why"], anywhere=True)
    for what, old, new in [
        ("a check taken off", "CHECK (decision = 'accept'", "CHECK (1 OR decision = 'accept'"),
        ("a reference taken off", "concession INTEGER REFERENCES concessions (id)", "concession INTEGER"),
        ("a column made generated", "reason TEXT,", "reason TEXT DEFAULT 'x',"),
        ("another order of text", "reason TEXT,", "reason TEXT COLLATE NOCASE,"),
    ]:
        edit = f"UPDATE sqlite_schema SET sql = replace(sql, {quoted(old)}, {quoted(new)}) WHERE name = 'dispositions'"
        yield Edit("dispositions", f"writable_schema: {what}", "dispositions", ["PRAGMA writable_schema = ON", edit, "PRAGMA writable_schema = RESET"], anywhere=True)
    other = "UPDATE sqlite_schema SET rootpage = (SELECT rootpage FROM sqlite_schema s WHERE s.name = 'samples') WHERE name = 'attachments'"
    yield Edit("attachments", "writable_schema: another table's pages", "attachments", ["PRAGMA writable_schema = ON", other], anywhere=True)
    for version in (0, 1, 3, 99):
        yield Edit("", f"user_version {version}", "header", [f"PRAGMA user_version = {version}"], anywhere=True)
    yield Edit("", "application_id", "header", ["PRAGMA application_id = 1"], anywhere=True)
