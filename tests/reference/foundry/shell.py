"""Wax, filters, slurry, moulds and their coats: up to the dewaxed tree."""
from datetime import datetime, timedelta

from foundry.book import BLADES_OF, MOULDS, PART, RECIPE, SLURRY, SYSTEM, clip, day, dice, iso, log, poured, put, when

# Days before the pour on which the coats 1 to 7 are put on; nobody dips on a Sunday.
COAT_DAYS = {1: [6, 6, 5, 5, 4, 4, 3], 3: [6, 6, 5, 5, 3, 3, 2]}
# First day in use of each lot or pot; a lot serves until the next one is opened.
BACKUP = [datetime(2031, 2, 24), datetime(2031, 3, 12), datetime(2031, 3, 27), datetime(2031, 4, 23)]
SEAL = [datetime(2031, 2, 24), datetime(2031, 3, 27), datetime(2031, 5, 1)]
ZIRCON = [datetime(2031, 2, 5), datetime(2031, 3, 14), datetime(2031, 4, 23)]
SILICA = [datetime(2031, 2, 6), datetime(2031, 3, 27), datetime(2031, 4, 19)]


def serving(starts, at):
    return sum(1 for s in starts if s <= at)


def write():
    stores()
    slurries()
    shell_room()


def stores():
    received = [(1, 20), (2, 24), (3, 17), (4, 7), (4, 28)]
    for n, (month, date) in enumerate(received, 1):
        at = datetime(2031, month, date, 9, 20)
        split = n == 5
        log("wax_lots", at, 30, "OP-15", wax_lot=f"WL31-0{n}", grade="W-62", received_at=iso(at), expires_on="2032-01-31",
            ash_pct=[0.02, 0.024, 0.019, 0.023, 0.023][n - 1], congealing_c=[63.0, 63.4, 62.8, 63.2, 63.2][n - 1], filler_pct=32,
            split_from="WL31-04" if split else "", note="second pallet of WL31-04, kept apart" if split else "")
    filters = [(2, 10, 30, 0), (3, 3, 30, 1), (3, 31, 24, 6), (4, 1, 40, 0)]
    for n, (month, date, count, bad) in enumerate(filters, 1):
        at = datetime(2031, month, date, 9, 40)
        log("filter_lots", at, 35, "OP-15", filter_lot=f"FL31-0{n}", material="zirconia", ppi=20, received_at=iso(at),
            received_count=count, rejected_count=bad,
            note="6 of 24 found cracked at receipt; the other 18 sorted by eye and used" if n == 3 else
                 "one dropped on the bench" if bad else "")
    for kind, starts, mesh, first in [("zircon", ZIRCON, "90", 1), ("fused silica", SILICA, "30-60", 11)]:
        for n, start in enumerate(starts):
            at = start - timedelta(days=9) + timedelta(hours=9)
            log("stucco_lots", at, 30, "OP-15", stucco_lot=f"ST31-{first + n:02}", material=kind, mesh=mesh, received_at=iso(at))


def slurries():
    first = {}
    for s in SLURRY:
        first.setdefault(s["slurry_batch"], when(s["occurred_at"]))
    for batch, at in first.items():
        made = day(at, 2, 13, 30)
        log("slurry_batches", made, 20, "OP-13", slurry_batch=batch, use="prime", binder="colloidal silica", flour="zircon 325", made_at=iso(made))
    for name, use, starts in [("PB31", "backup", BACKUP), ("PC31", "seal_coat", SEAL)]:
        for n, start in enumerate(starts, 1):
            made = day(start, 2, 14)
            log("slurry_batches", made, 20, "OP-13", slurry_batch=f"{name}-0{n}", use=use, binder="colloidal silica",
                flour="fused silica 200", made_at=iso(made))
    for s in SLURRY:
        put("slurry_checks", slurry_batch=s["slurry_batch"], occurred_at=iso(when(s["occurred_at"])), person=s["by"],
            instrument="VC-01", temp_c=s["temp_C"], viscosity_s=s["viscosity_s_cup5"], cup=5, density_g_cm3=s["density_g_cm3"],
            ph=s["pH"], sio2_pct=s["binder_SiO2_pct"], plate_g=s["plate_weight_g"], gel=s["gel_test"],
            recorded_at=iso(when(s["recorded_at"])), recorded_by=s["by"])
    d = dice("backup pots")
    end = datetime(2031, 5, 24)
    for name, starts, every, seconds in [("PB31", BACKUP, 2, 17), ("PC31", SEAL, 4, 15)]:
        for n, start in enumerate(starts, 1):
            until = starts[n] if n < len(starts) else end
            at = start + timedelta(hours=7, minutes=20)
            while at < until:
                if at.weekday() != 6:
                    t = at + timedelta(minutes=d.randrange(8))
                    log("slurry_checks", t, 3 + d.randrange(5), "OP-13", slurry_batch=f"{name}-0{n}", occurred_at=iso(t), person="OP-13",
                        instrument="VC-02", temp_c=round(clip(d.gauss(21.5, 0.5), 20.2, 23), 1), viscosity_s=round(clip(d.gauss(seconds, 0.8), seconds - 2, seconds + 2)), cup=4,
                        density_g_cm3=round(d.gauss(1.82, 0.01), 2), ph=round(clip(d.gauss(9.8, 0.05), 9.66, 9.95), 2),
                        sio2_pct=round(clip(d.gauss(24.6, 0.3), 24, 25.4), 1), plate_g=round(d.gauss(2.9, 0.08), 2), gel="pass")
                at += timedelta(days=every)


def shell_room():
    d = dice("shell room")
    batches, rooms, runs = {}, {}, {}
    for n, m in enumerate(MOULDS):
        at = poured(m["mould"])
        date = at.date()
        offsets = COAT_DAYS[at.weekday()]
        place = n % 4
        if date not in rooms:
            rooms[date] = f"room {1 + (d.random() < 0.5)}"
        group = (date, m["recipe"])
        if group not in batches:
            batches[group] = f"SB31-{len(batches) + 1:02}"
            start = day(at, 6, 8, 30)
            log("shell_batches", start, 5, "OP-13", shell_batch=batches[group], recipe=f"{RECIPE}@{m['recipe']}", started_at=iso(start),
                room=rooms[date])
        run = pattern_run(m, n, at, runs, d)
        assembled = day(at, 7, 13, 10 + 25 * place + d.randrange(12))
        person = d.choice(["OP-05", "OP-14"])
        log("moulds", assembled, 6, person, mould=m["mould"], part=PART, running_system=SYSTEM, shell_batch=batches[group],
            filter_lot=m["filter_lot"], assembled_at=iso(assembled), person=person, seal=d.choice(["rope", "ring"]),
            cup_tilt_deg=round(abs(d.gauss(0.6, 0.3)), 1) if n % 3 == 0 else "")
        coats(m, at, offsets, place, d)
        for b in BLADES_OF[m["mould"]]:
            position = int(b["blade"].rsplit("-", 1)[1])
            lost = b["blade"] == "M31-062-3"
            marked = day(at, -1, 7, 30 + 3 * (8 * (n % 2) + position) // 2)
            log("blades", marked, 4, "OP-08", blade=b["blade"], mould=m["mould"], position="" if lost else position,
                pattern_run=run, cavity=(position * 3 + n) % 4 + 1, marked_at=iso(marked), position_confirmed="no" if lost else "yes",
                note="cut off before its position was read" if lost else "")


def pattern_run(m, n, at, runs, d):
    key = (m["wax_lot"], n // 4)
    if key not in runs:
        runs[key] = f"WP31-{len(runs) + 1:02}"
        injected = day(at, 8, 10, 5 + d.randrange(40))
        person = d.choice(["OP-06", "OP-08"])
        log("pattern_runs", injected, 75, person, pattern_run=runs[key], wax_lot=m["wax_lot"], part=PART, die=d.choice(["D-1", "D-2"]),
            injected_at=iso(injected), wax_c=round(d.gauss(63, 0.7), 1), pressure_bar=round(d.gauss(22, 1), 1), dwell_s=round(d.gauss(40, 2)),
            made_count=36, rejected_count=d.randrange(4), person=person)
    return runs[key]


def coats(m, at, offsets, place, d):
    """Two coats a day, the first at half past eight; a coat of recipe C dries for longer."""
    slow = m["recipe"] == "C"
    for coat, back in enumerate(offsets, 1):
        if m["mould"] == "M31-070" and coat == 4:
            continue
        second = coat % 2 == 0
        dipped = day(at, back, 14 if second else 8, 10 if second else 30) + timedelta(minutes=7 * place + d.randrange(4))
        minutes = 306 + d.randrange(16) if slow else 205 + d.randrange(60)
        prime, last = coat <= 2, coat == 7
        pot = m["slurry_batch"] if prime else f"PC31-0{serving(SEAL, dipped)}" if last else f"PB31-0{serving(BACKUP, dipped)}"
        stucco = "" if last else f"ST31-{serving(ZIRCON, dipped):02}" if prime else f"ST31-{10 + serving(SILICA, dipped)}"
        person = d.choice(["OP-11", "OP-12", "OP-13"])
        rh = round(clip(d.gauss(50, 2.5), 43, 57))
        smeared = (m["mould"], coat) == ("M31-021", 3)
        note = "the card has no line for coat 4" if (m["mould"], coat) == ("M31-070", 5) else "card wet" if smeared else ""
        log("coats", dipped, 4 + d.randrange(8), person, mould=m["mould"], coat=coat, slurry_batch=pot, stucco_lot=stucco,
            in_at=iso(dipped), out_at=iso(dipped + timedelta(minutes=minutes)), room_c=round(clip(d.gauss(22.5, 0.5), 21, 24), 1),
            rh_pct="illegible" if smeared else rh, person=person, note=note)
