"""Stores, melt and laboratory: lots, revert, heats, charges, analyses, test bars."""
from collections import defaultdict
from datetime import datetime, timedelta

from foundry.book import ALLOY, HEAT, HEAT_KG, HEATS, REVERT, clip, day, dice, iso, log, put, when

NOMINAL = {"C": 0.12, "Cr": 12.6, "Mo": 4.3, "Nb": 2.2, "Ti": 0.8, "Al": 6.05, "B": 0.011, "Zr": 0.1}
DIGITS = {"C": 3, "B": 4, "Zr": 3}
# Lot, maker's heat, received, kg, N, O by the maker, O by the foundry, days to the foundry's own analysis.
INGOTS = [
    ("IL31-01", "V4410", (2031, 2, 3), 160, 11, 8, 9, 1), ("IL31-02", "V4447", (2031, 2, 26), 155, 12, 9, 10, 1),
    ("IL31-03", "V4484", (2031, 3, 21), 140, 11, 24, 29, 38), ("IL31-04", "V4521", (2031, 4, 14), 165, 11, 10, 10, 1),
]
# Two pots of metal stand side by side: one for the morning heats, one for the afternoon.
CRUCIBLES = {1: [10, 9, 5], 0: [7, 9, 8]}


class Laboratory:
    """Numbers its analyses in the order in which they are written."""

    def __init__(self):
        self.n, self.dice = 0, dice("laboratory")

    def analysis(self, subject, purpose, at, nitrogen, oxygen, note="", typed=90):
        self.n += 1
        tag = f"AN31-{self.n:03}"
        check = purpose == "check"
        log("analyses", at, typed, "OP-16" if check else "OP-15", analysis=tag, subject=subject, purpose=purpose,
            taken_at=iso(at), method="spark and gas fusion", instrument="SPEC-01" if check else "", note=note)
        d = self.dice
        for element, value in NOMINAL.items():
            put("analysis_values", analysis=tag, element=element,
                value=round(value * d.uniform(0.985, 1.015), DIGITS.get(element, 2)), unit="wt%")
        for element, value, doubt in [("N", nitrogen, 1.5), ("O", oxygen, 1.5), ("S", d.choice([4, 5, 6]), 1), ("Pb", "<1", ""),
                                      ("Bi", "<0.2", "")]:
            put("analysis_values", analysis=tag, element=element, value=value, unit="ppm", uncertainty=doubt if check else "")


def write():
    laboratory = Laboratory()
    for lot, melt, date, mass, nitrogen, theirs, ours, days in INGOTS:
        at = datetime(*date, 10, 5)
        log("ingot_lots", at, 40, "OP-15", ingot_lot=lot, alloy=ALLOY, maker_heat=melt, received_at=iso(at), mass_kg=mass,
            certificate=f"certificate {melt[1:]} (invented)", certificate_type="3.1")
        laboratory.analysis(lot, "maker", at - timedelta(days=9), nitrogen, theirs, typed=9 * 1440 + 50)
        late = "the stick was overlooked; analysed after the lot had been melted" if days > 2 else ""
        laboratory.analysis(lot, "check", at + timedelta(days=days, hours=3), nitrogen, ours, late)
    revert(laboratory)
    heats(laboratory)


def revert(laboratory):
    sources = defaultdict(list)
    for r in REVERT:
        sources[r["revert_lot"]].append(r)
    for lot, rows in sources.items():
        last = max(when(HEAT[r["from_heat"]]["poured_at"]) for r in rows)
        made = day(last, -2, 11)
        clean = "NOT" not in rows[0]["condition"]
        log("revert_lots", made, 25, "OP-15", revert_lot=lot, alloy=ALLOY, made_at=iso(made), form=rows[0]["form"],
            condition="clean" if clean else "uncleaned", note="blasted" if clean else "not blasted: scale and ceramic left on")
        for r in rows:
            put("revert_sources", revert_lot=lot, heat=r["from_heat"], mass_kg=r["mass_kg"])
        if clean:
            # Nobody analysed the uncleaned lot.
            mean = [sum(float(HEAT[r["from_heat"]][gas]) for r in rows) / len(rows) for gas in ("N_ppm", "O_ppm")]
            laboratory.analysis(lot, "check", made + timedelta(hours=3), round(mean[0] + 1), round(mean[1] + 1))


def heats(laboratory):
    d = dice("melt")
    left = {half: [(f"CR31-{2 * i + (1 if half else 2):02}", n) for i, n in enumerate(c)] for half, c in CRUCIBLES.items()}
    used = defaultdict(int)
    for n, h in enumerate(HEATS, 1):
        at = when(h["poured_at"])
        half = n % 2
        if used[left[half][0][0]] == left[half][0][1]:
            left[half].pop(0)
        crucible = left[half][0][0]
        used[crucible] += 1
        start = at - timedelta(minutes=50 + d.randrange(12))
        melt_in = start + timedelta(minutes=31 + d.randrange(6))
        melter = h["operator"]
        share = int(h["revert_pct"])
        log("heats", at, 11 + d.randrange(6), melter, heat=h["heat"], alloy=ALLOY, furnace="VF-1", crucible=crucible,
            crucible_life=used[crucible], melted_at=iso(start), melt_in_at=iso(melt_in), power_kw=round(d.gauss(60, 2), 1),
            vacuum_mbar=round(clip(d.gauss(0.004, 0.0012), 0.001, 0.01), 4),
            leak_mbar_l_s=round(clip(d.gauss(0.02, 0.006), 0.005, 0.045), 3), hold_min=round(clip(d.gauss(12, 1.5), 8, 16), 1), person=melter)
        virgin = round(HEAT_KG * (100 - share) / 100, 3)
        pieces = [virgin]
        if not share:
            first = round(d.uniform(3.2, 4.8), 3)
            pieces = [first, round(virgin - first, 3)]
        charged = start - timedelta(minutes=15)
        for item, mass in enumerate(pieces, 1):
            log("charges", charged, item, melter, heat=h["heat"], source=h["ingot_lot"], item=item, mass_kg=mass)
        if share:
            over = "above the 50 % of the specification; the melter had no other metal ready" if share > 50 else ""
            log("charges", charged, 4, melter, heat=h["heat"], source=h["revert_lot"], item=1,
                mass_kg=round(HEAT_KG * share / 100, 3), note=over)
        taken = day(at, -1, 10, 4 * half)
        laboratory.analysis(h["heat"], "check", taken, h["N_ppm"], h["O_ppm"])
        log("test_bars", day(at, -2), 16 * 60 + half, "OP-16", test_bar=f"TB31-{n:03}", heat=h["heat"], instrument="TT-01",
            uts_mpa=round(d.gauss(870, 18)), yield_mpa=round(d.gauss(745, 14)), elongation_pct=round(clip(d.gauss(6.8, 0.7), 5, 9), 1),
            rupture_h="n/a" if n == 14 else round(clip(d.gauss(44, 4), 33, 56), 1), hardness_hrc=round(clip(d.gauss(36, 1), 33, 39), 1),
            note="rupture bar spent on a section" if n == 14 else "")
