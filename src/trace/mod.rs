//! Genealogy over edges: shares of metal, parents, children. Pure.
