//! What moves are worth: how many patients would be without an outlet if fewer machines moved.
//!
//! Answered only where the plan moves a machine; changes nothing of the plan.

use super::engine::Microlp;
use super::ladder::Ladder;
use super::multipliers::{Climbed, Multipliers};
use super::placement::{Placement, is_sound, score};
use super::rules::Goal;

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
        let known = self.known.clone();
        let weighed = Multipliers::new(self.fleet(), &known);
        let (mut prices, mut climbed) = (vec![last], None);
        for moves in (1..score.moves).take(BETWEEN_MOST) {
            let next = self.price_of(&weighed, moves, last.without_outlet, &mut climbed);
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
    /// come to. Begins where prices of sessions were for fewer moves.
    fn price_of(
        &mut self,
        weighed: &Multipliers<'_>,
        moves: u32,
        most: u32,
        climbed: &mut Option<Climbed>,
    ) -> Price {
        let (mut found, least) = (most, self.best.bound_left_out);
        let goal = Goal::LeftOutWithin { moves };
        let mut offer = |plan: Placement| {
            let score = score(self.day, &plan);
            if score.moves <= moves && score.without < found && is_sound(self.day, &plan) {
                found = score.without;
            }
            self.consider(plan);
            found
        };
        let now = match climbed.take() {
            Some(before) => weighed.bound_from(goal, before, most, &mut offer),
            None => weighed.bound(goal, most, &mut offer),
        };
        let bound = weighed.close(goal, &now, now.known, NODES, &Microlp, &mut offer);
        *climbed = Some(now);
        Price { moves, without_outlet: found, proven: found <= bound.max(least) }
    }
}
