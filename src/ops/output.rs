//! The one way by which a file leaves the program, for every task and both faces.

pub use crate::store::files::{named, odd, open_plain};
pub(crate) use crate::store::output::sweep;
pub use crate::store::output::{Output, Pending, cannot, write};
