//! Goes through the sessions of some bays in the order of their starts and keeps every state in which
//! the machines can then be, each with the cheapest way to reach it.
//!
//! If no state had to be thrown away, the cheapest way is the best there is. If there were too many,
//! the most promising were kept, and the way found is merely a good one.

use super::counting::Guide;
use super::placement::count;
use super::pooled::fewest_left_out;
use super::sessions::{SessionIndex, Sessions};
use super::slots::Slot;
use super::states::{State, States};
use crate::unit_rules::MachineIndex;

/// Sessions left out, moves, minutes of missing slack: in this order.
pub(super) type Cost = [u32; 3];

/// How far a sweep may go.
#[derive(Clone, Copy, Debug)]
pub(super) struct Limits {
    /// The most sessions that may be left out.
    pub left_out: u32,
    /// The most moves.
    pub moves: u32,
    /// How many states are kept at a time.
    pub width: usize,
}

/// What a sweep ended with.
pub(super) struct Outcome {
    /// The cheapest way within the limits, if one was found: the machine of each session, and the cost.
    pub best: Option<(Vec<Option<MachineIndex>>, Cost)>,
    /// Whether nothing was thrown away: then nothing is cheaper, and if nothing was found, nothing is
    /// within the limits.
    pub complete: bool,
}

/// A state with the cheapest way to it.
struct Node {
    state: State,
    cost: Cost,
    step: Step,
}

/// How a state was reached.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Step {
    /// The place of the state before.
    from: usize,
    /// The outlet taken in it; `None` is left out.
    outlet: Option<usize>,
}

/// A sweep under way.
struct Sweep<'a> {
    states: States<'a>,
    limits: Limits,
    /// For each place, the fewest of the sessions from it on that must be left out.
    still_left_out: Vec<u32>,
    /// For each place, the most outlets that each bay can still want at once.
    peaks: Vec<Vec<u32>>,
    /// The most outlets of a machine that may move.
    largest_mover: u32,
}

/// Gives the sessions (in the order of their starts) machines of the slots as cheaply as can be.
pub(super) fn sweep(
    day: &Sessions,
    sessions: &[SessionIndex],
    slots: &[Slot],
    limits: Limits,
    guide: Option<&Guide>,
) -> Outcome {
    let movers = slots.iter().filter(|slot| slot.movable);
    let sweep = Sweep {
        states: States::new(day, sessions, slots, guide),
        limits,
        still_left_out: still_left_out(day, sessions, slots),
        peaks: peaks(day, sessions),
        largest_mover: count(movers.map(|slot| slot.outlets).max().unwrap_or(1)),
    };
    sweep.run()
}

impl Sweep<'_> {
    /// Goes through all sessions.
    fn run(&self) -> Outcome {
        let mut layers: Vec<Vec<Node>> = Vec::new();
        let mut layer =
            vec![Node { state: self.states.start(), cost: [0; 3], step: Step { from: 0, outlet: None } }];
        let mut complete = true;
        for place in 0..self.states.sessions.len() {
            let mut next = Vec::new();
            for (from, node) in layer.iter().enumerate() {
                self.grow(place, node, from, &mut next);
            }
            next.sort_unstable_by(|one, other| {
                (&one.state, one.cost, one.step).cmp(&(&other.state, other.cost, other.step))
            });
            next.dedup_by(|later, kept| later.state == kept.state);
            if next.len() > self.limits.width {
                complete = false;
                self.keep_promising(place + 1, &mut next);
            }
            layers.push(std::mem::replace(&mut layer, next));
        }
        let best = layer.first().map(|node| (self.trace(&layers, node.step), node.cost));
        Outcome { best, complete }
    }

    /// Every way to go on from a state with the session at `place`.
    fn grow(&self, place: usize, node: &Node, from: usize, next: &mut Vec<Node>) {
        let [left_out, moves, shortfall] = node.cost;
        for way in self.states.ways(place, &node.state) {
            let cost = [left_out, moves + way.moves, shortfall + way.shortfall];
            self.add(place, node, cost, Step { from, outlet: Some(way.outlet) }, next);
        }
        self.add(place, node, [left_out + 1, moves, shortfall], Step { from, outlet: None }, next);
    }

    /// Adds the state after a step, unless it is beyond the limits whatever follows.
    fn add(&self, place: usize, before: &Node, cost: Cost, step: Step, next: &mut Vec<Node>) {
        let within = |cost: Cost| cost[0] <= self.limits.left_out && cost[1] <= self.limits.moves;
        if !within([cost[0] + self.still_left_out[place + 1], cost[1], 0]) {
            return;
        }
        let state = self.states.after(place, &before.state, step.outlet, &mut []);
        if within(self.estimate(place + 1, &state, cost)) {
            next.push(Node { state, cost, step });
        }
    }

    /// What a state before the session at `place` will have cost in the end, at the least.
    fn estimate(&self, place: usize, state: &State, cost: Cost) -> Cost {
        let left_out = cost[0] + self.still_left_out[place];
        // Only if nobody may be left out any more must every peak be met, and only if nobody was
        // left out does everyone of the past still count in it.
        let moves = if self.limits.left_out > 0 || state.is_empty() {
            0
        } else {
            self.moves_still_needed(place, state)
        };
        [left_out, cost[1] + moves, cost[2]]
    }

    /// The moves without which the coming peaks of the bays cannot be met.
    fn moves_still_needed(&self, place: usize, state: &State) -> u32 {
        let outlets = self.states.outlets_by_bay(state);
        let missing =
            |(peak, outlets): (&u32, &u32)| peak.saturating_sub(*outlets).div_ceil(self.largest_mover);
        self.peaks[place].iter().zip(&outlets).map(missing).sum()
    }

    /// Keeps the states that promise most.
    fn keep_promising(&self, place: usize, nodes: &mut Vec<Node>) {
        nodes.sort_by_cached_key(|node| {
            (self.estimate(place, &node.state, node.cost), self.states.bound_until(&node.state))
        });
        nodes.truncate(self.limits.width);
    }

    /// Goes back from the last step and says which machine served whom.
    fn trace(&self, layers: &[Vec<Node>], last: Step) -> Vec<Option<MachineIndex>> {
        let mut steps = Vec::new();
        let mut step = last;
        for layer in layers.iter().rev() {
            let before = &layer[step.from];
            steps.push((&before.state, step.outlet));
            step = before.step;
        }
        let mut names: Vec<usize> = (0..self.states.slots.len()).collect();
        let mut slots = Vec::with_capacity(steps.len());
        for (place, (state, outlet)) in steps.into_iter().rev().enumerate() {
            slots.push(outlet.map(|outlet| names[self.states.slot_at(outlet)]));
            self.states.after(place, state, outlet, &mut names);
        }
        self.states.machines(&slots)
    }
}

/// For each place, the fewest of the sessions from it on that must be left out, with all outlets of a
/// bay as one pool, or of the whole scope if a machine may move.
fn still_left_out(day: &Sessions, sessions: &[SessionIndex], slots: &[Slot]) -> Vec<u32> {
    let outlets = |slots: &mut dyn Iterator<Item = &Slot>| slots.map(|slot| slot.outlets).sum::<usize>();
    let holds = |from: usize| sessions[from..].iter().map(|&session| &day.all[session]);
    let apart = slots.iter().all(|slot| !slot.movable);
    let fewest = |from: usize| {
        if !apart {
            return fewest_left_out(holds(from).map(|session| session.hold), outlets(&mut slots.iter()));
        }
        let bays = 0..day.unit.bays.len();
        let in_bay = bays.map(|bay| {
            let here = holds(from).filter(|session| session.bay.0 == bay).map(|session| session.hold);
            fewest_left_out(here, outlets(&mut slots.iter().filter(|slot| slot.bay.0 == bay)))
        });
        in_bay.sum()
    };
    (0..=sessions.len()).map(fewest).collect()
}

/// For each place, the most sessions of each bay that meet at its start or later.
fn peaks(day: &Sessions, sessions: &[SessionIndex]) -> Vec<Vec<u32>> {
    let mut peaks = vec![vec![0; day.unit.bays.len()]; sessions.len() + 1];
    for place in (0..sessions.len()).rev() {
        let now = &day.all[sessions[place]];
        let mut at_once = vec![0; day.unit.bays.len()];
        for &other in sessions {
            let other = &day.all[other];
            let running = other.hold.from <= now.hold.from && now.hold.from < other.hold.until;
            at_once[other.bay.0] += u32::from(running);
        }
        let later = peaks[place + 1].clone();
        peaks[place] = at_once.iter().zip(later).map(|(now, later)| later.max(*now)).collect();
    }
    peaks
}
