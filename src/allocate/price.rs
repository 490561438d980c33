//! What moves are worth: how many patients would be without an outlet if fewer machines moved.
//!
//! Answered only where the plan moves a machine; changes nothing of the plan.

use std::cell::RefCell;

use super::engine::Microlp;
use super::ladder::Ladder;
use super::multipliers::{Goal, Multipliers};
use super::placement::{Placement, count, is_sound, score};
use super::slots::slots;
use super::sweep::{Limits, sweep};
use crate::unit_rules::{BayIndex, MachineIndex};

/// The share of a sweep's states that a price is worth: it changes nothing of the plan.
const SHARE_OF_WIDTH: usize = 4;

/// Nodes of the engine for a choice among days of machines.
const NODES: u64 = 50;

/// The most numbers of moves between none and the plan's that are looked at.
const BETWEEN_MOST: usize = 3;

/// What so many moves come to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Price {
    /// The most moves.
    pub moves: u32,
    /// Cooled patients without an outlet.
    pub without_outlet: u32,
    /// Whether no plan with so few moves leaves fewer without.
    pub proven: bool,
}

impl Ladder<'_> {
    /// The prices from no move on, below the plan's moves; numbers of moves that gain nothing are left out.
    /// Nothing where the plan moves no machine, or nothing is known of a plan without moves.
    pub fn prices(&mut self) -> Vec<Price> {
        let score = self.best.score;
        let dearer = |none: &Price| score.moves > 0 && none.without_outlet > score.without;
        let Some(mut last) = self.no_move.filter(dearer) else {
            return Vec::new();
        };
        let mut prices = vec![last];
        for moves in (1..score.moves).take(BETWEEN_MOST) {
            let next = self.price_of(moves, last.without_outlet);
            if next.without_outlet < last.without_outlet {
                prices.push(next);
                last = next;
            }
        }
        prices
    }

    /// Ends the prices with what the plan comes to. A better one may have been found since they were asked for: what
    /// it makes pointless is left out.
    pub fn end_prices(&mut self) {
        let score = self.best.score;
        self.best.prices.retain(|price| price.moves < score.moves && price.without_outlet > score.without);
        if !self.best.prices.is_empty() {
            let proven = score.without == self.best.bound_left_out;
            self.best.prices.push(Price { moves: score.moves, without_outlet: score.without, proven });
        }
    }

    /// The fewest without an outlet with at most so many moves; no more than `most`, which fewer moves
    /// come to.
    fn price_of(&mut self, moves: u32, most: u32) -> Price {
        let mut found = most;
        let known = self.known.clone();
        let tried = RefCell::default();
        let weighed = Multipliers::new(self.day, &known, &tried);
        let goal = Goal::LeftOutWithin { moves };
        let mut offer = |plan: Placement| {
            let score = score(self.day, &plan);
            if score.moves <= moves && score.without < found && is_sound(self.day, &plan) {
                found = score.without;
            }
            self.consider(plan);
            found
        };
        let climbed = weighed.bound(goal, most, &mut offer);
        if climbed.bound() < climbed.known
            && let Some(plan) = weighed.choose(goal, climbed.known, NODES, &Microlp)
        {
            offer(plan);
        }
        let bound = climbed.bound().max(self.best.bound_left_out);
        if bound < found {
            return self.swept_price(moves, bound, found);
        }
        Price { moves, without_outlet: found, proven: true }
    }

    /// The same, searched from a bound on, `found` being what is known to be possible.
    fn swept_price(&self, moves: u32, bound: u32, found: u32) -> Price {
        let bays: Vec<BayIndex> = (0..self.day.unit.bays.len()).map(BayIndex).collect();
        let sessions = self.sessions_in(&bays);
        let hopeless = count(self.day.all.len() - sessions.len());
        let slots = slots(self.day, &bays, &self.movable_in(&bays));
        let mut proven = true;
        for without in bound.max(hopeless)..found {
            if !self.sweep_the_day() {
                return Price { moves, without_outlet: found, proven: false };
            }
            let limits =
                Limits { left_out: without - hopeless, moves, width: self.effort.width / SHARE_OF_WIDTH };
            let outcome = sweep(self.day, &sessions, &slots, limits, None);
            if let Some((machines, _)) = outcome.best {
                let mut placement: Placement = vec![None; self.day.all.len()];
                place(&mut placement, &sessions, &machines);
                if is_sound(self.day, &placement) {
                    return Price { moves, without_outlet: without, proven };
                }
            }
            proven &= outcome.complete;
        }
        Price { moves, without_outlet: found, proven }
    }
}

/// Writes the machines of some sessions into a placement.
fn place(placement: &mut Placement, sessions: &[usize], machines: &[Option<MachineIndex>]) {
    for (&session, machine) in sessions.iter().zip(machines) {
        placement[session] = *machine;
    }
}
