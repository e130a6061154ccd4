//! Acceptance sampling: plans and operating curves. Pure.
