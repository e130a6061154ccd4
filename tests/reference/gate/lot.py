"""A lot of four blades in two moulds in which nothing is wrong, so that it can be released; and the program, run on it.

Who is there: QL-01, QL-02 (quality), OP-01 (poured), IN-01, IN-02 (inspectors, qualified).
"""
import json
import pathlib
import subprocess
import sys

sys.path.insert(0, str(pathlib.Path(__file__).parents[1] / "disk"))
import disk

NOW = "2031-04-01T00:00:00+00:00"
PIN = "tin-roof"

CLEAN = {
    "people": ["person,role", "QL-01,quality", "QL-02,quality", "OP-01,operator", "IN-01,inspector", "IN-02,inspector"],
    "qualifications": ["person,method,level,from_on,expires_on,eyesight_on"]
    + [f"IN-0{n},{m},2,2030-01-01,2033-01-01,2031-01-01" for n in (1, 2) for m in ("penetrant", "radiograph")],
    "alloys": ["alloy,revision,liquidus_c,approved_by,approved_at", "QA-713,3,1288,QL-01,2030-01-01"],
    "alloy_limits": ["alloy,revision,element,min,max,unit", "QA-713,3,O,,25,ppm"],
    "parts": ["part,revision,alloy,approved_by,approved_at", "QB-2207,C,QA-713,QL-01,2030-01-01"],
    "zones": ["part,revision,zone,name", "QB-2207,C,AF,aerofoil"],
    "inspection_plans": ["part,revision,method,required,sampling", "QB-2207,C,penetrant,yes,all", "QB-2207,C,radiograph,yes,all"],
    "defect_terms": ["defect,name", "inclusion,inclusion"],
    "running_systems": ["running_system,fill,positions,filter,approved_by,approved_at", "RS-1,bottom,2,yes,QL-01,2030-01-01"],
    "instruments": ["instrument,kind", "PYR-02,pyrometer", "FV-01,film viewer"],
    "calibrations": [
        "instrument,checked_at,check,result,due_at",
        "PYR-02,2031-03-01T00:00:00Z,cross_check,good,2031-04-30T00:00:00Z",
        "FV-01,2031-03-01T00:00:00Z,calibration,good,2031-09-01T00:00:00Z",
    ],
    "ingot_lots": ["ingot_lot,alloy,received_at,mass_kg", "IL31-01,QA-713,2031-01-01T00:00:00Z,500"],
    "heats": ["heat,alloy,furnace,melted_at", "H31-001,QA-713,F1,2031-03-04T09:00:00Z"],
    "charges": ["heat,source,mass_kg", "H31-001,IL31-01,11"],
    "analyses": [
        "analysis,subject,purpose,taken_at",
        "AN-1,IL31-01,maker,2031-01-01T00:00:00Z",
        "AN-2,H31-001,check,2031-03-04T12:00:00Z",
    ],
    "analysis_values": ["analysis,element,value,unit", "AN-1,O,12,ppm", "AN-2,O,14,ppm"],
    "slurry_batches": ["slurry_batch,use,made_at", "PS31-01,prime,2031-02-01T00:00:00Z"],
    "slurry_checks": ["slurry_batch,occurred_at,viscosity_s", "PS31-01,2031-02-11T00:00:00Z,24"],
    "moulds": ["mould,part,running_system,assembled_at"] + [f"M31-00{m},QB-2207,RS-1,2031-02-10T00:00:00Z" for m in (1, 2)],
    "coats": ["mould,coat,slurry_batch,in_at"] + [f"M31-00{m},1,PS31-01,2031-02-12T00:00:00Z" for m in (1, 2)],
    "oven_runs": ["oven_run,purpose,oven,started_at", "OV-1,dewax,A,2031-02-20T08:00:00Z", "OV-2,fire,B,2031-02-21T08:00:00Z"],
    "oven_loads": ["oven_run,mould,crack"] + [f"OV-{r},M31-00{m},none" for r in (1, 2) for m in (1, 2)],
    "pours": ["mould,heat,poured_at,pyrometer,indicated_c,mass_kg,person"]
    + [f"M31-00{m},H31-001,2031-03-04T10:0{m}:00Z,PYR-02,1480,5,OP-01" for m in (1, 2)],
    "blades": ["blade,mould,position"] + [f"M31-00{m}-{p},M31-00{m},{p}" for m in (1, 2) for p in (1, 2)],
    "inspections": ["inspection,blade,method,round,technique,inspected_at,person,instrument,result"]
    + [f"P{m}{p},M31-00{m}-{p},penetrant,1,PT-1,2031-03-10T00:00:00Z,IN-01,,accept" for m in (1, 2) for p in (1, 2)]
    + [f"R{m}{p},M31-00{m}-{p},radiograph,1,RT-1,2031-03-11T00:00:00Z,IN-01,FV-01,accept" for m in (1, 2) for p in (1, 2)],
    "dispositions": ["blade,decided_at,decision,person"]
    + [f"M31-00{m}-{p},2031-03-12T00:00:00Z,accept,QL-01" for m in (1, 2) for p in (1, 2)],
    "lots": ["lot,part,purchaser,ordered_count,opened_at", "L31-01,QB-2207,a customer (invented),4,2031-02-01T00:00:00Z"],
    "lot_blades": ["lot,blade"] + [f"L31-01,M31-00{m}-{p}" for m in (1, 2) for p in (1, 2)],
}


def write(folder, kinds, headers=None):
    """The bundle; columns and kinds that the program does not know (an earlier one) are left out."""
    folder.mkdir(parents=True, exist_ok=True)
    for kind, (head, *rows) in kinds.items():
        names = head.split(",")
        if headers is not None:
            if kind not in headers:
                continue
            keep = [i for i, n in enumerate(names) if n in headers[kind]]
            head, rows = ",".join(names[i] for i in keep), [",".join(r.split(",")[i] for i in keep) for r in rows]
        (folder / f"{kind}.csv").write_text("\n".join([head, *rows, ""]))


def headers(folder):
    """The fields of every kind, as an export names them."""
    store, out = folder / "headers.db", folder / "headers"
    for arguments in (["new", "--bare"], ["export", str(out)]):
        done = run(store, *arguments)
        if done.returncode:
            sys.exit(done.stderr)
    return {f.stem: f.read_text().splitlines()[0].split(",") for f in sorted(out.glob("*.csv"))}


def run(store, *arguments, pin=None, now=NOW):
    """The program on a store; `pin` is what stands in the file of `--pin-from` (a line each)."""
    environment = disk.environment(store, MELTKIN_NOW=now)
    if pin is None:
        return subprocess.run([disk.program(), *arguments], env=environment, text=True, errors="replace",
                              stdin=subprocess.DEVNULL, capture_output=True, timeout=120)
    for option in ("--pin-from", "--pin-file"):     # the second is what it was called before
        done = subprocess.run([disk.program(), *arguments, option, "-"], env=environment, text=True, errors="replace",
                              input=pin + "\n", capture_output=True, timeout=120)
        if done.returncode != 2 or "unexpected argument" not in done.stderr:
            break
    return done


def answer(done):
    """The JSON of an answer; none where there is none."""
    try:
        return json.loads(done.stdout)
    except ValueError:
        return None
