"""Lots, trial, permissions, re-tags, holds, signatures, evidence that is kept."""
from datetime import datetime, timedelta

from foundry.book import BLADES_OF, MOULDS, PART, day, iso, log, poured, put


def write():
    for n, (lot, ordered) in enumerate([("L31-01", 240), ("L31-02", 190), ("L31-03", 215)]):
        opened = datetime(2031, 2, 17, 9) + timedelta(days=28 * n)
        log("lots", opened, 15, "OP-52", lot=lot, part=PART, purchaser="customer store (invented)", purchase_order=f"order {7001 + n}",
            ordered_count=ordered, certificate_type="3.1", opened_at=iso(opened))
    permissions()
    trial()
    tags()
    evidence()


def permissions():
    put("concessions", concession="CN31-01", type="concession", part=PART, limits="platform: cosmetic marks up to 0.1 mm deep",
        quantity=6, granted_at="2031-03-28T09:00:00+00:00", granted_by="OP-51", expires_on="2031-12-31")
    put("concessions", concession="DV31-01", type="deviation", part=PART,
        limits="trial T31-01: shell recipe SR-7 revision C on six moulds, all other requirements unchanged", quantity=48,
        granted_at="2031-05-02T10:00:00+00:00", granted_by="OP-51", expires_on="2031-06-30")
    # Words lift nothing: what the two cover stands in their items.
    put("concession_items", concession="CN31-01", item=1, measure="size_mm", covers="defect", name="handling", zone="PL",
        at_most=0.1, unit="mm")
    put("concession_items", concession="DV31-01", item=1, covers="definition", name="SR-7@C")
    put("holds", hold="HOLD-0001", subject="WP31-03", placed_at="2031-03-03T15:00:00+00:00", person="OP-06",
        reason="tray label unreadable", lifted_at="2031-03-04T08:30:00+00:00", lifted_by="OP-51",
        lifted_reason="label read under the lamp, tray counted")


def trial():
    put("trials", trial="T31-01", question="Does shell recipe C give less scrap than B?", factor="shell_recipes", response="scrap",
        opened_at="2031-05-05T09:00:00+00:00", status="closed", planned_moulds=12, worth_having=0.05, seed="310105",
        held_constant="ingot lot IL31-04, filter lot FL31-04, running system RS-4, wax lot WL31-05; both arms in each heat",
        stop_rule="safety, or a run-out; one look at the end", decision="cannot tell; B stays, no further moulds",
        decided_at="2031-05-24T18:00:00+00:00", decided_by="OP-41", recorded_at="2031-05-24T18:10:00+00:00", recorded_by="OP-41")
    for m in MOULDS:
        if m["trial"]:
            put("trial_moulds", trial=m["trial"], mould=m["mould"], arm=m["recipe"], block=m["heat"])


def tags():
    swap = datetime(2031, 4, 17, 15, 10)
    for old, new in [("M31-055", "M31-056"), ("M31-056", "M31-055")]:
        log("retags", swap, 12, "OP-09", old_tag=old, new_tag=new, changed_at=iso(swap), person="OP-09", witness="OP-05",
            reason="tags swapped in the oven, seen at knock-out by the numbers scribed in the shell")
    torn = datetime(2031, 3, 18, 10)
    log("retags", torn, 5, "OP-06", old_tag="WP31-07", new_tag="WP31-07B", changed_at=iso(torn), person="OP-06", witness="OP-05",
        reason="tray label torn")


def evidence():
    for subject, role, person, at, meaning in [
        ("QA-713/3", "metallurgist", "OP-31", "2029-12-20T10:00:00+00:00", "checked"),
        ("L31-01", "engineer", "OP-41", "2031-04-08T09:10:00+00:00", "checked"),
        ("L31-01", "quality", "OP-51", "2031-04-08T09:30:00+00:00", "released"),
        ("DV31-01", "quality", "OP-51", "2031-05-02T10:00:00+00:00", "conceded"),
        ("T31-01", "engineer", "OP-41", "2031-05-24T18:00:00+00:00", "made"),
    ]:
        put("signatures", subject=subject, role=role, person=person, signed_at=at, meaning=meaning)
    kept = []
    for m in MOULDS:
        number = int(m["mould"][4:])
        at = poured(m["mould"])
        # Films of every fourth mould, and of all with the sorted filters or of the heat with much nitrogen.
        if number % 4 == 0 or m["filter_lot"] == "FL31-03" or m["heat"] == "H31-038":
            kept.append((m["mould"], "film", day(at, -2, 16), ""))
    for number in range(1, 49, 6):
        heat = f"H31-{number:03}"
        kept.append((heat, "bar", day(poured_heat(heat), -2, 15), ""))
    for subject, kind, at, gone in [
        ("IL31-01", "retained", datetime(2031, 2, 4, 14), "2031-05-12T09:00:00+00:00"), ("IL31-03", "retained", datetime(2031, 4, 28, 14), ""),
        ("RV31-05", "retained", datetime(2031, 5, 6, 13), ""), ("H31-038", "section", datetime(2031, 5, 9, 10), ""),
        (rejected("M31-075", "microporosity"), "section", datetime(2031, 5, 9, 11), ""),
        (rejected("M31-067", "inclusion"), "section", datetime(2031, 5, 5, 11), ""),
        ("FL31-03", "retained", datetime(2031, 3, 31, 11), ""),
    ]:
        kept.append((subject, kind, at, gone))
    kept.sort(key=lambda k: (k[2], k[0]))
    for n, (subject, kind, at, gone) in enumerate(kept, 1):
        put("samples", sample=f"SM31-{n:02}", subject=subject, kind=kind, kept_at=iso(at), discarded_at=gone,
            note="the six cracked filters, in a bag" if subject == "FL31-03" else "")


def rejected(mould, word):
    """The first blade of a mould whose film showed it."""
    return next(b["blade"] for b in BLADES_OF[mould] if word in b["xray"])


def poured_heat(heat):
    return poured(next(m["mould"] for m in MOULDS if m["heat"] == heat))
