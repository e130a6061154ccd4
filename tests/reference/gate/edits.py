"""Edits of a store with plain SQL, and what `verify` must name for each: every column of every table, several ways."""
import json
import re
import sqlite3
from dataclasses import dataclass

PLACES = ("entry", "digest", "extra", "id")


@dataclass
class Edit:
    table: str
    way: str
    what: str
    sql: list
    tag: str = None             # the record that must be named; "" is any record of that table
    anywhere: bool = False      # the fault may stand in another table
    anchor: str = None
    show: str = None            # a record that must not be shown any more
    harmless: bool = False      # nothing of a record may have changed by it: then it need not be found


def quoted(v):
    if v is None:
        return "NULL"
    return str(v) if isinstance(v, (int, float)) else "'" + str(v).replace("'", "''") + "'"


def text_of_time(packed):
    import datetime
    ms, offset = packed // 4096, packed % 4096 - 2048
    at = datetime.datetime(1970, 1, 1) + datetime.timedelta(milliseconds=ms, minutes=offset)
    text = at.strftime("%Y-%m-%dT%H:%M:%S") + (f".{ms % 1000:03d}" if ms % 1000 else "")
    return f"{text}{'-' if offset < 0 else '+'}{abs(offset) // 60:02d}:{abs(offset) % 60:02d}"


class Table:
    """One kind's table: its rows by number, its columns by what they hold."""
    def __init__(self, db, kind, filled):
        self.db, self.kind, self.filled = db, kind, filled
        info = db.execute(f"PRAGMA table_info({kind})").fetchall()
        self.names = [r[1] for r in info]
        self.types = {r[1]: r[2] for r in info}
        self.required = {r[1] for r in info if r[3]}
        self.key = [r[1] for r in sorted(info, key=lambda r: r[5]) if r[5]]
        sql = db.execute("SELECT sql FROM sqlite_schema WHERE name = ?", (kind,)).fetchone()[0]
        self.words = {}
        for column, word in re.findall(r'"?(\w+)"? = \'(\w[^\']*)\'', sql):
            self.words.setdefault(column, []).append(word)
        self.refers = {r[3]: r[2] for r in db.execute(f"PRAGMA foreign_key_list({kind})")}
        listed = ", ".join(f'"{c}"' for c in self.names)
        self.rows = {}
        for row in db.execute(f"SELECT {listed} FROM {kind} WHERE note LIKE 'noted _' OR note LIKE 'put right _'"):
            row = dict(zip(self.names, row))
            self.rows[int(row["note"][-1])] = row

    def where(self, n):
        return " AND ".join(f'"{c}" IS {quoted(self.rows[n][c])}' for c in self.key)

    def set(self, n, **values):
        assigned = ", ".join(f'"{c}" = {quoted(v)}' for c, v in values.items())
        return f"UPDATE {self.kind} SET {assigned} WHERE {self.where(n)}"

    def field(self, column):
        """The field of a bundle that a column belongs to."""
        heads = self.filled.heads[self.kind]
        if column in heads:
            return column
        return next((f for f in heads if column.startswith(f"{f}_") and (column in (f"{f}_kind", f"{f}_id") or column in self.refers)), column)

    def addressed_by(self, n, column):
        """The field of this column is part of the record's address."""
        if self.filled.tags[self.kind] is not None or self.field(column) not in self.filled.heads[self.kind]:
            return False
        parts = self.filled.address[self.kind, n].split(":", 1)[1].split("/")
        mine = [c for c in self.names if self.field(c) == self.field(column) and self.rows[n][c] is not None]
        return any(self.text(n, c, named) in parts for c in mine for named in (False, True)) and column not in ("note", "recorded_by")

    def tag_of(self, table, ident, named):
        first = self.filled.heads[table][0]
        revision = ", revision" if named and "revision" in self.filled.heads[table] else ", NULL"
        row = self.db.execute(f'SELECT "{first}"{revision} FROM {table} WHERE id = ?', (ident,)).fetchone()
        return None if row is None else row[0] + (f"@{row[1]}" if row[1] is not None else "")

    def text(self, n, column, named=False):
        """What a bundle says for the field of this column."""
        v = self.rows[n][column]
        if v is None:
            return ""
        if column in self.refers:
            return self.tag_of(self.refers[column], v, named)
        if column.endswith(("_kind", "_id")) and column.replace("_id", "_kind") in self.names and column != "id":
            stem = column.rsplit("_", 1)[0]
            return self.tag_of(self.rows[n][f"{stem}_kind"], self.rows[n][f"{stem}_id"], named)
        if self.is_time(column):
            return text_of_time(v)
        return str(int(v)) if isinstance(v, float) and v == int(v) else str(v)

    def is_time(self, column):
        return self.types[column] == "INTEGER" and column.endswith("_at")

    def another(self, n, column):
        """A value that could stand there just as well."""
        v = self.rows[n][column]
        if column in self.refers:
            found = self.db.execute(f"SELECT id FROM {self.refers[column]} WHERE id IS NOT ? ORDER BY id DESC", (v,)).fetchone()
            return found[0]
        for row in self.rows.values():
            if row[column] is not None and row[column] != v and column not in self.key:
                return row[column]
        if self.is_time(column):
            return (v or 0) + 60_000 * 4096
        if column in self.words:
            return next(w for w in self.words[column] if w != v)
        if column.endswith("_kind"):
            return "heats" if v != "heats" else "moulds"
        return {"INTEGER": (v or 0) + 1, "REAL": (v or 0) + 0.5}.get(self.types[column], f"{v or ''}x") \
            if not isinstance(v, str) else (v[:-1] + ("1" if v[-1:] != "1" else "2"))

    def with_extra(self, n, more):
        now = json.loads(self.rows[n]["extra"] or "{}")
        return json.dumps(now | more, separators=(",", ":"))


def of_rows(t, every):
    """Every column of one table; `every`: in every sort of row, else in one after the other."""
    numbers = sorted(t.rows)
    turn = 0
    for column in t.names:
        for way in ("null", "other", "masked", "masked null", "masked as a number", "swapped", "other revision", "other offset"):
            turn += 1
            for n in numbers if every else [numbers[turn % len(numbers)]]:
                yield from one(t, column, way, n, numbers)


def one(t, column, way, n, numbers):
    v, address = t.rows[n][column], t.filled.address[t.kind, n]
    hangs = column in t.key or column in (t.filled.tags[t.kind], "revision") or t.addressed_by(n, column)
    tag = "" if hangs or column in PLACES else address
    plain = dict(table=t.kind, tag=tag, show=None if hangs or column in ("id", "entry") else address)
    what = f"{t.kind}.{column} of {address}"
    if column == "id":
        yield from of_id(t, way, n, numbers, what)
        return
    if way == "null" and v is not None and column not in t.required:
        # That a revision was typed stands in `extra`; the record names it either way.
        yield Edit(way=way, what=what, sql=[t.set(n, **{column: None})], harmless=column == "extra", **plain)
    if way == "other":
        if column == "extra":
            for extra in ("{", '{"put_in":"x"}', '{"note":"x"}', "[]", '{"note":1}', '{"tilt_1":"<0.7"}', "{}", ""):
                yield Edit(way=f"extra {extra}", what=what, sql=[t.set(n, extra=extra)], harmless=extra in ("{}", ""), **plain)
        elif column == "entry":
            for entry in (0, v + 1, 100_000):
                yield Edit(way="other entry", what=what, sql=[t.set(n, entry=entry)], **plain)
        else:
            yield Edit(way=way, what=what, sql=[t.set(n, **{column: t.another(n, column)})], **plain)
    if way.startswith("masked") and column not in PLACES:
        field, changed = t.field(column), t.another(n, column)
        if way == "masked as a number":
            if not isinstance(v, (int, float)) or column in t.refers or t.is_time(column):
                return
            yield Edit(way=way, what=what, sql=[t.set(n, **{column: changed, "extra": t.with_extra(n, {field: v})})], **plain)
            return
        if way == "masked null" and (column in t.required or v is None):
            return
        to = None if way == "masked null" else changed
        for named in {False, column in t.refers}:
            extra = t.with_extra(n, {field: t.text(n, column, named)})
            yield Edit(way=way, what=what, sql=[t.set(n, **{column: to, "extra": extra})], **plain)
    if way == "swapped":
        m = next((m for m in numbers if m != n and t.rows[m][column] != v), None)
        w = t.rows[m][column] if m else None
        if m and (column not in t.required or None not in (v, w)):
            if hangs:       # by a third value, as the key is unique
                third = t.another(n, column) if isinstance(v, str) else -7
                first = f'UPDATE {t.kind} SET "{column}" = {quoted(third)} WHERE {t.where(n)}'
                others = " AND ".join(f'"{c}" IS {quoted(third if c == column else t.rows[n][c])}' for c in t.key)
                yield Edit(way=way, what=what, sql=[first, t.set(m, **{column: v}),
                           f'UPDATE {t.kind} SET "{column}" = {quoted(w)} WHERE {others}'], **plain)
            else:
                yield Edit(way=way, what=what, sql=[t.set(n, **{column: w}), t.set(m, **{column: v})], **plain)
    if way == "other revision" and t.refers.get(column) in ("alloys", "parts", "shell_recipes", "running_systems"):
        to, first = t.refers[column], t.filled.heads[t.refers[column]][0]
        other = t.db.execute(f'SELECT b.id FROM {to} a JOIN {to} b ON b."{first}" = a."{first}" AND b.id <> a.id WHERE a.id = ?', (v,)).fetchone()
        if other is None:       # its tag has one revision: that of the tag with two
            return
        yield Edit(way=way, what=what, sql=[t.set(n, **{column: other[0]})], **plain)
    if way == "other offset" and t.is_time(column) and v is not None:
        yield Edit(way=way, what=what, sql=[t.set(n, **{column: v + 60})], **plain)


def of_id(t, way, n, numbers, what):
    v = t.rows[n]["id"]
    common = dict(table=t.kind, what=what, tag="", anywhere=True, harmless=True)
    if way == "other":
        yield Edit(way="renumbered", sql=[t.set(n, id=v + 100_000)], **common)
    if way == "swapped":
        m = next(m for m in numbers if m != n)
        w = t.rows[m]["id"]
        yield Edit(way="ids swapped", sql=[f"UPDATE {t.kind} SET id = -1 WHERE id = {v}", f"UPDATE {t.kind} SET id = {v} WHERE id = {w}",
                                           f"UPDATE {t.kind} SET id = {w} WHERE id = -1"], **common)


def whole_rows(t):
    """Rows deleted, copied, and moved as a whole."""
    names = ", ".join(f'"{c}"' for c in t.names)
    for n in sorted(t.rows):
        logged, address = n > 3, t.filled.address[t.kind, n]
        common = dict(table=t.kind, what=f"{t.kind} {address}")
        yield Edit(way="deleted", sql=[f"DELETE FROM {t.kind} WHERE {t.where(n)}"], tag="" if logged else None, **common)
        copied = {c: quoted(t.rows[n][c]) for c in t.names}
        if "id" in copied:
            copied["id"] = "NULL"
        free = [c for c in t.key if c != "id"] or [c for c in t.names if c != "id"][:1]
        column = next((c for c in free if t.types[c] == "TEXT" and c not in t.words and not c.endswith("_kind")), None) \
            or next((c for c in free if c not in t.words and c not in t.refers and not c.endswith("_kind")), free[-1])
        made = t.rows[n][column]
        if column in t.refers:      # one that has no such row yet, else any
            used = {r[column] for r in t.rows.values()}
            every = [r[0] for r in t.db.execute(f"SELECT id FROM {t.refers[column]} ORDER BY id DESC")]
            made = next((i for i in every if i not in used), made)
        elif t.is_time(column):
            made += 3_600_000 * 4096
        else:
            made = made + 40 if isinstance(made, int) else f"{made}-b"
        copied[column] = quoted(made)
        values = ", ".join(copied.values())
        yield Edit(way="copied", sql=[f"INSERT INTO {t.kind} ({names}) VALUES ({values})"], tag="", **common)
        m = next(m for m in sorted(t.rows) if m != n)
        a, b = t.rows[n], t.rows[m]
        yield Edit(way="seals swapped", tag="", sql=[t.set(n, digest=b["digest"], entry=b["entry"]), t.set(m, digest=a["digest"], entry=a["entry"])], **common)
        yield Edit(way="entries swapped", tag="", sql=[t.set(n, entry=b["entry"]), t.set(m, entry=a["entry"])], **common) \
            if a["entry"] != b["entry"] else Edit(way="digests swapped", tag="", sql=[t.set(n, digest=b["digest"]), t.set(m, digest=a["digest"])], **common)
    yield Edit(table=t.kind, way="emptied", what=t.kind, sql=[f"DELETE FROM {t.kind}"], tag=None)
