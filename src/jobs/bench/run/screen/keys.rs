//! The keys of a run: while it is begun, and while it is scanned.

use crate::jobs::bench::run::screen::RunScreen;
use crate::ui::form::Form;
use crate::ui::kit::*;

type K = Key<RunScreen>;

/// What is the same for all is filled in.
pub(crate) const HEAD: &[K] = &[
    K::on(&[Press::Enter], |r, _| r.next()).named("next", "The next field that must be filled"),
    K::on(&[Press::F(2)], |r, now| r.begin_run(now))
        .named("begin", "Begin: from then on each scan is recorded"),
    K::on(&[Press::F(6), Press::Delete], |r, _| {
        let mut said = Ok(());
        let mut out = r.edit(|h| said = h.form.put(""));
        out.extend(said.err().map(|sentence| Effect::Say(Role::Bad, sentence)));
        out
    })
    .named("empty", "Empty the field"),
    K::on(&[Press::Esc, Press::F(10)], |r, _| r.leave_head())
        .named("back", "Leave it; what is on record stays"),
    K::on(&[Press::Down, Press::Tab], |r, _| r.edit(|h| h.form.step(1))).help("The field below"),
    K::on(&[Press::Up, Press::BackTab], |r, _| r.edit(|h| h.form.step(-1))).help("The field above"),
    K::on(&[Press::Right], |r, _| r.edit(|h| h.form.turn(1))).named("choice", "The next word of a choice"),
    K::on(&[Press::Left], |r, _| r.edit(|h| h.form.turn(-1))).help("The word before"),
    K::on(&[Press::Backspace], |r, _| r.edit(|h| Form::erase(&mut h.form))).help("Take a letter back"),
];

/// Each scan is recorded.
pub(crate) const SCANNING: &[K] = &[
    K::on(&[Press::Char('r')], |r, _| r.begin_reject())
        .named("reject", "The blade scanned last is a reject: its defect by number, then its zone by number")
        .when(RunScreen::inspects),
    K::on(&[Press::Backspace], |r, now| r.take_back(now))
        .named("take back", "Take back the last that this run wrote, line by line, each within a minute of it"),
    K::on(&[Press::F(3)], |r, _| r.back_to_head())
        .named("change", "Change what is the same for all; what is on record stays (another oven is another run: dry is asked again)")
        .when(|r| !r.run.head.is_empty() && !r.run.dry),
    K::on(&[Press::Esc, Press::F(10)], |r, _| r.end_run())
        .named("end", "End the run; every line of it is on record"),
];
