"""Invented foundries, drawn at random from a seed, for the checks of parentage."""
import csv
import random
from datetime import datetime, timedelta, timezone

# The field of each kind's own tag, for the kinds that parentage runs through.
TAG = {"ingot_lots": "ingot_lot", "revert_lots": "revert_lot", "heats": "heat", "wax_lots": "wax_lot", "pattern_runs": "pattern_run", "core_lots": "core_lot",
       "filter_lots": "filter_lot", "powder_lots": "powder_lot", "slurry_batches": "slurry_batch", "stucco_lots": "stucco_lot", "shell_batches": "shell_batch",
       "moulds": "mould", "oven_runs": "oven_run", "blades": "blade", "treatments": "treatment"}
# References that may be written in another case or by a newer tag.
REFERENCES = (*TAG.values(), "source", "subject", "split_from", "pyrometer")
# Kinds that nothing refers to: a bundle may come without their files.
LEAVES = ["calibrations", "slurry_checks", "holds", "shipments", "dispositions", "treatment_loads", "oven_loads", "investments", "coats", "findings",
          "lot_blades", "revert_sources", "charges", "analyses", "pours", "retags"]
# Heats and moulds: small, middling, large with revert over many generations.
SIZES = [(range(2, 6), range(1, 6)), (range(6, 14), range(8, 25)), (range(6, 14), range(8, 25)), (range(25, 40), range(40, 60))]


class Tables(dict):
    """Kind to rows, and the newer tags of re-tagged records."""

    def __init__(self):
        super().__init__()
        self.new_tags = {}

    def put(self, table, /, **row):
        self.setdefault(table, []).append(row)


def real(x):
    """A reference that is there: not blank, not a mark of what is missing."""
    return x not in ("", "n/a", "illegible", None)


def instant(text):
    """A time, or a date as its midnight UTC."""
    when = datetime.fromisoformat(text.replace("Z", "+00:00"))
    return when if when.tzinfo else when.replace(tzinfo=timezone.utc)


def revision_of(t, kind, row, parent):
    """The definition and revision that a reference means: the one named, else the approved one in
    force at the record's own time."""
    if "@" in row[parent]:
        return tuple(row[parent].rsplit("@", 1))
    table, time = {"recipe": ("shell_recipes", "started_at"), "running_system": ("running_systems", "assembled_at")}[parent]
    known = [d for d in t[table] if d[parent] == row[parent] and real(d["approved_at"]) and instant(d["effective_from"]) <= instant(row[time])]
    return row[parent], max(known, key=lambda d: instant(d["effective_from"]))["revision"]


def foundry(seed):
    """An invented foundry: every kind a list of rows, every row a dict."""
    r = random.Random(seed)
    t = Tables()
    n_heats, n_moulds = (r.choice(span) for span in SIZES[seed % len(SIZES)])

    def at(day, hour=8, minute=0):
        """A time in one of the offsets that a foundry's clocks and lists may have."""
        offset = r.choice([0, 0, 0, 120, -300, 330])
        when = datetime(2031, 1, 1, hour, minute, tzinfo=timezone.utc) + timedelta(days=day)
        return when.astimezone(timezone(timedelta(minutes=offset))).isoformat()

    def some(of, low, high):
        return r.sample(of, min(len(of), r.randint(low, high)))

    definitions(t, r)
    instruments = [f"PY-{i}" for i in range(3)] + ["OV-1", "CU-1", "GA-1"]
    for i in instruments:
        t.put("instruments", instrument=i, kind="instrument")
        for day in sorted(some(range(110), 0, 6)):
            t.put("calibrations", instrument=i, checked_at=at(day, 7), check="cross_check", result=r.choice(["good", "good", "failed", "not_done"]))
    heats = melting(t, r, n_heats, at, some)
    runs, batches = shop(t, r, at, some)
    blades = []
    for lot in ("L-0", "L-1"):
        t.put("lots", lot=lot, part="P-1", opened_at=at(0))
    t.put("concessions", concession="CN-0", type="concession", part="P-1", limits="any", granted_at=at(0))
    for m in range(n_moulds):
        mould = f"M-{m:03}"
        t.put("moulds", mould=mould, part="P-1", running_system=r.choice(["RS-1", "RS-1", "RS-1@A", "RS-2"]), shell_batch=r.choice(["SB-0", "SB-1", "SB-2", "SB-3", ""]),
              filter_lot=r.choice(["FL-0", "FL-1", "n/a", "illegible"]), assembled_at=at(r.choice([4, 75])))
        for coat in range(1, r.randint(2, 9)):
            t.put("coats", mould=mould, coat=coat, slurry_batch=r.choice(batches), stucco_lot=r.choice(["ST-0", "ST-1", "", "n/a"]), in_at=at(6, coat))
        if r.random() < 0.2:
            t.put("investments", mould=mould, powder_lot=r.choice(["PW-0", "PW-1"]), mixed_at=at(6))
        for o in some(range(4), 0, 3):
            t.put("oven_loads", oven_run=f"OR-{o}", mould=mould)
        if r.random() < 0.9:
            t.put("pours", mould=mould, heat=r.choice(heats), poured_at=at(r.randint(8, 108), r.choice([6, 9])), pyrometer=r.choice(["PY-0", "PY-1", "PY-2", "", "illegible"]),
                  pour_order=r.choice([m % 4 + 1, ""]))
        for p in range(1, r.randint(2, 8)):
            blade = f"{mould}-{p}"
            blades.append(blade)
            t.put("blades", blade=blade, mould=mould, position=p, pattern_run=r.choice([*runs, "", "illegible"]), cavity=r.choice(["", "c1", "c2"]),
                  core_lot=r.choice(["CL-0", "CL-1", "", "n/a"]))
    t.put("blades", blade="LOST-1", mould="illegible", position="", pattern_run="", cavity="", core_lot="")
    t.put("blades", blade="LOST-2", mould="", position="", pattern_run=runs[0], cavity="", core_lot="CL-0")
    release(t, r, [*blades, "LOST-1", "LOST-2"], at, some)
    for kind in r.sample(LEAVES, r.choice([0, 0, 0, 1, 3])):
        t.pop(kind, None)
    holds(t, r, instruments, at)
    for kind in ("blades", "moulds", "heats", "wax_lots"):
        for row in r.sample(t[kind], len(t[kind]) // 8):
            old = row[TAG[kind]]
            t.new_tags[old] = f"N-{old}"
            t.put("retags", old_tag=old, new_tag=f"N-{old}", changed_at=at(80))
    return t


def definitions(t, r):
    t.put("alloys", alloy="AL-1")
    t.put("parts", part="P-1", alloy="AL-1")
    # The newest revision of each is not approved: nothing is tied to it unless it is named.
    for rev, start, approved in (("A", "2030-01-01", "2030-01-01"), ("B", "2031-03-01", "2031-02-01"), ("C", "2031-03-10T08:00:00+02:00", "")):
        t.put("shell_recipes", recipe="SR-1", revision=rev, route="shell", coats=4, effective_from=start, approved_at=approved)
        t.put("running_systems", running_system="RS-1", revision=rev, fill="bottom", positions=8, filter="yes", effective_from=start, approved_at=approved)
    t.put("running_systems", running_system="RS-2", revision="", fill="top", positions=8, filter="no", effective_from="2030-01-01", approved_at="2030-01-01")
    for defect in ("inclusion", "misrun"):
        t.put("defect_terms", defect=defect, name=defect)
    t.put("people", person="Q-1", role="quality")


def melting(t, r, n, at, some):
    ingots, reverts, heats = [f"IL-{i}" for i in range(r.randint(1, 4))], [], []
    for i in ingots:
        t.put("ingot_lots", ingot_lot=i, alloy="AL-1", received_at=at(0), mass_kg=500)
    for h in range(n):
        heat = f"H-{h:02}"
        t.put("heats", heat=heat, alloy="AL-1", furnace="F", melted_at=at(8 + h * 100 // n, 9))
        for source in [] if r.random() < 0.05 else some(ingots, 1, 3) + some(reverts, 0, 3):
            for item in range(1, r.choice([1, 1, 2]) + 1):
                # More may be charged than there was: the note says that it was weighed so.
                t.put("charges", heat=heat, source=source, item=item, mass_kg=round(r.uniform(0.5, 9), 3), note="as weighed")
        heats.append(heat)
        if h % 3 == 2 or (n > 20 and h % 2):
            lot = f"RV-{len(reverts)}"
            t.put("revert_lots", revert_lot=lot, alloy="AL-1", made_at=at(9 + h * 100 // n))
            for source in some(heats, 0 if r.random() < 0.1 else 1, 4):
                t.put("revert_sources", revert_lot=lot, heat=source, mass_kg=round(r.uniform(0.5, 5), 3))
            reverts.append(lot)
    for i, subject in enumerate(some(ingots + reverts + heats, 0, 3)):
        t.put("analyses", analysis=f"AN-{i}", subject=subject, purpose="check", taken_at=at(r.randrange(110), 12), instrument="GA-1")
    return heats


def shop(t, r, at, some):
    wax = []
    for i in range(6):
        t.put("wax_lots", wax_lot=f"WL-{i}", grade="W", received_at=at(0), split_from=r.choice(wax) if wax and r.random() < 0.6 else r.choice(["", "n/a"]))
        wax.append(f"WL-{i}")
    # A part may stand before the lot that it was split from.
    r.shuffle(t["wax_lots"])
    runs = [f"WP-{i}" for i in range(8)]
    for i in runs:
        t.put("pattern_runs", pattern_run=i, wax_lot=r.choice(wax), part="P-1", die="D", injected_at=at(1))
    for i in range(2):
        t.put("core_lots", core_lot=f"CL-{i}")
        t.put("filter_lots", filter_lot=f"FL-{i}", received_at=at(0), received_count=r.choice([50, ""]), rejected_count=r.choice([2, ""]))
        t.put("stucco_lots", stucco_lot=f"ST-{i}", received_at=at(0))
        t.put("powder_lots", powder_lot=f"PW-{i}", grade="G", received_at=at(0))
    batches = [f"PS-{i}" for i in range(5)]
    for b in batches:
        t.put("slurry_batches", slurry_batch=b, use="prime", made_at=at(0))
        for day in sorted(some(range(1, 100), 0, 5)):
            t.put("slurry_checks", slurry_batch=b, occurred_at=at(day, 6), instrument=r.choice(["CU-1", "", "n/a"]), ph=9.8)
    for i in range(4):
        t.put("shell_batches", shell_batch=f"SB-{i}", recipe=r.choice(["SR-1", "SR-1", "SR-1@A", "SR-1@B", "SR-1@C"]), started_at=at(r.choice([5, 58, 59, 75])))
        # Ovens and treatments name their instrument as text, in whatever case.
        t.put("oven_runs", oven_run=f"OR-{i}", purpose="fire", oven="K", started_at=at(r.randrange(100), 10), instrument=r.choice(["OV-1", "ov-1", ""]))
        t.put("treatments", treatment=f"HT-{i}", kind="hip", started_at=at(100, 10 + i), instrument=r.choice(["OV-1", "Ov-1", ""]))
    return runs, batches


def release(t, r, blades, at, some):
    for i, blade in enumerate(blades):
        for o in some(range(4), 0, 2) if r.random() < 0.3 else []:
            t.put("treatment_loads", treatment=f"HT-{o}", blade=blade)
        if r.random() < 0.5:
            t.put("lot_blades", lot=r.choice(["L-0", "L-1"]), blade=blade)
        for n in range(r.choice([0, 1, 1, 2, 3])):
            result = r.choice(["accept", "reject"])
            t.put("inspections", inspection=f"I-{i}-{n}", blade=blade, method=r.choice(["penetrant", "penetrant", "radiograph"]), round=r.choice([1, 1, 1, 2]),
                  purpose=r.choice(["", "", "product", "overlap", "study"]), inspected_at=at(r.randint(8, 112), 11), instrument=r.choice(["GA-1", "", "", ""]), result=result)
            for defect in some(["inclusion", "misrun"], 0, 2) if result == "reject" or r.random() < 0.2 else []:
                for item in range(1, r.choice([1, 1, 2]) + 1):
                    t.put("findings", inspection=f"I-{i}-{n}", defect=defect, item=item, zone=r.choice(["AF", "RT", ""]))
        for day in sorted(some(range(60, 110), 0, 3)):
            decision = r.choice(["accept", "accept", "rework", "repair", "scrap", "hold", "concession"])
            t.put("dispositions", blade=blade, decided_at=at(day), decision=decision, concession="CN-0" if decision == "concession" else "")
        # Sent once or twice; mostly one that came back before it goes again, but lists have gaps.
        for day in sorted(some(range(60, 110), 1, 2)) if r.random() < 0.3 else []:
            t.put("shipments", blade=blade, shipped_at=at(day), certificate=r.choice([f"C-{day}", ""]), returned_at=at(111) if r.random() < 0.5 else "")


def holds(t, r, instruments, at):
    subjects = [row[tag] for kind, tag in TAG.items() for row in r.sample(t.get(kind, []), min(2, len(t.get(kind, []))))]
    subjects += [*instruments, "L-0", "SR-1", "SR-1@A", "SR-1@B", "RS-1", "RS-1@A", "RS-2"]
    for i, subject in enumerate(r.sample(subjects, r.choice([0, 1, 1, 2, 2, 3, 5]))):
        t.put("holds", hold=f"HD-{i}", subject=subject, placed_at=at(82), reason="x", lifted_at=at(90) if r.random() < 0.3 else "")


def bundle_of(t, folder, seed):
    """Writes the bundle as people would: columns in any order, other case, newer tags, blank items."""
    r = random.Random(seed + 2000)
    folder.mkdir()

    def written(kind, column, value, items):
        if column == "item" and items:
            return ""
        if column in REFERENCES and column != TAG.get(kind) and real(value) and "@" not in str(value):
            value = t.new_tags[value] if value in t.new_tags and r.random() < 0.5 else value
            value = value.lower() if r.random() < 0.1 else value
        return value

    for kind, rows in t.items():
        columns = list(dict.fromkeys(c for row in rows for c in row))
        r.shuffle(columns)
        items = r.random() < 0.5
        with open(folder / f"{kind}.csv", "w", newline="", encoding=r.choice(["utf-8", "utf-8-sig"])) as f:
            w = csv.writer(f, lineterminator=r.choice(["\n", "\r\n"]))
            w.writerow(columns)
            for row in rows:
                w.writerow([written(kind, c, row.get(c, ""), items) for c in columns])
