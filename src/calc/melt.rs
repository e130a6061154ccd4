//! `calc` for the melting shop: indices of a composition, charge, fill, freezing.

use clap::Args;

use crate::calc::{Answer, Entry, Number, Run, Value, numbers, own};
use knowledge::metallurgy::composition::Composition;
use knowledge::metallurgy::freeze::{Wall, freeze_time};
use knowledge::metallurgy::limits::Unit;
use knowledge::metallurgy::stability;
use knowledge::metallurgy::stability::NickelVacancies;
use knowledge::metallurgy::{charge, density, fill, freeze};

/// Commands of the melting shop.
pub(crate) static COMMANDS: &[Entry] = &[
    own::<Nv>([
        "nv",
        "Electron vacancy number of the residual matrix: calc nv Cr=12.5 Al=6.1 … (wt%, Ni the balance; also B=120ppm, 'Fe=<0.05')",
        "Will this chemistry form brittle phases in service?",
        "Cr=12.5 Al=6.1 Mo=4.2 Nb=2.2 Ti=0.8 C=0.12",
    ]),
    own::<Md>([
        "md",
        "d-electron level of the whole alloy",
        "The same question by another index.",
        "Cr=12.5 Al=6.1 Mo=4.2 Nb=2.2 Ti=0.8",
    ]),
    own::<Density>([
        "density",
        "Density at room temperature",
        "For masses and gates, where no measured density is at hand.",
        "Cr=12.5 Al=6.1 Mo=4.2 Nb=2.2 Ti=0.8",
    ]),
    own::<Blend>([
        "blend",
        "Content of a blend: calc blend 8:6.05 2:5.90",
        "8 kg at 6.05 % and 2 kg at 5.90 %: what comes of it?",
        "8:6.05 2:5.90",
    ]),
    numbers(
        [
            "revert-level",
            "Level at which an impurity settles when every charge holds a share of revert",
            "Where does nitrogen settle if every charge holds half revert?",
            "--virgin 11 --pick-up 4 --share 0.5",
        ],
        &[
            ("virgin", "VIRGIN", "Level of virgin metal"),
            ("pick-up", "PICK_UP", "Pick-up per melt"),
            ("share", "SHARE", "Share of revert, 0 to below 1"),
        ],
        Value {
            formula: "C = C_virgin + d / (1 - r)",
            source: "geometric series of the mass balance",
            unit: "",
            of: |n| charge::revert_level(n[0], n[1], n[2]),
        },
    ),
    numbers(
        [
            "addition",
            "Mass of an addition",
            "How much to add to bring an element up.",
            "--melt 11 --now 5.8 --target 6.1 --assay 99 --recovery 0.95",
        ],
        &[
            ("melt", "MELT", "Melt, kg"),
            ("now", "NOW", "Content now, %"),
            ("target", "TARGET", "Content wanted, %"),
            ("assay", "ASSAY", "Content of the addition, %"),
            ("recovery", "RECOVERY", "Part that arrives, 0 to 1"),
        ],
        Value {
            formula: "M (target - now) / (assay x recovery - target)",
            source: "mass balance with recovery",
            unit: "kg",
            of: |n| charge::addition(n[0], n[1], n[2], n[3], n[4]),
        },
    ),
    own::<Fall>([
        "fall",
        "Velocity of a fall, or the fall that gives a velocity",
        "How fast is the metal at the bottom of the sprue?",
        "--height 0.15",
    ]),
    numbers(
        [
            "gate-velocity",
            "Mean velocity in the gates",
            "Is the filling quiet? Hold it against calc critical-velocity.",
            "--mass 5 --density 7300 --time 4 --area 400",
        ],
        &[MASS, DENSITY, TIME, ("area", "AREA", "Area of all gates, mm²")],
        Value {
            formula: "v = m / (rho t A)",
            source: "continuity; a lower bound on the peak at first entry",
            unit: "m/s",
            of: |n| fill::gate_velocity(n[0], n[1], n[2], n[3]),
        },
    ),
    numbers(
        [
            "gate-area",
            "Gate area for a velocity",
            "Gates for a velocity that does not fold the surface.",
            "--mass 5 --density 7300 --time 4 --velocity 0.4",
        ],
        &[MASS, DENSITY, TIME, ("velocity", "VELOCITY", "Velocity, m/s")],
        Value {
            formula: "A = m / (rho t v)",
            source: "continuity",
            unit: "mm2",
            of: |n| fill::gate_area(n[0], n[1], n[2], n[3]),
        },
    ),
    numbers(
        [
            "critical-velocity",
            "Velocity above which a liquid surface folds in",
            "Above it a liquid surface folds oxide in.",
            "--surface-tension 1.8 --density 7300",
        ],
        &[("surface-tension", "SURFACE_TENSION", "Surface tension, N/m"), DENSITY],
        Value {
            formula: "V = 2 (gamma g / rho)^(1/4)",
            source: "inertia against the curvature of a sessile drop",
            unit: "m/s",
            of: |n| fill::critical_velocity(n[0], n[1]),
        },
    ),
    own::<Choke>([
        "choke",
        "Choke area",
        "The narrowest place that sets the filling time.",
        "--mass 5 --density 7300 --time 4 --coefficient 0.8 --head 0.2",
    ]),
    own::<Superheat>([
        "superheat",
        "Metal temperature above a liquidus",
        "Indicated metal temperature less the liquidus.",
        "--metal 1480 --liquidus 1288",
    ]),
    own::<Leak>([
        "leak",
        "Air that a leak lets in, or with --melt the largest nitrogen pick-up",
        "After the leak test: what got into the furnace?",
        "--rate 5 --volume 0.5 --temperature 300 --time 20 --melt 11",
    ]),
    own::<Modulus>(["modulus", "Modulus of a box", "Which part of the tree freezes last?", "--box 20,30,60"]),
    numbers(
        [
            "freeze",
            "Time until a thin wall is frozen",
            "How long does a thin trailing edge stay open?",
            "--density 7300 --thickness 0.0006 --latent 220000 --heat-capacity 620 --superheat 190 --transfer 1000 --melting 1288 --mould 1000",
        ],
        &[
            DENSITY,
            ("thickness", "THICKNESS", "Thickness, m"),
            ("latent", "LATENT", "Latent heat, J/kg"),
            ("heat-capacity", "HEAT_CAPACITY", "Heat capacity, J/(kg K)"),
            ("superheat", "SUPERHEAT", "Superheat, K"),
            ("transfer", "TRANSFER", "Heat transfer, W/(m² K)"),
            ("melting", "MELTING", "Melting temperature, °C"),
            ("mould", "MOULD", "Mould temperature, °C"),
        ],
        Value {
            formula: "t = rho d (L + c dT) / (2 h (Tm - T0))",
            source: "heat balance, interface in control; properties as given",
            unit: "s",
            of: |n| {
                freeze_time(&Wall {
                    density: n[0],
                    thickness: n[1],
                    latent: n[2],
                    heat_capacity: n[3],
                    superheat: n[4],
                    transfer: n[5],
                    melting: n[6],
                    mould: n[7],
                })
            },
        },
    ),
];

const MASS: Number = ("mass", "MASS", "Mass that passes, kg");
const DENSITY: Number = ("density", "DENSITY", "Density, kg/m³");
const TIME: Number = ("time", "TIME", "Time, s");

#[derive(Args)]
struct Nv {
    /// EL=WT% …
    #[arg(required = true, value_name = "EL=WT%")]
    contents: Vec<String>,
    /// Electron vacancies of nickel: 0.61 or 0.66
    #[arg(long, default_value_t = 0.61)]
    ni: f64,
}

impl Run for Nv {
    fn run(&self) -> Result<Answer, String> {
        let (c, ni) = (composition(&self.contents)?, self.ni);
        let nickel = NickelVacancies::from_number(ni)
            .ok_or_else(|| format!("--ni {ni}: two conventions are in use, 0.61 and 0.66"))?;
        let value = stability::electron_vacancies(&c, nickel)?;
        let answer = Answer::new(
            "Nv = sum R(i) n(i) / sum R(i) over the residual gamma matrix",
            "after Woodyatt, Sims, Beattie 1966 and Murphy, Sims, Beltran 1968, from memory; reproduces DOI 10.1016/j.matdes.2014.12.038 within 0.005 with Ni 0.61",
        );
        let answer = index(answer, value, format!("Ni {ni}"), &c, stability::NV_NEEDS);
        Ok(match stability::nv_unfit(&c) {
            Some(why) => answer.note(why),
            None => answer.note("two decimals are meaningful; not for 718 or Hastelloy X"),
        })
    }
}

#[derive(Args)]
struct Md {
    /// EL=WT% …
    #[arg(required = true, value_name = "EL=WT%")]
    contents: Vec<String>,
}

impl Run for Md {
    fn run(&self) -> Result<Answer, String> {
        let c = composition(&self.contents)?;
        let value = stability::d_electron_level(&c)?;
        let needs = ["Co", "Cr", "Mo", "W", "Ta", "Ti", "Al", "Nb", "Hf", "Re"];
        let answer = Answer::new(
            "Md = sum x(i) Md(i), atomic fractions",
            "Morinaga, Yukawa, Adachi, Ezaki 1984, from memory; Ni to Al seen in DOI 10.1016/j.matdes.2017.04.062",
        );
        let answer = index(answer, value, "whole alloy, eV".into(), &c, &needs);
        Ok(answer.note_if(left_out(&c, stability::MD)))
    }
}

#[derive(Args)]
struct Density {
    /// EL=WT% …
    #[arg(required = true, value_name = "EL=WT%")]
    contents: Vec<String>,
}

impl Run for Density {
    fn run(&self) -> Result<Answer, String> {
        let c = composition(&self.contents)?;
        let value = density::density_g_cm3(&c)?;
        let needs = ["Co", "Cr", "Mo", "W", "Ta", "Ti", "Al", "Nb", "Hf", "Re", "Fe"];
        let answer = Answer::new(
            "rho = 1.05 x sum w(i) / sum w(i)/rho(i)",
            "form remembered from Reed, Tao, Warnken 2009, DOI 10.1016/j.actamat.2009.08.018",
        );
        let answer = index(answer, value, "g/cm3 at room temperature".into(), &c, &needs);
        Ok(answer.note_if(left_out(&c, density::ELEMENTS)).note(density::VALIDITY))
    }
}

#[derive(Args)]
struct Blend {
    /// MASS:VALUE …
    #[arg(required = true, value_name = "MASS:VALUE")]
    parts: Vec<String>,
}

impl Run for Blend {
    fn run(&self) -> Result<Answer, String> {
        let parts = self.parts.iter().map(|p| mass_value(p)).collect::<Result<Vec<_>, _>>()?;
        Ok(Answer::new("sum m C / sum m", "mass balance").figure("value", charge::blend(&parts)?))
    }
}

#[derive(Args)]
struct Fall {
    /// Height, m
    #[arg(long, conflicts_with = "velocity", required_unless_present = "velocity")]
    height: Option<f64>,
    /// Velocity, m/s
    #[arg(long)]
    velocity: Option<f64>,
}

impl Run for Fall {
    fn run(&self) -> Result<Answer, String> {
        let source = "free fall, g = 9.80665 m/s2";
        Ok(match self.height {
            Some(h) => unit(Answer::new("v = sqrt(2 g h)", source), fill::fall_velocity(h)?, "m/s"),
            None => {
                let velocity = self.velocity.unwrap_or(0.0);
                unit(Answer::new("h = v^2 / (2 g)", source), fill::fall_height(velocity)?, "m")
            }
        })
    }
}

#[derive(Args)]
struct Choke {
    /// Mass that passes, kg
    #[arg(long)]
    mass: f64,
    /// Density, kg/m³
    #[arg(long)]
    density: f64,
    /// Time, s
    #[arg(long)]
    time: f64,
    /// Discharge coefficient
    #[arg(long)]
    coefficient: f64,
    /// Head in m, or H,P,C for the effective head
    #[arg(long)]
    head: String,
}

impl Run for Choke {
    fn run(&self) -> Result<Answer, String> {
        let head = match numbers_of(&self.head, "--head")?.as_slice() {
            [h] => *h,
            [h, p, c] => fill::effective_head(*h, *p, *c)?,
            _ => return Err(format!("--head {}: one head in m, or H,P,C", self.head)),
        };
        let formula = "A = m / (rho t Cd sqrt(2 g H)), H_eff = H - P^2/(2C)";
        let area = fill::choke_area(self.mass, self.density, self.time, self.coefficient, head)?;
        Ok(unit(Answer::new(formula, "foundry handbooks, from memory"), area, "mm2"))
    }
}

#[derive(Args)]
struct Superheat {
    /// Metal, °C
    #[arg(long)]
    metal: f64,
    /// Liquidus, °C
    #[arg(long)]
    liquidus: f64,
}

impl Run for Superheat {
    fn run(&self) -> Result<Answer, String> {
        let value = fill::superheat(self.metal, self.liquidus)?;
        let note = format!("with the liquidus {} °C that was given; sources differ", self.liquidus);
        Ok(unit(Answer::new("metal - liquidus", "definition").note(note), value, "K"))
    }
}

#[derive(Args)]
struct Leak {
    /// Rise of pressure, µm Hg/min
    #[arg(long)]
    rate: f64,
    /// Volume, m³
    #[arg(long)]
    volume: f64,
    /// Gas temperature, K
    #[arg(long)]
    temperature: f64,
    /// Time, min
    #[arg(long)]
    time: f64,
    /// Melt, kg
    #[arg(long)]
    melt: Option<f64>,
}

impl Run for Leak {
    fn run(&self) -> Result<Answer, String> {
        let air = charge::leak_air_g(self.rate, self.volume, self.temperature, self.time)?;
        let answer = Answer::new("p V M / (R T)", "ideal gas; dry air 28.965 g/mol, 75.5 % nitrogen by mass");
        Ok(match self.melt {
            None => unit(answer, air, "g air"),
            Some(kg) => unit(answer, charge::leak_nitrogen_ppm(air, kg)?, "ppm N")
                .note("the most there could be: the real pick-up is far less"),
        })
    }
}

#[derive(Args)]
struct Modulus {
    /// Sides in mm: A,B,C
    #[arg(long = "box", value_name = "A,B,C")]
    sides: String,
}

impl Run for Modulus {
    fn run(&self) -> Result<Answer, String> {
        match numbers_of(&self.sides, "--box")?.as_slice() {
            [a, b, c] => {
                let answer = Answer::new("volume / surface", "Chvorinov's definition");
                Ok(unit(answer, freeze::box_modulus(*a, *b, *c)?, "mm"))
            }
            _ => Err(format!("--box {}: three sides in mm, A,B,C", self.sides)),
        }
    }
}

fn unit(answer: Answer, value: f64, unit: &str) -> Answer {
    answer.figure("value", value).put("unit", unit.into())
}

fn index(answer: Answer, value: f64, convention: String, c: &Composition, needs: &[&'static str]) -> Answer {
    let lacking = c.lacking(needs);
    let answer = answer
        .figure("value", value)
        .put("convention", convention.into())
        .put("not_analysed", lacking.clone().into());
    let listed = |names: &[&str]| (!names.is_empty()).then(|| names.join(" "));
    let below: Vec<&str> = c.below().iter().map(|(s, _)| *s).collect();
    let answer = answer
        .note_if(listed(&lacking).map(|s| format!("counted as 0 though not given: {s}")))
        .note_if(listed(&below).map(|s| format!("counted as 0, being below detection: {s}")));
    if c.nickel_by_difference() { answer.note("nickel taken as what is left of 100") } else { answer }
}

/// A sentence on the elements that a formula has no figure for.
fn left_out(c: &Composition, known: &[(&str, f64)]) -> Option<String> {
    let without = c.parts().iter().filter(|(s, w)| *w > 0.0 && !known.iter().any(|(k, _)| k == s));
    let names: Vec<&str> = without.map(|(s, _)| *s).collect();
    (!names.is_empty())
        .then(|| format!("left out, as the formula has no figure for them: {}", names.join(" ")))
}

fn composition(contents: &[String]) -> Result<Composition, String> {
    let (mut parts, mut below) = (Vec::new(), Vec::new());
    for text in contents {
        let (symbol, figure) =
            text.split_once('=').ok_or_else(|| format!("{text} is no EL=WT%, as Cr=12.5 is"))?;
        let (symbol, mut figure, mut factor) = (symbol.trim(), figure.trim(), 1.0);
        if let Some(ppm) = figure.strip_suffix("ppm") {
            (figure, factor) = (ppm.trim(), Unit::Ppm.factor_to(Unit::WtPct));
        }
        let (list, figure) = match figure.strip_prefix('<') {
            Some(limit) => (&mut below, limit.trim()),
            None => (&mut parts, figure),
        };
        let wt: f64 = figure.parse().map_err(|_| format!("{text}: {figure:?} is no number"))?;
        list.push((symbol, wt * factor));
    }
    Composition::new(&parts, &below)
}

fn mass_value(text: &str) -> Result<(f64, f64), String> {
    let fault = || format!("{text} is no MASS:VALUE, as 8:6.05 is");
    let (m, v) = text.split_once(':').ok_or_else(fault)?;
    Ok((m.trim().parse().map_err(|_| fault())?, v.trim().parse().map_err(|_| fault())?))
}

fn numbers_of(text: &str, option: &str) -> Result<Vec<f64>, String> {
    text.split(',')
        .map(|t| t.trim().parse().map_err(|_| format!("{option} {text}: {t} is no number")))
        .collect()
}
