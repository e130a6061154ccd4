#!/usr/bin/env python3
"""The release page as it comes out of a printer: A4 and Letter, drawn by a headless browser and read back from the PDF.

Held: the size of the paper and `page x of y` on each sheet; every word of the page whole, on the paper, over no other;
a heading on the sheet of what follows it, a picture on that of its heading, a table's heading with its first row, a short
table in one piece; the two-dimensional code, read from the drawn sheet, is the journal's head. Pages are the three lots of
the demo and a signed one with tags of forty characters, thirty elements and long words. Two pages that are spoilt on
purpose must be found at fault.

Usage: check_pages.py [FOLDER]    (keeps pages and pictures there, to be looked at)
Chromium is installed where it is not there; the readers go into an environment under target.
"""
import collections
import hashlib
import html.parser
import json
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
import venv

HERE = pathlib.Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE / "disk")]
import disk
from gate import lot

PAPERS = {"a4": (595.3, 841.9), "letter": (612, 792)}
BROWSERS = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome")
# When the demo's last records were written.
NOW = "2031-05-26T08:00:00+00:00"
# The least margins that the page sets, in points: 14 mm at the sides.
SIDE = 14 / 25.4 * 72


def readers():
    """Starts over inside an environment that has the readers."""
    given = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", disk.REPO / "target"))
    home = (given if given.is_dir() else pathlib.Path(tempfile.gettempdir())) / "pages-venv"
    if os.environ.get("PAGES_VENV") == str(home):
        return
    wanted = HERE / "pages_requirements.txt"
    done = home / f"complete-{hashlib.sha256(wanted.read_bytes()).hexdigest()[:12]}"
    if not done.exists():
        print(f"installing the readers under {home}", file=sys.stderr, flush=True)
        venv.create(home, with_pip=True, clear=True)
        subprocess.run([home / "bin/python", "-m", "pip", "install", "-q", "-r", wanted], check=True)
        done.touch()
    os.environ["PAGES_VENV"] = str(home)
    os.execv(home / "bin/python", [str(home / "bin/python"), *sys.argv])


def browser():
    found = next(filter(None, map(shutil.which, BROWSERS)), None)
    if found or not shutil.which("apt-get"):
        return found
    print("installing Chromium", file=sys.stderr, flush=True)
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    for words in (["update", "-qq"], ["install", "-y", "-qq", "--no-install-recommends", BROWSERS[0], "fonts-dejavu-core"]):
        subprocess.run(["apt-get", *words], **quiet)
    return next(filter(None, map(shutil.which, BROWSERS)), None)


def printed(tool, page):
    """The PDF of a page."""
    out = page.with_suffix(".pdf")
    words = ["--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer", f"--print-to-pdf={out}", page.as_uri()]
    with tempfile.TemporaryDirectory() as profile:
        done = subprocess.run([tool, f"--user-data-dir={profile}", *words], capture_output=True, text=True, timeout=120)
    if not out.exists():
        sys.exit(f"{tool} printed nothing: {done.stderr}")
    return out


class Blocks(html.parser.HTMLParser):
    """What must stand together, as lists of words: headings with what follows, rows, pictures; and all words."""

    def __init__(self, text):
        super().__init__()
        self.words, self.sections, self.path, self.row, self.long = collections.Counter(), [], [], None, False
        self.feed(text.split("</head>")[1])

    def handle_starttag(self, tag, attributes):
        kind = dict(attributes).get("class") or ""
        self.path.append((tag, kind))
        if tag in ("h1", "h2"):
            self.sections.append({"title": [], "first": None, "rows": [], "picture": None, "items": []})
        if tag in ("tr", "li"):
            self.row = []
        if tag == "svg" and "code" not in kind and self.sections:
            self.sections[-1]["picture"] = []
        if tag in ("br", "img"):
            self.path.pop()

    def handle_startendtag(self, tag, attributes):
        """A line or a box of a picture holds no words."""

    def handle_endtag(self, tag):
        while self.path and self.path.pop()[0] != tag:
            pass
        if tag in ("tr", "li") and self.sections and self.row is not None:
            self.sections[-1]["rows" if tag == "tr" else "items"].append(self.row)
            self.row = None

    def handle_data(self, data):
        tags = [t for t, _ in self.path]
        if any(k == "mark" for _, k in self.path) or "style" in tags:
            return
        words = data.split()
        # What no column can hold is broken where the line ends: in rows laid out as lines, and in digests.
        whole = [w for w in words if not (any(k.startswith(("long", "mono")) for _, k in self.path) and len(w) > 30)]
        self.words.update(whole)
        if self.sections:
            last = self.sections[-1]
            if tags and tags[-1] in ("h1", "h2"):
                last["title"] += words
            elif "svg" in tags and last["picture"] is not None:
                last["picture"] += words
        if self.row is not None:
            self.row += whole


def faults(page, pdf, paper):
    """What is wrong with a printed page."""
    import pdfplumber

    blocks, wrong, seen, sheets = Blocks(page.read_text()), [], collections.Counter(), []
    with pdfplumber.open(pdf) as book:
        n = len(book.pages)
        for i, sheet in enumerate(book.pages, 1):
            if any(abs(a - b) > 1 for a, b in zip((sheet.width, sheet.height), PAPERS[paper])):
                wrong.append(f"sheet {i} measures {sheet.width} by {sheet.height}")
            # Without the mark that lies behind the page.
            upright = sheet.filter(lambda o: o["object_type"] != "char" or o["upright"] and o["size"] < 40)
            words = upright.extract_words(x_tolerance_ratio=0.12, y_tolerance=1.5, extra_attrs=["size"])
            for w in words:
                if w["x0"] < SIDE - 2 or w["x1"] > float(sheet.width) - SIDE + 2:
                    wrong.append(f"sheet {i}: {w['text']} stands in the margin")
            wrong += [f"sheet {i}: {a} and {b} lie over each other" for a, b in over(words)]
            last = " ".join(w["text"] for w in words if w["top"] > float(sheet.height) - 44)
            if f"page {i} of {n}" not in last:
                wrong.append(f"sheet {i}: no page number: {last}")
            body = [w for w in words if 48 < w["top"] < float(sheet.height) - 44]
            seen.update(w["text"] for w in body)
            sheets.append(body)
    wrong += [f"{word} is cut, or missing ({m} times)" for word, m in (blocks.words - seen).items()]
    for section in blocks.sections:
        wrong += parted(section, sheets)
    return wrong


def over(words):
    rows = collections.defaultdict(list)
    for w in words:
        rows[round(w["bottom"])].append(w)
    for row in rows.values():
        row.sort(key=lambda w: w["x0"])
        yield from ((a["text"], b["text"]) for a, b in zip(row, row[1:]) if a["x1"] > b["x0"] + 1)


def at(words, sheet, start=0):
    """Where a list of words follows one another on a sheet; blanks in cells that wrap do not matter to its beginning."""
    texts = [w["text"] for w in sheet]
    for i in range(start, len(texts) - len(words) + 1):
        if texts[i : i + len(words)] == words:
            return i
    return None


def parted(section, sheets):
    title = section["title"]
    name = " ".join(title)
    for sheet in sheets:
        start = at(title, sheet)
        while start is not None and sheet[start]["size"] < 10:
            start = at(title, sheet, start + 1)
        if start is None:
            continue
        below = [w["text"] for w in sheet if w["top"] > sheet[start]["top"] + 4]
        there = collections.Counter(below)
        if not below:
            return [f"{name}: nothing follows the heading on its sheet"]
        if section["picture"] is not None and collections.Counter(section["picture"]) - there:
            return [f"{name}: the picture is on another sheet"]
        rows = section["rows"]
        if len(rows) > 1 and collections.Counter(rows[1]) - there:
            return [f"{name}: its first row is on another sheet"]
        if 1 < len(rows) <= 14 and collections.Counter(rows[-1]) - there:
            return [f"{name}: a table of {len(rows) - 1} rows is parted"]
        if section["items"] and collections.Counter(section["items"][0]) - there:
            return [f"{name}: its first sentence is on another sheet"]
        return []
    return [f"{name}: the heading is nowhere"]


def code_of(pdf):
    """What a scanner reads from the sheets."""
    import pdfplumber
    import zxingcpp

    with pdfplumber.open(pdf) as book:
        for sheet in reversed(book.pages):
            found = zxingcpp.read_barcodes(sheet.to_image(resolution=200).original.convert("L"))
            if found:
                return found[0].text
    return None


OWN = ["organisation=ORG-1", "role=own", "name=Castings and blades for engines (invented)", "address=1 Foundry Lane; 00000 Nowhere",
       "approvals=production approval XX.21G.0000 (invented); quality system 0000-1111 (invented)", "contact=quality desk, +00 000 0000",
       "statement=We certify that the parts listed were made, inspected and tested to the order and the definitions named, and conform to them."]
LOGO = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 40"><rect width="60" height="40" fill="#135"/></svg>'


def letterhead(store, person):
    logo = store.parent / "logo.svg"
    logo.write_text(LOGO)
    must(store, "log", "organisations", *OWN, "--as", person)
    must(store, "log", "attachments", "attachment=AT-LOGO", "subject=ORG-1", "path=logo.svg", "title=logo", f"bytes={len(LOGO)}",
         f"sha256={hashlib.sha256(LOGO.encode()).hexdigest()}")


def must(store, *arguments, allowed=(0,)):
    done = lot.run(store, *arguments, now=NOW)
    if done.returncode not in allowed:
        sys.exit(f"{' '.join(arguments)}: exit {done.returncode}: {done.stdout[:800]}{done.stderr[:800]}")
    return done


def hard(folder):
    """The clean lot of the gate's checks, with all that is long: tags, elements, sentences, an attached path."""
    kinds = {k: list(v) for k, v in lot.CLEAN.items()}

    def grown(line):
        line = re.sub(r"M31-00(\d)-(\d)", r"M31-00\1-OF-THE-LONGEST-SORT-OF-TAGS-0\2", line)
        return line.replace("AN-", "ANALYSIS-OF-THE-WHOLE-LABORATORY-")

    kinds = {k: [v[0], *map(grown, v[1:])] for k, v in kinds.items()}
    elements = "C Cr Co Mo W Ta Nb Al Ti Hf Re Ru B Zr Fe Mn Si Cu V Mg Ca P S N Ag Bi Pb Te".split()
    kinds["alloy_limits"] += [f"QA-713,3,{e},,13.25,wt%" for e in elements]
    for analysis in (1, 2):
        kinds["analysis_values"] += [f"ANALYSIS-OF-THE-WHOLE-LABORATORY-{analysis},{e},12.125,wt%" for e in elements]
    kinds["test_bars"] = ["test_bar,heat,uts_mpa,elongation_pct"] + [f"TB-{n},H31-001,{880 + n},6.5" for n in range(30)]
    kinds["process_limits"] = ["record,field,scope,stop_min", "test_bars,uts_mpa,QA-713,758"]
    kinds["lots"] = ["lot,part,purchaser,purchase_order,order_line,ordered_count,certificate_type,opened_at",
                     "L31-01,QB-2207,ORG-2,4711,3,4,3.2,2031-02-01T00:00:00Z"]
    kinds["organisations"] = ["organisation,role,name,address", "ORG-2,customer,Turbine overhaul and repair works (invented),2 Harbour Road; 00001 Elsewhere"]
    lot.write(folder / "bundle", kinds)
    store = folder / "hard.db"
    must(store, "import", str(folder / "bundle"), "--as", "QL-01")
    letterhead(store, "QL-01")
    attached = folder / "certificates-of-the-maker-and-of-the-laboratory-as-they-came.txt"
    attached.write_text("a certificate")
    must(store, "log", "attachments", "attachment=AT-1", "subject=IL31-01", f"path={attached.name}", f"bytes={len('a certificate')}",
         f"sha256={hashlib.sha256(b'a certificate').hexdigest()}")
    return store


def main():
    readers()
    tool = browser()
    if not tool:
        print("no Chromium is here, and none can be installed: the pages were not drawn")
        return
    disk.program()
    keep = pathlib.Path(sys.argv[1]).resolve() if len(sys.argv) > 1 else None
    wrong, drawn = [], 0
    with tempfile.TemporaryDirectory() as made:
        folder = keep or pathlib.Path(made)
        folder.mkdir(parents=True, exist_ok=True)
        demo, long = folder / "demo.db", hard(folder)
        must(demo, "import", str(disk.REPO / "sample_data"))
        letterhead(demo, "OP-51")
        pages = [(demo, f"L31-0{n}", []) for n in (1, 2, 3)] + [(long, "L31-01", ["--final", "--as", "QL-01"])]
        for paper in PAPERS:
            for store, quality in ((demo, "OP-51"), (long, "QL-01")):
                must(store, "correct", "ORG-1", f"paper={paper}", "--reason", "paper", "--as", quality)
            for store, name, final in pages:
                page = folder / f"{store.stem}-{name}-{paper}.html"
                must(store, "lot", "summary", name, "--html", str(page), "--replace", *final, allowed=(0, 1))
                pdf = printed(tool, page)
                wrong += [f"{page.name}: {why}" for why in faults(page, pdf, paper)]
                head = re.search(r"journal head (\w{64})", page.read_text()).group(1)
                if final and "We certify" not in page.read_text():
                    wrong.append(f"{page.name}: no words of conformity")
                if code_of(pdf) != head:
                    wrong.append(f"{page.name}: the code does not read {head}: {code_of(pdf)}")
                drawn += 1
        # What no page should pass for.
        page = folder / "demo-L31-02-a4.html"
        for rule, said in (
            (".w{white-space:normal!important}td,th{word-break:break-all!important}", "is cut"),
            ("h2{break-after:page!important}.keep,section{break-inside:auto!important}", "on another sheet|nothing follows"),
        ):
            spoilt = folder / "spoilt.html"
            spoilt.write_text(page.read_text().replace("</style>", f"{rule}</style>", 1))
            found = faults(spoilt, printed(tool, spoilt), "a4")
            if not any(re.search(said, why) for why in found):
                wrong.append(f"a page spoilt by {rule} passes: {found[:3]}")
        if keep:
            pictures(keep)
    print(json.dumps({"pages": drawn, "wrong": len(wrong)}))
    for why in wrong[:40]:
        print(why)
    sys.exit(bool(wrong))


def pictures(folder):
    import pdfplumber

    for pdf in folder.glob("*.pdf"):
        with pdfplumber.open(pdf) as book:
            for i, sheet in enumerate(book.pages, 1):
                sheet.to_image(resolution=80).save(folder / f"{pdf.stem}-{i}.png")


if __name__ == "__main__":
    main()
