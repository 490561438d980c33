//! What is known of bays by themselves: how many of their sessions are left out at least, if so many machines
//! come to them.

use super::placement::count;
use super::pooled::fewest_left_out;
use super::sessions::Sessions;
use crate::unit_rules::BayIndex;

/// For every number of machines that come to the bays: left out + relief * number of them is not below the least.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Known {
    /// The bays.
    pub bays: Vec<BayIndex>,
    /// Sessions that are left out at least, if nothing comes.
    pub least: u32,
    /// How many fewer that may be for each machine that comes.
    pub relief: u32,
}

/// What follows from the fewest left out while no machine comes to the bays. A machine that comes is counted as
/// if it had been there all day, with as many outlets as any that may move has. Nothing where none may.
pub(super) fn known(day: &Sessions, bays: &[BayIndex], none_comes: u32) -> Vec<Known> {
    let movable = day.unit.machines.iter().filter(|machine| machine.movable);
    let Some(most) = movable.map(|machine| usize::from(machine.outlets)).max().filter(|&most| most > 0)
    else {
        return Vec::new();
    };
    let at_least = |come: usize| {
        let in_bay = |&bay: &BayIndex| {
            let here = day.all.iter().filter(|session| session.bay == bay).map(|session| session.hold);
            let machines = day.unit.machines.iter().filter(|machine| machine.bay == bay);
            let outlets: usize = machines.map(|machine| usize::from(machine.outlets)).sum();
            fewest_left_out(here, outlets + come * most)
        };
        none_comes.min(bays.iter().map(in_bay).sum())
    };
    let mut left_out = vec![none_comes];
    while left_out.last().is_some_and(|&last| last > 0) {
        left_out.push(at_least(left_out.len()));
    }
    let from = |come: usize| {
        let (least, later) = (left_out[come], left_out[come + 1..].iter().zip(1..));
        let relief = later.map(|(&fewer, more)| (least - fewer.min(least)).div_ceil(more)).max().unwrap_or(0);
        Known { bays: bays.to_vec(), least: least + relief * count(come), relief }
    };
    let holds = |known: &Known| {
        let reliefs = left_out.iter().zip(0..).map(|(fewest, come)| fewest + known.relief * come);
        known.least > 0 && reliefs.into_iter().all(|reached| reached >= known.least)
    };
    let mut known: Vec<Known> = (0..left_out.len() - 1).map(from).filter(holds).collect();
    known.dedup();
    known
}
