//! The keys of a form.

use crate::jobs::records::form_screen::Entry;
use crate::ui::form::{Form, Row};
use crate::ui::kit::*;
use records::Type;
use records::catalogue::{Charges, Findings, Pours};

fn time_chosen(e: &Entry) -> bool {
    let ty = e.form.as_ref().and_then(|f| f.chosen().map(Row::ty));
    matches!(ty, Some(Type::Time | Type::Date | Type::Moment))
}

fn may_be_left_out(e: &Entry) -> bool {
    e.form.as_ref().and_then(Form::chosen).is_some_and(|r| r.optional() && r.name() != "note")
}

fn on_a_field(e: &Entry) -> bool {
    e.form.as_ref().is_some_and(|f| f.chosen().is_some())
}

type K = Key<Entry>;

pub(crate) const KEYS: &[K] = &[
    K::on(&[Press::Enter], |e, now| e.next(now)).named("next", "The next blank field"),
    K::on(&[Press::F(2)], |e, now| e.save(now)).named("save", "Save it as it stands"),
    K::on(&[Press::F(3)], |e, now| e.put("n/a", now))
        .named("n/a", "The field does not apply (that is not the same as blank)")
        .when(may_be_left_out),
    K::on(&[Press::F(4)], |e, now| e.put("illegible", now))
        .named("illegible", "It was written down and cannot be read")
        .when(may_be_left_out),
    K::on(&[Press::F(5)], |e, now| e.put("now", now)).named("now", "The time of saving").when(time_chosen),
    K::on(&[Press::F(6), Press::Delete], |e, now| e.put("", now))
        .named("empty", "Empty the field")
        .when(on_a_field),
    K::on(&[Press::F(8)], |e, now| e.throw_away(now))
        .named("throw away", "Throw the form away; asked once more where something was typed"),
    K::on(&[Press::F(7)], |e, now| e.edit(now, Form::turn_side))
        .named("side", "The other side of the blade: concave, convex")
        .when(|e| e.form.as_ref().is_some_and(|f| f.kind.is::<Findings>())),
    K::on(&[Press::F(9)], |e, now| e.working(now))
        .named("working", "Show the working of the figures below: formula, inputs, records, source")
        .when(|e| e.form.as_ref().is_some_and(|f| f.kind.is::<Pours>() || f.kind.is::<Charges>())),
    K::on(&[Press::Esc], |e, _| e.back()).named("back", "Back; what is filled in is kept"),
    K::on(&[Press::Down, Press::Tab], |e, now| e.edit(now, |f| f.step(1))).help("The field below"),
    K::on(&[Press::Up, Press::BackTab], |e, now| e.edit(now, |f| f.step(-1))).help("The field above"),
    K::on(&[Press::Right], |e, now| e.turn(1, now)).help("The next word of a choice"),
    K::on(&[Press::Left], |e, now| e.turn(-1, now)).help("The word before"),
    K::on(&[Press::Backspace], |e, now| e.edit(now, Form::erase)).help("Take a letter back"),
];
