//! Why each cooled patient without an outlet has none, as counts that a nurse can check by hand.
//!
//! Looks for one stretch of the day in which more people ask for outlets, machines or caps than there
//! are. Where no such stretch exists it says so, and what stands in the way instead; it invents none.

use std::cmp::Reverse;

use crate::allocate::{Cooling, Reason};
use crate::clash::{Ask, Supply};
pub use crate::clash::{Clash, Resource};
use crate::validate::DayList;
use crate::verify::VerifiedDay;

/// A cooled patient without an outlet, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shortfall {
    /// The visit's place in [`DayList::visits`].
    pub visit: usize,
    /// Why.
    pub why: Why,
}

/// Why a cooled patient has no outlet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Why {
    /// More people at once than there are outlets, machines or caps; the patient is one of them.
    TooMany(Clash),
    /// At no minute are there too many people, but machines cannot be where they are needed.
    NoSingleMinute(InTheWay),
}

/// What can keep outlets that are free at every minute from serving a patient.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct InTheWay {
    /// Machines would have to move, and a move takes time.
    pub moves: bool,
    /// One machine does not reach all chairs of the bay.
    pub reach: bool,
    /// Outlets are out of service for a part of the time needed.
    pub outages: bool,
    /// Whether it is proven that nobody more can have an outlet.
    pub proven: bool,
}

/// Explains every patient without an outlet, in the order of the list.
#[must_use]
pub fn explain(day: &VerifiedDay) -> Vec<Shortfall> {
    let list = day.list();
    let supply = Supply::of(&list.unit);
    let asks = asks(day, &supply);
    let mut found = Vec::new();
    for own in &asks {
        let Cooling::Without(reason) = day.allocation().visits[own.visit] else { continue };
        let is_of_kind = |clash: &Clash| match reason {
            Reason::NoCapFree => matches!(clash.resource, Resource::Caps(_)),
            Reason::NoOutletFree => !matches!(clash.resource, Resource::Caps(_)),
        };
        let clashes = supply.clashes(&asks, Some(own)).into_iter().filter(is_of_kind);
        let why = match clashes.min_by_key(simplicity) {
            Some(clash) => Why::TooMany(clash),
            None => Why::NoSingleMinute(in_the_way(day, own)),
        };
        found.push(Shortfall { visit: own.visit, why });
    }
    found
}

/// What every cooled visit asks for.
fn asks(day: &VerifiedDay, supply: &Supply<'_>) -> Vec<Ask> {
    let planned = day.plan().visits.iter().enumerate();
    let cooled = planned.filter_map(|(visit, planned)| Some((visit, planned.cooling.as_ref()?)));
    cooled.map(|(visit, stages)| supply.ask(day.list(), visit, stages)).collect()
}

/// The simplest reason first: fewest bays, no condition on outlets, fewest people, longest stretch.
fn simplicity(clash: &Clash) -> impl Ord + use<> {
    let (bays, conditions) = match &clash.resource {
        Resource::Outlets { bays, all_through, .. } => (bays.len(), usize::from(*all_through)),
        Resource::Machines { .. } => (1, 2),
        Resource::Caps(_) => (0, 0),
    };
    let length = clash.when.until.since(clash.when.from);
    (bays, conditions, clash.people.len(), Reverse(length), clash.when)
}

/// What can be in the way where no minute has too many people.
fn in_the_way(day: &VerifiedDay, own: &Ask) -> InTheWay {
    let list: &DayList = day.list();
    let unit = &list.unit;
    let bay = unit.bay(own.bay);
    let serves = |machine: &&crate::unit_rules::Machine| machine.movable || machine.bay == own.bay;
    let reached = |one: &String| bay.chairs.iter().all(|other| bay.reach_together(one, other));
    InTheWay {
        moves: unit.bays.len() > 1 && unit.machines.iter().any(|machine| machine.movable),
        reach: !bay.chairs.iter().all(reached),
        outages: unit.machines.iter().filter(serves).any(|machine| !machine.out_of_service.is_empty()),
        proven: day.allocation().worth.bound_without_outlet == day.allocation().worth.without_outlet,
    }
}
