//! What a lot acceptance summary holds.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::jobs::lots::grouped::Reason;
use records::Stamp;
use records::catalogue::Paper;

/// A reason why a lot may not go.
#[derive(Serialize, Debug, Clone, PartialEq)]
pub struct Block {
    /// The blade; null where the reason lies in a record that several blades share.
    pub blade: Option<String>,
    pub station: String,
    pub reason: String,
    /// The heat, mould or other record it lies in.
    pub record: Option<String>,
    /// Blades of the lot that it touches, where `blade` is null; none: the lot as a whole.
    pub blades: Vec<String>,
    /// A word for the kind of reason.
    pub code: &'static str,
    /// Since when, where a record says it.
    pub since: Option<String>,
    /// The record, the reading or the person where what would lift it is found; null: the record it lies in, or the blade.
    pub leads_to: Option<String>,
}

impl Block {
    /// A reason that lies in one blade.
    pub(crate) fn of_blade(tag: &str, station: &str, code: &'static str, reason: String) -> Self {
        Self {
            blade: Some(tag.into()),
            station: station.into(),
            reason,
            record: None,
            blades: Vec::new(),
            code,
            since: None,
            leads_to: None,
        }
    }

    /// A reason that lies in a record which blades share.
    pub(crate) fn shared(
        record: &str,
        station: &str,
        code: &'static str,
        reason: String,
        blades: Vec<String>,
    ) -> Self {
        Self {
            blade: None,
            station: station.into(),
            reason,
            record: Some(record.into()),
            blades,
            code,
            since: None,
            leads_to: None,
        }
    }

    /// With where what would lift it is found, and since when that stands.
    pub(crate) fn found_at(self, leads_to: &str, since: Option<Stamp>) -> Self {
        Self { leads_to: Some(leads_to.into()), since: since.map(|s| s.to_string()), ..self }
    }
}

/// In JSON each blade has its own line, so that a script need not know what several share.
fn blade_by_blade<S: serde::Serializer>(blocked: &[Block], to: S) -> Result<S::Ok, S::Error> {
    let one = |b: &Block| -> Vec<Block> {
        if b.blade.is_some() || b.blades.is_empty() {
            return vec![b.clone()];
        }
        let each = |blade: &String| Block { blade: Some(blade.clone()), blades: Vec::new(), ..b.clone() };
        b.blades.iter().map(each).collect()
    };
    to.collect_seq(blocked.iter().flat_map(one))
}

/// Where the blades of the lot are.
#[derive(Serialize, Debug, Clone, Default, PartialEq)]
pub struct Counts {
    pub ordered: Option<i64>,
    /// The sum of the last seven.
    pub made: i64,
    /// With a product inspection.
    pub inspected: i64,
    /// Accepted and here.
    pub accepted: i64,
    /// Accepted under a concession, here.
    pub concession: i64,
    /// Sent and not returned.
    pub shipped: i64,
    /// Came back; in a lot that was released for ever, else until quality decides.
    pub returned: i64,
    /// Fenced.
    pub held: i64,
    pub scrapped: i64,
    /// Without a last disposition.
    pub in_process: i64,
}

impl Counts {
    /// With their names, in order.
    pub fn named(&self) -> [(&'static str, Option<i64>); 10] {
        [
            ("ordered", self.ordered),
            ("made", Some(self.made)),
            ("inspected", Some(self.inspected)),
            ("accepted", Some(self.accepted)),
            ("concession", Some(self.concession)),
            ("shipped", Some(self.shipped)),
            ("returned", Some(self.returned)),
            ("held", Some(self.held)),
            ("scrapped", Some(self.scrapped)),
            ("in process", Some(self.in_process)),
        ]
    }
}

/// A row of chemistry.
#[derive(Serialize, Debug, Clone)]
pub struct Chemistry {
    /// Ingot lot or heat.
    pub subject: String,
    /// The analysis; null: none.
    pub analysis: Option<String>,
    /// `maker` or `check`.
    pub purpose: &'static str,
    /// The specification.
    pub alloy: String,
    /// Element, value, limits, unit, within (null: cannot be told).
    pub elements: Vec<(String, String, String, String, Option<bool>)>,
    /// Of each element outside its limits the concession and item that lift it, or that none does.
    pub lifted: BTreeMap<String, String>,
}

/// What one person read by one technique, and how that person stood.
#[derive(Serialize, Debug, Clone)]
pub struct Reading {
    pub method: &'static str,
    pub technique: String,
    pub class: String,
    pub person: String,
    /// In force on the days of the readings, in words; else why there was none.
    pub qualification: String,
    pub blades: usize,
    /// The first and the last day.
    pub from: String,
    pub until: String,
}

/// A limit of the shop for what is read from test bars.
#[derive(Serialize, Debug, Clone)]
pub struct BarLimit {
    /// The column of the test bars.
    pub property: &'static str,
    /// The definition that it holds for; blank: for all.
    pub scope: String,
    pub min: Option<f64>,
    pub max: Option<f64>,
    pub source: String,
}

/// Whose paper it is: the shop's own organisation.
#[derive(Serialize, Debug, Clone, Default)]
pub struct Letterhead {
    pub organisation: String,
    pub name: String,
    pub address: Vec<String>,
    pub contact: Vec<String>,
    pub approvals: Vec<String>,
    /// The picture, to stand in a page.
    #[serde(skip)]
    pub logo: Option<String>,
}

/// What the paper bears beside its figures.
#[derive(Serialize, Debug, Clone, Default)]
pub struct Papers {
    /// Its number: the shop's, else the lot's tag.
    pub document: String,
    /// Which release of the lot it is; none: a draft.
    pub issue: Option<usize>,
    pub letterhead: Option<Letterhead>,
    /// Name and address, where the purchaser is an organisation on record.
    pub purchaser: Vec<String>,
    pub order_line: String,
    /// What the part is.
    pub description: String,
    /// What the type of inspection document means, EN 10204.
    pub certificate: String,
    /// Conformity in the shop's words, or those that the purchaser asks for; of a release only.
    pub statement: Option<String>,
    /// The paper that it is printed on.
    #[serde(skip)]
    pub paper: Option<Paper>,
    /// Why something that is on record does not stand on it.
    pub remarks: Vec<String>,
}

/// A method of inspection.
#[derive(Serialize, Debug, Clone)]
pub struct MethodDone {
    pub method: &'static str,
    /// What the plan says: `100 %`, the sampling plan, `not in the plan`.
    pub plan: String,
    /// Technique sheets that were named.
    pub techniques: Vec<String>,
    /// Classes that were named.
    pub classes: Vec<String>,
    /// Blades first presented to it.
    pub presented: i64,
    /// Of these accepted at first presentation.
    pub accepted_first: i64,
    /// Blades whose results that stand are all accepts.
    pub accepted_standing: i64,
    /// `all` or `sampled`, of the blades that were not scrapped.
    pub coverage: String,
}

/// Actuals of one characteristic.
#[derive(Serialize, Debug, Clone)]
pub struct Actual {
    pub characteristic: String,
    pub unit: String,
    pub n: usize,
    /// Least, mean and greatest.
    pub least: f64,
    pub mean: f64,
    pub greatest: f64,
    /// Limits, where all values have the same.
    pub limits: (Option<f64>, Option<f64>),
    /// Values outside their limits, of blades that were not scrapped.
    pub outside: usize,
    /// The values, for the picture.
    #[serde(skip)]
    pub values: Vec<f64>,
}

/// A deviation or concession that blades of the lot stand under.
#[derive(Serialize, Debug, Clone)]
pub struct Permission {
    pub concession: String,
    /// deviation or concession.
    #[serde(rename = "type")]
    pub kind: &'static str,
    /// What it says, for people: it lifts nothing.
    pub limits: String,
    pub quantity: Option<i64>,
    /// Blades under it, in all lots.
    pub used: i64,
    pub left: Option<i64>,
    pub granted: String,
    pub expires_on: String,
    /// Of a deviation: moulds that were poured before it was on record; for their blades it is a concession.
    pub after_the_pour: Vec<String>,
    /// Its items, and what each lifts in this lot.
    pub items: Vec<Covered>,
    /// Blades of this lot under it.
    pub blades: Vec<String>,
}

/// An item of a concession.
#[derive(Serialize, Debug, Clone)]
pub struct Covered {
    pub item: i64,
    pub covers: String,
    /// What it lifts in this lot, with how many blades.
    pub lifts: Vec<String>,
}

/// A signature as printed.
#[derive(Serialize, Debug, Clone)]
pub struct Signature {
    pub role: String,
    pub person: String,
    pub meaning: String,
    pub at: String,
    /// `PIN given`, `name as claimed`, `recorded, not signed here`.
    pub proof: String,
}

/// The release that this summary was bound to.
#[derive(Serialize, Debug, Clone)]
pub struct Released {
    pub person: String,
    pub at: String,
    /// `PIN given` or `name as claimed`.
    pub proof: String,
    /// The rules that it was signed under.
    pub rules: i64,
    /// They are not today's: it is judged by them.
    pub earlier_rules: bool,
    /// SHA-256 of what was signed.
    pub content: String,
    /// Journal head when it was signed.
    pub journal_head: String,
    /// Something behind it has changed.
    pub void: bool,
    /// What has changed since.
    pub changed: Vec<String>,
}

/// Where the lot stands in the series of its part and purchaser, by one method's AQL.
#[derive(Serialize, Debug, Clone)]
pub struct SeriesStanding {
    pub method: &'static str,
    /// What the inspection plan says.
    pub plan: String,
    /// `normal`, `tightened` or `reduced`.
    pub severity: &'static str,
    /// Sampling has ended: every blade is inspected.
    pub ended: bool,
    pub why: String,
    /// The lots of the series in the order in which they were opened, this one too.
    pub lots: Vec<SeriesEntry>,
}

/// A lot of a series.
#[derive(Serialize, Debug, Clone)]
pub struct SeriesEntry {
    pub lot: String,
    pub severity: &'static str,
    /// Blades of its sample; none where the tables have no plan.
    pub n: Option<u64>,
    pub nonconforming: u64,
    /// `accepted`, `between`, `not accepted`; none while it is open.
    pub outcome: Option<&'static str>,
}

/// A table of plain cells; the first row is the head.
#[derive(Serialize, Debug, Clone, Default)]
pub struct TextTable {
    pub title: String,
    /// What to know about it.
    pub note: String,
    pub rows: Vec<Vec<String>>,
}

impl TextTable {
    pub fn new<const N: usize>(
        title: &str,
        note: &str,
        head: [&str; N],
        rows: impl Iterator<Item = [String; N]>,
    ) -> Self {
        let rows = std::iter::once(head.map(String::from)).chain(rows).map(Vec::from).collect();
        Self { title: title.into(), note: note.into(), rows }
    }
}

#[derive(Serialize, Debug, Clone)]
pub struct LotSummary {
    pub lot: String,
    /// `final`, `draft` or `void`.
    pub state: &'static str,
    #[serde(serialize_with = "blade_by_blade")]
    pub blocked: Vec<Block>,
    /// The same as a table: those of one station and wording together.
    pub reasons: Vec<Reason>,
    pub counts: Counts,
    /// Newest hash of the journal.
    pub journal_head: String,
    pub journal_entries: i64,
    /// SHA-256 of every record behind it.
    pub content: String,
    pub made_at: String,
    /// The release, where it was signed here.
    pub signed: Option<Released>,
    /// Purchaser, order, part and so on: name, value.
    pub heading: Vec<(&'static str, String)>,
    /// What a customer's paper bears beside that.
    pub papers: Papers,
    /// How the counts add up, in sentences.
    pub reconciliation: Vec<String>,
    /// Blade, mould, heat, where.
    pub serials: Vec<(String, String, String, &'static str)>,
    /// Certificates of ingots, and heats.
    pub chemistry: Vec<Chemistry>,
    pub methods: Vec<MethodDone>,
    pub readings: Vec<Reading>,
    pub bar_limits: Vec<BarLimit>,
    /// Findings by zone: zone, name, of all blades, of blades not scrapped.
    pub zones: Vec<(String, String, i64, i64)>,
    pub actuals: Vec<Actual>,
    pub permissions: Vec<Permission>,
    /// By each method whose sample an AQL decides.
    pub sampling: Vec<SeriesStanding>,
    /// Test bars, treatments, revisions, files, checks of instruments.
    pub sheets: Vec<TextTable>,
    /// What is open without blocking, shipments last.
    pub open_actions: Vec<String>,
    /// How many of them are of shipments.
    #[serde(skip)]
    pub open_shipments: usize,
    pub signatures: Vec<Signature>,
    /// Records on blades that came back, later than their return: they do not touch the release.
    pub after_shipment: Vec<String>,
    /// What would block a lot by today's rules that was released under earlier ones.
    #[serde(serialize_with = "blade_by_blade")]
    pub by_todays_rules: Vec<Block>,
    /// What must be borne in mind.
    pub cautions: Vec<String>,
    /// The clock of the store is given from outside.
    pub clock_given: bool,
}
