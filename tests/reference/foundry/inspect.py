"""Inspection, dispositions, and the two studies: readers on the same films, people on the same gauge."""
from datetime import datetime, timedelta

from foundry.book import BLADES, BLADES_OF, MOULDS, clip, day, dice, log, iso, poured, put

READERS = ["OP-22", "OP-23", "OP-24"]
LEFT = datetime(2031, 4, 30)  # OP-21's penetrant qualification ends
LIMITS = {"wall": (3.0, 3.4), "te_thickness": (0.5, 0.7), "chord": (41.7, 42.3)}


class Inspections:
    def __init__(self):
        self.n = 0

    def add(self, blade, method, at, person, result, **row):
        self.n += 1
        tag = f"I31-{self.n:05}"
        log("inspections", at, 2, person, inspection=tag, blade=blade, method=method, round=row.pop("round", 1),
            purpose=row.pop("purpose", ""), technique=row.pop("technique"), **{"class": row.pop("grade", "")},
            inspected_at=iso(at), person=person, instrument=row.pop("instrument", ""), result=result)
        return tag

    def find(self, tag, defect, zone, size, **row):
        put("findings", inspection=tag, defect=defect, item=1, zone=zone, side=row.get("side", ""), size_mm=size,
            distance_mm=row.get("distance", ""), count=row.get("count", ""), severity=row.get("severity", ""))

    def measure(self, tag, characteristic, value):
        lower, upper = LIMITS[characteristic]
        put("measurements", inspection=tag, characteristic=characteristic, value=round(value, 3), unit="mm", lower=lower, upper=upper)


def verdict(text):
    return "reject" if "reject" in text else "accept"


def write():
    book = Inspections()
    product(book)
    overlap(book)
    gauge_study(book)


def product(book):
    d = dice("inspection")
    for n, m in enumerate(MOULDS):
        at = poured(m["mould"])
        order = n % 4
        people = people_of_the_day(d, at)
        wall = d.gauss(3.19, 0.02)  # the mould's own mean
        etched = [b for b in BLADES_OF[m["mould"]] if n % 4 == 1 and b["visual"] == "accept"][:2]
        for i, b in enumerate(BLADES_OF[m["mould"]]):
            late = timedelta(minutes=4 * (8 * order + i))
            blade(book, d, b, at, late, people, wall)
            if b in etched:
                tag = book.add(b["blade"], "grain", day(at, -1, 13) + late, "OP-31", "accept", technique="GE-2", instrument="ME-01")
                put("measurements", inspection=tag, characteristic="grain_size", value=round(clip(d.gauss(1.8, 0.3), 1.1, 2.7), 1),
                    unit="mm", lower="", upper=3)
            decide(b, at, i, order, people)
        for b in BLADES_OF[m["mould"]]:
            put("lot_blades", lot=b["lot"], blade=b["blade"])


def people_of_the_day(d, at):
    """Who looks at a mould: each step its own person, by the dice alone."""
    return {"visual": d.choice(["OP-21", "OP-24"]), "penetrant": d.choice(READERS + (["OP-21"] if at < LEFT - timedelta(days=2) else [])),
            "radiograph": d.choice(READERS), "dimensional": d.choice(["OP-21", "OP-22"]), "decides": d.choice(["OP-51", "OP-52"])}


def blade(book, d, b, at, late, people, wall):
    result = verdict(b["visual"])
    tag = book.add(b["blade"], "visual", day(at, -1, 9, 30) + late, people["visual"], result, technique="VT-2")
    if result == "reject":
        book.find(tag, "misrun", "TE", round(clip(d.gauss(4, 1.2), 1, 8), 1), distance=round(d.uniform(60, 112)), count=1)
    if b["penetrant"]:
        result = verdict(b["penetrant"])
        tag = book.add(b["blade"], "penetrant", day(at, -1, 14) + late, people["penetrant"], result, technique="PT-4", grade="2",
                       instrument="UV-01")
        if result == "reject":
            book.find(tag, "inclusion", "AF", round(clip(d.gauss(0.9, 0.3), 0.3, 2), 1), side=d.choice(["pressure", "suction"]),
                      distance=round(d.uniform(15, 95)), count=d.choice([1, 1, 1, 2, 3]))
    if b["xray"]:
        result = verdict(b["xray"])
        tag = book.add(b["blade"], "radiograph", day(at, -2, 8, 20) + late, people["radiograph"], result, technique="RT-3", grade="2",
                       instrument="FV-01")
        if "inclusion" in b["xray"]:
            book.find(tag, "inclusion", "RT", round(clip(d.gauss(1.1, 0.3), 0.4, 2.5), 1), count=d.choice([1, 1, 2]), severity=d.choice([4, 5, 6]))
        if "microporosity" in b["xray"]:
            book.find(tag, "microporosity", "RT", round(clip(d.gauss(3, 0.8), 1, 6), 1), severity=d.choice([4, 5, 5, 6]))
    if b["dimensional"]:
        result = verdict(b["dimensional"])
        tag = book.add(b["blade"], "dimensional", day(at, -2, 12, 40) + late, people["dimensional"], result, technique="DI-7",
                       instrument="CMM-01")
        thin = result == "reject"
        value = 3.0 - 0.004 - abs(d.gauss(0, 0.03)) if thin else d.gauss(wall, 0.07)
        while not thin and not 3.002 <= value <= 3.398:
            value = d.gauss(wall, 0.07)
        book.measure(tag, "wall", value)
        book.measure(tag, "te_thickness", clip(d.gauss(0.6, 0.022), 0.505, 0.695))
        book.measure(tag, "chord", clip(d.gauss(41.98, 0.06), 41.72, 42.28))
        if thin:
            book.find(tag, "wall_out", "AF", "", distance=60)


def decide(b, at, i, order, people):
    decided = day(at, -2, 16, 30) + timedelta(minutes=6 * order, seconds=20 * i)
    columns = [("visual", "visual"), ("penetrant", "penetrant"), ("radiograph", "xray"), ("dimensional", "dimensional")]
    why = next((f"{method}: {b[column].split(': ')[1]}" for method, column in columns if "reject" in b[column]), "")
    log("dispositions", decided, 5, people["decides"], blade=b["blade"], decided_at=iso(decided), decision=b["disposition"],
        person=people["decides"], concession="", reason=why)
    if b["where"] == "shipped":
        gone = datetime(2031, 4, 8, 10)
        log("shipments", gone, 20, "OP-52", blade=b["blade"], shipped_at=iso(gone), destination="customer store (invented)",
            certificate="CC31-01")


def overlap(book):
    """The same films read by all three, for their agreement; never product results."""
    d = dice("overlap")
    films = [b for b in BLADES if b["xray"] and int(b["heat"][4:]) <= 44]
    chosen = d.sample([b for b in films if "reject" in b["xray"]], 12) + d.sample([b for b in films if "accept" == b["xray"]], 24)
    d.shuffle(chosen)
    for reader, (hour, miss, false) in zip(READERS, [(8, 0.08, 0.04), (10, 0.12, 0.03), (14, 0.15, 0.10)]):
        for n, b in enumerate(chosen):
            bad = "reject" in b["xray"]
            calls = d.random() >= miss if bad else d.random() < false
            tag = book.add(b["blade"], "radiograph", datetime(2031, 5, 21, hour) + timedelta(minutes=3 * n), reader,
                           "reject" if calls else "accept", purpose="overlap", technique="RT-3", grade="2", instrument="FV-01")
            if calls:
                book.find(tag, "inclusion" if "inclusion" in b["xray"] else "microporosity", "RT", "", severity=d.choice([3, 4, 5]))


def gauge_study(book):
    """Ten blades, three people, twice each, on the trailing edge micrometer."""
    d = dice("gauge study")
    blades = d.sample([b for b in BLADES if b["disposition"] == "accept" and 33 <= int(b["heat"][4:]) <= 44], 10)
    true = {b["blade"]: d.gauss(0.6, 0.022) for b in blades}
    minute = 0
    for trial in (1, 2):
        for person, bias in [("OP-21", 0.0), ("OP-22", 0.002), ("OP-23", -0.001)]:
            for b in d.sample(blades, len(blades)):
                tag = book.add(b["blade"], "wall_thickness", datetime(2031, 5, 20, 13) + timedelta(minutes=2 * minute), person, "accept",
                               purpose="study", round=trial, technique="study 1", instrument="MIC-03")
                book.measure(tag, "te_thickness", true[b["blade"]] + bias + d.gauss(0, 0.004))
                minute += 1
