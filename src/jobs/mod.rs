//! What people come to do with meltkin, one folder for each job: its question (`ask`), what it prints (`show`), its
//! screen and its command. A job imports another only through what that one answers, never through its faces.

pub mod bench;
pub mod board;
pub mod causes;
pub mod charts;
pub mod chemistry;
pub mod desks;
pub mod file;
pub mod furnace;
pub mod labels;
pub mod lots;
pub mod records;
pub mod sheets;
pub mod trace;
pub mod trials;
pub mod yields;
