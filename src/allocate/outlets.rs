//! The outlets of one machine, handed out to the sessions it serves.
//!
//! Sessions are intervals, so a machine with k outlets serves a set of them exactly if never more
//! than k meet, and taking the outlet that was free first hands over with the least total shortfall
//! of slack (interval partitioning). Windows in which a single outlet is out break that rule; such
//! machines are searched through outlet by outlet.

use std::collections::BTreeMap;

use super::sessions::{SessionIndex, Sessions, in_service};
use crate::clock::Moment;
use crate::unit_rules::{Machine, MachineIndex};

/// When each outlet was last free, by its place from 0; `None` before its first use.
type FreeFrom = Vec<Option<Moment>>;

/// Hands out outlets to `served`, which stand in the order of their starts. Returns an outlet from 1
/// for each, with the least total shortfall of slack between hand-overs; `None` if they do not fit.
pub(super) fn hand_out(day: &Sessions, machine: MachineIndex, served: &[SessionIndex]) -> Option<Vec<u8>> {
    let machine = day.unit.machine(machine);
    if machine.out_of_service.iter().all(|outage| outage.outlet.is_none()) {
        hand_out_alike(day, machine, served)
    } else {
        hand_out_each(day, machine, served)
    }
}

/// Hands out outlets that are all in service at the same times: the one that was free first.
fn hand_out_alike(day: &Sessions, machine: &Machine, served: &[SessionIndex]) -> Option<Vec<u8>> {
    let mut free: FreeFrom = vec![None; usize::from(machine.outlets)];
    let mut numbers = Vec::with_capacity(served.len());
    for &session in served {
        let hold = day.all[session].hold;
        let place = (0..free.len()).min_by_key(|&place| free[place])?;
        if free[place].is_some_and(|from| from > hold.from) || !in_service(day.unit, machine, 1, hold) {
            return None;
        }
        free[place] = Some(hold.until);
        numbers.push(number(place));
    }
    Some(numbers)
}

/// Hands out outlets that are out of service at different times, keeping for every state of the
/// outlets only the cheapest way to reach it.
fn hand_out_each(day: &Sessions, machine: &Machine, served: &[SessionIndex]) -> Option<Vec<u8>> {
    let start: FreeFrom = vec![None; usize::from(machine.outlets)];
    let mut ways: BTreeMap<FreeFrom, (u32, Vec<u8>)> = BTreeMap::from([(start, (0, Vec::new()))]);
    for &session in served {
        let hold = day.all[session].hold;
        let mut longer: BTreeMap<FreeFrom, (u32, Vec<u8>)> = BTreeMap::new();
        for (free, (cost, numbers)) in &ways {
            for place in 0..free.len() {
                let late = free[place].is_some_and(|from| from > hold.from);
                if late || !in_service(day.unit, machine, number(place), hold) {
                    continue;
                }
                let cost = cost + free[place].map_or(0, |from| shortfall(day, from, hold.from));
                let mut state = free.clone();
                state[place] = Some(hold.until);
                let mut numbers = numbers.clone();
                numbers.push(number(place));
                let way = (cost, numbers);
                let best = longer.entry(state).or_insert_with(|| way.clone());
                if way < *best {
                    *best = way;
                }
            }
        }
        ways = longer;
    }
    ways.into_values().min().map(|(_, numbers)| numbers)
}

/// By how much a hand-over falls short of the wished slack.
pub(super) fn shortfall(day: &Sessions, free: Moment, next: Moment) -> u32 {
    day.unit.rules.hand_over_slack.get().saturating_sub(next.since(free).get())
}

/// An outlet's number from its place.
fn number(place: usize) -> u8 {
    u8::try_from(place + 1).unwrap_or(u8::MAX)
}
