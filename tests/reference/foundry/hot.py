"""The hot bay: ovens, pour plans, pours."""
from datetime import timedelta

from foundry.book import HEAT, MOULDS, clip, day, dice, iso, log, poured

SLOW = ("M31-018", "M31-059", "M31-090")
WEEPS = ("M31-027", "M31-068")
LATE = "M31-020"


def write():
    d = dice("hot bay")
    runs = {}
    for n, m in enumerate(MOULDS):
        at = poured(m["mould"])
        crack = "patched" if m["mould"] == "M31-012" else "none"
        for purpose in ["dewax", "fire"]:
            shared(purpose, m, n, at, crack if purpose == "dewax" else "none", runs, d)
        preheat(m, n, at, runs, d)


def new_run(runs, key, at, person, **row):
    if key not in runs:
        runs[key] = f"OR31-{len(runs) + 1:03}"
        log("oven_runs", at, 8, person, oven_run=runs[key], **row)
    return runs[key]


def shared(purpose, m, n, at, crack, runs, d):
    """All moulds of a day's pours are dewaxed in one run, then fired in one, the day before."""
    if purpose == "dewax":
        start, soak = day(at, 1, 9, 10), 12
        facts = {"oven": "autoclave A", "instrument": "", "setpoint_c": 170, "peak_bar": round(d.gauss(8, 0.15), 1),
                 "rise_s": round(clip(d.gauss(6, 0.7), 4, 9), 1)}
    else:
        start, soak = day(at, 1, 12, 30), 120
        kiln = d.choice([1, 2])
        facts = {"oven": f"kiln K{kiln}", "instrument": f"TC-1{2 + kiln}", "setpoint_c": 1000, "peak_bar": "n/a", "rise_s": "n/a"}
    run = new_run(runs, (purpose, at.date()), start, "OP-14", purpose=purpose, started_at=iso(start), soak_min=soak, **facts)
    out = start + timedelta(minutes=soak + 40 + 2 * (n % 4))
    log("oven_loads", out, 3, "OP-14", oven_run=run, mould=m["mould"], place=str(n % 4 + 1), out_at=iso(out), crack=crack,
        note="hairline at the cup, patched and dried" if crack == "patched" else "")


def preheat(m, n, at, runs, d):
    heat = HEAT[m["heat"]]
    melter = heat["operator"]
    place = {"1": "a", "2": "b"}[m["pour_order"]]
    first = at if m["pour_order"] == "1" else at - timedelta(minutes=8)
    start = first.replace(minute=5, second=0) - timedelta(hours=4)
    oven = d.choice([1, 2])
    run = new_run(runs, ("preheat", m["heat"]), start, "OP-14", purpose="preheat", oven=f"preheat oven P{oven}", started_at=iso(start),
                  instrument=f"TC-1{oven}", setpoint_c=1050, soak_min=180, peak_bar="", rise_s="")
    slow = m["mould"] in SLOW
    seconds = d.randrange(205, 240) if slow else d.randrange(60, 150)
    out = at - timedelta(seconds=seconds)
    log("oven_loads", out, 9, "OP-14", oven_run=run, mould=m["mould"], place=place, out_at=iso(out), crack="none",
        note="over the oven time of the recipe; poured on the melter's word" if slow else "")
    planned = day(at, 1, 15)
    log("pour_plans", planned, 10, "OP-41", mould=m["mould"], planned_on=planned.strftime("%Y-%m-%d"), furnace="VF-1",
        pour_order=m["pour_order"], target_c=1480)
    late = m["mould"] == LATE
    log("pours", at, 437 if late else 1 + d.randrange(9), melter, mould=m["mould"], heat=m["heat"], pour_order=m["pour_order"],
        poured_at=iso(at), indicated_c=int(heat["indicated_pour_C"]) + (0 if place == "a" else d.choice([-1, 0, 0, 1])),
        pyrometer=heat["pyrometer"], mould_c=round(clip(d.gauss(1024, 9) - (seconds - 100) / 8, 985, 1060)), transfer_s=seconds,
        pour_s=round(clip(d.gauss(3.4, 0.3), 2.5, 4.4), 1), mass_kg=round(d.gauss(5.3, 0.05), 3),
        seal_state="weep" if m["mould"] in WEEPS else "tight", run_out="no", person=melter,
        note="entered at the end of the shift" if late else "")
