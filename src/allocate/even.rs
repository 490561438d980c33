//! Makes a plan more even, and its hand-overs less tight, without leaving out or moving more: a session changes
//! its machine, or two sessions change theirs, as long as that gains something.
//!
//! Proves nothing; a plan that cannot be bettered in this way may still not be the best.

use super::placement::{Placement, changes_of_bay, count, fits, load, served_by, total_shortfall};
use super::sessions::{SessionIndex, Sessions};
use crate::unit_rules::MachineIndex;

/// The most changes that are tried: several rounds of a day with sixty visits and twenty machines.
const TRIES: u32 = 40_000;

/// What a machine's day costs: moves, missing slack, and how much it cools, the busiest weighing most by far.
type Cost = [u64; 3];

/// Machines' days under change.
struct Days<'a> {
    day: &'a Sessions<'a>,
    served: Vec<Vec<SessionIndex>>,
    costs: Vec<Cost>,
    tries: u32,
}

/// A plan that serves the same sessions, with no more moves and missing slack, as even as changes make it.
pub(super) fn even_out(day: &Sessions, placement: &Placement) -> Placement {
    let machines = (0..day.unit.machines.len()).map(MachineIndex);
    let served: Vec<Vec<SessionIndex>> = machines.map(|machine| served_by(placement, machine)).collect();
    let costs = served.iter().enumerate().map(|(place, served)| cost(day, place, served).unwrap_or_default());
    let mut days = Days { day, costs: costs.collect(), served, tries: TRIES };
    while days.round() && days.tries > 0 {}
    let mut placement: Placement = vec![None; placement.len()];
    for (machine, served) in days.served.iter().enumerate() {
        for &session in served {
            placement[session] = Some(MachineIndex(machine));
        }
    }
    placement
}

impl Days<'_> {
    /// Tries every session on every machine, alone and for every session there. Returns whether that gained
    /// anything.
    fn round(&mut self) -> bool {
        let mut gained = false;
        for from in 0..self.served.len() {
            for to in (0..self.served.len()).filter(|&to| to != from) {
                for session in self.served[from].clone() {
                    gained |= self.try_change(from, to, session, None);
                    for other in self.served[to].clone() {
                        gained |= to > from && self.try_change(from, to, session, Some(other));
                    }
                }
            }
        }
        gained
    }

    /// Lets a session go to another machine, and another one come back for it, if that gains something.
    fn try_change(
        &mut self,
        from: usize,
        to: usize,
        session: SessionIndex,
        back: Option<SessionIndex>,
    ) -> bool {
        let leads = |machine: usize, session| self.day.suits(MachineIndex(machine), session);
        let still = self.served[from].contains(&session)
            && back.is_none_or(|back| self.served[to].contains(&back) && leads(from, back));
        if self.tries == 0 || !still || !leads(to, session) {
            return false;
        }
        self.tries -= 1;
        let changed = |machine: usize, leaves: Option<SessionIndex>, comes: Option<SessionIndex>| {
            let mut served = self.served[machine].clone();
            served.retain(|&session| Some(session) != leaves);
            served.extend(comes);
            served.sort_unstable();
            served
        };
        let (one, other) = (changed(from, Some(session), back), changed(to, back, Some(session)));
        let costs = cost(self.day, from, &one).zip(cost(self.day, to, &other));
        let Some((one_costs, other_costs)) = costs else { return false };
        let sum = |one: Cost, other: Cost| [one[0] + other[0], one[1] + other[1], one[2] + other[2]];
        let gains = sum(one_costs, other_costs) < sum(self.costs[from], self.costs[to]);
        if gains {
            (self.served[from], self.served[to]) = (one, other);
            (self.costs[from], self.costs[to]) = (one_costs, other_costs);
        }
        gains
    }
}

/// What a machine's day costs; `None` if it cannot have it.
fn cost(day: &Sessions, machine: usize, served: &[SessionIndex]) -> Option<Cost> {
    let index = MachineIndex(machine);
    let moves = || u64::from(count(changes_of_bay(day, index, served).len()));
    let costs = || {
        [moves(), u64::from(total_shortfall(day, index, served)), u64::from(load(day, index, served)).pow(4)]
    };
    fits(day, index, served).then(costs)
}
