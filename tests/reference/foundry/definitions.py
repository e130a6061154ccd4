"""What other records are judged by: specifications, people, instruments and their checks."""
from datetime import datetime, timedelta

from foundry.book import ALLOY, CHECKS, PART, RECIPE, SYSTEM, iso, put, when

INVENTED = "invented house specification"
COMMON = "common practice, no source"
LIMITS = [
    ("C", 0.08, 0.2, "wt%"), ("Cr", 12, 14, "wt%"), ("Mo", 3.8, 5.2, "wt%"), ("Nb", 1.8, 2.8, "wt%"),
    ("Ti", 0.5, 1.0, "wt%"), ("Al", 5.5, 6.5, "wt%"), ("B", 0.005, 0.015, "wt%"), ("Zr", 0.05, 0.15, "wt%"),
    ("N", "", 35, "ppm"), ("O", "", 25, "ppm"), ("S", "", 50, "ppm"), ("Pb", "", 5, "ppm"), ("Bi", "", 0.5, "ppm"),
]
ZONES = [("RT", "root"), ("PL", "platform"), ("AF", "aerofoil"), ("LE", "leading edge"), ("TE", "trailing edge"),
         ("TP", "tip"), ("GT", "gate")]
DEFECTS = [
    ("misrun", "misrun", "rounded, incomplete edge or missing section"),
    ("inclusion", "inclusion", "a foreign particle: an angular indication at the surface, a spot on the film"),
    ("microporosity", "microporosity", "fine voids between the dendrites, a cloud on the film"),
    ("wall_out", "wall thickness out", "a measured section outside its limits"),
    ("dimension_out", "dimension out", "another measured dimension outside its limits"),
    ("gas_hole", "gas hole", "round or pear-shaped smooth void"),
    ("gas_porosity", "gas porosity", "many small round voids spread through a zone"),
    ("shrinkage_sponge", "sponge shrinkage", "a cloud of fine voids that run together"),
    ("cold_shut", "cold shut", "rounded line where two streams met"),
    ("hot_tear", "hot tear", "ragged open crack along grain boundaries"),
    ("fin", "fin", "thin raised sheet or line of metal"),
    ("coarse_grain", "grain size out of range", "large or columnar grains under the etch"),
    ("handling", "handling damage", "dent or scratch made after casting"),
]
INSTRUMENTS = [
    ("PYR-02", "pyrometer", "two-colour, window of furnace VF-1", 0),
    ("PYR-04", "pyrometer", "two-colour, window of furnace VF-1", 0),
    ("VC-01", "viscosity cup", "cup 5, prime pots", 60), ("VC-02", "viscosity cup", "cup 4, backup pots", 60),
    ("SPEC-01", "spectrometer", "spark emission, with gas fusion beside it", 30),
    ("FV-01", "film viewer", "", 180), ("UV-01", "UV lamp", "booth 1, intensity read each morning", 60),
    ("CMM-01", "gauge", "coordinate measuring machine", 90), ("MIC-03", "gauge", "trailing edge micrometer", 90),
    ("ME-01", "grain comparator", "etch bench, printed scale and lamp at a fixed angle", 180),
    ("TC-11", "thermocouple", "preheat oven P1", 90), ("TC-12", "thermocouple", "preheat oven P2", 90),
    ("TC-13", "thermocouple", "kiln K1", 90), ("TC-14", "thermocouple", "kiln K2", 90),
    ("TT-01", "tensile tester", "", 180),
]
PEOPLE = {
    "operator": ["OP-02", "OP-04", "OP-07", "OP-09", "OP-05", "OP-06", "OP-08", "OP-11", "OP-12", "OP-13", "OP-14", "OP-15",
                 "OP-16"],
    "inspector": ["OP-21", "OP-22", "OP-23", "OP-24"],
    "metallurgist": ["OP-31"], "engineer": ["OP-41"], "quality": ["OP-51", "OP-52"],
}
PROCESS = [
    ("pours", "indicated_c", PART, 1465, 1495, 1450, 1510), ("pours", "transfer_s", PART, "", 180, "", 300),
    ("pours", "mould_c", PART, 980, 1070, 950, 1100), ("slurry_checks", "ph", "", 9.5, 10.4, 9.0, 10.8),
    ("slurry_checks", "sio2_pct", "", 23.5, 28, 21, 30), ("slurry_checks", "temp_c", "", 20, 24, 18, 26),
    ("coats", "rh_pct", "", 42, 58, 38, 62), ("heats", "leak_mbar_l_s", "", "", 0.05, "", 0.1),
]
CRUCIBLE_LIMIT = ("heats", "crucible_life", "", "", 10, "", 12)


def write():
    approved = {"approved_by": "OP-41", "approved_at": "2030-02-20"}
    put("alloys", alloy=ALLOY, revision="", liquidus_c=1288, solidus_c=1260, density_g_cm3=7.91, revert_max_pct=50,
        source=f"{INVENTED}; liquidus and solidus after Nickel Institute Publication 337", effective_from="2030-01-01",
        approved_by="OP-51", approved_at="2029-12-20")
    for element, low, high, unit in LIMITS:
        put("alloy_limits", alloy=ALLOY, revision="", element=element, min=low, max=high, unit=unit, source=INVENTED)
    put("parts", part=PART, revision="C", alloy=ALLOY, mass_g=210, inspection_class="2",
        description="solid blade, 118 mm, trailing edge 0.6 mm (invented)", effective_from="2030-06-01", approved_by="OP-41",
        approved_at="2030-05-20")
    for zone, name in ZONES:
        put("zones", part=PART, revision="C", zone=zone, name=name)
    for method in ["visual", "penetrant", "radiograph", "dimensional"]:
        put("inspection_plans", part=PART, revision="C", method=method, required="yes", sampling="all")
    put("inspection_plans", part=PART, revision="C", method="grain", required="no", sampling="two blades of every fourth mould")
    for defect, name, text in DEFECTS:
        put("defect_terms", defect=defect, name=name, description=text, source=COMMON)
    put("shell_recipes", recipe=RECIPE, revision="B", route="shell", coats=7, min_dry_h=3, preheat_c=1050,
        oven_to_pour_max_s=180, effective_from="2030-03-01", **approved)
    put("shell_recipes", recipe=RECIPE, revision="C", route="shell", coats=7, min_dry_h=5, preheat_c=1050,
        oven_to_pour_max_s=180, note="for trial T31-01 under deviation DV31-01; not approved for production")
    put("running_systems", running_system=SYSTEM, revision="A", fill="bottom", positions=8, head_mm=210, gate_area_mm2=96,
        filter="yes", effective_from="2030-03-01", **approved)
    for record, field, scope, *limits in [*PROCESS, CRUCIBLE_LIMIT]:
        put("process_limits", record=record, field=field, scope=scope,
            **dict(zip(["warn_min", "warn_max", "stop_min", "stop_max"], limits)), source="invented house limits")
    # The demo's clock stands still: the Monday after the last pour.
    put("settings", setting="clock", value="2031-05-26T08:00:00+00:00")
    put("own_fields", record="moulds", field="cup_tilt_deg", type="number", min=0, max=5, cause="yes")
    for role, people in PEOPLE.items():
        for person in people:
            put("people", person=person, role=role)
    for person in ["OP-22", "OP-23", "OP-24"]:
        for method in ["penetrant", "radiograph"]:
            put("qualifications", person=person, method=method, level="2", from_on="2029-01-01", expires_on="2033-12-31", eyesight_on="2031-01-15")
    put("qualifications", person="OP-21", method="penetrant", level="2", from_on="2026-05-01", expires_on="2031-04-30", eyesight_on="2030-04-30")
    put("qualifications", person="OP-21", method="visual", level="1", from_on="2027-07-01", expires_on="2032-06-30", eyesight_on="2031-01-15")
    # What a blade is worth once it has reached a station; those of the inspection bear the method's name.
    for station, value in [("wax", 4), ("shell", 14), ("pour", 46), ("visual", 49), ("penetrant", 55), ("radiograph", 66),
                           ("dimensional", 71)]:
        put("costs", part=PART, station=station, value=value, currency="EUR", from_date="2031-01-01")
    checks()


def checks():
    for tag, kind, text, days in INSTRUMENTS:
        put("instruments", instrument=tag, kind=kind, description=text)
    for c in CHECKS:
        at = when(c["at"])
        result = {"good": "good", "not done": "not_done"}.get(c["state"], "failed")
        put("calibrations", instrument=c["pyrometer"], checked_at=iso(at), check="cross_check", result=result,
            difference=int(c["difference_C"]) if c["difference_C"] else "", unit="°C" if c["difference_C"] else "",
            due_at=iso(at + timedelta(days=7, hours=8)) if result == "good" else "", person="OP-31" if result != "not_done" else "",
            note="withdrawn; PYR-04 fitted" if result == "failed" else "")
    for n, (tag, _, _, days) in enumerate(i for i in INSTRUMENTS if i[3]):
        at = datetime(2031, 1, 27 + n % 5, 8, 10 + n)
        while at < datetime(2031, 5, 26):
            put("calibrations", instrument=tag, checked_at=iso(at), check="calibration", result="good",
                due_at=iso(at + timedelta(days=days + 3)), person="OP-31" if n % 2 else "OP-16")
            at += timedelta(days=days)
