//! Disposition, concession, lot, shipment, hold, trial, and the records that hang on any other.

use crate::catalogue::typed::*;
use crate::catalogue::*;

const LOT: &str = "lot";
const ANY: &str = "any station";

kinds! {
    /// Permission to use what does not conform (before making: a deviation); what it lifts stands in its items.
    Concessions "concessions" "concession" LOT [.time(Concessions::granted_at).writer(Writer::Decision)] {
        concession: Must Own, key;
        r#type as "type": Must One<ConcessionType>;
        part: Must Ref<Parts>;
        limits: Must Text;
        reference: May Text;
        quantity: May Count;
        granted_at: Must Time;
        granted_by: May Text;
        expires_on: May Date;
    }

    /// One thing that a concession covers; rows of one item must all fit.
    ConcessionItems "concession_items" "concession item" LOT [.writer(Writer::Decision)] {
        concession: Must Ref<Concessions>, key;
        item: May Count, key;
        measure: May One<Measure>, key;
        covers: Must One<Covers>;
        name: Must Text;
        zone: May Text;
        at_least: May Number;
        at_most: May Number;
        unit: May Text;
        only_for: May Any;
    }

    /// The decision on a blade.
    Dispositions "dispositions" "disposition" LOT [.time(Dispositions::decided_at).writer(Writer::Decision)] {
        blade: Must Ref<Blades>, key;
        decided_at: Must Time, key;
        decision: Must One<Decision>;
        person: May Text;
        concession: May Ref<Concessions>;
        reason: May Text;
    }

    /// Blades made for one order.
    Lots "lots" "lot" LOT [.time(Lots::opened_at)] {
        lot: Must Own, key;
        part: Must Ref<Parts>, hand(Hand::QualityChanges);
        purchaser: May Text;
        purchase_order: May Text;
        order_line: May Text;
        ordered_count: May Count;
        certificate_type: May Text;
        document: May Text;
        opened_at: Must Time;
    }

    /// A blade made for a lot; a blade is in one lot at a time.
    LotBlades "lot_blades" "lot blade" LOT [] {
        lot: Must Ref<Lots>, key;
        blade: Must Ref<Blades>, key;
    }

    /// A blade sent out, and perhaps returned.
    Shipments "shipments" "shipment" LOT [.time(Shipments::shipped_at)] {
        blade: Must Ref<Blades>, key;
        shipped_at: Must Time, key;
        destination: May Text;
        certificate: May Text;
        returned_at: May Time;
        return_reason: May Text;
    }

    /// A change under test.
    Trials "trials" "trial" LOT [.time(Trials::opened_at)] {
        trial: Must Own, key;
        question: Must Text;
        factor: Must Text;
        response: Must Text;
        opened_at: Must Time;
        status: Must One<TrialStatus>;
        planned_moulds: May Count;
        worth_having: May Number;
        seed: May Text;
        held_constant: May Text;
        stop_rule: May Text;
        decision: May Text;
        decided_at: May Time;
        decided_by: May Text;
    }

    /// A mould of a trial, with its arm.
    TrialMoulds "trial_moulds" "trial mould" LOT [] {
        trial: Must Ref<Trials>, key;
        mould: Must Ref<Moulds>, key;
        arm: Must Text;
        block: May Text;
    }

    /// A fence around a record and all that came out of it.
    Holds "holds" "hold" ANY [.time(Holds::placed_at)] {
        hold: Must Own, key;
        subject: Must Any, hand(Hand::QualityChanges);
        placed_at: Must Time, hand(Hand::QualityChanges);
        person: May Text;
        reason: Must Text, hand(Hand::QualityChanges);
        lifted_at: May Time, hand(Hand::Decision);
        lifted_by: May Text, hand(Hand::Decision);
        lifted_reason: May Text, hand(Hand::Decision);
    }

    /// A new label on a record; the old tag keeps leading to it.
    Retags "retags" "re-tag" ANY [.time(Retags::changed_at)] {
        old_tag: Must Text, key;
        new_tag: Must Text;
        changed_at: Must Time, key;
        person: May Text;
        witness: May Text;
        reason: May Text;
    }

    /// A file that belongs to a record, by its digest.
    Attachments "attachments" "attachment" ANY [] {
        attachment: Must Own, key;
        subject: Must Any;
        path: Must Text;
        sha256: Must Text;
        bytes: Must Count;
        title: May Text;
    }

    /// Who stands for a record, and for what.
    Signatures "signatures" "signature" ANY [.time(Signatures::signed_at)] {
        subject: Must Any, key;
        role: Must Text;
        person: Must Text, key;
        signed_at: Must Time, key;
        meaning: Must One<Meaning>;
    }

    /// The value of a blade when it reaches a station.
    Costs "costs" "cost" LOT [] {
        part: Must Ref<Parts>, key;
        station: Must Text, key;
        value: Must Number;
        currency: Must Text;
        from_date: Must Date, key;
    }

    /// Somebody took the furnace over for a shift.
    HandOvers "hand_overs" "hand-over" ANY [.time(HandOvers::taken_at)] {
        person: Must Text, key;
        taken_at: Must Time, key;
        given_by: May Text;
    }

    /// Evidence that is kept: films, sections, bars.
    Samples "samples" "sample" ANY [] {
        sample: Must Own, key;
        subject: Must Any;
        kind: Must One<SampleKind>;
        kept_at: May Text;
        discarded_at: May Time;
    }
}
