//! Words of which a field takes one.

use crate::catalogue::typed::Choice;

/// Makes an enum of the words that a field takes, in the order of the forms.
macro_rules! choices {
    ($( $(#[$doc:meta])* $name:ident { $( $word:literal $variant:ident ),* $(,)? } )*) => { $(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        #[allow(missing_docs, reason = "each says its word")]
        pub enum $name { $( $variant ),* }
        impl Choice for $name {
            const WORDS: &'static [&'static str] = &[$( $word ),*];
            const ALL: &'static [Self] = &[$( Self::$variant ),*];
        }
        impl $name {
            /// The words, in the order of the forms.
            pub const WORDS: &'static [&'static str] = <Self as Choice>::WORDS;
            /// All of them, in the order of the forms.
            pub const ALL: &'static [Self] = <Self as Choice>::ALL;
            /// The word as it stands in records.
            pub const fn word(self) -> &'static str {
                Self::WORDS[self as usize]
            }
            /// The choice behind a word.
            pub fn of(word: &str) -> Option<Self> {
                <Self as Choice>::of(word)
            }
        }
    )* };
}

choices! {
    /// What bought metal is for.
    IngotUse { "melt" Melt, "addition" Addition }
    /// Type of an inspection document, EN 10204.
    CertificateType { "2.1" T21, "2.2" T22, "3.1" T31, "3.2" T32 }
    /// How clean revert is.
    RevertCondition { "clean" Clean, "uncleaned" Uncleaned, "mixed" Mixed }
    /// The maker's analysis, or a check of it.
    AnalysisPurpose { "maker" Maker, "check" Check }
    /// Unit of a content; 1 wt% is 10,000 ppm.
    ContentUnit { "wt%" WeightPercent, "ppm" Ppm }
    /// How the seal onto the unit held.
    SealState { "tight" Tight, "weep" Weep, "leak" Leak }
    /// Yes or no.
    YesNo { "yes" Yes, "no" No }
    /// Shell, or flask with mould powder.
    Route { "shell" Shell, "flask" Flask }
    /// From where a mould is filled.
    Fill { "bottom" Bottom, "top" Top }
    /// What an own field holds.
    OwnType { "number" Number, "text" Text, "time" Time, "yes_no" YesNo }
    /// A calibration, or a cross-check on the floor.
    CheckKind { "calibration" Calibration, "cross_check" CrossCheck }
    /// How a check of an instrument ended.
    CheckResult { "good" Good, "failed" Failed, "not_done" NotDone }
    /// What a person may do.
    Role { "operator" Operator, "inspector" Inspector, "metallurgist" Metallurgist, "engineer" Engineer, "quality" Quality }
    /// What an organisation is to the shop.
    OrganisationRole { "own" Own, "customer" Customer, "supplier" Supplier, "laboratory" Laboratory, "inspection_body" InspectionBody }
    /// The paper that a shop prints on.
    Paper { "a4" A4, "letter" Letter }
    /// What an inspection is for; blank is the product.
    InspectionPurpose { "product" Product, "overlap" Overlap, "study" Study }
    /// What an inspection says.
    Verdict { "accept" Accept, "reject" Reject }
    /// Before making: a deviation; after it: a concession.
    ConcessionType { "deviation" Deviation, "concession" Concession }
    /// Of which measure of a finding an item gives the bounds.
    Measure { "size_mm" SizeMm, "distance_mm" DistanceMm, "count" Count, "severity" Severity, "value" Value }
    /// What kind of thing an item covers.
    Covers { "defect" Defect, "element" Element, "characteristic" Characteristic, "instrument" Instrument, "definition" Definition, "station" Station }
    /// What is decided on a blade.
    Decision { "accept" Accept, "rework" Rework, "repair" Repair, "scrap" Scrap, "hold" Hold, "concession" Concession }
    /// Whether a trial goes on.
    TrialStatus { "open" Open, "closed" Closed }
    /// For what a signature stands.
    Meaning { "made" Made, "checked" Checked, "released" Released, "conceded" Conceded }
    /// What is kept.
    SampleKind { "film" Film, "section" Section, "bar" Bar, "retained" Retained }
    /// What a pot of slurry is for.
    SlurryUse { "prime" Prime, "backup" Backup, "seal_coat" SealCoat }
    /// How a gel test of a slurry ended.
    Gel { "pass" Pass, "fail" Fail, "not_done" NotDone }
    /// What an oven run is for.
    OvenPurpose { "dewax" Dewax, "fire" Fire, "preheat" Preheat }
    /// What was seen of a crack in the shell.
    Crack { "none" None, "patched" Patched, "through" Through }
    /// A step of knock-out, cut-off or finishing.
    FinishStep { "knock_out" KnockOut, "cut_off" CutOff, "leach" Leach, "blast" Blast, "grind" Grind, "straighten" Straighten }
    /// Kind of treatment.
    TreatmentKind { "hip" Hip, "solution" Solution, "age" Age, "stress_relief" StressRelief }
    /// On which side of a reading harm is known: with more, with less, at both ends, at one level of a category.
    HarmSide { "higher" Higher, "lower" Lower, "either" Either, "level" Level }
    /// Named by itself as a cause, or acting through another.
    Strength { "primary" Primary, "contributing" Contributing }
    /// How a source was seen: read, cited in another text, known from memory, common practice without one.
    SourceStatus { "read" Read, "cited" Cited, "memory" Memory, "practice" Practice }
    /// The inspection methods, in the order of the route.
    Method { "visual" Visual, "penetrant" Penetrant, "radiograph" Radiograph, "dimensional" Dimensional, "grain" Grain, "wall_thickness" WallThickness }
}
