//! meltkin keeps the parentage of every cast blade, tells what made a blade bad, what else is in
//! danger, and whether a lot may go. The code map stands in DEVELOPERS.md. Below this program stand two crates:
//! `knowledge`, the arithmetic, and `records`, what is recorded and the file that keeps it.
#![allow(missing_docs, reason = "a program, no library: comments say why, names say what")]

pub mod calc;
pub mod cli;
pub mod demo;
pub mod jobs;
pub mod show;
pub mod ui;
