//! The catalogue of record kinds and the values in them. Imports nothing of ours.
