//! One binary for all integration tests: it links once.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test that cannot go on should stop loudly")]

mod assignment;
mod catalogue;
mod cause_desk;
mod causes;
mod certificates;
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
mod fuzzed;
mod intruder;
mod labels;
mod layering;
mod lots;
mod made;
mod metallurgy;
mod mutations;
mod outside;
mod plans;
mod properties;
mod pty;
mod records;
mod release_desk;
mod released;
mod second_opinion;
mod stories;
mod support;
mod trials;
mod tui;
