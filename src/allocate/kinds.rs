//! Machines by kind: those that nobody needs to tell apart when counting.

use super::placement::count;
use super::sessions::{Sessions, in_service};
use crate::clock::Span;
use crate::unit_rules::{BayIndex, Machine, MachineIndex, Unit};

/// Machines that are alike: movable ones wherever they stand, others within their bay.
pub(super) struct Kind<'a> {
    /// The unit.
    unit: &'a Unit,
    /// The machines; at least one.
    pub machines: Vec<MachineIndex>,
    /// The bay that they never leave; `None` if they may move.
    pub home: Option<BayIndex>,
    /// Whether it matters who shares a machine with whom.
    pub pairs_matter: bool,
    /// Whether outlets are out of service at different times and must be told apart; such a machine is
    /// a kind of its own.
    pub differ: bool,
    /// The machines' entries in the unit's file.
    stated: Vec<Machine>,
}

impl Kind<'_> {
    /// Whether machines of the kind may stand in a bay.
    pub fn may_stand_in(&self, bay: BayIndex) -> bool {
        self.home.is_none_or(|home| home == bay)
    }

    /// The numbers by which sessions are told apart on machines of the kind: outlets, or just one.
    pub fn lanes(&self) -> impl Iterator<Item = u8> + use<> {
        1..=if self.differ { self.stated.first().map_or(0, |machine| machine.outlets) } else { 1 }
    }

    /// Outlets of all machines that are in service and cold at a minute.
    pub fn outlets(&self, minute: Span) -> u32 {
        self.stated.iter().map(|machine| outlets(self.unit, machine, minute)).sum()
    }

    /// Outlets of one machine that are in service at a minute.
    pub fn outlets_of_one(&self, minute: Span) -> u32 {
        self.stated.first().map_or(0, |machine| outlets(self.unit, machine, minute))
    }

    /// Machines with at least so many outlets in service at a minute.
    pub fn machines_with(&self, least: u32, minute: Span) -> u32 {
        count(self.stated.iter().filter(|machine| outlets(self.unit, machine, minute) >= least).count())
    }

    /// The same of one machine: 1 or 0.
    pub fn one_with(&self, least: u32, minute: Span) -> u32 {
        u32::from(self.outlets_of_one(minute) >= least)
    }

    /// Whether a machine is of the kind.
    fn takes(&self, day: &Sessions, machine: &Machine) -> bool {
        let home = (!machine.movable).then_some(machine.bay);
        let Some(first) = self.stated.first().filter(|_| self.home == home) else { return false };
        let same_service = outages(first) == outages(machine);
        let same_outlets =
            first.outlets == machine.outlets || !(self.pairs_matter || pairs_matter(day, machine));
        same_service && same_outlets && !self.differ
    }
}

/// The unit's machines by kind.
pub(super) fn kinds<'a>(day: &Sessions<'a>) -> Vec<Kind<'a>> {
    let mut kinds: Vec<Kind<'a>> = Vec::new();
    for (place, machine) in day.unit.machines.iter().enumerate() {
        match kinds.iter_mut().find(|kind| kind.takes(day, machine)) {
            Some(kind) => {
                kind.machines.push(MachineIndex(place));
                kind.stated.push(machine.clone());
            }
            None => kinds.push(Kind {
                unit: day.unit,
                machines: vec![MachineIndex(place)],
                home: (!machine.movable).then_some(machine.bay),
                pairs_matter: pairs_matter(day, machine),
                differ: differ(machine),
                stated: vec![machine.clone()],
            }),
        }
    }
    kinds
}

/// Whether it matters who shares the machine: where reach is not free, or where it must be free
/// altogether to move.
pub(super) fn pairs_matter(day: &Sessions, machine: &Machine) -> bool {
    machine.outlets > 1 && !differ(machine) && (machine.movable || !day.reach_is_free(machine.bay))
}

/// Whether a machine's outlets are out of service at different times.
pub(super) fn differ(machine: &Machine) -> bool {
    machine.out_of_service.iter().any(|outage| outage.outlet.is_some())
}

/// Outlets of a machine that are in service and cold at a minute.
fn outlets(unit: &Unit, machine: &Machine, minute: Span) -> u32 {
    count((1..=machine.outlets).filter(|&number| in_service(unit, machine, number, minute)).count())
}

/// When what is out of service.
fn outages(machine: &Machine) -> Vec<(Span, Option<u8>)> {
    let mut outages: Vec<_> =
        machine.out_of_service.iter().map(|outage| (outage.span, outage.outlet)).collect();
    outages.sort_unstable();
    outages
}
