//! When the day does not fit: the least change of arrival times that makes it fit, as a proposal.
//!
//! Changes nothing itself. In this order: as few cooled patients as can be without an outlet, least
//! total minutes of change, fewest people asked. Arrivals change by whole steps of five minutes within
//! the unit's `retime_earlier` and `retime_later`. A proposal breaks no chair, cap, closing or leaving
//! time, takes no outlet from anybody who has one, and adds no caution of harm; what it would come to
//! is planned, allocated, surveyed and verified like any day before it is believed.

mod bays;
mod conflicts;
mod group;
mod menu;
mod search;
mod trial;

use std::collections::BTreeSet;

use self::bays::Bays;
use self::conflicts::Ground;
use self::group::Found;
use self::menu::{Retimed, menu};
use self::trial::Trial;
pub(crate) use self::trial::{has_no_new_shortage, is_no_worse};
use crate::allocate::Cooling;
use crate::clash::Supply;
use crate::clock::{Minutes, Moment};
use crate::verify::VerifiedDay;

/// What is proposed for a day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Advice {
    /// Every cooled patient has an outlet.
    NothingNeeded,
    /// The unit allows no change of arrival times.
    NotAllowed,
    /// No change was found that gives an outlet to anybody more; `proven` if there is none.
    NothingHelps { proven: bool },
    /// Ask these people to come at other times.
    Retime(Proposal),
}

/// A change of arrival times that gives more patients an outlet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Proposal {
    /// Who is asked, in the order of the list.
    pub changes: Vec<Change>,
    /// Cooled patients without an outlet as listed.
    pub without_before: usize,
    /// Who is still without one, places in the list's visits.
    pub still_without: Vec<usize>,
    /// Whether no proposal within the limits leaves fewer without, changes fewer minutes with as few
    /// without, or asks fewer people for as few minutes.
    pub proven: bool,
}

impl Proposal {
    /// Minutes of change of all people together.
    #[must_use]
    pub fn total(&self) -> Minutes {
        let minutes = |change: &Change| change.to.since(change.from) + change.from.since(change.to);
        self.changes.iter().map(minutes).sum()
    }
}

/// One person's change.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Change {
    /// The visit's place in the list's visits.
    pub visit: usize,
    /// The listed arrival.
    pub from: Moment,
    /// The proposed arrival.
    pub to: Moment,
}

/// Looks for a proposal.
#[must_use]
pub fn propose(day: &VerifiedDay) -> Advice {
    let visits = day.allocation().visits.iter().enumerate();
    let without: Vec<usize> = visits
        .filter(|(_, cooling)| matches!(cooling, Cooling::Without(_)))
        .map(|(visit, _)| visit)
        .collect();
    if without.is_empty() {
        return Advice::NothingNeeded;
    }
    let rules = &day.list().unit.rules;
    if rules.retime_earlier.signed() < menu::STEP && rules.retime_later.signed() < menu::STEP {
        return Advice::NotAllowed;
    }
    let supply = Supply::of(&day.list().unit);
    let menu = menu(day, &supply);
    let judge = Trial { day, menu: &menu };
    let ground = Ground::new(day.list(), supply, &menu);
    let mut bays = Bays { judge: &judge, ground, without: &without, proven: true };
    let Found { places, left_out, proven } = bays.find();
    if left_out.len() == without.len() {
        return Advice::NothingHelps { proven };
    }
    Advice::Retime(proposal(&menu, &places, without.len(), left_out, proven))
}

/// The day's changes as a proposal.
fn proposal(
    menu: &[Vec<Retimed>],
    places: &[usize],
    without_before: usize,
    left_out: BTreeSet<usize>,
    proven: bool,
) -> Proposal {
    let moved = (0..places.len()).filter(|&visit| places[visit] != 0);
    let changes = moved
        .map(|visit| Change {
            visit,
            from: menu[visit][0].plan.arrive,
            to: menu[visit][places[visit]].plan.arrive,
        })
        .collect();
    Proposal { changes, without_before, still_without: left_out.into_iter().collect(), proven }
}
