//! A good placement at once: sessions one after another, each to the machine that it costs least.
//!
//! Proves nothing; every other method starts from it.

use super::placement::{Placement, cap_is_free, changes_of_bay, fits, load, total_shortfall};
use super::sessions::{SessionIndex, Sessions};
use crate::unit_rules::MachineIndex;

/// Places the sessions in the order of their starts.
pub(super) fn place_in_turn(day: &Sessions) -> Placement {
    let mut placement: Placement = vec![None; day.all.len()];
    let mut served: Vec<Vec<SessionIndex>> = vec![Vec::new(); day.unit.machines.len()];
    for session in 0..day.all.len() {
        let placed = (0..session).filter(|&earlier| placement[earlier].is_some());
        if !cap_is_free(day, session, placed) {
            continue;
        }
        let choices = (0..served.len()).filter_map(|machine| cost(day, machine, &served[machine], session));
        let Some((_, machine)) = choices.min() else { continue };
        served[machine].push(session);
        placement[session] = Some(MachineIndex(machine));
    }
    placement
}

/// What it costs a machine to serve one session more: moves, shortfall of slack, load; `None` if it
/// cannot. The machine's place comes last, to break ties.
fn cost(
    day: &Sessions,
    machine: usize,
    served: &[SessionIndex],
    session: SessionIndex,
) -> Option<([u32; 3], usize)> {
    let index = MachineIndex(machine);
    let mut with_it = served.to_vec();
    with_it.push(session);
    if !fits(day, index, &with_it) {
        return None;
    }
    let moves = |served: &[SessionIndex]| super::placement::count(changes_of_bay(day, index, served).len());
    let shortfall = |served: &[SessionIndex]| total_shortfall(day, index, served);
    let more_moves = moves(&with_it) - moves(served);
    let more_shortfall = shortfall(&with_it) - shortfall(served);
    Some(([more_moves, more_shortfall, load(day, index, &with_it)], machine))
}
