#!/usr/bin/env python3
"""Writes sample_data/: the invented foundry, as a bundle, from the outcomes in demo_core/.

Everything is invented. The outcomes (which blade was rejected where, the readings of the slurry and
the pyrometer checks) are kept in demo_core/; this script adds the records of all other stations
around them, with a fixed seed. Standard library only; the same bytes on every machine.
"""
import csv
import random
from datetime import datetime, timedelta
from pathlib import Path

HERE = Path(__file__).resolve().parent
CORE = HERE / "demo_core"
OUT = HERE.parent.parent / "sample_data"
RNG = random.Random(2207)
PART = "QB-2207"
ALLOY = "QA-713/3"


def core(name):
    with open(CORE / f"{name}.csv", newline="") as f:
        return list(csv.DictReader(f))


def when(text):
    return datetime.fromisoformat(text)


def iso(t):
    return t.strftime("%Y-%m-%dT%H:%M:%S") + "+00:00"


def after(t, minutes):
    return iso(t + timedelta(minutes=minutes))


TABLES = {}


def put(table, **row):
    TABLES.setdefault(table, []).append({k: v for k, v in row.items()})


def noise(mean, sd, digits):
    return round(RNG.gauss(mean, sd), digits)


def clip(x, lo, hi):
    return max(lo, min(hi, x))


BLADES, MOULDS, HEATS = core("blades"), core("moulds"), core("heats")
REVERT, SLURRY, CHECKS = core("revert"), core("slurry"), core("crosschecks")
HEAT = {h["heat"]: h for h in HEATS}
MOULD = {m["mould"]: m for m in MOULDS}


def definitions():
    put("alloys", alloy=ALLOY, revision="", liquidus_c=1288, solidus_c=1260, density_g_cm3=7.91,
        revert_max_pct=50, source="invented house specification; liquidus and solidus after Nickel Institute Publication 337",
        effective_from="2030-01-01", approved_by="OP-51", approved_at="2029-12-20")
    limits = [("C", 0.08, 0.2, "wt%"), ("Cr", 12, 14, "wt%"), ("Mo", 3.8, 5.2, "wt%"), ("Nb", 1.8, 2.8, "wt%"),
              ("Ti", 0.5, 1.0, "wt%"), ("Al", 5.5, 6.5, "wt%"), ("B", 0.005, 0.015, "wt%"), ("Zr", 0.05, 0.15, "wt%"),
              ("N", "", 35, "ppm"), ("O", "", 25, "ppm"), ("S", "", 50, "ppm"), ("Pb", "", 5, "ppm")]
    for element, low, high, unit in limits:
        put("alloy_limits", alloy=ALLOY, revision="", element=element, min=low, max=high, unit=unit,
            source="invented house specification")
    put("parts", part=PART, revision="C", alloy=ALLOY, mass_g=480, inspection_class="2",
        description="solid blade, 118 mm, trailing edge 0.6 mm (invented)", effective_from="2030-06-01",
        approved_by="OP-41", approved_at="2030-05-20")
    for zone, name in [("RT", "root"), ("PL", "platform"), ("AF", "aerofoil"), ("LE", "leading edge"),
                       ("TE", "trailing edge"), ("TP", "tip"), ("GT", "gate")]:
        put("zones", part=PART, revision="C", zone=zone, name=name)
    for method in ["visual", "penetrant", "radiograph", "dimensional"]:
        put("inspection_plans", part=PART, revision="C", method=method, required="yes", sampling="all")
    put("inspection_plans", part=PART, revision="C", method="grain", required="no", sampling="")
    for defect, name, text in [
        ("misrun", "misrun", "rounded, incomplete edge or missing section"),
        ("inclusion", "inclusion", "a foreign particle: an angular indication at the surface, a spot on the film"),
        ("microporosity", "microporosity", "fine voids between the dendrites"),
        ("dimension_out", "dimension out", "a measured dimension outside its limits"),
        ("gas_hole", "gas hole", "round smooth void"),
        ("cold_shut", "cold shut", "rounded line where two streams met"),
        ("hot_tear", "hot tear", "ragged open crack along grain boundaries"),
    ]:
        put("defect_terms", defect=defect, name=name, description=text, source="common practice, no source")
    for rev, dry, when_ in [("B", 3, "2030-03-01"), ("C", 5, "2031-05-01")]:
        put("shell_recipes", recipe="SR-7", revision=rev, route="shell", coats=7, min_dry_h=dry, preheat_c=1050,
            oven_to_pour_max_s=180, effective_from=when_, approved_by="OP-41" if rev == "B" else "",
            approved_at="2030-02-20" if rev == "B" else "",
            note="" if rev == "B" else "under trial, not approved for production")
    put("running_systems", running_system="RS-4", revision="A", fill="bottom", positions=8, head_mm=210,
        gate_area_mm2=96, filter="yes", effective_from="2030-03-01", approved_by="OP-41", approved_at="2030-02-20")
    put("process_limits", record="pours", field="indicated_c", scope=PART, warn_min=1465, warn_max=1495,
        stop_min=1450, stop_max=1510, source="invented house limits")
    put("process_limits", record="slurry_checks", field="ph", scope="", warn_min=9.5, warn_max=10.4, stop_min=9.0,
        stop_max=10.8, source="invented house limits")
    for tag, kind, text in [
        ("PYR-02", "pyrometer", "two-colour, furnace VF-1, withdrawn 9 April 2031"), ("PYR-04", "pyrometer", "two-colour, furnace VF-1"),
        ("VC-01", "viscosity cup", "cup 5"), ("SPEC-01", "spectrometer", "spark emission"), ("GAS-01", "gas analyser", "inert gas fusion"),
        ("FV-01", "film viewer", ""), ("CMM-01", "gauge", "coordinate measuring machine"), ("MIC-03", "gauge", "trailing edge micrometer"),
        ("TC-11", "thermocouple", "preheat oven"), ("TT-01", "tensile tester", "")]:
        put("instruments", instrument=tag, kind=kind, description=text)
    for c in CHECKS:
        at = when(c["at"])
        result = {"good": "good", "not done": "not_done"}.get(c["state"], "failed")
        put("calibrations", instrument=c["pyrometer"], checked_at=iso(at), check="cross_check", result=result,
            difference=int(c["difference_C"]) if c["difference_C"] else "", unit="°C" if c["difference_C"] else "",
            due_at="" if result != "good" else iso(at + timedelta(days=7, hours=8)), person="OP-31",
            note="withdrawn, PYR-04 fitted" if result == "failed" else "")
    for tag, days in [("VC-01", 120), ("SPEC-01", 90), ("GAS-01", 90), ("FV-01", 180), ("CMM-01", 180), ("MIC-03", 180), ("TC-11", 120), ("TT-01", 365)]:
        at = datetime(2031, 2, 17, 8, 0)
        while at < datetime(2031, 5, 26):
            put("calibrations", instrument=tag, checked_at=iso(at), check="calibration", result="good", difference="", unit="",
                due_at=iso(at + timedelta(days=days)), person="OP-31", note="")
            at += timedelta(days=days)
    for person, role in [("OP-02", "operator"), ("OP-04", "operator"), ("OP-07", "operator"), ("OP-09", "operator"),
                         ("OP-05", "operator"), ("OP-06", "operator"), ("OP-11", "operator"), ("OP-12", "operator"), ("OP-14", "operator"),
                         ("OP-21", "inspector"), ("OP-22", "inspector"), ("OP-23", "inspector"), ("OP-24", "inspector"),
                         ("OP-31", "metallurgist"), ("OP-41", "engineer"), ("OP-51", "quality"), ("OP-52", "quality")]:
        put("people", person=person, role=role)
    for person in ["OP-22", "OP-23", "OP-24"]:
        for method in ["penetrant", "radiograph"]:
            put("qualifications", person=person, method=method, level="2", expires_on="2033-12-31", eyesight_on="2031-01-15")
    put("qualifications", person="OP-21", method="penetrant", level="2", expires_on="2031-04-30", eyesight_on="2030-04-30")
    for station, value in [("wax", 4), ("shell", 14), ("pour", 46), ("finish", 58), ("inspect", 71)]:
        put("costs", part=PART, station=station, value=value, currency="EUR", from_date="2031-01-01")
    put("own_fields", record="moulds", field="cup_tilt_deg", type="number", min=0, max=5, cause="yes")


def metal():
    oxygen = {"IL31-01": 9, "IL31-02": 10, "IL31-03": 29, "IL31-04": 10}
    nominal = {"C": 0.12, "Cr": 12.6, "Mo": 4.3, "Nb": 2.2, "Ti": 0.8, "Al": 6.05, "B": 0.011, "Zr": 0.1}
    number = [0]

    def analysis(subject, purpose, at, nitrogen, oxygen_ppm, sulphur):
        number[0] += 1
        tag = f"AN31-{number[0]:03}"
        put("analyses", analysis=tag, subject=subject, purpose=purpose, taken_at=iso(at),
            method="spark and gas fusion", instrument="SPEC-01" if purpose == "check" else "")
        for element, value in nominal.items():
            put("analysis_values", analysis=tag, element=element, value=round(value * RNG.uniform(0.985, 1.015), 3), unit="wt%")
        for element, value in [("N", nitrogen), ("O", oxygen_ppm), ("S", sulphur), ("Pb", "<1")]:
            put("analysis_values", analysis=tag, element=element, value=value, unit="ppm")

    for i, (lot, o) in enumerate(oxygen.items()):
        at = datetime(2031, 2, 3, 10, 0) + timedelta(days=23 * i)
        put("ingot_lots", ingot_lot=lot, alloy=ALLOY, maker_heat=f"V{4410 + 37 * i}", received_at=iso(at), mass_kg=160,
            certificate=f"certificate {4410 + 37 * i} (invented)", certificate_type="3.1")
        analysis(lot, "maker", at, 10 + i, o - 3 if o > 20 else o, 4)
        analysis(lot, "check", at + timedelta(days=1), 11, o, 5)
    sources = {}
    for r in REVERT:
        sources.setdefault(r["revert_lot"], []).append(r)
    for lot, rows in sources.items():
        last = max(when(HEAT[r["from_heat"]]["poured_at"]) for r in rows)
        clean = "NOT" not in rows[0]["condition"]
        put("revert_lots", revert_lot=lot, alloy=ALLOY, made_at=iso(last + timedelta(days=2)), form=rows[0]["form"],
            condition="clean" if clean else "uncleaned", note="" if clean else "scale and ceramic left on")
        for r in rows:
            put("revert_sources", revert_lot=lot, heat=r["from_heat"], mass_kg=r["mass_kg"])
    life = 0
    for n, h in enumerate(HEATS):
        at = when(h["poured_at"])
        life = life % 12 + 1
        melted = at - timedelta(minutes=55 + RNG.randrange(12))
        put("heats", heat=h["heat"], alloy=ALLOY, furnace="VF-1", crucible=f"CR31-{n // 12 + 1:02}", crucible_life=life,
            melted_at=iso(melted), melt_in_at=iso(melted + timedelta(minutes=34)), power_kw=noise(60, 2, 1),
            vacuum_mbar=round(clip(RNG.gauss(0.004, 0.0012), 0.001, 0.01), 4), leak_mbar_l_s=round(clip(RNG.gauss(0.02, 0.005), 0.005, 0.05), 3),
            hold_min=noise(12, 1.5, 1), person=h["operator"], recorded_at=after(at, 6), recorded_by=h["operator"])
        share = int(h["revert_pct"])
        put("charges", heat=h["heat"], source=h["ingot_lot"], item=1, mass_kg=round(11 * (100 - share) / 100, 3))
        if share:
            put("charges", heat=h["heat"], source=h["revert_lot"], item=1, mass_kg=round(11 * share / 100, 3))
        analysis(h["heat"], "check", at + timedelta(hours=20), h["N_ppm"], h["O_ppm"], 4 + n % 3)
        put("test_bars", test_bar=f"TB31-{n + 1:03}", heat=h["heat"], instrument="TT-01", uts_mpa=round(RNG.gauss(870, 18)), yield_mpa=round(RNG.gauss(745, 14)),
            elongation_pct=noise(6.8, 0.7, 1), rupture_h=noise(44, 4, 1), hardness_hrc=noise(36, 1, 1))


def shop():
    for i in range(5):
        put("wax_lots", wax_lot=f"WL31-0{i + 1}", grade="W-62", received_at=iso(datetime(2031, 1, 20, 9) + timedelta(days=18 * i)),
            expires_on="2032-01-31", ash_pct=round(0.02 + 0.004 * i, 3), congealing_c=round(63 + 0.3 * i, 1), filler_pct=32,
            split_from="WL31-04" if i == 4 else "")
    for i, (received, rejected) in enumerate([(30, 0), (30, 1), (24, 6), (40, 0)]):
        put("filter_lots", filter_lot=f"FL31-0{i + 1}", material="zirconia", ppi=20,
            received_at=iso(datetime(2031, 2, 10, 9) + timedelta(days=[0, 21, 49, 50][i])), received_count=received, rejected_count=rejected,
            note="6 of 24 found cracked at receipt; the other 18 sorted by eye and used" if i == 2 else "")
    for i, mesh in enumerate(["90", "90", "30-60", "30-60"]):
        put("stucco_lots", stucco_lot=f"ST31-0{i + 1}", material="zircon" if i < 2 else "fused silica", mesh=mesh, received_at=iso(datetime(2031, 2, 5 + i, 9)))
    made = {}
    for s in SLURRY:
        made.setdefault(s["slurry_batch"], when(s["occurred_at"]))
    for batch, first in made.items():
        put("slurry_batches", slurry_batch=batch, use="prime", binder="colloidal silica", flour="zircon 325", made_at=iso(first - timedelta(days=1)))
    for i in range(4):
        start = datetime(2031, 2, 20, 8) + timedelta(days=25 * i)
        put("slurry_batches", slurry_batch=f"PB31-0{i + 1}", use="backup", binder="colloidal silica", flour="fused silica 200", made_at=iso(start))
        put("slurry_batches", slurry_batch=f"PC31-0{i + 1}", use="seal_coat", binder="colloidal silica", flour="fused silica 200", made_at=iso(start))
    for s in SLURRY:
        put("slurry_checks", slurry_batch=s["slurry_batch"], occurred_at=iso(when(s["occurred_at"])), person=s["by"], instrument="VC-01",
            temp_c=s["temp_C"], viscosity_s=s["viscosity_s_cup5"], cup=5, density_g_cm3=s["density_g_cm3"], ph=s["pH"], sio2_pct=s["binder_SiO2_pct"],
            plate_g=s["plate_weight_g"], gel=s["gel_test"] or "not_done", recorded_at=iso(when(s["recorded_at"])), recorded_by=s["by"])
    for i in range(4):
        start = datetime(2031, 2, 20, 8) + timedelta(days=25 * i)
        for d in range(0, 25, 2):
            at = start + timedelta(days=d, minutes=RNG.randrange(40))
            put("slurry_checks", slurry_batch=f"PB31-0{i + 1}", occurred_at=iso(at), person="OP-12", instrument="VC-01", temp_c=noise(21.5, 0.5, 1),
                viscosity_s=round(RNG.gauss(17, 0.8)), cup=4, density_g_cm3=noise(1.82, 0.01, 2), ph=noise(9.8, 0.05, 2), sio2_pct=noise(24, 0.3, 1),
                plate_g=noise(2.9, 0.08, 2), gel="pass", recorded_at=after(at, 4), recorded_by="OP-12")


def moulds():
    batches = {}
    runs = {}
    for n, m in enumerate(MOULDS):
        heat = HEAT[m["heat"]]
        poured = when(heat["poured_at"]) + timedelta(minutes=9 * (int(m["pour_order"]) - 1))
        day = poured.replace(hour=9, minute=0)
        dip = day - timedelta(days=5)
        group = (m["recipe"], n // 8)
        if group not in batches:
            batches[group] = f"SB31-{len(batches) + 1:02}"
            put("shell_batches", shell_batch=batches[group], recipe=f"SR-7@{m['recipe']}", started_at=iso(dip), room="room 1" if len(batches) % 3 else "room 2")
        person = ["OP-05", "OP-14"][RNG.randrange(2)]
        assembled = dip - timedelta(days=1, hours=RNG.randrange(3))
        put("moulds", mould=m["mould"], part=PART, running_system="RS-4", shell_batch=batches[group], filter_lot=m["filter_lot"],
            assembled_at=iso(assembled), person=person, seal="rope" if RNG.random() < 0.5 else "ring",
            cup_tilt_deg=round(abs(RNG.gauss(0.6, 0.3)), 1) if n % 3 == 0 else "")
        backup = f"PB31-0{min(4, (dip - datetime(2031, 2, 20)).days // 25 + 1)}"
        seal = backup.replace("PB", "PC")
        for coat in range(1, 8):
            if m["mould"] == "M31-070" and coat == 4:
                continue
            at = dip + timedelta(hours=8 * (coat - 1), minutes=RNG.randrange(15))
            prime = coat <= 2
            put("coats", mould=m["mould"], coat=coat, slurry_batch=m["slurry_batch"] if prime else seal if coat == 7 else backup,
                stucco_lot="" if coat == 7 else ("ST31-01" if n < 48 else "ST31-02") if prime else ("ST31-03" if n < 48 else "ST31-04"),
                in_at=iso(at), out_at=iso(at + timedelta(hours=6, minutes=RNG.randrange(40))), room_c=noise(22.5, 0.5, 1),
                rh_pct=round(clip(RNG.gauss(50, 2.5), 42, 58)), person=["OP-11", "OP-12"][RNG.randrange(2)],
                note="the card has no line for coat 4" if m["mould"] == "M31-070" and coat == 5 else "")
        key = (m["wax_lot"], n // 4)
        if key not in runs:
            tag = f"WP31-{len(runs) + 1:02}"
            runs[key] = tag
            put("pattern_runs", pattern_run=tag, wax_lot=m["wax_lot"], part=PART, die="D-1", injected_at=iso(assembled - timedelta(days=2)),
                wax_c=noise(63, 0.7, 1), pressure_bar=noise(22, 1, 1), dwell_s=round(RNG.gauss(40, 2)), made_count=36, rejected_count=RNG.randrange(4), person="OP-06")
        oven(m, n, day, poured)
        pour(m, heat, poured)
        for b in [b for b in BLADES if b["mould"] == m["mould"]]:
            position = int(b["blade"].rsplit("-", 1)[1])
            lost = b["blade"] == "M31-062-3"
            put("blades", blade=b["blade"], mould=m["mould"], position="" if lost else position, pattern_run=runs[key],
                cavity=(position * 3 + n) % 4 + 1, marked_at=iso(poured + timedelta(hours=22)), position_confirmed="no" if lost else "yes",
                note="cut off before its position was read" if lost else "")
    trial = [m for m in MOULDS if m["trial"]]
    put("trials", trial="T31-01", question="Does shell recipe C give less scrap than B?", factor="shell_recipes", response="scrap",
        opened_at="2031-05-05T09:00:00+00:00", status="closed", planned_moulds=12, worth_having=0.05, seed="310105",
        held_constant="ingot IL31-04, filter FL31-04, running system RS-4, wax WL31-05", stop_rule="none; one look at the end",
        decision="cannot tell; keep B", decided_at="2031-05-25T10:00:00+00:00", decided_by="OP-41")
    for m in trial:
        put("trial_moulds", trial="T31-01", mould=m["mould"], arm=m["recipe"], block=m["heat"])


OVENS = {}


def oven(m, n, day, poured):
    for purpose, start, name, soak, setpoint in [("dewax", day - timedelta(days=2), "autoclave A", 12, 170),
                                                 ("fire", day - timedelta(days=1, hours=-2), "kiln K1", 120, 1000)]:
        key = (purpose, start)
        if key not in OVENS:
            OVENS[key] = f"OR31-{len(OVENS) + 1:03}"
            put("oven_runs", oven_run=OVENS[key], purpose=purpose, oven=name, started_at=iso(start), instrument="", setpoint_c=setpoint, soak_min=soak,
                peak_bar=8 if purpose == "dewax" else "", rise_s=noise(6, 0.6, 1) if purpose == "dewax" else "")
        put("oven_loads", oven_run=OVENS[key], mould=m["mould"], place=str(n % 4 + 1), out_at=iso(start + timedelta(minutes=soak + 40)), crack="none")
    start = poured.replace(minute=0) - timedelta(hours=4)
    key = ("preheat", m["heat"])
    if key not in OVENS:
        OVENS[key] = f"OR31-{len(OVENS) + 1:03}"
        put("oven_runs", oven_run=OVENS[key], purpose="preheat", oven="oven P2", started_at=iso(start), instrument="TC-11", setpoint_c=1050,
            soak_min=180, peak_bar="", rise_s="")
    slow = m["mould"] in ("M31-018", "M31-059", "M31-090")
    seconds = RNG.randrange(205, 240) if slow else RNG.randrange(60, 150)
    put("oven_loads", oven_run=OVENS[key], mould=m["mould"], place="ab"[n % 2], out_at=iso(poured - timedelta(seconds=seconds)), crack="none",
        note="over the recipe's oven time; poured on the melter's word" if slow else "")
    put("pour_plans", mould=m["mould"], planned_on=(poured - timedelta(days=1)).strftime("%Y-%m-%d"), furnace="VF-1", pour_order=m["pour_order"], target_c=1480)
    m["transfer_s"] = seconds


def pour(m, heat, poured):
    late = m["mould"] == "M31-020"
    shift = 0 if m["pour_order"] == "1" else RNG.choice([-1, 0, 0, 1])
    put("pours", mould=m["mould"], heat=m["heat"], pour_order=m["pour_order"], poured_at=iso(poured), indicated_c=int(heat["indicated_pour_C"]) + shift,
        pyrometer=heat["pyrometer"], mould_c=round(RNG.gauss(1020, 8)), transfer_s=m["transfer_s"], pour_s=noise(3.4, 0.3, 1), mass_kg=round(RNG.gauss(5.2, 0.05), 3),
        seal_state="weep" if m["mould"] in ("M31-027", "M31-068") else "tight", run_out="no", person=heat["operator"],
        recorded_at=after(poured, 437 if late else RNG.randrange(1, 9)), recorded_by=heat["operator"], note="entered at the end of the shift" if late else "")


READERS = ["OP-22", "OP-23", "OP-24"]


def inspections():
    number = [0]

    def inspect(blade, method, at, person, instrument, result, purpose="", round_=1, technique=""):
        number[0] += 1
        tag = f"I31-{number[0]:05}"
        put("inspections", inspection=tag, blade=blade, method=method, round=round_, purpose=purpose, technique=technique, inspected_at=iso(at),
            person=person, instrument=instrument, result=result, recorded_at=after(at, 2), recorded_by=person)
        return tag

    def find(tag, defect, zone, size):
        put("findings", inspection=tag, defect=defect, item=1, zone=zone, side="", size_mm=size)

    for i, b in enumerate(BLADES):
        m = MOULD[b["mould"]]
        poured = when(HEAT[m["heat"]]["poured_at"])
        reader = READERS[RNG.randrange(3)]
        at = poured + timedelta(days=1, minutes=10 * (i % 16))
        tag = inspect(b["blade"], "visual", at, "OP-21", "", "reject" if "reject" in b["visual"] else "accept", technique="VT-2")
        if "reject" in b["visual"]:
            find(tag, "misrun", "TE", noise(4, 1.2, 1))
        if b["penetrant"]:
            tag = inspect(b["blade"], "penetrant", at + timedelta(hours=6), reader, "", "reject" if "reject" in b["penetrant"] else "accept", technique="PT-4")
            if "reject" in b["penetrant"]:
                find(tag, "inclusion", "AF", round(clip(RNG.gauss(0.9, 0.3), 0.3, 2), 1))
        if b["xray"]:
            tag = inspect(b["blade"], "radiograph", at + timedelta(days=1), reader, "FV-01", "reject" if "reject" in b["xray"] else "accept", technique="RT-3")
            if "inclusion" in b["xray"]:
                find(tag, "inclusion", "RT", round(clip(RNG.gauss(1.1, 0.3), 0.4, 2.5), 1))
            if "microporosity" in b["xray"]:
                find(tag, "microporosity", "RT", round(clip(RNG.gauss(3, 0.8), 1, 6), 1))
        if b["dimensional"]:
            bad = "reject" in b["dimensional"]
            tag = inspect(b["blade"], "dimensional", at + timedelta(days=1, hours=8), "OP-21", "CMM-01", "reject" if bad else "accept", technique="DI-7")
            te = round(0.5 - abs(RNG.gauss(0.015, 0.008)) - 0.001, 3) if bad else round(clip(RNG.gauss(0.6, 0.022), 0.505, 0.695), 3)
            put("measurements", inspection=tag, characteristic="te_thickness", value=te, unit="mm", lower=0.5, upper=0.7)
            put("measurements", inspection=tag, characteristic="chord", value=round(clip(RNG.gauss(41.98, 0.06), 41.72, 42.28), 3), unit="mm", lower=41.7, upper=42.3)
            if bad:
                find(tag, "dimension_out", "TE", "")
        good = b["disposition"] == "accept"
        put("dispositions", blade=b["blade"], decided_at=iso(at + timedelta(days=2, minutes=i % 7)), decision="accept" if good else "scrap",
            person="OP-51", concession="", reason="" if good else "rejected at inspection", recorded_at=after(at + timedelta(days=2), 10), recorded_by="OP-51")
        put("lot_blades", lot=b["lot"], blade=b["blade"])
        if b["where"] == "shipped":
            put("shipments", blade=b["blade"], shipped_at=iso(datetime(2031, 4, 8, 10)), destination="customer store (invented)", certificate="CC31-01", returned_at="", return_reason="")
    # The same films read by others, for reader agreement; never product results.
    films = [b for b in BLADES if b["xray"]]
    for b in RNG.sample(films, 30):
        for reader in READERS:
            truth = "reject" in b["xray"]
            call = truth if RNG.random() < 0.9 else not truth
            inspect(b["blade"], "radiograph", datetime(2031, 5, 23, 9) + timedelta(minutes=RNG.randrange(400)), reader, "FV-01",
                    "reject" if call else "accept", purpose="overlap", technique="RT-3")
    # A gauge study on the trailing edge: ten blades, three people, twice.
    gauge = [b for b in BLADES if b["disposition"] == "accept" and b["lot"] == "L31-03"][:10]
    for b in gauge:
        true = RNG.gauss(0.6, 0.022)
        for person in ["OP-21", "OP-22", "OP-23"]:
            for repeat in (1, 2):
                tag = inspect(b["blade"], "wall_thickness", datetime(2031, 5, 22, 13) + timedelta(minutes=RNG.randrange(300)), person, "MIC-03", "accept",
                              purpose="study", round_=repeat, technique="study 1")
                put("measurements", inspection=tag, characteristic="te_thickness", value=round(true + RNG.gauss(0, 0.004), 3), unit="mm", lower=0.5, upper=0.7)


def release():
    for i, lot in enumerate(["L31-01", "L31-02", "L31-03"]):
        put("lots", lot=lot, part=PART, purchaser="customer store (invented)", purchase_order=f"order {7001 + i}", ordered_count=[230, 190, 215][i],
            certificate_type="3.1", opened_at=iso(datetime(2031, 2, 24, 8) + timedelta(days=28 * i)))
    put("concessions", concession="CN31-01", type="concession", part=PART, limits="platform cosmetic marks up to 0.1 mm deep", quantity=6,
        granted_at="2031-03-28T09:00:00+00:00", granted_by="OP-51", expires_on="2031-12-31")
    put("holds", hold="HOLD-0001", subject="WP31-03", placed_at="2031-03-05T15:00:00+00:00", person="OP-06", reason="tray label unreadable",
        lifted_at="2031-03-06T09:00:00+00:00", lifted_by="OP-51", lifted_reason="label read under the lamp, tray counted")
    swap = "2031-04-17T15:10:00+00:00"
    for old, new in [("M31-055", "M31-056"), ("M31-056", "M31-055")]:
        put("retags", old_tag=old, new_tag=new, changed_at=swap, person="OP-09", witness="OP-05", reason="tags swapped in the oven, seen at knock-out")
    put("retags", old_tag="WP31-07", new_tag="WP31-07B", changed_at="2031-03-14T10:00:00+00:00", person="OP-06", witness="OP-05", reason="tray label torn")
    put("signatures", subject="L31-01", role="quality", person="OP-51", signed_at="2031-04-08T09:30:00+00:00", meaning="released")
    put("samples", sample="SM31-01", subject="H31-038", kind="section", kept_at="2031-05-09T10:00:00+00:00", discarded_at="")
    put("samples", sample="SM31-02", subject="M31-075-1", kind="film", kept_at="2031-05-09T11:00:00+00:00", discarded_at="")


def main():
    OUT.mkdir(exist_ok=True)
    definitions()
    metal()
    shop()
    moulds()
    inspections()
    release()
    for old in OUT.glob("*.csv"):
        old.unlink()
    for table, rows in TABLES.items():
        columns = list(dict.fromkeys(k for r in rows for k in r))
        rows = [{c: r.get(c, "") for c in columns} for r in rows]
        columns = [c for c in columns if any(str(r[c]) != "" for r in rows)]
        with open(OUT / f"{table}.csv", "w", newline="") as f:
            writer = csv.DictWriter(f, columns, extrasaction="ignore", lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows)


if __name__ == "__main__":
    main()
