//! What screens ask for, as data, and the thread that does it through `ops`.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc;

use crate::jobs::causes::answers::Kept;
use crate::jobs::furnace::board;
use crate::jobs::furnace::incident::Evidence;
use crate::jobs::furnace::incident::WrongMould;
use crate::jobs::lots::dispose::Disposal;
use crate::jobs::lots::show::Reason;
use crate::jobs::records::ask::Logged;
use crate::jobs::records::drafts::{Draft, Drafts};
use crate::jobs::records::show::Shown;
use crate::jobs::trace::show::Contain;
use crate::jobs::trace::show::Siblings;
use crate::jobs::trace::show::Trace;
use crate::show::working::Working;
use knowledge::causes::Settings;
use knowledge::causes::Watch;
use knowledge::stats::sample_size::Aim;
use records::Stamp;
use records::catalogue::kind::Kind;
use records::check::limit::Limit;
use records::{Proof, Store, Who};

/// The name of the page that tells how large a trial must be.
pub const SIZE: &str = "the size of a trial";

/// What a screen wants done.
#[derive(Debug)]
pub enum Effect {
    /// Ask the worker; the answer comes to the screen that asked.
    Ask(Ask),
    /// Lay a screen over this one.
    Open(Open),
    /// Take this screen away.
    Close,
    /// Say a sentence in the status line.
    Say(crate::ui::theme::Role, String),
    /// This person works here from now on.
    Be(String),
    /// The PIN that was asked for; none where it was not given.
    Prove(Option<String>),
}

/// Screens that can be laid over another.
#[derive(Debug)]
pub enum Open {
    /// The bench.
    Bench,
    /// The cause desk, with a question.
    Causes(crate::jobs::causes::ask::Ask),
    /// The chart desk, with a question and a reading to hold it against.
    Charts(crate::jobs::causes::ask::Ask, Option<String>),
    /// A record.
    Record(String),
    /// The trace desk on a tag.
    Trace(String),
    /// A form for a new record, with what is known already.
    Form(&'static Kind, Vec<(String, String)>),
    /// A form that changes a record.
    Change(String),
    /// A half-filled form.
    Draft(Draft),
    /// Is it dry, is it inspected? Then the form.
    Dry(&'static Kind, Vec<(String, String)>),
    /// A question; these effects follow a yes.
    Question {
        /// What is asked.
        title: String,
        /// What stands below it.
        body: Vec<String>,
        /// What follows a yes.
        yes: Vec<Effect>,
    },
    /// A mishap, with the moulds that it may be about.
    Mishap(crate::jobs::furnace::incident_screen::What, Vec<String>),
    /// The position map of a mould; blank where it is scanned first.
    Tree(String),
    /// How figures came about.
    Working(Vec<Working>),
    /// What the next shift must know.
    Shift(String),
    /// Lots and trials.
    Releases,
    /// What blocks a lot.
    Reasons(String),
    /// The answers that were kept.
    Answers,
    /// One of them: its title, its page.
    Answer(String, String),
    /// A line to type.
    Line(crate::ui::line::Purpose),
}

/// What the worker can do.
#[derive(Debug, Clone)]
pub enum Ask {
    /// The furnace board.
    Board(Stamp),
    /// May this mould be poured?
    Ready(String, Stamp),
    /// How far a mould, blade or heat has come.
    Way(String),
    /// A record with its history.
    Record(String),
    /// What a form of a kind starts with.
    FormStart(&'static Kind),
    /// A record's fields as text.
    Texts(String),
    /// The figures behind a pour: mould, heat.
    Figures(Option<String>, Option<String>),
    /// What a charge comes to: the heat, and an item that is being typed (source, mass in kg).
    Charge(String, Option<(String, f64)>),
    /// What does this code lead to?
    LookUp(String),
    /// Zones of the part that an inspection is about.
    Zones(String),
    /// Coats that are drying.
    Drying(Stamp),
    /// Write a record.
    Log {
        /// Who, and when.
        who: Who,
        /// The kind's name.
        kind: &'static str,
        /// `FIELD=VALUE`.
        arguments: Vec<String>,
        /// Why a value outside a guard is right.
        reason: Option<String>,
    },
    /// Change a record.
    Correct {
        /// Who, and when.
        who: Who,
        /// The record.
        address: String,
        /// Field and new text.
        changes: Vec<(String, String)>,
        /// Why.
        reason: String,
    },
    /// The wrong mould was poured: pour and hold in one step.
    WrongMould(Who, WrongMould),
    /// Two moulds carry this tag: hold it, and the other where it is known.
    DoubleTag(Who, String, Option<String>),
    /// What is on record of two moulds.
    Evidence(String, String),
    /// What a position map starts from.
    TreeOf(String),
    /// Open the blades of a tree: mould, pattern run by position.
    TreeWrite(Who, String, Vec<Option<String>>, Option<String>),
    /// The foundry's limits for a form: kind, field and text.
    Limits(&'static Kind, Vec<(String, String)>),
    /// What the next shift must know.
    Shift(Stamp),
    /// Place a hold: on what, why.
    Hold(Who, String, String),
    /// The lots and trials there are.
    Releases,
    /// The summary of a lot.
    Lot(Who, String),
    /// Sign the summary of a lot, with the person's PIN where one is set.
    SignLot(Who, String, Option<String>),
    /// What blocks a lot.
    Reasons(Who, String),
    /// Keep an answer with a note.
    KeepAnswer(Who, Box<crate::jobs::causes::ask::Answer>, String),
    /// The answers that were kept.
    Answers,
    /// How many moulds a trial needs: aim, blades a mould, correlation in a mould.
    Size(Aim, f64, f64),
    /// Give moulds their arms: the trial, and what was typed.
    Assign(Who, String, String),
    /// One decision on many blades.
    Dispose(Who, Vec<String>, Disposal),
    /// How a trial stands.
    Trial(String),
    /// Lift a hold: on what, why.
    Lift(Who, String, String),
    /// What went into a record.
    Trace(String),
    /// What came out of a record.
    Contain(String),
    /// Siblings of a blade below a parent, and the defect in question.
    Siblings(String, String, Option<String>),
    /// Take back the last entry.
    Undo(Who),
    /// Do this with the person's PIN.
    Proven(Who, String, Box<Ask>),
    /// Keep a draft.
    Keep(Draft),
    /// Drop a draft.
    Drop(u64),
    /// The drafts that are there.
    Drafts,
    /// Rank the causes behind a question; whoever asked can look at the run and stop it.
    Causes(Box<crate::jobs::causes::ask::Ask>, Arc<Watch>),
    /// What a question about causes may ask for.
    CauseChoices,
    /// A picture; whoever asked can look at the run and stop it.
    Draw(Box<crate::jobs::charts::ask::Wanted>, Arc<Watch>),
    /// What can be charted besides a rate.
    Readings,
}

impl Ask {
    /// Who writes, where it writes.
    fn who_mut(&mut self) -> Option<&mut Who> {
        match self {
            Self::Log { who, .. }
            | Self::Correct { who, .. }
            | Self::Hold(who, ..)
            | Self::Lift(who, ..)
            | Self::WrongMould(who, ..)
            | Self::DoubleTag(who, ..)
            | Self::TreeWrite(who, ..)
            | Self::SignLot(who, ..)
            | Self::Dispose(who, ..)
            | Self::KeepAnswer(who, ..)
            | Self::Assign(who, ..)
            | Self::Undo(who) => Some(who),
            _ => None,
        }
    }

    /// It writes a record; it is never stopped.
    #[must_use]
    pub fn writes(&self) -> bool {
        matches!(
            self,
            Self::Log { .. }
                | Self::Correct { .. }
                | Self::Hold(..)
                | Self::Lift(..)
                | Self::WrongMould(..)
                | Self::DoubleTag(..)
                | Self::TreeWrite(..)
                | Self::SignLot(..)
                | Self::Dispose(..)
                | Self::KeepAnswer(..)
                | Self::Assign(..)
                | Self::Undo(_)
                | Self::Proven(..)
        )
    }

    /// It takes long: it goes to a worker of its own.
    #[must_use]
    pub fn is_slow(&self) -> bool {
        matches!(
            self,
            Self::Draw(..)
                | Self::Readings
                | Self::Causes(..)
                | Self::CauseChoices
                | Self::Releases
                | Self::Lot(..)
                | Self::Reasons(..)
                | Self::Trial(_)
        )
    }

    /// It keeps what a person typed; it is never stopped either.
    #[must_use]
    pub fn keeps(&self) -> bool {
        matches!(self, Self::Keep(_) | Self::Drop(_))
    }
}

/// What the worker answers.
#[derive(Debug, Clone)]
pub enum Told {
    /// The furnace board.
    Board(board::Board),
    /// The checks of a mould.
    Ready(crate::jobs::furnace::readiness::Ready),
    /// How far a record has come; none where it is no mould, blade or heat.
    Way(Option<crate::jobs::bench::progress::Way>),
    /// A record.
    Record(Box<Shown>),
    /// What a form starts with.
    FormStart(board::FormStart),
    /// A record's fields: kind, address, field and text.
    Texts(&'static Kind, String, Vec<(String, String)>),
    /// The figures behind a pour.
    Figures(Box<board::PourFigures>),
    /// What a code leads to.
    Found(String, Option<(&'static str, String)>),
    /// Zones: code and name.
    Zones(Vec<(String, String)>),
    /// Coats that are drying.
    Drying(Vec<board::Drying>),
    /// Lots and trials.
    Releases(Vec<crate::jobs::lots::screen::Entry>),
    /// The page of a lot or a trial: its tag, its text.
    Release(String, String),
    /// An answer was kept: its number.
    AnswerKept(i64),
    /// The answers that were kept.
    Answers(Vec<Kept>),
    /// What blocks a lot: its tag, the reasons.
    Reasons(String, Vec<Reason>),
    /// What went into a record.
    Trace(Box<Trace>),
    /// What came out of a record.
    Contain(Arc<Contain>),
    /// Siblings.
    Siblings(Box<Siblings>),
    /// What is on record of two moulds.
    Evidence(Vec<Evidence>),
    /// What a position map starts from.
    Tree(crate::jobs::bench::position_map::Tree),
    /// The foundry's limits for the record of a form.
    Limits(Vec<Limit>),
    /// What the next shift must know.
    Shift(String),
    /// A record is written.
    Logged(Logged),
    /// An entry was taken back.
    Undone(crate::jobs::furnace::board::TakenBack),
    /// The drafts.
    Drafts(Vec<Draft>),
    /// The ranked causes with their evidence.
    Causes(Box<crate::jobs::causes::ask::Board>),
    /// What a question about causes may ask for.
    CauseChoices(crate::jobs::causes::ask::Choices),
    /// A picture.
    Drawn(Box<crate::jobs::charts::ask::Drawn>),
    /// What can be charted besides a rate.
    Readings(Box<crate::jobs::charts::ask::Readings>),
    /// Kept, dropped, or stopped.
    Done,
    /// It did not work.
    Failed {
        /// The sentence.
        sentence: String,
        /// It works with a reason.
        wants_reason: bool,
    },
    /// It needs the person's PIN, and is not done yet.
    WantsPin(String),
    /// The PIN was right; this is what came of what waited for it.
    Proven(Proof, Box<Told>),
    /// The worker came to an end by a fault of the program.
    Died(String),
}

/// A question on its way to the worker.
#[derive(Debug)]
pub struct Order {
    /// The screen that asked.
    pub to: u64,
    /// Its number.
    pub job: u64,
    /// What is asked.
    pub ask: Ask,
    /// Set where the answer is no longer wanted.
    pub stop: Arc<AtomicBool>,
}

/// An answer on its way back.
#[derive(Debug)]
pub struct Report {
    /// The screen that asked.
    pub to: u64,
    /// The order's number.
    pub job: u64,
    /// The answer.
    pub told: Told,
}

/// What the worker works on.
pub struct Desk {
    /// The store.
    pub store: Store,
    /// The drafts; none where the folder cannot be written.
    pub drafts: Option<Drafts>,
    /// Journal entries that were written together last, and are taken back together.
    together: Vec<i64>,
}

impl Desk {
    /// With the drafts beside the store.
    #[must_use]
    pub fn new(store: Store, path: &Path) -> Self {
        let drafts = Drafts::open(path).ok();
        Self { store, drafts, together: Vec::new() }
    }

    /// Does one order.
    pub fn perform(&mut self, ask: &Ask, stop: &AtomicBool) -> Told {
        let go_on = || !stop.load(Ordering::Relaxed);
        if let Ask::Proven(who, pin, ask) = ask {
            return self.proven(who, pin, ask, stop);
        }
        match self.try_perform(ask, &go_on) {
            Ok(told) => told,
            // A signature asks for its PIN each time, before it is ordered.
            Err(e) if e.wants_pin() && !matches!(ask, Ask::SignLot(..)) => Told::WantsPin(said(&e)),
            Err(e) => failed(&e),
        }
    }

    /// Checks the PIN, then does what waited for it.
    fn proven(&mut self, who: &Who, pin: &str, ask: &Ask, stop: &AtomicBool) -> Told {
        let person = who.person.clone().unwrap_or_default();
        let proof = match crate::jobs::records::pins::check(&mut self.store, who, &person, pin) {
            Ok(proof) => proof,
            Err(e) => return failed(&e),
        };
        let mut ask = ask.clone();
        if let Some(who) = ask.who_mut() {
            (who.proof, who.asks) = (Some(proof.clone()), false);
        }
        let told = match self.perform(&ask, stop) {
            Told::WantsPin(sentence) => Told::Failed { sentence, wants_reason: false },
            told => told,
        };
        Told::Proven(proof, Box::new(told))
    }

    fn try_perform(&mut self, ask: &Ask, go_on: &dyn Fn() -> bool) -> records::Result<Told> {
        let together = if ask.writes() { std::mem::take(&mut self.together) } else { Vec::new() };
        let store = &mut self.store;
        Ok(match ask {
            Ask::Releases => Told::Releases(releases(store)?),
            Ask::Lot(who, tag) => {
                Told::Release(tag.clone(), crate::jobs::lots::ask::summary(store, who, tag)?.text())
            }
            Ask::SignLot(who, tag, pin) => {
                let signed =
                    crate::jobs::lots::ask::finalise(store, who, tag, pin.as_deref(), &mut |_| Ok(()))?;
                Told::Release(tag.clone(), signed.text())
            }
            Ask::Reasons(who, tag) => {
                Told::Reasons(tag.clone(), crate::jobs::lots::ask::summary(store, who, tag)?.reasons())
            }
            Ask::Size(aim, per_mould, icc) => {
                Told::Release(SIZE.into(), crate::jobs::trials::ask::plan(*aim, *per_mould, *icc)?.text())
            }
            Ask::Assign(who, trial, text) => {
                let (mut arms, mut moulds) = (Vec::new(), Vec::new());
                for word in text.split_whitespace() {
                    match word.contains(',') {
                        true => arms.extend(word.split(',').filter(|a| !a.is_empty()).map(String::from)),
                        false => moulds.push(word.to_string()),
                    }
                }
                // A seed that nobody chose: the moment at which it was asked for.
                let fresh = who.now.ms().unsigned_abs();
                let dealt = crate::jobs::trials::ask::assign(store, who, trial, &arms, &moulds, None, fresh)?;
                Told::Release(trial.clone(), dealt.text())
            }
            Ask::KeepAnswer(who, answer, note) => {
                Told::AnswerKept(crate::jobs::causes::answers::keep(store, who, answer, note)?)
            }
            Ask::Answers => Told::Answers(crate::jobs::causes::answers::kept(store)?),
            Ask::Dispose(who, tags, what) => {
                let decided = crate::jobs::lots::dispose::dispose(store, who, tags, what)?;
                self.several(decided.written)
            }
            Ask::Trial(tag) => {
                Told::Release(tag.clone(), crate::jobs::trials::ask::show(store, tag, false)?.text())
            }
            Ask::WrongMould(who, what) => {
                let all = crate::jobs::furnace::incident::wrong_mould(store, who, what)?;
                self.several(all)
            }
            Ask::DoubleTag(who, tag, other) => {
                let all = crate::jobs::furnace::incident::double_tag(store, who, tag, other.as_deref())?;
                self.several(all)
            }
            Ask::TreeWrite(who, mould, runs, why) => {
                let all = crate::jobs::bench::position_map::write(store, who, mould, runs, why.as_deref())?;
                self.several(all)
            }
            Ask::Undo(who) if together.len() > 1 => {
                Told::Undone(board::undo_together(store, who, &together)?)
            }
            Ask::Evidence(a, b) => Told::Evidence(crate::jobs::furnace::incident::evidence(store, a, b)?),
            Ask::TreeOf(mould) => Told::Tree(crate::jobs::bench::position_map::of(store, mould)?),
            Ask::Limits(kind, texts) => Told::Limits(board::limits(store, kind, texts)?),
            Ask::Shift(now) => Told::Shift(crate::jobs::furnace::shift::shift(store, *now)?.text()),
            Ask::Board(now) => Told::Board(board::board(store, *now, go_on)?),
            Ask::Ready(mould, now) => {
                Told::Ready(crate::jobs::furnace::readiness::ready(store, mould, None, *now)?)
            }
            Ask::Way(tag) => Told::Way(crate::jobs::bench::progress::way(store, tag)?),
            Ask::Record(tag) => Told::Record(Box::new(crate::jobs::records::ask::show(store, tag, true)?)),
            Ask::FormStart(kind) => Told::FormStart(board::form_start(store, kind)?),
            Ask::Texts(address) => {
                let (kind, address, fields) = board::as_texts(store, address)?;
                Told::Texts(kind, address, fields)
            }
            Ask::Figures(mould, heat) => {
                let mut figures = board::pour_figures(store, mould.as_deref(), heat.as_deref())?;
                if let Some(heat) = heat.as_deref() {
                    figures.charge = crate::jobs::furnace::charge::look(store, heat, None)?;
                    figures.workings = crate::jobs::furnace::charge::workings(store, heat, None)?;
                }
                Told::Figures(Box::new(figures))
            }
            Ask::Charge(heat, item) => {
                let item = item.as_ref().map(|(s, m)| (s.as_str(), *m));
                let mut charge = crate::jobs::furnace::charge::look(store, heat, item)?;
                let (misfits, asks) = crate::jobs::furnace::charge::misfits(store, heat, item)?;
                charge.extend(misfits);
                let workings = crate::jobs::furnace::charge::workings(store, heat, item)?;
                Told::Figures(Box::new(board::PourFigures {
                    charge,
                    workings,
                    asks,
                    ..board::PourFigures::default()
                }))
            }
            Ask::LookUp(code) => Told::Found(code.clone(), board::look_up(store, code)?),
            Ask::Zones(inspection) => Told::Zones(board::zones(store, inspection)?),
            Ask::Drying(now) => Told::Drying(board::drying(store, *now)?),
            Ask::Log { who, kind, arguments, reason } => {
                Told::Logged(crate::jobs::records::ask::log(store, who, kind, arguments, reason.as_deref())?)
            }
            Ask::Correct { who, address, changes, reason } => {
                Told::Logged(board::correct(store, who, address, changes, reason)?)
            }
            Ask::Hold(who, tag, reason) => {
                Told::Logged(crate::jobs::records::ask::hold(store, who, tag, reason)?)
            }
            Ask::Lift(who, tag, reason) => Told::Logged(Logged::new(&store.lift(who, tag, reason)?)),
            Ask::Trace(tag) => Told::Trace(Box::new(crate::jobs::trace::ask::trace(store, tag)?)),
            Ask::Contain(tag) => Told::Contain(Arc::new(crate::jobs::trace::ask::contain(store, tag)?)),
            Ask::Siblings(blade, of, defect) => Told::Siblings(Box::new(
                crate::jobs::trace::siblings::siblings(store, blade, of, defect.as_deref(), None, None)?,
            )),
            Ask::Undo(who) => Told::Undone(board::undo(store, who)?),
            // Done before this is asked.
            Ask::Proven(..) => Told::Done,
            Ask::Keep(draft) => match &mut self.drafts {
                Some(drafts) => drafts.keep(draft.clone()).map(|()| Told::Done)?,
                None => Told::Done,
            },
            Ask::Drop(id) => match &mut self.drafts {
                Some(drafts) => drafts.drop_one(*id).map(|()| Told::Done)?,
                None => Told::Done,
            },
            Ask::Causes(ask, watch) => {
                let settings = Settings { watch: Some(watch), ..Settings::default() };
                match crate::jobs::causes::ask::board(store, ask, settings) {
                    Ok(board) => Told::Causes(Box::new(board)),
                    Err(_) if watch.is_stopped() => Told::Done,
                    Err(error) => return Err(error),
                }
            }
            Ask::CauseChoices => Told::CauseChoices(crate::jobs::causes::ask::choices(store)?),
            Ask::Draw(wanted, run) => match crate::jobs::charts::ask::draw(store, wanted, run) {
                Ok(drawn) => Told::Drawn(Box::new(drawn)),
                Err(_) if run.is_stopped() => Told::Done,
                Err(error) => return Err(error),
            },
            Ask::Readings => Told::Readings(Box::new(crate::jobs::charts::ask::readings(store)?)),
            Ask::Drafts => Told::Drafts(self.drafts.as_ref().map(|d| d.all().to_vec()).unwrap_or_default()),
        })
    }

    /// Records that were written together count as one to undo.
    fn several(&mut self, all: Vec<Logged>) -> Told {
        self.together = all.iter().map(|l| l.entry).collect();
        let name = |l: &Logged| l.tag.clone().or_else(|| l.address.clone()).unwrap_or_default();
        let names: Vec<String> = all.iter().map(name).collect();
        let Some(mut last) = all.into_iter().next_back() else { return Told::Done };
        let said = match names.as_slice() {
            [first, .., end] if names.len() > 3 => format!("{first} to {end} ({})", names.len()),
            names => names.iter().rev().cloned().collect::<Vec<_>>().join(" and "),
        };
        (last.tag, last.address) = (None, Some(said));
        Told::Logged(last)
    }
}

/// Every lot and every trial, the newest first.
fn releases(store: &Store) -> records::Result<Vec<crate::jobs::lots::screen::Entry>> {
    let mut out = Vec::new();
    for (name, lot) in [("lots", true), ("trials", false)] {
        let Some(kind) = records::catalogue::kind(name) else { continue };
        let mut all = store.all_of(kind)?;
        all.sort_by_key(|r| std::cmp::Reverse(r.own_time().map(Stamp::ms)));
        out.extend(all.iter().map(|r| {
            let text = |f: &str| r.get(f).to_text();
            let about = match lot {
                true => {
                    let ordered = Some(text("ordered_count")).filter(|n| !n.is_empty());
                    let said =
                        [Some(text("part")), Some(text("purchase_order")), ordered.map(|n| n + " ordered")];
                    said.into_iter().flatten().filter(|t| !t.is_empty()).collect::<Vec<_>>().join(" ")
                }
                false => format!("{}: {}", text("status"), text("question")),
            };
            crate::jobs::lots::screen::Entry { lot, tag: r.address(), about }
        }));
    }
    Ok(out)
}

/// A screen asks for what would help, in its own way.
fn failed(error: &records::Error) -> Told {
    let wants_reason = error.hints.contains(&records::Hint::ReasonIfRight);
    Told::Failed { sentence: said(error), wants_reason }
}

/// A sentence without the options of the command line.
fn said(error: &records::Error) -> String {
    error.sentence.replace("--since", "since").replace("--until", "until")
}

/// Runs the worker until its orders end. A fault of the program in it is told, not hidden.
pub fn work(path: &Path, store: Store, orders: &mpsc::Receiver<Order>, tell: &dyn Fn(Report) -> bool) {
    serve(Desk::new(store, path), orders, tell);
}

/// The same for what takes long, on a connection of its own that is opened with the first order.
pub fn work_slowly(path: &Path, orders: &mpsc::Receiver<Order>, tell: &dyn Fn(Report) -> bool) {
    while let Ok(order) = orders.recv() {
        match Store::open(path) {
            Ok(store) => {
                let mut desk = Desk { store, drafts: None, together: Vec::new() };
                if one(&mut desk, &order, tell) {
                    serve(desk, orders, tell);
                }
                return;
            }
            Err(error) => {
                if !tell(Report { to: order.to, job: order.job, told: failed(&error) }) {
                    return;
                }
            }
        }
    }
}

fn serve(mut desk: Desk, orders: &mpsc::Receiver<Order>, tell: &dyn Fn(Report) -> bool) {
    while let Ok(order) = orders.recv() {
        if !one(&mut desk, &order, tell) {
            return;
        }
    }
}

/// Does one order; false where the work is over.
fn one(desk: &mut Desk, order: &Order, tell: &dyn Fn(Report) -> bool) -> bool {
    if order.stop.load(Ordering::Relaxed) {
        return true;
    }
    let done =
        std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| desk.perform(&order.ask, &order.stop)));
    let (told, over) = match done {
        Ok(told) => (told, false),
        Err(_) => (Told::Died("a fault of the program stopped its work on the store".into()), true),
    };
    tell(Report { to: order.to, job: order.job, told }) && !over
}
