//! Ranked upstream causes of a defect, comparisons, what to pour next. Pure.
