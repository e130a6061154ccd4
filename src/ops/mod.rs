//! One function per user task: where the store and the knowledge meet.
