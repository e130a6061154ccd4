//! What blocks a lot, reason by reason, and what can be done about one: decide on its blades, hold, trace.

use crate::jobs::desks;
use crate::jobs::lots::ask;
use crate::jobs::lots::dispose::{Disposal, dispose, too_few};
use crate::jobs::lots::grouped;
use crate::jobs::lots::grouped::Reason;
use crate::jobs::records::orders::{hold, together};
use crate::ui::kit::*;
use crate::ui::reason::says_why;
use records::catalogue::{ConcessionItems, Concessions, Decision};
use records::value::words::counted;
use records::{Error, Hint};

pub struct Reasons {
    lot: String,
    all: List<Reason>,
}

fn touches(s: &Reasons) -> bool {
    s.all.chosen().is_some_and(|r| !r.blades.is_empty())
}

fn traceable(s: &Reasons) -> bool {
    s.subject().is_some()
}

type K = Key<Reasons>;

const KEYS: &[K] = &[
    K::on(&[Press::Enter], |s, _| s.all.chosen().map(page).into_iter().collect())
        .named("blades", "The reason in full, and its blades as ranges")
        .when(|s| s.all.chosen().is_some()),
    K::on(&[Press::Char('o')], |s, _| s.lifting().map(Effect::Show).into_iter().collect())
        .named("open", "The record, the reading or the person where what would lift it is found")
        .when(|s| s.lifting().is_some()),
    K::on(&[Press::Char('f')], |s, _| s.subject().map(desks::trace).into_iter().collect())
        .named("trace", "Trace the record that the reason lies in, or its first blade")
        .when(traceable),
    K::on(&[Press::Char('d')], |s, _| s.decide())
        .named("decide", "One decision on every blade that the reason touches: for quality")
        .when(touches),
    K::on(&[Press::Char('n')], |_, _| desks::form(Concessions::KIND, Vec::new()))
        .named("new concession", "The form of a concession or deviation: for quality"),
    K::on(&[Press::Char('i')], |_, _| desks::form(ConcessionItems::KIND, Vec::new())).named(
        "its items",
        "The form of a concession's item: what it covers. Words in its limits lift nothing. For quality",
    ),
    K::on(&[Press::Char('h')], |s, _| s.subject().map(hold).into_iter().collect())
        .named("hold", "Place a hold on the record that the reason lies in, or on its first blade")
        .when(traceable),
    K::on(&[Press::Up], |s, _| s.all.step(-1)).help("The reason above"),
    K::on(&[Press::Down], |s, _| s.all.step(1)).help("The reason below"),
    K::on(&[Press::PageUp], |s, _| s.all.step(-10)).help("Ten above"),
    K::on(&[Press::PageDown], |s, _| s.all.step(10)).help("Ten below"),
    K::on(&[Press::Esc], close).named("back", "Back to the lots"),
];

/// Asks what blocks a lot; the reply has its tag too.
pub fn ask_reasons(lot: String, now: &Context) -> Effect {
    Effect::ask(
        Read::new((now.who.clone(), lot), |store, (who, lot)| {
            Ok(Blocked(lot.clone(), ask::summary(store, who, lot)?.reasons))
        })
        .slow(),
    )
}

/// What blocks a lot: its tag, the reasons.
pub struct Blocked(pub String, pub Vec<Reason>);

const DECISIONS: [&str; 5] = ["accept", "rework", "repair", "scrap", "hold"];

/// A decision as it was typed, and what it is on.
#[derive(Clone, Debug)]
struct Meant {
    blades: Vec<String>,
    what: Disposal,
}

/// The same, and how many are left of its concession where those are too few.
struct Looked(Meant, Option<i64>);

/// The first word is the decision or a concession, the rest the reason.
///
/// # Errors
/// What takes blades out, or lets them go outside their limits, has no reason.
fn meant(blades: &[String], text: &str) -> std::result::Result<Meant, String> {
    let text = text.strip_prefix("concession ").unwrap_or(text).trim_start();
    let (first, rest) = text.split_once(' ').unwrap_or((text, ""));
    let word = first.to_ascii_lowercase();
    let (decision, concession) = match DECISIONS.iter().find(|d| **d == word) {
        Some(d) => ((*d).to_string(), None),
        None => (Decision::Concession.word().to_string(), Some(first.to_string())),
    };
    if !says_why(rest) && decision != Decision::Accept.word() {
        return Err(format!("nothing is decided yet: behind {first} stands why, in words"));
    }
    let reason = (!rest.trim().is_empty()).then(|| rest.trim().to_string());
    Ok(Meant { blades: blades.to_vec(), what: Disposal { decision, concession, reason } })
}

/// Asked once more, for it is on many blades.
fn asked(Looked(meant, left): Looked, now: &Context) -> Effect {
    let Disposal { decision, concession, reason } = &meant.what;
    let concession = concession.clone().unwrap_or_default();
    let n = meant.blades.len();
    let body = vec![
        format!(
            "{} for {}: {}",
            format!("{decision} {concession}").trim(),
            counted(n, "blade"),
            meant.blades.join(" ")
        ),
        format!("reason: {}", reason.as_deref().unwrap_or("none given")),
    ];
    let title = "Write this decision?".to_string();
    if let Some(left) = left {
        let why = format!("{left} are left of {concession}, {n} are chosen");
        return Effect::open(Question::new(title, body, Vec::new()).refused(why));
    }
    let write = Effect::write(now, meant, |store, who, Meant { blades, what }| {
        let asked = |e: Error| match e.hints.contains(&Hint::ReasonIfRight) {
            true => {
                let sentence = format!("{}. If it is right, say why behind the decision", e.sentence);
                e.said(sentence)
            }
            false => e,
        };
        Ok(together(dispose(store, who, blades, what).map_err(asked)?.written))
    });
    Effect::open(Question::new(title, body, vec![write]))
}

impl Reasons {
    pub fn new(lot: String) -> Self {
        Self { lot, all: List::default() }
    }

    /// The record that a reason lies in, or its first blade.
    fn subject(&self) -> Option<String> {
        let reason = self.all.chosen()?;
        reason.record.clone().or_else(|| reason.blades.first().cloned())
    }

    /// Where what would lift the reason is found.
    fn lifting(&self) -> Option<String> {
        self.all.chosen()?.leads_to.clone()
    }

    fn decide(&self) -> Vec<Effect> {
        let blades = self.all.chosen().map(|r| r.blades.clone()).unwrap_or_default();
        let question = format!("Decision on {}, and why", counted(blades.len(), "blade"));
        let hint = "accept, rework, repair, scrap, hold, or a concession's tag; then why";
        let line = Prompt::new("Disposition", question, hint, move |text, _| {
            let meant = meant(&blades, &text)?;
            Ok(vec![Effect::read(meant, |store, meant| {
                let of = meant.what.concession.as_deref();
                let left = of.map(|c| too_few(store, &meant.blades, c)).transpose()?.flatten();
                Ok(Looked(meant.clone(), left))
            })])
        });
        let why = "only a concession is scanned here, first of all, and no code is a reason";
        vec![Effect::open(line.begins_with(&[Concessions::NAME], why))]
    }
}

impl Screen for Reasons {
    fn title(&self) -> String {
        format!("What blocks {}", self.lot)
    }

    fn keys(&self) -> Vec<Shown> {
        keys::shown(KEYS, self)
    }

    fn begin(&mut self, now: &Context) -> Vec<Effect> {
        vec![ask_reasons(self.lot.clone(), now)]
    }

    fn press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        keys::dispatch(KEYS, self, press, now)
    }

    fn reply(&mut self, mut reply: Reply, now: &Context) -> Vec<Effect> {
        if let Some(looked) = reply.take::<Looked>() {
            return vec![asked(looked, now)];
        }
        if let Some(Blocked(_, all)) = reply.take() {
            self.all.fill(all);
        }
        Vec::new()
    }

    fn changed(&mut self, _change: &Change, _mine: bool, now: &Context) -> Vec<Effect> {
        self.begin(now)
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let (width, height) = (usize::from(area.width), usize::from(area.height));
        let mut rows = caution(view, width);
        if !self.all.is_known() {
            rows.push(view.line(Role::Quiet, "reading everything behind it …"));
            return lines(frame, area, rows);
        }
        if self.all.rows().is_empty() {
            rows.push(view.line(Role::Good, format!("✓ nothing on record blocks {}", self.lot)));
            return lines(frame, area, rows);
        }
        // The chosen reason stands in full below the list.
        let detail = self.all.chosen().map_or_else(Vec::new, |r| detail(r, width));
        rows.push(view.line(Role::Quiet, fit(&format!("    {}", grouped::head()), width)));
        let below = (detail.len() + 1).min(height / 2);
        let room = height.saturating_sub(rows.len() + below).max(1);
        rows.extend(self.all.lines(room, |r, mark, here| {
            let row = grouped::row(&fit(&r.station, 15), &r.number(), r.day(), &clocks(&r.reason));
            let text = format!("{mark} ✗ {row}");
            view.line(if here { Role::Strong } else { Role::Text }, fit(&text, width))
        }));
        while rows.len() < height.saturating_sub(below) {
            rows.push(Line::default());
        }
        rows.push(view.line(Role::Quiet, "─".repeat(width)));
        rows.extend(detail.into_iter().map(|l| view.line(Role::Text, l)));
        rows.truncate(height);
        lines(frame, area, rows);
    }
}

fn detail(reason: &Reason, width: usize) -> Vec<String> {
    let mut out = wrap(&format!("{}: {}", reason.station, clocks(&reason.reason)), width);
    out.extend(wrap(&format!("what would lift it: {}", reason.lifted_by()), width));
    if let Some(at) = &reason.leads_to {
        out.push(format!("o opens {at}"));
    }
    if !reason.blades.is_empty() {
        out.extend(wrap(&format!("touches {}", reason.ranges().join("; ")), width));
    }
    out
}

/// The reason in full: its blades as ranges, one to a line.
fn page(reason: &Reason) -> Effect {
    let mut text = format!("{}: {}\n", reason.station, reason.reason);
    let mut say = |name: &str, what: Option<&str>| {
        if let Some(what) = what {
            text.push_str(&format!("  {name}: {what}\n"));
        }
    };
    say("since", reason.since.as_deref());
    say("lies in", reason.record.as_deref());
    say("what would lift it", Some(reason.lifted_by()));
    say("found at", reason.leads_to.as_deref());
    text.push_str(&format!("{}\n", reason.touched()));
    for range in reason.ranges() {
        text.push_str(&format!("  {range}\n"));
    }
    Effect::open(Page::new(format!("{}: {}", reason.station, reason.touched()), &text))
}
