//! The starter definitions that a new store begins with: alloys with their limits, and the defect
//! terms of an equiaxed blade foundry. Each row says where it is from and whether that was seen,
//! second-hand, or from memory: none of them is an approved specification.

/// Files of a bundle.
pub const FILES: &[(&str, &str)] = &[
    ("alloys.csv", include_str!("starter/alloys.csv")),
    ("alloy_limits.csv", include_str!("starter/alloy_limits.csv")),
    ("defect_terms.csv", include_str!("starter/defect_terms.csv")),
];
