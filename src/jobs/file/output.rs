//! The one way by which a file leaves the program, for every task and both faces.

pub use records::file::output::sweep;
pub use records::file::output::{Output, Pending, cannot, write};
pub use records::file::paths::{named, odd, open_plain};
