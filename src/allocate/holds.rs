//! Readings of an allocation by machine and outlet, for the stages that look at it.

use super::{Allocation, Cooling, OutletHold};
use crate::clock::{Minutes, Moment};
use crate::unit_rules::{BayIndex, MachineIndex, Unit};

impl Allocation {
    /// Every outlet taken, with the visit's place in the list, in the order of the visits.
    pub fn holds(&self) -> impl Iterator<Item = (usize, OutletHold)> + '_ {
        self.visits.iter().enumerate().filter_map(|(visit, cooling)| match cooling {
            Cooling::Outlet(hold) => Some((visit, *hold)),
            Cooling::NotWanted | Cooling::Without(_) => None,
        })
    }

    /// The outlets of one machine that are taken.
    pub fn holds_of(&self, machine: MachineIndex) -> impl Iterator<Item = (usize, OutletHold)> + '_ {
        self.holds().filter(move |(_, hold)| hold.machine == machine)
    }

    /// The patients of one outlet, by time.
    #[must_use]
    pub fn outlet_day(&self, machine: MachineIndex, number: u8) -> Vec<(usize, OutletHold)> {
        let mut day: Vec<_> = self.holds_of(machine).filter(|(_, hold)| hold.number == number).collect();
        day.sort_by_key(|(visit, hold)| (hold.span, *visit));
        day
    }

    /// The hand-overs on a machine's outlets: who leaves, who follows, and the time between the end
    /// of clean-down and the next connection; outlet by outlet, by time.
    #[must_use]
    pub fn hand_overs(&self, machine: MachineIndex, outlets: u8) -> Vec<(usize, usize, Minutes)> {
        let mut found = Vec::new();
        for number in 1..=outlets {
            for pair in self.outlet_day(machine, number).windows(2) {
                let [(from, before), (to, after)] = pair else { continue };
                found.push((*from, *to, after.span.from.since(before.span.until)));
            }
        }
        found
    }

    /// The uses for which a machine is switched on: its first, and the first after each outage of the whole of
    /// it; by time.
    #[must_use]
    pub fn switched_on_for(&self, unit: &Unit, machine: MachineIndex) -> Vec<(usize, OutletHold)> {
        let mut uses: Vec<_> = self.holds_of(machine).collect();
        uses.sort_by_key(|(visit, hold)| (hold.span.from, *visit));
        let whole = || unit.machine(machine).out_of_service.iter().filter(|outage| outage.outlet.is_none());
        let out_between = |earlier: OutletHold, later: OutletHold| {
            whole()
                .any(|outage| earlier.span.from <= outage.span.from && outage.span.until <= later.span.from)
        };
        let is_first = |&place: &usize| place == 0 || out_between(uses[place - 1].1, uses[place].1);
        (0..uses.len()).filter(is_first).map(|place| uses[place]).collect()
    }

    /// The bay in which a machine stands at `at`; none while it may be on its way to another.
    #[must_use]
    pub fn bay_at(&self, unit: &Unit, machine: MachineIndex, at: Moment) -> Option<BayIndex> {
        let mut bay = unit.machine(machine).bay;
        for change in self.moves.iter().filter(|change| change.machine == machine) {
            if at < change.within.from {
                break;
            }
            if at < change.within.until {
                return None;
            }
            bay = change.to;
        }
        Some(bay)
    }
}
