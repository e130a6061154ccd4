"""The record kinds of a bundle, written out by hand: what the checks of the sample hold it against.

A field is NAME, then marks: `*` tag of the kind, `+` part of its key, `?` may be blank, `>kind` a reference
(kinds joined by `/`; `>any` a tag of any kind), `:n` number, `:i` whole number, `:t` time, `:d` date,
`:a|b` one of these, `[low,high]` typing guard.
"""
import re

DEFINED = " effective_from? approved_by? approved_at?"
COMMON = " recorded_at?:t recorded_by? note?"
DEFINITIONS = {
    "alloys": "alloy* revision?+ liquidus_c?:n solidus_c?:n density_g_cm3?:n revert_max_pct?:n[0,100] source?",
    "alloy_limits": "alloy+>alloys revision?+ element+ min?:n max?:n unit:wt%|ppm source?",
    "parts": "part* revision?+ alloy>alloys mass_g?:n inspection_class? description?",
    "zones": "part+>parts revision?+ zone+ name",
    "inspection_plans": "part+>parts revision?+ method+ required:yes|no sampling?",
    "defect_terms": "defect* name description? source?",
    "shell_recipes": "recipe* revision?+ route:shell|flask coats?:i min_dry_h?:n preheat_c?:n oven_to_pour_max_s?:n",
    "running_systems": "running_system* revision?+ fill:bottom|top positions:i head_mm?:n gate_area_mm2?:n filter:yes|no",
    "process_limits": "record+ field+ scope?+ warn_min?:n warn_max?:n stop_min?:n stop_max?:n source?",
    "instruments": "instrument* kind description?",
    "calibrations": "instrument+>instruments checked_at+:t check:calibration|cross_check result:good|failed|not_done difference?:n unit? due_at?:t person?>people",
    "people": "person* role:operator|inspector|metallurgist|engineer|quality",
    "qualifications": "person+>people method+ level from_on?+:d expires_on:d eyesight_on?:d",
    "own_fields": "record+ field+ type:number|text|time|yes_no min?:n max?:n cause:yes|no",
}
RECORDS = {
    "organisations": "organisation* role:own|customer|supplier|laboratory|inspection_body name address? contact? approvals? statement? paper?:a4|letter",
    "settings": "setting+ value",
    "knowledge_sources": "source+ status:read|cited|memory|practice reference where_seen?",
    "known_causes": "defect+>defect_terms factor+ direction:higher|lower|either|level strength:primary|contributing mechanism check remedy? source? source_status:read|cited|memory|practice doubtful?",
    "known_cause_reviews": "defect+>defect_terms person+>people reviewed_at+:t content?",
    "ingot_lots": "ingot_lot* alloy>alloys use?:melt|addition maker_heat? received_at:t mass_kg:n certificate? certificate_type?:2.1|2.2|3.1|3.2",
    "revert_lots": "revert_lot* alloy>alloys made_at:t form? condition?:clean|uncleaned|mixed",
    "revert_sources": "revert_lot+>revert_lots heat+>heats mass_kg:n",
    "analyses": "analysis* subject>ingot_lots/revert_lots/heats purpose:maker|check taken_at:t method? instrument?>instruments set_aside_by?>people set_aside_reason?",
    "analysis_values": "analysis+>analyses element+ value:n unit:wt%|ppm uncertainty?:n",
    "wax_lots": "wax_lot* grade received_at:t expires_on?:d ash_pct?:n[0,0.05] congealing_c?:n filler_pct?:n split_from?>wax_lots",
    "pattern_runs": "pattern_run* wax_lot>wax_lots part>parts die injected_at:t wax_c?:n[50,80] pressure_bar?:n[5,60] dwell_s?:n made_count?:i rejected_count?:i person?>people",
    "core_lots": "core_lot* material? fired_at?:t",
    "filter_lots": "filter_lot* material? ppi?:n[10,30] received_at:t received_count?:i rejected_count?:i",
    "powder_lots": "powder_lot* grade received_at:t expires_on?:d",
    "slurry_batches": "slurry_batch* use:prime|backup|seal_coat binder? flour? made_at:t",
    "slurry_checks": "slurry_batch+>slurry_batches occurred_at+:t person?>people instrument?>instruments temp_c?:n[18,26] viscosity_s?:n cup?:i density_g_cm3?:n ph?:n[8.5,11] sio2_pct?:n plate_g?:n gel?:pass|fail|not_done",
    "stucco_lots": "stucco_lot* material? mesh? received_at:t",
    "shell_batches": "shell_batch* recipe>shell_recipes started_at:t room?",
    "moulds": "mould* part>parts running_system>running_systems shell_batch?>shell_batches filter_lot?>filter_lots assembled_at:t person?>people seal?",
    "coats": "mould+>moulds coat+:i slurry_batch>slurry_batches stucco_lot?>stucco_lots in_at:t out_at?:t room_c?:n rh_pct?:n[40,60] person?>people",
    "investments": "mould+>moulds powder_lot>powder_lots mixed_at:t liquid_ml_per_100g?:n mix_s?:n vacuum_mbar?:n set_min?:n person?>people",
    "oven_runs": "oven_run* purpose:dewax|fire|preheat oven started_at:t instrument?>instruments setpoint_c?:n soak_min?:n peak_bar?:n rise_s?:n[0,10]",
    "oven_loads": "oven_run+>oven_runs mould+>moulds place? out_at?:t crack?:none|patched|through",
    "pour_plans": "mould+>moulds planned_on:d furnace? pour_order?:i target_c?:n[1350,1600]",
    "heats": "heat* alloy>alloys furnace closed_at?:t crucible? crucible_life?:i melted_at?:t melt_in_at?:t power_kw?:n vacuum_mbar?:n[0.0001,1] leak_mbar_l_s?:n hold_min?:n person?>people",
    "charges": "heat+>heats source+>ingot_lots/revert_lots item?+:i mass_kg:n",
    "pours": "mould+>moulds heat>heats pour_order?:i poured_at:t indicated_c?:n[1350,1600] pyrometer?>instruments mould_c?:n[800,1250] transfer_s?:n pour_s?:n[1,10] mass_kg?:n seal_state?:tight|weep|leak run_out?:yes|no person?>people",
    "blades": "blade* mould?>moulds position?:i pattern_run?>pattern_runs cavity? core_lot?>core_lots marked_at?:t position_confirmed?:yes|no",
    "finish_steps": "subject+>moulds/blades item?+:i step:knock_out|cut_off|leach|blast|grind|straighten done_at:t person?>people damage?",
    "treatments": "treatment* kind:hip|solution|age|stress_relief schedule? furnace? instrument?>instruments started_at:t temp_c?:n hold_h?:n pressure_mpa?:n",
    "treatment_loads": "treatment+>treatments blade+>blades",
    "test_bars": "test_bar* heat>heats instrument?>instruments uts_mpa?:n yield_mpa?:n elongation_pct?:n rupture_h?:n hardness_hrc?:n",
    "inspections": "inspection* blade>blades method:visual|penetrant|radiograph|dimensional|grain|wall_thickness round:i purpose?:product|overlap|study technique? class? inspected_at:t person?>people instrument?>instruments result:accept|reject closes?>inspections",
    "findings": "inspection+>inspections defect+>defect_terms item?+:i zone? side? size_mm?:n distance_mm?:n count?:i severity?:i[0,8]",
    "measurements": "inspection+>inspections characteristic+ value:n unit lower?:n upper?:n",
    "dispositions": "blade+>blades decided_at+:t decision:accept|rework|repair|scrap|hold|concession person?>people concession?>concessions reason?",
    "concessions": "concession* type:deviation|concession part>parts limits quantity?:i granted_at:t granted_by?>people expires_on?:d reference?",
    "concession_items": "concession+>concessions item?+:i measure?+:size_mm|distance_mm|count|severity|value covers:defect|element|characteristic|instrument|definition|station name zone? at_least?:n at_most?:n unit? only_for?>any",
    "lots": "lot* part>parts purchaser? purchase_order? order_line? ordered_count?:i certificate_type? document? opened_at:t",
    "lot_blades": "lot>lots blade+>blades",
    "shipments": "blade+>blades shipped_at+:t destination? certificate? returned_at?:t return_reason?",
    "holds": "hold* subject>any placed_at:t person?>people reason lifted_at?:t lifted_by?>people lifted_reason?",
    "trials": "trial* question factor response opened_at:t status:open|closed planned_moulds?:i worth_having?:n seed? held_constant? stop_rule? decision? decided_at?:t decided_by?>people",
    "trial_moulds": "trial+>trials mould+>moulds arm block?",
    "retags": "old_tag+ new_tag changed_at+:t person?>people witness?>people reason?",
    "attachments": "attachment* subject>any path sha256 bytes:i title?",
    "signatures": "subject+>any role person+>people signed_at+:t meaning:made|checked|released|conceded",
    "costs": "part+>parts station+ value:n currency from_date+:d",
    "hand_overs": "person+>people taken_at+:t given_by?>people",
    "samples": "sample* subject>any kind:film|section|bar|retained kept_at? discarded_at?:t",
}
# Elements in ppm that have a guard of their own.
GASES = ("O", "N", "S")
FIELD = re.compile(r"(?P<name>\w+)(?P<tag>\*?)(?P<blank>\??)(?P<key>\+?)(?:>(?P<ref>[\w/]+))?(?::(?P<type>[^\[\s]+))?(?:\[(?P<low>[\d.]+),(?P<high>[\d.]+)\])?$")


def kinds():
    """Kind: its fields in order, each a dict of its marks."""
    out = {}
    for name, text in {**DEFINITIONS, **RECORDS}.items():
        text += (DEFINED if name in DEFINITIONS else "") + COMMON
        out[name] = [FIELD.match(word).groupdict() for word in text.split()]
    return out
