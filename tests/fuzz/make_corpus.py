#!/usr/bin/env python3
"""Writes a starting corpus for every target into tests/fuzz/corpus: rows of the sample data, sheets of a
spreadsheet, small databases. Nothing of it is kept in the repository.

Usage: make_corpus.py PROGRAM     (a built meltkin: it knows the columns)
"""
import csv
import io
import json
import pathlib
import random
import re
import sqlite3
import subprocess
import sys
import tempfile
import zipfile

HERE = pathlib.Path(__file__).resolve().parent
REPO = HERE.parent.parent
SAMPLE = REPO / "sample_data"
OUT = HERE / "corpus"


def put(target, name, data):
    folder = OUT / target
    folder.mkdir(parents=True, exist_ok=True)
    (folder / name).write_bytes(data if isinstance(data, bytes) else data.encode())


def rows(name, most):
    with open(SAMPLE / name, newline="") as f:
        lines = list(csv.reader(f))
    head, rest = lines[0], lines[1:]
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows([head] + rest[:most])
    return out.getvalue()


def kinds():
    """The kinds in the order of the catalogue, which the first byte counts."""
    text = (REPO / "src/records/catalogue/mod.rs").read_text()
    types = re.findall(r"([A-Z]\w+)::KIND,", text.split("pub static ALL")[1].split("];")[0])
    return [re.sub(r"(?<!^)([A-Z])", r"_\1", t).lower() for t in types]


def guess(column, tags):
    """A value that the column may take."""
    if column in tags:
        return f"T-{tags[column]}"
    if column.endswith("_at"):
        return "2031-03-04T09:05:00+00:00"
    if column.endswith("_on"):
        return "2031-03-04"
    return {"recorded_by": "T-people", "subject": "T-moulds", "revision": "R1", "note": "noted"}.get(column, "")


def sheets():
    """Sheets as shops keep them, each behind its mapping."""
    pours = ("pours|2|mould=Form,heat=Melt,poured_at=Day+Hour,indicated_c=Temp||seal_state:ok=tight|heat|+01:00|"
             "12:00|-|dc\nPour book;;;\nForm;Melt;Day;Hour;Temp\nT-moulds;T-heats;4.3.2031;9:05;1450,5\n;;;;\n")
    lots = ("filter_lots|1|filter_lot=Box,received_at=Came,received_count=#C|material=zirconia|||-05:00|00:00|none|m\n"
            "Box,Came,Got\nFL-1,3/4/2031 12:05 PM,24\nFL-2,2031-03-04,none\nFL-1,3/4/2031 12:05 PM,24\n")
    return {"pours": pours, "lots": lots}


def closure(program):
    """Rows that hang together: a mould with what it refers to."""
    tables = {}
    for path in SAMPLE.glob("*.csv"):
        with open(path, newline="") as f:
            tables[path.stem] = list(csv.reader(f))
    wanted = {"M31-070"}
    small = {n for n, t in tables.items() if len(t) <= 12}
    kept = {n: set() for n in tables}
    for _ in range(4):
        for name, (head, *body) in tables.items():
            for i, row in enumerate(body):
                if i in kept[name]:
                    continue
                own = row[0] in wanted
                linked = name in ("charges", "revert_sources", "coats", "pours", "blades") and any(c in wanted for c in row[:2])
                if own or linked or name in small:
                    kept[name].add(i)
                    wanted.update(c for c in row if c and re.fullmatch(r"[A-Z]{1,3}[0-9A-Z]*-?[0-9A-Za-z/-]*", c) and len(c) < 20)
    chosen = {name: [tables[name][0]] + [tables[name][1:][i] for i in sorted(rows)[:12]] for name, rows in kept.items() if rows}
    # Rows that refer to what was left out are left out too, until the program takes the rest.
    for _ in range(20):
        with tempfile.TemporaryDirectory() as folder:
            for name, rows in chosen.items():
                with open(f"{folder}/{name}.csv", "w", newline="") as f:
                    csv.writer(f, lineterminator="\n").writerows(rows)
            words = [program, "import", folder, "--json", "--check", "--store", f"{folder}/a.db"]
            faults = json.loads(subprocess.run(words, capture_output=True, text=True).stdout)["faults"]
        if not faults:
            break
        for name in chosen:
            bad = {f["line"] for f in faults if f["file"] == f"{name}.csv"}
            chosen[name] = [row for i, row in enumerate(chosen[name]) if i + 1 not in bad or i == 0]
    out = io.StringIO()
    for name, rows in chosen.items():
        out.write(f"== {name}\n")
        csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()


def spreadsheets():
    rows = [("Element", "Result", "Unit"), ("Cr", "12.5", "wt%"), ("Al", "6.1", "%"), ("N", "34", "ppm"), ("O", "<5", "ppm")]
    lines = "\n".join(",".join(r) for r in rows)
    by_element = "x;1;;Element;Result;Unit;;;;"
    put("certificate", "csv-elements", f"{by_element};\n{lines}\n")
    put("certificate", "csv-semicolon", f"{by_element};sure;\n{lines.replace(',', ';')}\n")
    put("certificate", "csv-heats", ";1;;;;;;wt%;;Heat;\nHeat,Cr,Al (%),N ppm\nwords,12.5,6.1,0.0034\nV-2,12,6,0.003\n")
    put("certificate", "csv-units", ";1;;;;;2;;;A4;\nCr,Al,N\nwt%,wt%,ppm\n12.5,6.1,34\nwords,,\n")

    def cell(r, c, text):
        at = f"{chr(65 + c)}{r + 1}"
        number = re.fullmatch(r"[0-9.]+", text)
        return f'<c r="{at}"><v>{text}</v></c>' if number else f'<c r="{at}" t="inlineStr"><is><t>{text.replace("<", "&lt;")}</t></is></c>'

    body = "".join(f'<row r="{r + 1}">' + "".join(cell(r, c, t) for c, t in enumerate(row)) + "</row>" for r, row in enumerate(rows))
    space = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
    sheet = f'<?xml version="1.0"?><worksheet {space}><dimension ref="A1:C5"/><sheetData>{body}</sheetData>TAIL</worksheet>'
    plain = sheet.replace("TAIL", "")
    put("certificate", "sheet", f"{by_element};;s\n{plain}")
    put("certificate", "sheet-merged", f"{by_element};;s\n" + sheet.replace("TAIL", '<mergeCells count="1"><mergeCell ref="B3:B4"/></mergeCells>'))
    put("certificate", "sheet-formula", f"{by_element};;s\n" + plain.replace("<v>12.5</v>", "<f>A1+1</f><v>12.5</v>"))
    put("certificate", "sheet-error", f"{by_element};;s\n" + plain.replace('<c r="B2">', '<c r="B2" t="e">').replace("12.5", "#DIV/0!"))
    put("certificate", "texts", f'{by_element};;t\n<?xml version="1.0"?><sst {space} count="4"><si><t>Element</t></si><si><r><t>Res</t></r>'
        '<r><t>ult</t></r></si><si><t xml:space="preserve"> Unit </t></si><si><t>Al</t></si></sst>')
    put("certificate", "book", f'{by_element};;b\n<?xml version="1.0"?><workbook {space} xmlns:r="http://schemas.openxmlformats.org/'
        'officeDocument/2006/relationships"><workbookPr date1904="1"/><sheets><sheet name="C" sheetId="1" r:id="rId1"/>'
        '<sheet name="H" sheetId="2" state="hidden" r:id="rId1"/></sheets></workbook>')
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w", zipfile.ZIP_DEFLATED) as z:
        z.writestr("xl/workbook.xml", "<workbook/>")
        z.writestr("xl/worksheets/sheet1.xml", plain)
    put("certificate", "zip", f"{by_element};;\n".encode() + whole.getvalue())


def stores(rng):
    put("store", "text", b"\0this is no store at all, but long enough to be looked at")
    for n, (app, version) in enumerate([(0, 0), (0x6D6B696E, 1), (0x6D6B696E, 2), (0x6D6B696E, 9), (1, 1)]):
        with tempfile.TemporaryDirectory() as folder:
            path = pathlib.Path(folder) / "a.db"
            db = sqlite3.connect(path)
            db.executescript(f"PRAGMA page_size = 512; PRAGMA application_id = {app}; PRAGMA user_version = {version};"
                             + ("CREATE TABLE blades (id INTEGER PRIMARY KEY, blade TEXT);" if n else ""))
            db.close()
            put("store", f"database-{n}", b"\0" + path.read_bytes())
    put("store", "log", b"\1" + b"\x37\x7f\x06\x82" + bytes([0, 0x2D, 0xE2, 0x18, 0, 0, 0x10, 0]) + rng.randbytes(20))
    for n in range(60):
        changes = b"".join(bytes([rng.randrange(256)]) + rng.randbytes(2) + (rng.randrange(4096)).to_bytes(2, "little")
                           for _ in range(rng.randint(1, 6)))
        put("store", f"changes-{n}", b"\2" + changes)
    for place in range(0, 100):
        put("store", f"head-{place}", b"\2" + bytes([1 << rng.randrange(8), 0, 0]) + place.to_bytes(2, "little"))


def values():
    for n, text in enumerate(["M31-041", "1480.5", "2031-03-04T09:05:00+00:00", "2031-03-04T09:05:00.123456Z", "2031-03-04", "reject",
                              "<0.05", "a \"b\"\nc", "12", "n/a", "illegible", "SR-7@B", "-0", "1e-5", "9007199254740993",
                              "2031-03-04T09:05:00-11:30", "coats:M31-001/2", "0000-01-01T00:00:00Z", "9999-12-31T23:59:59+14:00"]):
        put("values", f"text-{n}", text)


def calc(rng):
    counts = "a,b,c,d\n" + "".join(f"{rng.randrange(20)},{rng.randrange(20)},{rng.randrange(20)},{rng.randrange(20)}\n" for _ in range(4))
    shares = "group,score,n,x,units,y,z,value,part,person\n" + "".join(
        f"g{i % 3},{i % 4},{20 + i},{rng.randrange(5)},1.5,{rng.random() * 3:.3f},{rng.gauss(0, 1):.2f},{rng.gauss(3, 1):.3f},p{i % 4},o{i % 3}\n"
        for i in range(24))
    gauge = "part,person,value\n" + "".join(f"p{i // 4},o{i // 2 % 2},{i // 4 + rng.random():.3f}\n" for i in range(24))
    lines = "y,u,v\n" + "".join(f"{int(rng.random() < 0.4)},{rng.random():.2f},{i}\n" for i in range(24))
    readers = "a,b\n" + "".join(f"{rng.choice(['accept', 'reject'])},{rng.choice(['accept', 'reject'])}\n" for _ in range(20))
    ranked = ("blade,mould_id,defect,zone\n" + "".join(f"B{i},M{i // 4},{int(rng.random() < 0.3)},z{i % 3}\n" for i in range(60))
              + "==\nmould,heat_id,oven,hours,part\n" + "".join(f"M{i},H{i // 3},o{i % 2},{i}.5,P{i % 2}\n" for i in range(15))
              + "==\nheat,furnace,temp\n" + "".join(f"H{i},F{i % 2},{1480 + i}\n" for i in range(5)))
    for n in range(31):
        for name, text in {"counts": counts, "shares": shares, "gauge": gauge, "lines": lines, "readers": readers}.items():
            if n < 29:
                put("calc", f"{n}-{name}", bytes([n]) + text.encode())
        if n >= 29:
            put("calc", f"{n}-ranked", bytes([n]) + ranked.encode())


def main():
    rng = random.Random(1)
    with tempfile.TemporaryDirectory() as folder:
        for words in (["new", "--bare"], ["export", f"{folder}/all"]):
            subprocess.run([sys.argv[1], *words, "--store", f"{folder}/a.db"], check=True, capture_output=True)
        heads = {p.stem: p.read_text() for p in pathlib.Path(folder, "all").glob("*.csv")}
    tags = {text.split(",")[0].strip(): name for name, text in heads.items() if name.rstrip("s") in text.split(",")[0] or name in ("analyses", "people", "batches")}
    tags |= {"person": "people", "analysis": "analyses", "defect": "defect_terms", "recipe": "shell_recipes", "slurry_batch": "slurry_batches",
             "shell_batch": "shell_batches"}
    for n, name in enumerate(kinds()):
        if (SAMPLE / f"{name}.csv").exists():
            put("one_kind", f"{name}-rows", bytes([n]) + rows(f"{name}.csv", 4).encode())
        head = heads[name].strip().split(",")
        cells = [f"T2-{name}" if i == 0 and tags.get(c) == name else guess(c, tags) for i, c in enumerate(head)]
        put("one_kind", f"{name}-guess", bytes([n]) + f"{','.join(head)}\n{','.join(cells)}\n".encode())
        put("one_kind", f"{name}-head", bytes([n]) + heads[name].encode())
    put("bundle", "sample", closure(sys.argv[1]))
    small = (REPO / "tests/it/support.rs").read_text()
    put("bundle", "small", "".join(f"== {n}\n{json.loads(chr(34) + t + chr(34))}" for n, t in
                                   re.findall(r'"([a-z_]+)\.csv",\s*"((?:[^"\\]|\\.)*)"', small.split("pub const SMALL")[1])))
    spreadsheets()
    for name, text in sheets().items():
        put("sheet", name, text)
    stores(rng)
    values()
    calc(rng)
    print({p.name: len(list(p.iterdir())) for p in OUT.iterdir()})


main()
