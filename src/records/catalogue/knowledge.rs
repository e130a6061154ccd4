//! What the trade knows of causes: its rows, their sources, and who of the shop has signed them.

use crate::catalogue::typed::*;
use crate::catalogue::*;

const AT: &str = "definitions";

kinds! {
    /// Where known causes are from, and how much of it was seen.
    KnowledgeSources "knowledge_sources" "knowledge source" AT [.writer(Writer::QualityOrMetallurgist)] {
        source: Must Text, key;
        status: Must One<SourceStatus>;
        reference: Must Text;
        where_seen: May Text;
    }

    /// What the trade names as a cause of a defect; a reading list, which approves nothing.
    KnownCauses "known_causes" "known cause" AT [.writer(Writer::QualityOrMetallurgist)] {
        defect: Must Ref<DefectTerms>, key;
        factor: Must Text, key;
        direction: Must One<HarmSide>;
        strength: Must One<Strength>;
        mechanism: Must Text;
        check: Must Text;
        remedy: May Text;
        source: May Text;
        source_status: Must One<SourceStatus>;
        doubtful: May Text;
    }

    /// A metallurgist's name under the known causes of a defect, as they stood; content is their digest, given if blank.
    KnownCauseReviews "known_cause_reviews" "review of known causes" AT
        [.time(KnownCauseReviews::reviewed_at).writer(Writer::QualityOrMetallurgist)] {
        defect: Must Ref<DefectTerms>, key;
        person: Must Text, key;
        reviewed_at: Must Time, key;
        content: May Text;
    }
}
