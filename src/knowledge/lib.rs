//! The arithmetic of the trade: numbers in, numbers out. It depends on nothing else of meltkin, and on no file,
//! clock or terminal; every function says its formula, units and source.

pub mod causes;
pub mod lineage;
pub mod metallurgy;
pub mod sampling;
pub mod stats;
