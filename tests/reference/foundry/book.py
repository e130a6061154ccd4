"""The book that every room writes in: tables, times, dice, and the outcomes that are given."""
import csv
import random
from collections import defaultdict
from datetime import datetime, timedelta
from pathlib import Path

CORE = Path(__file__).resolve().parent.parent / "demo_core"
PART = "QB-2207"
ALLOY = "QA-713/3"
RECIPE = "SR-7"
SYSTEM = "RS-4"
HEAT_KG = 11.0


def core(name):
    with open(CORE / f"{name}.csv", newline="") as f:
        return list(csv.DictReader(f))


BLADES, MOULDS, HEATS = core("blades"), core("moulds"), core("heats")
REVERT, SLURRY, CHECKS = core("revert"), core("slurry"), core("crosschecks")
HEAT = {h["heat"]: h for h in HEATS}
MOULD = {m["mould"]: m for m in MOULDS}
BLADES_OF = defaultdict(list)
for _b in BLADES:
    BLADES_OF[_b["mould"]].append(_b)

TABLES = {}


def put(table, **row):
    TABLES.setdefault(table, []).append(row)


def log(table, at, minutes, by, **row):
    """A record that was typed in some minutes after it happened."""
    put(table, **row, recorded_at=iso(at + timedelta(minutes=minutes)), recorded_by=by)


def dice(name):
    """Dice of their own for each use, so that a change in one room moves nothing in another."""
    return random.Random(f"quillmere {name}")


def when(text):
    return datetime.fromisoformat(text)


def iso(t):
    return t.strftime("%Y-%m-%dT%H:%M:%S") + "+00:00"


def clip(x, low, high):
    return max(low, min(high, x))


def day(t, back=0, hour=0, minute=0):
    """The day of `t`, some days back, at a time of its own; minutes may run over the hour."""
    return t.replace(hour=0, minute=0, second=0) - timedelta(days=back) + timedelta(hours=hour, minutes=minute)


def poured(mould):
    """A heat's second mould follows its first after eight minutes."""
    m = MOULD[mould]
    return when(HEAT[m["heat"]]["poured_at"]) + timedelta(minutes=8 * (int(m["pour_order"]) - 1))


def write(folder):
    folder.mkdir(exist_ok=True)
    for old in folder.glob("*.csv"):
        old.unlink()
    late = ["recorded_at", "recorded_by", "note"]
    for table, rows in TABLES.items():
        columns = [c for c in dict.fromkeys(k for r in rows for k in r) if c not in late] + late
        columns = [c for c in columns if any(str(r.get(c, "")) != "" for r in rows)]
        with open(folder / f"{table}.csv", "w", newline="") as f:
            writer = csv.writer(f, lineterminator="\n")
            writer.writerow(columns)
            writer.writerows([r.get(c, "") for c in columns] for r in rows)
    return {table: len(rows) for table, rows in sorted(TABLES.items())}
