//! Disposition, concession, lot, shipment, hold, trial, and the records that hang on any other.

use crate::catalogue::field::{Field as F, Hand, Type as T};
use crate::catalogue::kind::{Kind, Writer};

const LOT: &str = "lot";
const ANY: &str = "any station";

pub static CONCESSIONS: Kind = Kind::new(
    "concessions",
    "concession",
    LOT,
    "Permission to use what does not conform (before making: a deviation); what it lifts stands in its items.",
    &[
        F::new("concession", T::Tag).key(),
        F::new("type", T::Choice(&["deviation", "concession"])),
        F::new("part", T::Ref(&["parts"])),
        F::new("limits", T::Text),
        F::new("reference", T::Text).opt(),
        F::new("quantity", T::Count).opt(),
        F::new("granted_at", T::Time),
        F::new("granted_by", T::Text).opt(),
        F::new("expires_on", T::Date).opt(),
    ],
)
.time("granted_at")
.writer(Writer::Decision);

/// What a concession covers, one row a thing: nothing else lifts what blocks a blade.
pub static CONCESSION_ITEMS: Kind = Kind::new(
    "concession_items",
    "concession item",
    LOT,
    "One thing that a concession covers; rows of one item must all fit.",
    &[
        F::new("concession", T::Ref(&["concessions"])).key(),
        F::new("item", T::Count).opt().key(),
        F::new("measure", T::Choice(&["size_mm", "distance_mm", "count", "severity", "value"])).opt().key(),
        F::new(
            "covers",
            T::Choice(&["defect", "element", "characteristic", "instrument", "definition", "station"]),
        ),
        F::new("name", T::Text),
        F::new("zone", T::Text).opt(),
        F::new("at_least", T::Number).opt(),
        F::new("at_most", T::Number).opt(),
        F::new("unit", T::Text).opt(),
        F::new("only_for", T::AnyTag).opt(),
    ],
)
.writer(Writer::Decision);

/// Dispositions.
pub static DISPOSITIONS: Kind = Kind::new(
    "dispositions",
    "disposition",
    LOT,
    "The decision on a blade.",
    &[
        F::new("blade", T::Ref(&["blades"])).key(),
        F::new("decided_at", T::Time).key(),
        F::new("decision", T::Choice(&["accept", "rework", "repair", "scrap", "hold", "concession"])),
        F::new("person", T::Text).opt(),
        F::new("concession", T::Ref(&["concessions"])).opt(),
        F::new("reason", T::Text).opt(),
    ],
)
.time("decided_at")
.writer(Writer::Decision);

pub static LOTS: Kind = Kind::new(
    "lots",
    "lot",
    LOT,
    "Blades made for one order.",
    &[
        F::new("lot", T::Tag).key(),
        F::new("part", T::Ref(&["parts"])).hand(Hand::QualityChanges),
        F::new("purchaser", T::Text).opt(),
        F::new("purchase_order", T::Text).opt(),
        F::new("ordered_count", T::Count).opt(),
        F::new("certificate_type", T::Text).opt(),
        F::new("opened_at", T::Time),
    ],
)
.time("opened_at");

pub static LOT_BLADES: Kind = Kind::new(
    "lot_blades",
    "lot blade",
    LOT,
    "A blade made for a lot; a blade is in one lot at a time.",
    &[F::new("lot", T::Ref(&["lots"])).key(), F::new("blade", T::Ref(&["blades"])).key()],
);

pub static SHIPMENTS: Kind = Kind::new(
    "shipments",
    "shipment",
    LOT,
    "A blade sent out, and perhaps returned.",
    &[
        F::new("blade", T::Ref(&["blades"])).key(),
        F::new("shipped_at", T::Time).key(),
        F::new("destination", T::Text).opt(),
        F::new("certificate", T::Text).opt(),
        F::new("returned_at", T::Time).opt(),
        F::new("return_reason", T::Text).opt(),
    ],
)
.time("shipped_at");

pub static TRIALS: Kind = Kind::new(
    "trials",
    "trial",
    LOT,
    "A change under test.",
    &[
        F::new("trial", T::Tag).key(),
        F::new("question", T::Text),
        F::new("factor", T::Text),
        F::new("response", T::Text),
        F::new("opened_at", T::Time),
        F::new("status", T::Choice(&["open", "closed"])),
        F::new("planned_moulds", T::Count).opt(),
        F::new("worth_having", T::Number).opt(),
        F::new("seed", T::Text).opt(),
        F::new("held_constant", T::Text).opt(),
        F::new("stop_rule", T::Text).opt(),
        F::new("decision", T::Text).opt(),
        F::new("decided_at", T::Time).opt(),
        F::new("decided_by", T::Text).opt(),
    ],
)
.time("opened_at");

pub static TRIAL_MOULDS: Kind = Kind::new(
    "trial_moulds",
    "trial mould",
    LOT,
    "A mould of a trial, with its arm.",
    &[
        F::new("trial", T::Ref(&["trials"])).key(),
        F::new("mould", T::Ref(&["moulds"])).key(),
        F::new("arm", T::Text),
        F::new("block", T::Text).opt(),
    ],
);

/// Holds: written by the program itself too.
pub static HOLDS: Kind = Kind::new(
    "holds",
    "hold",
    ANY,
    "A fence around a record and all that came out of it.",
    &[
        F::new("hold", T::Tag).key(),
        F::new("subject", T::AnyTag).hand(Hand::QualityChanges),
        F::new("placed_at", T::Time).hand(Hand::QualityChanges),
        F::new("person", T::Text).opt(),
        F::new("reason", T::Text).hand(Hand::QualityChanges),
        F::new("lifted_at", T::Time).opt().hand(Hand::Decision),
        F::new("lifted_by", T::Text).opt().hand(Hand::Decision),
        F::new("lifted_reason", T::Text).opt().hand(Hand::Decision),
    ],
)
.time("placed_at");

pub static RETAGS: Kind = Kind::new(
    "retags",
    "re-tag",
    ANY,
    "A new label on a record; the old tag keeps leading to it.",
    &[
        F::new("old_tag", T::Text).key(),
        F::new("new_tag", T::Text),
        F::new("changed_at", T::Time).key(),
        F::new("person", T::Text).opt(),
        F::new("witness", T::Text).opt(),
        F::new("reason", T::Text).opt(),
    ],
)
.time("changed_at");

pub static ATTACHMENTS: Kind = Kind::new(
    "attachments",
    "attachment",
    ANY,
    "A file that belongs to a record, by its digest.",
    &[
        F::new("attachment", T::Tag).key(),
        F::new("subject", T::AnyTag),
        F::new("path", T::Text),
        F::new("sha256", T::Text),
        F::new("bytes", T::Count),
        F::new("title", T::Text).opt(),
    ],
);

pub static SIGNATURES: Kind = Kind::new(
    "signatures",
    "signature",
    ANY,
    "Who stands for a record, and for what.",
    &[
        F::new("subject", T::AnyTag).key(),
        F::new("role", T::Text),
        F::new("person", T::Text).key(),
        F::new("signed_at", T::Time).key(),
        F::new("meaning", T::Choice(&["made", "checked", "released", "conceded"])),
    ],
)
.time("signed_at");

pub static COSTS: Kind = Kind::new(
    "costs",
    "cost",
    LOT,
    "The value of a blade when it reaches a station.",
    &[
        F::new("part", T::Ref(&["parts"])).key(),
        F::new("station", T::Text).key(),
        F::new("value", T::Number),
        F::new("currency", T::Text),
        F::new("from_date", T::Date).key(),
    ],
);

pub static SAMPLES: Kind = Kind::new(
    "samples",
    "sample",
    ANY,
    "Evidence that is kept: films, sections, bars.",
    &[
        F::new("sample", T::Tag).key(),
        F::new("subject", T::AnyTag),
        F::new("kind", T::Choice(&["film", "section", "bar", "retained"])),
        F::new("kept_at", T::Text).opt(),
        F::new("discarded_at", T::Time).opt(),
    ],
);
