//! One binary for all integration tests: it links once.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test that cannot go on should stop loudly")]

mod assignment;
mod catalogue;
mod causes;
mod chart_edges;
mod charting;
mod checks;
mod demo;
mod edges;
mod every_kind;
mod evidence;
mod faults;
mod floor_pty;
mod floor_screens;
mod intruder;
mod layering;
mod made;
mod metallurgy;
mod outside;
mod plans;
mod pty;
mod records;
mod second_opinion;
mod stories;
mod support;
mod trials;
mod tui;
