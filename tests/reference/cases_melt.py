"""The melting shop. Written from the formulas' sources, step by step where the code has a closed form.
Tolerance 1e-9 unless a reason stands beside a looser one. Constants: scipy.constants; atomic weights, levels and
densities: the procedure that stands beside the worked examples."""

import json
import pathlib

import numpy as np
from compare_calc import Case, command
from scipy import constants, optimize

FOLDER = pathlib.Path(__file__).resolve().parent.parent / "it" / "reference" / "metallurgy"
PROCEDURE = json.loads((FOLDER / "phacomp.json").read_text())
_words = PROCEDURE["step_0_atomic_percent"]["atomic_weights"].split("A:")[1].split()
WEIGHT = {s: float(a) for s, a in zip(_words[::2], _words[1::2])}
VACANCIES = PROCEDURE["nv"]["coefficients"]
LEVELS = PROCEDURE["md"]["values"]
DENSITIES = PROCEDURE["density"]["element_density_g_cm3"]
NV_NEEDS = "C B Al Ti Cr Mo W Co Nb Ta Hf Zr Fe".split()
g = constants.g


def alloy(rng):
    """Contents of a cast alloy in wt%, each element there with a probability."""
    ranges = {
        "C": (0.02, 0.2), "B": (0.003, 0.03), "Cr": (6, 20), "Co": (0, 18), "Mo": (0.3, 5), "W": (0.5, 10), "Ta": (0.5, 6),
        "Nb": (0.2, 3), "Al": (2.5, 6), "Ti": (0.8, 4), "Hf": (0.1, 1.6), "Zr": (0.01, 0.1), "Fe": (0.05, 3), "V": (0.3, 1.1),
        "Re": (0.5, 3), "Mn": (0.01, 0.2), "Si": (0.01, 0.2),
    }
    must = {"Cr", "Al", "Ti"}
    found = {}
    for s, (low, high) in ranges.items():
        if s in must or rng.random() < 0.7:
            found[s] = float(np.round(rng.uniform(low, high), 3))
    if rng.random() < 0.3:
        found["Ni"] = float(np.round(100 - sum(found.values()) - rng.uniform(0, 0.4), 3))
    return found


def words(contents, rng):
    """EL=WT%, now and then in ppm."""
    out = []
    for s, w in contents.items():
        out.append(f"{s}={w * 10_000:.6f}ppm" if w < 0.3 and rng.random() < 0.3 else f"{s}={w!r}")
    rng.shuffle(out)
    return out


def atomic(contents):
    full = dict(contents)
    full.setdefault("Ni", 100 - sum(full.values()))
    moles = {s: w / WEIGHT[s] for s, w in full.items()}
    total = sum(moles.values())
    return {s: 100 * m / total for s, m in moles.items()}


def vacancies(contents, nickel):
    p = {s: 0.0 for s in WEIGHT} | atomic(contents)
    boron, carbon, chromium, mo, w = p["B"], p["C"], p["Cr"], p["Mo"], p["W"]
    for s, share in {"Mo": 0.50, "Ti": 0.15, "Cr": 0.25, "Ni": 0.10}.items():  # M3B2
        p[s] -= 1.5 * share * boron
    need = carbon / 2  # MC
    for s in ("Ta", "Nb", "Ti"):
        part = min(need, p[s]) if s != "Ti" else need  # what is short falls on Ti
        p[s] -= part
        need -= part
    unit = carbon / 2 / 6  # of M23C6
    p["Cr"] -= unit * 21  # also without Mo and W, as the closed form has it
    if mo + w > 0:
        p["Mo"] -= 2 * unit * mo / (mo + w)
        p["W"] -= 2 * unit * w / (mo + w)
    formers = sum(p[s] for s in ("Al", "Ti", "Nb", "Ta", "Hf", "Zr")) + p["V"] / 2 + 0.03 * chromium
    p["Ni"] -= 3 * formers
    p["Cr"] -= 0.03 * chromium
    p["V"] /= 2
    left = {s: p[s] for s in ("Ni", "Co", "Fe", "Mn", "Re", "Cr", "Mo", "W", "V", "Si")}
    if min(left.values()) < 0:
        return None
    n = VACANCIES | {"Ni": nickel}
    return sum(v * n[s] for s, v in left.items()) / sum(left.values())


@command("nv")
def nv(rng):
    for _ in range(150):
        contents = alloy(rng)
        nickel = float(rng.choice([0.61, 0.66]))
        value = vacancies(contents, nickel)
        options = [*words(contents, rng), *(["--ni", nickel] if nickel == 0.66 or rng.random() < 0.5 else [])]
        lacking = [s for s in NV_NEEDS if s not in contents]
        # contents given in ppm are rounded to 1e-10 wt%
        yield Case(["nv", *options], {"value": value, "not_analysed": lacking}, refused=value is None)
    for e in json.loads((FOLDER / "worked_examples.json").read_text())["examples"]:
        if e["calc"] == "nv" and e["expected"]:
            contents, nickel = e["args"]
            options = [f"{s}={w}" for s, w in contents.items()] + ["--ni", nickel]
            yield Case(["nv", *options], {"value": vacancies(contents, nickel)})
            yield Case(["nv", *options], {"value": e["expected"]}, rel=0, floor=e["tolerance"])
    # below detection counts as nothing in the value, and may be as much as its limit; it was analysed
    least, most = (vacancies({"Cr": 16, "Al": 3.4, "Ti": 3.4, "Fe": fe}, 0.61) for fe in (0, 0.1))
    yield Case(["nv", "Cr=16", "Al=3.4", "Ti=3.4", "Fe=<0.1"], {"at_detection_limits": sorted([least, most])})
    yield Case(
        ["nv", "Cr=16", "Al=3.4", "Ti=3.4", "Fe=<0.1"],
        {"value": vacancies({"Cr": 16, "Al": 3.4, "Ti": 3.4}, 0.61), "not_analysed": [s for s in NV_NEEDS if s not in ("Cr", "Al", "Ti", "Fe")]},
    )
    bad = ["cr=12", "Xx=1", "Cr", "Cr=", "Cr=nan", "Cr=inf", "Cr=-1", "Cr=12 Cr=13", "Cr=60 Co=41", "Al=60", "=1", "Cr=1% Al=2", "Cr=12 --ni 0.6", "Ni=62 Cr=20 Al=5", "Cr=16 Al=3.4 Ti=3.4 N=35", "Al=3.4 Ti=3.4 Cr=<15", ""]
    for text in bad:
        yield Case(["nv", *text.split()], refused=True)


@command("md")
def md(rng):
    for _ in range(120):
        contents = alloy(rng)
        p = {s: v for s, v in atomic(contents).items() if s in LEVELS}
        yield Case(["md", *words(contents, rng)], {"value": np.average([LEVELS[s] for s in p], weights=list(p.values()))})
    for text in ("C=100", "Cr=1 Cb=2", "Md", "", "Ni=62 Cr=20 Al=5", "Cr=16 Al=3.4 N=35", "Al=5 Cr=<15"):
        yield Case(["md", *text.split()], refused=True)


@command("density")
def density(rng):
    for _ in range(120):
        contents = alloy(rng)
        full = {"Ni": 100 - sum(contents.values())} | contents
        known = {s: w for s, w in full.items() if s in DENSITIES}
        specific = np.average([1 / DENSITIES[s] for s in known], weights=list(known.values()))
        yield Case(["density", *words(contents, rng)], {"value": 1.05 / specific})
    for text in ("Cu=5", "Cr=120", "Cr=0,5", "Ni=62 Cr=20 Al=5", "Cr=16 N=35", "Cr=<15"):
        yield Case(["density", *text.split()], refused=True)


@command("blend")
def blend(rng):
    for _ in range(80):
        n = int(rng.integers(1, 9))
        masses, values = np.round(rng.uniform(0.01, 60, n), 3), np.round(rng.uniform(0, 30, n), 4)
        yield Case(["blend", *(f"{m}:{v}" for m, v in zip(masses, values))], {"value": np.average(values, weights=masses)})
    for text in ("0:5", "-1:5", "8", "8:x", "8:6:7", "nan:5", "8:inf", ""):
        yield Case(["blend", *(["--"] if text.startswith("-") else []), *text.split()], refused=True)


@command("revert-level")
def revert_level(rng):
    """The loop itself, melt after melt, until it stands still."""
    for _ in range(60):
        virgin, pick_up, share = np.round(rng.uniform(0, 30), 3), np.round(rng.uniform(0, 8), 3), np.round(rng.uniform(0, 0.9), 3)
        level = virgin
        for _ in range(2000):
            level = (1 - share) * virgin + share * level + pick_up
        yield Case(["revert-level", "--virgin", virgin, "--pick-up", pick_up, "--share", share], {"value": level})
    for share in ("1", "1.2", "-0.1", "nan"):
        yield Case(["revert-level", "--virgin", 8, "--pick-up", 3, f"--share={share}"], refused=True)


@command("addition")
def addition(rng):
    """The mass is sought so that the content comes out right, instead of computed."""
    for i in range(80):
        melt, now = np.round(rng.uniform(1, 60), 2), np.round(rng.uniform(0, 6), 3)
        recovery = np.round(rng.uniform(0.3, 1), 2)
        if i % 3:
            target, assay = np.round(now + rng.uniform(0.01, 2), 3), np.round(rng.uniform(40, 100), 1)
        else:  # dilution
            target, assay = np.round(now * rng.uniform(0.5, 0.95) + 0.001, 3), 0.0
            if target >= now:
                continue
        # what arrives of the addition is assay x recovery; the melt gains the whole mass
        content = lambda m: (melt * now + m * assay * recovery) / (melt + m) - target
        want = optimize.brentq(content, 0, 1e4 * melt, xtol=1e-14, rtol=1e-14, maxiter=500)
        options = ["--melt", melt, "--now", now, "--target", target, "--assay", assay, "--recovery", recovery]
        # the root is good to the rounding of the content, which a small step magnifies
        yield Case(["addition", *options], {"value": want}, rel=1e-9, floor=1e-10)
    line = "--melt 10 --now 0.04 --target 0.1 --assay 99 --recovery 0.7"
    for old, new in (("--melt 10", "--melt 0"), ("--recovery 0.7", "--recovery 0"), ("--recovery 0.7", "--recovery 1.1"), ("99", "0.1"), ("--target 0.1", "--target 0.01"), ("99", "101"), ("--now 0.04", "--now nan")):
        yield Case(["addition", *line.replace(old, new).split()], refused=True)


@command("fall")
def fall(rng):
    for _ in range(40):
        height = np.round(10 ** rng.uniform(-3, 0.5), 5)
        yield Case(["fall", "--height", height], {"value": np.sqrt(2 * g * height), "unit": "m/s"})
        yield Case(["fall", "--velocity", height], {"value": height**2 / (2 * g), "unit": "m"})
    yield Case(["fall", "--height", 0], {"value": 0})
    for text in ("--height=-1", "--height nan", "--height 1 --velocity 1", "--velocity=-1", ""):
        yield Case(["fall", *text.split()], refused=True)


def flow(rng):
    mass, rho, time = np.round(rng.uniform(0.5, 40), 2), np.round(rng.uniform(7000, 8300), 1), np.round(rng.uniform(0.5, 8), 2)
    return mass, rho, time, ["--mass", mass, "--density", rho, "--time", time]


@command("gate-velocity")
def gate_velocity(rng):
    for _ in range(40):
        mass, rho, time, options = flow(rng)
        area = np.round(rng.uniform(20, 1500), 1)
        yield Case(["gate-velocity", *options, "--area", area], {"value": mass / rho / time / (area * 1e-6), "unit": "m/s"})
    for text in ("--mass 0 --density 7600 --time 2 --area 9", "--mass 6 --density 7600 --time 2 --area=-9", "--mass 6 --density 7.6 --time 2 --area 300", "--mass 6 --density 7600 --time 2"):
        yield Case(["gate-velocity", *text.split()], refused=True)


@command("gate-area")
def gate_area(rng):
    for _ in range(40):
        mass, rho, time, options = flow(rng)
        v = np.round(rng.uniform(0.2, 2), 3)
        yield Case(["gate-area", *options, "--velocity", v], {"value": mass / rho / time / v * 1e6, "unit": "mm2"})
    yield Case(["gate-area", *"--mass 6 --density 7600 --time 2 --velocity 0".split()], refused=True)


@command("critical-velocity")
def critical_velocity(rng):
    """The balance rho V^2/2 = 2 gamma/r with r half of a sessile drop's height, solved."""
    for _ in range(40):
        gamma, rho = np.round(rng.uniform(0.8, 2.1), 3), np.round(rng.uniform(2300, 8400), 1)
        r = np.sqrt(gamma / (rho * g))
        v = optimize.brentq(lambda v: rho * v * v / 2 - 2 * gamma / r, 0, 10, xtol=1e-15, rtol=1e-14)
        yield Case(["critical-velocity", "--surface-tension", gamma, "--density", rho], {"value": v, "unit": "m/s"})
    yield Case(["critical-velocity", "--surface-tension", 0, "--density", 7754], refused=True)


@command("choke")
def choke(rng):
    for _ in range(40):
        mass, rho, time, options = flow(rng)
        c, head = np.round(rng.uniform(0.4, 1), 2), np.round(rng.uniform(0.05, 0.6), 3)
        area = lambda h: mass / (rho * time * c * np.sqrt(2 * g * h)) * 1e6
        yield Case(["choke", *options, "--coefficient", c, "--head", head], {"value": area(head), "unit": "mm2"})
        casting = np.round(rng.uniform(0.05, 0.4), 3)
        above = np.round(casting * rng.uniform(0, 1), 3)
        left = head - above**2 / (2 * casting)
        yield Case(["choke", *options, "--coefficient", c, "--head", f"{head},{above},{casting}"], {"value": area(left) if left > 0 else None}, refused=left <= 0)
    for head in ("0", "1,2", "a", "0.2,0.3,0.1", "0.2,-0.1,0.1", "nan"):
        yield Case(["choke", *"--mass 6 --density 7600 --time 2 --coefficient 0.8 --head".split(), head], refused=True)


@command("superheat")
def superheat(rng):
    for _ in range(20):
        liquidus, metal = np.round(rng.uniform(1280, 1420), 1), np.round(rng.uniform(1250, 1650), 1)
        yield Case(["superheat", "--metal", metal, "--liquidus", liquidus], {"value": metal - liquidus}, floor=1e-10)
    yield Case(["superheat", "--metal", "nan", "--liquidus", 1300], refused=True)


@command("leak")
def leak(rng):
    """Dry air as 78.08 N2, 20.95 O2, 0.93 Ar, 0.04 CO2 by volume: 28.965 g/mol; 75.5 % nitrogen by mass
    is that mixture to three digits."""
    for _ in range(40):
        rate, volume = np.round(rng.uniform(0, 20), 2), np.round(rng.uniform(0.1, 5), 2)
        kelvin, time, melt = np.round(rng.uniform(280, 400), 1), np.round(rng.uniform(1, 60), 1), np.round(rng.uniform(1, 60), 1)
        options = ["--rate", rate, "--volume", volume, "--temperature", kelvin, "--time", time]
        air = rate * time * constants.torr / 1000 * volume / (constants.R * kelvin) * 28.965
        # the gas constant in the code has ten digits
        yield Case(["leak", *options], {"value": air}, rel=2e-9)
        yield Case(["leak", *options, "--melt", melt], {"value": 0.755 * air / melt * 1000}, rel=2e-9)
    for text in ("--temperature 27 --time 20", "--temperature 0 --time 20", "--temperature 300 --time=-1", "--temperature 300 --time 20 --melt 0"):
        yield Case(["leak", "--rate", 5, "--volume", 1.5, *text.split()], refused=True)


@command("modulus")
def modulus(rng):
    for _ in range(40):
        a, b, c = np.round(rng.uniform(0.5, 80, 3), 2)
        yield Case(["modulus", "--box", f"{a},{b},{c}"], {"value": a * b * c / (2 * (a * b + b * c + c * a)), "unit": "mm"})
    for sides in ("1,2", "0,1,2", "1,2,x", "1,2,3,4", "-1,2,3"):
        yield Case(["modulus", f"--box={sides}"], refused=True)


@command("freeze")
def freeze(rng):
    names = "density thickness latent heat-capacity superheat transfer melting mould".split()
    for _ in range(40):
        v = [np.round(rng.uniform(*r), d) for r, d in (((7000, 8300), 0), ((5e-4, 6e-3), 5), ((2e5, 3e5), 0), ((500, 800), 0), ((0, 250), 0), ((200, 3000), 0), ((1260, 1400), 0), ((500, 1200), 0))]
        rho, d, heat, cp, dt, h, melting, mould = v
        # the heat of a wall of 1 m2 leaves through both faces
        want = rho * d * (heat + cp * dt) / (2 * h * (melting - mould))
        yield Case(["freeze", *(x for n, f in zip(names, v) for x in (f"--{n}", f))], {"value": want, "unit": "s"})
    good = dict(zip(names, (7500, 0.001, 240_000, 720, 130, 1000, 1340, 1000)))
    for name, value in (("mould", 1340), ("mould", 1500), ("thickness", 0), ("thickness", 1), ("density", 7.5), ("latent", 240), ("superheat", -40), ("superheat", -1), ("transfer", "nan")):
        yield Case(["freeze", *(f"--{n}={f}" for n, f in (good | {name: value}).items())], refused=True)
