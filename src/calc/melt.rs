//! `calc` for the melting shop: indices of a composition, charge, fill, freezing.

use clap::{Args, Subcommand};

use crate::calc::Answer;
use knowledge::metallurgy::composition::Composition;
use knowledge::metallurgy::elements::canonical;
use knowledge::metallurgy::freeze::{Wall, freeze_time};
use knowledge::metallurgy::limits::Unit;
use knowledge::metallurgy::plausible::Quantity;
use knowledge::metallurgy::stability::NickelVacancies;
use knowledge::metallurgy::{charge, density, fill, freeze, indices, plausible, stability};

/// Commands of the melting shop.
#[derive(Subcommand)]
pub enum MeltShop {
    /// Electron vacancy number of the residual matrix: calc nv Cr=12.5 Al=6.1 … (wt%, Ni the balance; also B=120ppm, 'Fe=<0.05')
    #[command(
        after_help = "Will this chemistry form brittle phases in service?\n\nContents in wt%, ppm where it says so. Without Ni it is what is left of 100; with Ni the contents must sum to 98 or more.\n<x counts as 0 in value, and at_detection_limits goes from 0 to x; a limit above 1 wt% is refused, and so is more of an\nelement than nickel alloys hold.\n\n  meltkin calc nv Cr=12.5 Al=6.1 Mo=4.2 Nb=2.2 Ti=0.8 C=0.12"
    )]
    Nv {
        /// EL=WT% …
        #[arg(required = true, value_name = "EL=WT%")]
        contents: Vec<String>,
        /// Electron vacancies of nickel: 0.61 or 0.66
        #[arg(long, default_value_t = 0.61)]
        ni: f64,
    },
    /// d-electron level of the whole alloy
    #[command(
        after_help = "The same question by another index.\n\nContents in wt%, ppm where it says so. Without Ni it is what is left of 100; with Ni the contents must sum to 98 or more.\n<x counts as 0 in value, and at_detection_limits goes from 0 to x; a limit above 1 wt% is refused, and so is more of an\nelement than nickel alloys hold.\n\n  meltkin calc md Cr=12.5 Al=6.1 Mo=4.2 Nb=2.2 Ti=0.8"
    )]
    Md {
        /// EL=WT% …
        #[arg(required = true, value_name = "EL=WT%")]
        contents: Vec<String>,
    },
    /// Density at room temperature
    #[command(
        after_help = "For masses and gates, where no measured density is at hand.\n\nContents in wt%, ppm where it says so. Without Ni it is what is left of 100; with Ni the contents must sum to 98 or more.\n<x counts as 0 in value, and at_detection_limits goes from 0 to x; a limit above 1 wt% is refused, and so is more of an\nelement than nickel alloys hold.\n\n  meltkin calc density Cr=12.5 Al=6.1 Mo=4.2 Nb=2.2 Ti=0.8"
    )]
    Density {
        /// EL=WT% …
        #[arg(required = true, value_name = "EL=WT%")]
        contents: Vec<String>,
    },
    /// Content of a blend: calc blend 8:6.05 2:5.90
    #[command(
        after_help = "8 kg at 6.05 % and 2 kg at 5.90 %: what comes of it?\n\n  meltkin calc blend 8:6.05 2:5.90"
    )]
    Blend {
        /// MASS:VALUE …
        #[arg(required = true, value_name = "MASS:VALUE")]
        parts: Vec<String>,
    },
    /// Level at which an impurity settles when every charge holds a share of revert
    #[command(
        after_help = "Where does nitrogen settle if every charge holds half revert?\n\n  meltkin calc revert-level --virgin 11 --pick-up 4 --share 0.5"
    )]
    RevertLevel {
        /// Level of virgin metal
        #[arg(long)]
        virgin: f64,
        /// Pick-up per melt
        #[arg(long)]
        pick_up: f64,
        /// Share of revert, 0 to below 1
        #[arg(long)]
        share: f64,
    },
    /// Mass of an addition
    #[command(
        after_help = "How much to add to bring an element up.\n\n  meltkin calc addition --melt 11 --now 5.8 --target 6.1 --assay 99 --recovery 0.95"
    )]
    Addition {
        /// Melt, kg
        #[arg(long)]
        melt: f64,
        /// Content now, %
        #[arg(long)]
        now: f64,
        /// Content wanted, %
        #[arg(long)]
        target: f64,
        /// Content of the addition, %
        #[arg(long)]
        assay: f64,
        /// Part that arrives, 0 to 1
        #[arg(long)]
        recovery: f64,
    },
    /// Velocity of a fall, or the fall that gives a velocity
    #[command(
        after_help = "How fast is the metal at the bottom of the sprue?\n\n  meltkin calc fall --height 0.15"
    )]
    Fall {
        /// Height, m
        #[arg(long, conflicts_with = "velocity", required_unless_present = "velocity")]
        height: Option<f64>,
        /// Velocity, m/s
        #[arg(long)]
        velocity: Option<f64>,
    },
    /// Mean velocity in the gates
    #[command(
        after_help = "Is the filling quiet? Hold it against calc critical-velocity.\n\n  meltkin calc gate-velocity --mass 5 --density 7300 --time 4 --area 400"
    )]
    GateVelocity {
        #[command(flatten)]
        /// Metal through the section
        flow: Flow,
        /// Area of all gates, mm²
        #[arg(long)]
        area: f64,
    },
    /// Gate area for a velocity
    #[command(
        after_help = "Gates for a velocity that does not fold the surface.\n\n  meltkin calc gate-area --mass 5 --density 7300 --time 4 --velocity 0.4"
    )]
    GateArea {
        #[command(flatten)]
        /// Metal through the section
        flow: Flow,
        /// Velocity, m/s
        #[arg(long)]
        velocity: f64,
    },
    /// Velocity above which a liquid surface folds in
    #[command(
        after_help = "Above it a liquid surface folds oxide in.\n\n  meltkin calc critical-velocity --surface-tension 1.8 --density 7300"
    )]
    CriticalVelocity {
        /// Surface tension, N/m
        #[arg(long)]
        surface_tension: f64,
        /// Density, kg/m³
        #[arg(long)]
        density: f64,
    },
    /// Choke area
    #[command(
        after_help = "The narrowest place that sets the filling time.\n\n  meltkin calc choke --mass 5 --density 7300 --time 4 --coefficient 0.8 --head 0.2"
    )]
    Choke {
        #[command(flatten)]
        /// Metal through the section
        flow: Flow,
        /// Discharge coefficient
        #[arg(long)]
        coefficient: f64,
        /// Head in m, or H,P,C for the effective head
        #[arg(long)]
        head: String,
    },
    /// Metal temperature above a liquidus
    #[command(
        after_help = "Indicated metal temperature less the liquidus.\n\n  meltkin calc superheat --metal 1480 --liquidus 1288"
    )]
    Superheat {
        /// Metal, °C
        #[arg(long, allow_negative_numbers = true)]
        metal: f64,
        /// Liquidus, °C
        #[arg(long)]
        liquidus: f64,
    },
    /// Air that a leak lets in, or with --melt the largest nitrogen pick-up
    #[command(
        after_help = "After the leak test: what got into the furnace?\n\n  meltkin calc leak --rate 5 --volume 0.5 --temperature 300 --time 20 --melt 11"
    )]
    Leak {
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
    },
    /// Modulus of a box
    #[command(after_help = "Which part of the tree freezes last?\n\n  meltkin calc modulus --box 20,30,60")]
    Modulus {
        /// Sides in mm: A,B,C
        #[arg(long = "box", value_name = "A,B,C")]
        sides: String,
    },
    /// Time until a thin wall is frozen
    #[command(
        after_help = "How long does a thin trailing edge stay open?\n\n  meltkin calc freeze --density 7300 --thickness 0.0006 --latent 220000 --heat-capacity 620 --superheat 190 --transfer 1000 --melting 1288 --mould 1000"
    )]
    Freeze {
        /// Density, kg/m³
        #[arg(long)]
        density: f64,
        /// Thickness, m
        #[arg(long)]
        thickness: f64,
        /// Latent heat, J/kg
        #[arg(long)]
        latent: f64,
        /// Heat capacity, J/(kg K)
        #[arg(long)]
        heat_capacity: f64,
        /// Superheat, K
        #[arg(long, allow_negative_numbers = true)]
        superheat: f64,
        /// Heat transfer, W/(m² K)
        #[arg(long)]
        transfer: f64,
        /// Melting temperature, °C
        #[arg(long)]
        melting: f64,
        /// Mould temperature, °C
        #[arg(long)]
        mould: f64,
    },
}

/// Metal through a section.
#[derive(Args)]
pub struct Flow {
    /// Mass that passes, kg
    #[arg(long)]
    mass: f64,
    /// Density, kg/m³
    #[arg(long)]
    density: f64,
    /// Time, s
    #[arg(long)]
    time: f64,
}

impl Flow {
    fn meant(&self) -> Result<(), String> {
        plausible::all(&[
            (plausible::MASS, self.mass),
            (plausible::DENSITY, self.density),
            (plausible::FILLING_TIME, self.time),
        ])
    }
}

/// The value, where it can be meant.
fn meant(quantity: Quantity, value: f64) -> Result<f64, String> {
    quantity.check(value).map(|()| value)
}

pub fn run(what: &MeltShop) -> Result<Answer, String> {
    Ok(match what {
        MeltShop::Nv { contents, ni } => {
            let c = composition(contents)?;
            let nickel = NickelVacancies::from_number(*ni)
                .ok_or_else(|| format!("--ni {ni}: two conventions are in use, 0.61 and 0.66"))?;
            let value = stability::electron_vacancies(&c, nickel)?;
            let answer = index(
                Answer::new(
                    "Nv = sum R(i) n(i) / sum R(i) over the residual gamma matrix",
                    "after Woodyatt, Sims, Beattie 1966 and Murphy, Sims, Beltran 1968, from memory; reproduces DOI 10.1016/j.matdes.2014.12.038 within 0.005 with Ni 0.61",
                ),
                value,
                format!("Ni {ni}"),
                &c,
                stability::NV_NEEDS,
                |c| stability::electron_vacancies(c, nickel),
            );
            match stability::nv_unfit(&c) {
                Some(why) => answer.note(why),
                None => answer.note("two decimals are meaningful; not for 718 or Hastelloy X"),
            }
        }
        MeltShop::Md { contents } => {
            let c = composition(contents)?;
            let value = stability::d_electron_level(&c)?;
            let needs = ["Co", "Cr", "Mo", "W", "Ta", "Ti", "Al", "Nb", "Hf", "Re"];
            index(
                Answer::new(
                    "Md = sum x(i) Md(i), atomic fractions",
                    "Morinaga, Yukawa, Adachi, Ezaki 1984, from memory; Ni to Al seen in DOI 10.1016/j.matdes.2017.04.062",
                ),
                value,
                "whole alloy, eV".into(),
                &c,
                &needs,
                stability::d_electron_level,
            )
            .note_if(left_out(&c, stability::MD))
        }
        MeltShop::Density { contents } => {
            let c = composition(contents)?;
            let value = density::density_g_cm3(&c)?;
            let needs = ["Co", "Cr", "Mo", "W", "Ta", "Ti", "Al", "Nb", "Hf", "Re", "Fe"];
            index(
                Answer::new(
                    "rho = 1.05 x sum w(i) / sum w(i)/rho(i)",
                    "form remembered from Reed, Tao, Warnken 2009, DOI 10.1016/j.actamat.2009.08.018",
                ),
                value,
                "g/cm3 at room temperature".into(),
                &c,
                &needs,
                density::density_g_cm3,
            )
            .note_if(left_out(&c, density::ELEMENTS))
            .note(density::VALIDITY)
        }
        MeltShop::Blend { parts } => {
            let parts = parts.iter().map(|p| mass_value(p)).collect::<Result<Vec<_>, _>>()?;
            if let Some((_, content)) = parts.iter().find(|(_, v)| *v < 0.0) {
                return Err(format!("{content}: a content is a number from 0"));
            }
            Answer::new("sum m C / sum m", "mass balance").figure("value", charge::blend(&parts)?)
        }
        MeltShop::RevertLevel { virgin, pick_up, share } => {
            Answer::new("C = C_virgin + d / (1 - r)", "geometric series of the mass balance")
                .figure("value", charge::revert_level(*virgin, *pick_up, *share)?)
        }
        MeltShop::Addition { melt, now, target, assay, recovery } => {
            plausible::MELT.check(*melt)?;
            let mass = charge::addition(*melt, *now, *target, *assay, *recovery)?;
            Answer::new("M (target - now) / (assay x recovery - target)", "mass balance with recovery")
                .figure("value", mass)
                .put("unit", "kg".into())
                .note_where(
                    mass > *melt,
                    "that is more than the melt itself: what arrives of the addition is hardly richer (or poorer) than \
                     the target",
                )
        }
        MeltShop::Fall { height: Some(h), .. } => unit(
            Answer::new("v = sqrt(2 g h)", "free fall, g = 9.80665 m/s2"),
            fill::fall_velocity(meant(plausible::HEIGHT, *h)?)?,
            "m/s",
        ),
        MeltShop::Fall { velocity, .. } => unit(
            Answer::new("h = v^2 / (2 g)", "free fall, g = 9.80665 m/s2"),
            fill::fall_height(meant(plausible::VELOCITY, velocity.unwrap_or(0.0))?)?,
            "m",
        ),
        MeltShop::GateVelocity { flow, area } => {
            flow.meant()?;
            plausible::GATES.check(*area)?;
            let velocity = fill::gate_velocity(flow.mass, flow.density, flow.time, *area)?;
            unit(
                Answer::new("v = m / (rho t A)", "continuity; a lower bound on the peak at first entry"),
                velocity,
                "m/s",
            )
            .note_if(plausible::VELOCITY.check(velocity).err())
        }
        MeltShop::GateArea { flow, velocity } => {
            flow.meant()?;
            plausible::VELOCITY.check(*velocity)?;
            let area = fill::gate_area(flow.mass, flow.density, flow.time, *velocity)?;
            unit(Answer::new("A = m / (rho t v)", "continuity"), area, "mm2")
                .note_if(plausible::GATES.check(area).err())
        }
        MeltShop::CriticalVelocity { surface_tension, density } => unit(
            Answer::new("V = 2 (gamma g / rho)^(1/4)", "inertia against the curvature of a sessile drop"),
            fill::critical_velocity(
                meant(plausible::SURFACE_TENSION, *surface_tension)?,
                meant(plausible::DENSITY, *density)?,
            )?,
            "m/s",
        ),
        MeltShop::Choke { flow, coefficient, head } => {
            flow.meant()?;
            plausible::COEFFICIENT.check(*coefficient)?;
            let heights = numbers(head, "--head")?;
            heights.iter().try_for_each(|h| plausible::HEAD.check(*h))?;
            let head = match heights.as_slice() {
                [h] => *h,
                [h, p, c] => fill::effective_head(*h, *p, *c)?,
                _ => return Err(format!("--head {head}: one head in m, or H,P,C")),
            };
            unit(
                Answer::new(
                    "A = m / (rho t Cd sqrt(2 g H)), H_eff = H - P^2/(2C)",
                    "foundry handbooks, from memory",
                ),
                fill::choke_area(flow.mass, flow.density, flow.time, *coefficient, head)?,
                "mm2",
            )
        }
        MeltShop::Superheat { metal, liquidus } => {
            plausible::all(&[(plausible::METAL, *metal), (plausible::LIQUIDUS, *liquidus)])?;
            let above = fill::superheat(*metal, *liquidus)?;
            unit(
                Answer::new("metal - liquidus", "definition")
                    .note(format!("with the liquidus {liquidus} °C that was given; sources differ")),
                above,
                "K",
            )
            .note_where(
                above < 0.0,
                "the metal is below its liquidus and freezing: are the two figures the right way round, is the \
                 reading right?",
            )
            .note_where(above > 400.0, "far above any pouring practice: is one of the two in kelvin or °F?")
        }
        MeltShop::Leak { rate, volume, temperature, time, melt } => {
            plausible::all(&[
                (plausible::LEAK_RATE, *rate),
                (plausible::CHAMBER, *volume),
                (plausible::GAS, *temperature),
                (plausible::MELT_TIME, *time),
                (plausible::MELT, melt.unwrap_or(1.0)),
            ])?;
            let air = charge::leak_air_g(*rate, *volume, *temperature, *time)?;
            let answer =
                Answer::new("p V M / (R T)", "ideal gas; dry air 28.965 g/mol, 75.5 % nitrogen by mass");
            match melt {
                None => unit(answer, air, "g air"),
                Some(kg) => unit(answer, charge::leak_nitrogen_ppm(air, *kg)?, "ppm N")
                    .note("the most there could be: the real pick-up is far less"),
            }
        }
        MeltShop::Modulus { sides } => match numbers(sides, "--box")?.as_slice() {
            [a, b, c] => unit(
                Answer::new("volume / surface", "Chvorinov's definition"),
                freeze::box_modulus(
                    meant(plausible::SIDE, *a)?,
                    meant(plausible::SIDE, *b)?,
                    meant(plausible::SIDE, *c)?,
                )?,
                "mm",
            ),
            _ => return Err(format!("--box {sides}: three sides in mm, A,B,C")),
        },
        MeltShop::Freeze {
            density,
            thickness,
            latent,
            heat_capacity,
            superheat,
            transfer,
            melting,
            mould,
        } => {
            plausible::all(&[
                (plausible::DENSITY, *density),
                (plausible::THICKNESS, *thickness),
                (plausible::LATENT, *latent),
                (plausible::HEAT_CAPACITY, *heat_capacity),
                (plausible::SUPERHEAT, *superheat),
                (plausible::TRANSFER, *transfer),
                (plausible::MELTING, *melting),
                (plausible::MOULD, *mould),
            ])?;
            let wall = Wall {
                density: *density,
                thickness: *thickness,
                latent: *latent,
                heat_capacity: *heat_capacity,
                superheat: *superheat,
                transfer: *transfer,
                melting: *melting,
                mould: *mould,
            };
            unit(
                Answer::new(
                    "t = rho d (L + c dT) / (2 h (Tm - T0))",
                    "heat balance, interface in control; properties as given",
                ),
                freeze_time(&wall)?,
                "s",
            )
        }
    })
}

fn unit(answer: Answer, value: f64, unit: &str) -> Answer {
    answer.figure("value", value).put("unit", unit.into())
}

fn index(
    answer: Answer,
    value: f64,
    convention: String,
    c: &Composition,
    needs: &[&'static str],
    of: impl Fn(&Composition) -> Result<f64, String>,
) -> Answer {
    let lacking = c.lacking(needs);
    let mut answer = answer
        .figure("value", value)
        .put("convention", convention.into())
        .put("not_analysed", lacking.clone().into());
    let listed = |names: &[&str]| (!names.is_empty()).then(|| names.join(" "));
    if !c.below().is_empty() {
        let below: Vec<String> = c.below().iter().map(|(s, x)| format!("{s} <{x}")).collect();
        answer =
            answer.interval("at_detection_limits", indices::at_detection_limits(c, value, of)).note(format!(
                "value with 0, at_detection_limits with 0 up to the limit for what is below detection: {}",
                below.join(", ")
            ));
    }
    answer = answer.note_if(listed(&lacking).map(|s| format!("counted as 0 though not given: {s}")));
    let nickel = c.wt("Ni");
    let by = if c.nickel_by_difference() { ", taken as what is left of 100" } else { "" };
    if nickel < LEAST_NICKEL {
        return answer.note(format!(
            "nickel is {nickel:.3} wt%{by}: less than a nickel alloy holds; is a content too high?"
        ));
    }
    if c.nickel_by_difference() { answer.note("nickel taken as what is left of 100") } else { answer }
}

/// What a nickel casting alloy holds of nickel at least, in wt%. Common practice, no source.
const LEAST_NICKEL: f64 = 30.0;

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
            text.split_once('=').ok_or_else(|| format!("{text} is not EL=WT%, such as Cr=12.5"))?;
        let (symbol, mut figure, mut factor) = (symbol.trim(), figure.trim(), 1.0);
        if let Some(ppm) = figure.strip_suffix("ppm") {
            (figure, factor) = (ppm.trim(), Unit::Ppm.factor_to(Unit::WtPct));
        }
        let (list, figure) = match figure.strip_prefix('<') {
            Some(limit) => (&mut below, limit.trim()),
            None => (&mut parts, figure),
        };
        let wt = finite(figure).ok_or_else(|| format!("{text}: {figure:?} is not a number"))?;
        list.push((symbol, wt * factor));
    }
    for (symbol, wt) in &parts {
        if let Some(why) = canonical(symbol).and_then(|s| plausible::too_much(s, *wt)) {
            return Err(why);
        }
    }
    if let Some((symbol, limit)) = below.iter().find(|(_, x)| *x > plausible::LARGEST_DETECTION_LIMIT) {
        return Err(format!(
            "{symbol}=<{limit}: no detection limit is as high, so the content is not known, and it is not 0; give \
             what was measured, such as {symbol}={limit}"
        ));
    }
    let c = Composition::new(&parts, &below)?;
    c.complete()?;
    Ok(c)
}

/// A finite number; "nan" and "inf" are none.
fn finite(text: &str) -> Option<f64> {
    text.parse().ok().filter(|v: &f64| v.is_finite())
}

fn mass_value(text: &str) -> Result<(f64, f64), String> {
    let fault = || format!("{text} is not MASS:VALUE, such as 8:6.05");
    let (m, v) = text.split_once(':').ok_or_else(fault)?;
    Ok((finite(m.trim()).ok_or_else(fault)?, finite(v.trim()).ok_or_else(fault)?))
}

fn numbers(text: &str, option: &str) -> Result<Vec<f64>, String> {
    text.split(',')
        .map(|t| finite(t.trim()).ok_or_else(|| format!("{option} {text}: {t} is not a number")))
        .collect()
}
