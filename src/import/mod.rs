//! Bundles and CSV files in and out.
