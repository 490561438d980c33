//! Baypack plans a chemotherapy day unit's scalp-cooling day from one list and prints the paper.
#![forbid(unsafe_code)]

pub mod allocate;

mod characters;
mod clash;
pub mod cli;
pub mod clock;
pub mod compose;
pub mod explain;
pub mod fall_backs;
pub mod faults;
pub mod fit;
pub mod layouts;
pub mod patient;
pub mod plan;
pub mod problem;
pub mod propose;
pub mod read;
pub mod relist;
pub mod render;
pub mod survey;
pub mod unit_rules;
pub mod validate;
pub mod verify;
pub mod write;
