//! Traces, what came out of a record, siblings.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::Serialize;
use serde::ser::SerializeStruct;

use crate::show::{CAUTION, columns, percent};
use records::catalogue::{Charges, Pours};
use records::value::place::Place;
use records::value::tag::shown;
use records::value::words::counted;

/// A record in a trace.
#[derive(Serialize, Debug, Clone)]
pub struct Node {
    pub tag: String,
    pub kind: &'static str,
    /// Steps from the asked record.
    pub depth: usize,
    /// Part of the metal, through all generations; null for what isn't metal.
    pub share: Option<f64>,
    /// Open holds on it.
    pub holds: usize,
    /// A reading on it is suspect.
    pub suspect: bool,
}

/// A step of a trace.
#[derive(Serialize, Debug, Clone)]
pub struct Edge {
    pub child: String,
    pub parent: String,
    pub via: String,
    /// Mass, for metal.
    pub mass_kg: Option<f64>,
    /// Part of the child's metal.
    pub share: Option<f64>,
}

/// What went into a record.
#[derive(Serialize, Debug, Clone)]
pub struct Trace {
    /// The asked tag.
    pub tag: String,
    pub kind: &'static str,
    /// The records, the asked one first.
    pub nodes: Vec<Node>,
    pub edges: Vec<Edge>,
    /// For a blade: where it is.
    #[serde(rename = "where", skip_serializing_if = "Option::is_none")]
    pub place: Option<&'static str>,
}

impl Trace {
    /// The parentage as a tree; what was shown once is not opened again.
    pub fn text(&self) -> String {
        let mut children: BTreeMap<&str, Vec<&Edge>> = BTreeMap::new();
        for e in &self.edges {
            children.entry(&e.child).or_default().push(e);
        }
        let mut out = String::new();
        let noun = |kind: &str| records::catalogue::kind(kind).map_or("record", |k| k.noun);
        let root = &self.nodes[0];
        out.push_str(&format!("{} {}{}", noun(root.kind), shown(&root.tag), marks(root)));
        if let Some(place) = self.place {
            out.push_str(&format!("  {place}"));
        }
        out.push('\n');
        let mut open = vec![(root.tag.as_str(), 0_usize)];
        let mut seen = std::collections::HashSet::from([root.tag.as_str()]);
        // Depth first with an explicit stack: (edge list position) per level.
        let mut stack: Vec<(&str, usize)> = Vec::new();
        stack.append(&mut open);
        while let Some((tag, i)) = stack.pop() {
            let Some(edges) = children.get(tag) else { continue };
            let Some(edge) = edges.get(i) else { continue };
            stack.push((tag, i + 1));
            let depth = stack.len();
            let Some(node) = self.nodes.iter().find(|n| n.tag == edge.parent) else { continue };
            let mut line = format!("{}{} {}", "  ".repeat(depth), noun(node.kind), shown(&node.tag));
            if ![noun(node.kind), Charges::source.name, Pours::heat.name].contains(&edge.via.as_str()) {
                line.push_str(&format!(" ({})", edge.via));
            }
            if let Some(kg) = edge.mass_kg {
                line.push_str(&format!(" {kg} kg"));
            }
            let new = seen.insert(&edge.parent);
            // The share is that of all ways together, and may be more than that of the line above: told once.
            if let Some(share) = node.share.filter(|_| new) {
                let ways = self.edges.iter().filter(|e| e.parent == edge.parent).map(|e| &e.child);
                let several = ways.clone().any(|child| child != &edge.child);
                let all = if several { " in all ways" } else { "" };
                line.push_str(&format!(", {} of the metal{all}", percent(share)));
            }
            line.push_str(&marks(node));
            if !new && (children.contains_key(edge.parent.as_str()) || node.share.is_some()) {
                line.push_str(" (above)");
            }
            out.push_str(&line);
            out.push('\n');
            if new {
                stack.push((&edge.parent, 0));
            }
        }
        out
    }
}

fn marks(node: &Node) -> String {
    let mut out = String::new();
    if node.holds > 0 {
        out.push_str("  # HELD");
    }
    if node.suspect {
        out.push_str("  ? suspect reading");
    }
    out
}

/// A blade and where it is.
///
/// Blades of a mould share its texts: a containment lists fifty thousand.
#[derive(Debug, Clone)]
pub struct Blade {
    pub tag: String,
    pub mould: Option<Arc<str>>,
    pub heat: Option<Arc<str>>,
    /// Share of the asked metal in it.
    pub share: Option<f64>,
    pub place: &'static str,
    /// Fenced by an open hold.
    pub held: bool,
    /// A suspect reading stands behind it.
    pub suspect: bool,
    pub shipped_at: Option<Arc<str>>,
    /// With which certificate.
    pub certificate: Option<Arc<str>>,
}

impl Serialize for Blade {
    fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let mut blade = to.serialize_struct("Blade", 10)?;
        blade.serialize_field("blade", &self.tag)?;
        // The same, under the name that lists of records use.
        blade.serialize_field("tag", &self.tag)?;
        blade.serialize_field("mould", &self.mould.as_deref())?;
        blade.serialize_field("heat", &self.heat.as_deref())?;
        blade.serialize_field("share", &self.share)?;
        blade.serialize_field("where", self.place)?;
        blade.serialize_field("held", &self.held)?;
        blade.serialize_field("suspect", &self.suspect)?;
        blade.serialize_field("shipped_at", &self.shipped_at.as_deref())?;
        blade.serialize_field("certificate", &self.certificate.as_deref())?;
        blade.end()
    }
}

/// How much of a material is left.
#[derive(Serialize, Debug, Clone)]
pub struct Stock {
    /// Received or made.
    pub received: Option<f64>,
    pub used: f64,
    /// Left, rejected ones taken off.
    pub left: Option<f64>,
    /// kg or pieces.
    pub unit: &'static str,
}

/// What came out of a record.
#[derive(Serialize, Debug, Clone)]
pub struct Contain {
    /// The asked tag.
    pub tag: String,
    pub kind: &'static str,
    pub blades: Vec<Blade>,
    /// Blades by state; they add up to the length of the list.
    pub totals: BTreeMap<&'static str, usize>,
    pub stock: Option<Stock>,
    /// Blades whose mould has not been poured: listed, not counted as made.
    pub not_poured: usize,
    /// For metal: how many blades have how much of it.
    pub bands: Vec<Band>,
    /// Where only blades with a share of so much or more were asked for: that, and how many have less.
    pub at_least: Option<AtLeast>,
}

/// Blades whose share of the asked metal lies in a band.
#[derive(Serialize, Debug, Clone, PartialEq)]
pub struct Band {
    /// From this share on.
    pub from: f64,
    /// To below this one; the last band has all.
    pub to: f64,
    pub blades: usize,
    /// Of these, such as are shipped.
    pub shipped: usize,
}

impl Band {
    /// `10 % to below 25 %`.
    pub fn words(&self) -> String {
        match (self.from, self.to) {
            (0.0, to) => format!("below {}", percent(to)),
            (from, 1.0) => format!("{} and more", percent(from)),
            (from, to) => format!("{} to below {}", percent(from), percent(to)),
        }
    }
}

/// A share below which blades are counted and not listed.
#[derive(Serialize, Debug, Clone, PartialEq)]
pub struct AtLeast {
    pub share: f64,
    /// Blades with less, but some.
    pub below: usize,
    /// Blades whose share is not known: they are listed.
    pub not_known: usize,
}

/// Where bands begin: decades, and the half.
const BANDS: [f64; 7] = [0.0, 0.001, 0.01, 0.1, 0.25, 0.5, 1.0];

impl Contain {
    /// How many blades have how much; nothing where no share is asked for.
    pub fn bands(blades: &[Blade]) -> Vec<Band> {
        let mut out: Vec<Band> =
            BANDS.windows(2).map(|w| Band { from: w[0], to: w[1], blades: 0, shipped: 0 }).collect();
        for blade in blades {
            let Some(share) = blade.share else { continue };
            if let Some(band) = out.iter_mut().rev().find(|b| share >= b.from) {
                band.blades += 1;
                band.shipped += usize::from(blade.place == Place::Shipped.word());
            }
        }
        out.retain(|b| b.blades > 0);
        out.reverse();
        out
    }

    /// Lists only blades with so much of it or more; the rest are counted, and so are those whose share is not known, which
    /// stay in the list: what cannot be told is not left out.
    ///
    /// # Errors
    /// No blade has a share: what was asked about is no metal.
    pub fn at_least(mut self, share: f64) -> records::Result<Self> {
        if self.blades.iter().all(|b| b.share.is_none()) && !self.blades.is_empty() {
            let text = format!("{} is no metal: its blades have no share of it", shown(&self.tag));
            return Err(records::Error::input(text));
        }
        let not_known = self.blades.iter().filter(|b| b.share.is_none()).count();
        let before = self.blades.len();
        self.blades.retain(|b| b.share.is_none_or(|s| s >= share));
        let below = before - self.blades.len();
        self.totals = Self::count(&self.blades);
        self.at_least = Some(AtLeast { share, below, not_known });
        Ok(self)
    }

    pub fn count(blades: &[Blade]) -> BTreeMap<&'static str, usize> {
        let mut totals: BTreeMap<&'static str, usize> = Place::ALL.iter().map(|p| (p.word(), 0)).collect();
        for run in blades.chunk_by(|a, b| a.place == b.place) {
            *totals.entry(run[0].place).or_default() += run.len();
        }
        totals
    }

    pub fn text(&self) -> String {
        let mut rows = vec![
            ["blade", "mould", "heat", "share", "where", "", "shipped", "certificate"]
                .map(String::from)
                .to_vec(),
        ];
        for b in &self.blades {
            let mut marks = String::new();
            if b.held {
                marks.push_str("# held ");
            }
            if b.suspect {
                marks.push_str("? suspect");
            }
            rows.push(vec![
                shown(&b.tag).into_owned(),
                b.mould.as_deref().map_or("-".into(), |m| shown(m).into_owned()),
                b.heat.as_deref().map_or("-".into(), |h| shown(h).into_owned()),
                b.share.map(percent).unwrap_or_default(),
                b.place.to_string(),
                marks.trim().to_string(),
                b.shipped_at.as_deref().unwrap_or_default().to_string(),
                b.certificate.as_deref().map_or(String::new(), |c| shown(c).into_owned()),
            ]);
        }
        let mut out = columns(&rows);
        out.push_str(&format!("\n{}", counted(self.blades.len(), "blade")));
        let parts: Vec<String> = Place::ALL
            .iter()
            .map(|p| format!("{} {}", self.totals.get(p.word()).unwrap_or(&0), p.word()))
            .collect();
        out.push_str(&format!(" = {}\n", parts.join(" + ")));
        if self.not_poured > 0 {
            out.push_str(&format!("{} of them are in moulds not yet poured\n", self.not_poured));
        }
        if let Some(least) = &self.at_least {
            let below = counted(least.below, "blade");
            out.push_str(&format!("listed: {} or more; {below} with less are not", percent(least.share)));
            if least.not_known > 0 {
                let unknown = counted(least.not_known, "blade");
                out.push_str(&format!("; {unknown} whose share is not known are"));
            }
            out.push('\n');
        }
        if self.bands.len() > 1 {
            let head = ["share of the metal", "blades", "shipped"].map(String::from).to_vec();
            let row = |b: &Band| vec![b.words(), b.blades.to_string(), b.shipped.to_string()];
            let rows: Vec<Vec<String>> = std::iter::once(head).chain(self.bands.iter().map(row)).collect();
            out.push_str(&format!(
                "\nHow much of it, in all {}:\n",
                counted(self.bands.iter().map(|b| b.blades).sum(), "blade")
            ));
            out.push_str(&columns(&rows));
        }
        if let Some(s) = &self.stock {
            let n = |x: Option<f64>| x.map_or("not recorded".into(), |x| format!("{} {}", round3(x), s.unit));
            out.push_str(&format!(
                "stock: received {}, used {}, left {}\n",
                n(s.received),
                n(Some(s.used)),
                n(s.left)
            ));
        }
        out.push_str(CAUTION);
        out.push('\n');
        out
    }
}

fn round3(x: f64) -> f64 {
    (x * 1000.0).round() / 1000.0
}

/// A finding in a list.
#[derive(Serialize, Debug, Clone)]
pub struct Finding {
    pub defect: String,
    pub zone: Option<String>,
    /// Method that found it.
    pub method: String,
    pub size_mm: Option<f64>,
}

/// A blade that shares a parent.
#[derive(Serialize, Debug, Clone)]
pub struct Sibling {
    pub blade: String,
    pub position: Option<i64>,
    pub findings: Vec<Finding>,
    #[serde(rename = "where")]
    pub place: &'static str,
    /// It has been inspected for the defect.
    pub inspected: bool,
}

/// How many of how many.
#[derive(Serialize, Debug, Clone, Copy, Default)]
pub struct Rate {
    pub with: u64,
    pub inspected: u64,
    pub made: u64,
    /// Moulds behind the inspected ones.
    pub moulds: u64,
    /// Heats behind them.
    pub heats: u64,
}

impl Sibling {
    /// What was found on it, equal findings together: `microporosity RT (radiograph) ×4`.
    pub fn found(&self) -> Vec<String> {
        let mut out: Vec<(String, usize)> = Vec::new();
        for f in &self.findings {
            let said = format!("{} {} ({})", f.defect, f.zone.as_deref().unwrap_or("no zone"), f.method);
            match out.iter_mut().find(|(text, _)| *text == said) {
                Some((_, n)) => *n += 1,
                None => out.push((said, 1)),
            }
        }
        out.into_iter().map(|(text, n)| if n > 1 { format!("{text} ×{n}") } else { text }).collect()
    }
}

impl Rate {
    /// With ÷ inspected; none where nothing was inspected.
    pub fn value(&self) -> Option<f64> {
        (self.inspected > 0).then(|| self.with as f64 / self.inspected as f64)
    }

    fn text(&self, name: &str) -> Vec<String> {
        vec![
            name.into(),
            self.value().map_or("none inspected".into(), percent),
            format!("{} of {} inspected", self.with, self.inspected),
            format!("of {} made", self.made),
            format!("{} moulds, {} heats", self.moulds, self.heats),
        ]
    }
}

/// The blades that share a parent with one blade.
#[derive(Serialize, Debug, Clone)]
pub struct Siblings {
    /// The parent.
    pub of: String,
    pub blade: String,
    /// The defect; null: any reject.
    pub defect: Option<String>,
    /// The method by which "inspected" is decided.
    pub method: Option<String>,
    /// Other methods that found the defect, with their counts.
    pub other_methods: Vec<(String, u64)>,
    pub siblings: Vec<Sibling>,
    /// Rate among all blades below the parent, the asked one too.
    pub rate_in: Option<f64>,
    /// Rate among all other blades.
    pub rate_out: Option<f64>,
    /// Rate among the other blades of the same heats.
    pub rate_same_heats: Option<f64>,
    /// Blades below the parent not yet inspected for it.
    pub not_inspected: u64,
    pub counts_in: Rate,
    pub counts_out: Rate,
    pub counts_same_heats: Rate,
    /// Blades behind `with` below the parent, in the same heats, among all others: the first of them.
    #[serde(skip)]
    pub with: [Vec<String>; 3],
}

impl Siblings {
    pub fn text(&self) -> String {
        let what = self.defect.as_deref().unwrap_or("any reject");
        let mut rows =
            vec![["blade", "position", "where", "inspected", "findings"].map(String::from).to_vec()];
        for s in &self.siblings {
            rows.push(vec![
                shown(&s.blade).into_owned(),
                s.position.map_or("-".into(), |p| p.to_string()),
                s.place.into(),
                (if s.inspected { "yes" } else { "not yet" }).into(),
                shown(&s.found().join("; ")).into_owned(),
            ]);
        }
        let mut out = format!(
            "{} shares {} with {}\n",
            shown(&self.blade),
            shown(&self.of),
            counted(self.siblings.len(), "blade")
        );
        out.push_str(&columns(&rows));
        out.push_str(&format!("\nrate of {}", shown(what)));
        if let Some(m) = &self.method {
            out.push_str(&format!(" by {m}, first round"));
        }
        out.push('\n');
        out.push_str(&columns(&[
            self.counts_in.text(&format!("below {}", shown(&self.of))),
            self.counts_same_heats.text("same heats, without it"),
            self.counts_out.text("all others"),
        ]));
        for (method, n) in &self.other_methods {
            out.push_str(&format!("{method} also found it, on {n} blades\n"));
        }
        out.push_str(&format!(
            "{} blades below {} are not yet inspected for it. Association, not cause; blades of one mould are not independent evidence.\n",
            self.not_inspected,
            shown(&self.of)
        ));
        out
    }
}
