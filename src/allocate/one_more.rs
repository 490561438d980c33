//! An outlet for one visit more, everybody else staying on the machine that they have.
//!
//! Looks for nothing better than that: whoever wants all machines to be thought of again allocates anew.

use super::ladder::Best;
use super::placement::{Placement, is_sound, score};
use super::sessions::Sessions;
use super::{Allocation, Cooling, allocation};
use crate::plan::DayPlan;
use crate::unit_rules::MachineIndex;
use crate::validate::DayList;

/// The ways to serve the visit at the place `visit`, fewest moves and least missing slack first. `kept` is
/// the allocation of the others, one entry a visit in their order; `bound` is what their day was proven not
/// to go below of patients without an outlet, which one visit more cannot lower.
pub(crate) fn beside(
    list: &DayList,
    plan: &DayPlan,
    visit: usize,
    kept: &[Cooling],
    bound: u32,
) -> Vec<Allocation> {
    let day = Sessions::of(list, plan);
    let machine_of = |other: usize| match kept.get(other - usize::from(other > visit)) {
        Some(Cooling::Outlet(hold)) if other != visit => Some(hold.machine),
        _ => None,
    };
    let as_kept: Placement = day.all.iter().map(|session| machine_of(session.visit)).collect();
    let Some(own) = day.all.iter().position(|session| session.visit == visit) else { return Vec::new() };
    let mut ways = Vec::new();
    for machine in (0..day.unit.machines.len()).map(MachineIndex) {
        let mut placement = as_kept.clone();
        placement[own] = Some(machine);
        if is_sound(&day, &placement) {
            ways.push((score(&day, &placement), placement));
        }
    }
    ways.sort_by_key(|(score, _)| *score);
    let made = |(score, placement)| {
        let best = Best {
            placement,
            score,
            bound_left_out: bound,
            bound_moves: 0,
            bound_shortfall: None,
            prices: Vec::new(),
        };
        allocation(&day, &best, list.visits.len())
    };
    ways.into_iter().map(made).collect()
}
