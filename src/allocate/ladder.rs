//! The way to the best plan, rung by rung; each stops as soon as what is found meets what is proven.
//!
//! In turn: sessions; pools of outlets; bays by themselves, no machine moving; whole days of machines at prices
//! that sessions fetch; machines counted by kind, for whom to leave out and what to send away; the bays between
//! which machines move, with only those machines movable; the whole day. Work is counted in nodes and states, never by the clock.

use std::cell::{Cell, OnceCell};

use super::engine::Microlp;
use super::even::even_out;
use super::fleet::Fleet;
use super::greedy::place_in_turn;
use super::known::{Known, known};
use super::multipliers::Multipliers;
use super::placement::{Placement, Score, count, is_sound, score};
use super::price::Price;
use super::rules::Goal;
use super::sessions::{SessionIndex, Sessions, most_at_once};
use super::slots::slots;
use super::sweep::{Cost, Limits, sweep};
use crate::clock::Span;
use crate::unit_rules::{BayIndex, MachineIndex};

/// The share of the engine's nodes that choosing among days of machines takes.
pub(super) const SHARE_OF_CHOICE: u64 = 10;

/// The share of a sweep's states where all that it can find is less slack missing.
const SHARE_OF_SLACK: usize = 4;

/// How much work may be spent; each step is about ten times the one before.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Effort {
    /// States that a sweep keeps.
    pub(super) width: usize,
    /// Nodes of the linear engine.
    pub(super) nodes: u64,
}

impl Effort {
    /// A tenth of the usual work.
    pub const QUICK: Self = Self { width: 100, nodes: 200 };
    /// Enough for a unit's day.
    pub const USUAL: Self = Self { width: 1000, nodes: 2000 };
    /// Ten times the usual work.
    pub const LONG: Self = Self { width: 10_000, nodes: 20_000 };
}

/// The best plan found, and what is proven.
pub(super) struct Best {
    pub placement: Placement,
    pub score: Score,
    /// What no plan goes below.
    pub bound_left_out: u32,
    /// What no plan with that few left out goes below; meaningful if the bound above is met.
    pub bound_moves: u32,
    /// What no plan as good as this one in the two above goes below: minutes of missing slack; `None`
    /// if nothing is known.
    pub bound_shortfall: Option<u32>,
    /// What fewer moves would come to.
    pub prices: Vec<Price>,
}

/// The search under way.
pub(super) struct Ladder<'a> {
    pub day: &'a Sessions<'a>,
    /// Its machines by crews, once somebody asks for them.
    fleet: &'a OnceCell<Fleet<'a>>,
    pub effort: Effort,
    pub best: Best,
    /// What is known of bays by themselves.
    pub known: Vec<Known>,
    /// The cost of the best plan in which no machine moves, if it is proven.
    pub without_moves: Option<Cost>,
    /// What the best plan found in which no machine moves comes to.
    pub no_move: Option<Price>,
    /// Sessions times machines of the sweeps of the whole day that were made.
    pub swept: Cell<u64>,
}

/// Finds the best plan within the effort.
pub(super) fn best(day: &Sessions, effort: Effort) -> Best {
    let placement = place_in_turn(day);
    let score = score(day, &placement);
    let best = Best {
        placement,
        score,
        bound_left_out: 0,
        bound_moves: 0,
        bound_shortfall: None,
        prices: Vec::new(),
    };
    let fleet = OnceCell::new();
    let mut ladder = Ladder {
        day,
        fleet: &fleet,
        effort,
        best,
        known: Vec::new(),
        without_moves: None,
        no_move: None,
        swept: Cell::new(0),
    };
    ladder.climb();
    ladder.best.prices = ladder.prices();
    ladder.even_out();
    ladder.prove_slack();
    ladder.even_out();
    ladder.end_prices();
    ladder.best
}

impl<'a> Ladder<'a> {
    /// The day's machines by crews.
    pub fn fleet(&self) -> &'a Fleet<'a> {
        self.fleet.get_or_init(|| Fleet::new(self.day))
    }

    /// Rung by rung.
    fn climb(&mut self) {
        if self.is_ideal() {
            return;
        }
        let settled = self.bays_by_themselves();
        if settled && self.best.score.moves == 0 && (self.best.score.without == 0 || !self.moves_can_help()) {
            self.best.bound_left_out = self.best.score.without;
            return;
        }
        if let Some(price) = self.no_move.filter(|price| price.proven && !self.moves_can_help()) {
            self.best.bound_left_out = price.without_outlet;
        }
        self.with_moves();
    }

    /// Makes the plan more even, and its hand-overs less tight, where changes of machines alone do that.
    fn even_out(&mut self) {
        let placement = even_out(self.day, &self.best.placement);
        self.consider(placement);
    }

    /// Finds out below what the missing slack cannot go, and makes it that small where that is found.
    fn prove_slack(&mut self) {
        let score = self.best.score;
        let no_move = self.without_moves.filter(|cost| cost[..2] == [score.without, score.moves]);
        self.best.bound_shortfall = if score.shortfall == 0 {
            Some(0)
        } else if let Some([_, _, shortfall]) = no_move {
            Some(shortfall)
        } else if (score.without, score.moves) == (self.best.bound_left_out, self.best.bound_moves) {
            let width = self.effort.width / SHARE_OF_SLACK;
            let complete = self.try_whole_day_with(score.without, score.moves, width);
            complete.then_some(self.best.score.shortfall)
        } else {
            None
        };
    }

    /// Whether nothing can be better.
    fn is_ideal(&self) -> bool {
        let score = self.best.score;
        (score.without, score.moves, score.shortfall) == (0, 0, 0)
    }

    /// Whether there is a machine that could move, and somewhere to move to.
    pub fn moves_can_help(&self) -> bool {
        let unit = self.day.unit;
        unit.bays.len() > 1 && unit.machines.iter().any(|machine| machine.movable)
    }

    /// Keeps a placement if it is better. One put together from parts may take more caps than there
    /// are, or ask too much of a machine: such a one is no plan.
    pub fn consider(&mut self, placement: Placement) {
        let score = score(self.day, &placement);
        if score < self.best.score && is_sound(self.day, &placement) {
            (self.best.placement, self.best.score) = (placement, score);
        }
    }

    /// The best plan in which no machine moves. Returns whether it is proven, slack included.
    fn bays_by_themselves(&mut self) -> bool {
        let mut placement: Placement = vec![None; self.day.all.len()];
        let (mut fewest, mut proven, mut total) = (true, true, [0; 3]);
        for bays in self.groups() {
            let sessions = self.sessions_in(&bays);
            let (least, found) = if bays.len() > 1 { self.least_left_out(&sessions) } else { (0, None) };
            let settled = self.settle(&bays, &sessions, (least, found), &mut placement);
            (fewest, proven) = (fewest && settled.fewest, proven && settled.proven);
            let left_out = (0..self.day.all.len())
                .filter(|&session| bays.contains(&self.day.all[session].bay) && placement[session].is_none());
            let left_out = count(left_out.count());
            if settled.fewest {
                self.known.extend(known(self.day, &bays, left_out));
            }
            if let Some(cost) = settled.cost {
                total = [total[0] + left_out, total[1] + cost[1], total[2] + cost[2]];
            }
        }
        if is_sound(self.day, &placement) {
            let without_outlet = count(placement.iter().filter(|machine| machine.is_none()).count());
            self.no_move = Some(Price { moves: 0, without_outlet, proven: fewest });
        }
        self.consider(placement);
        self.without_moves = proven.then_some(total);
        proven
    }

    /// What is left out of these sessions at least while no machine moves, and the best plan found on the way.
    fn least_left_out(&self, sessions: &[SessionIndex]) -> (u32, Option<Placement>) {
        let weighed = Multipliers::new(self.fleet(), &[]);
        let others = count(self.day.all.len() - sessions.len());
        let (mut fewest, mut best) = (count(sessions.len()), None);
        let mut offer = |plan: Placement| {
            if missed(sessions, &plan) < fewest && is_sound(self.day, &plan) {
                (fewest, best) = (missed(sessions, &plan), Some(plan));
            }
            others + fewest
        };
        let goal = Goal::LeftOutAtHome;
        let climbed = weighed.bound_of(goal, sessions, count(self.day.all.len()), &mut offer);
        let nodes = self.effort.nodes / SHARE_OF_CHOICE;
        let least = weighed.close(goal, &climbed, climbed.known, nodes, &Microlp, &mut offer);
        (least.saturating_sub(others), best)
    }

    /// Bays that have nothing to do with each other unless a machine moves: apart, but together where
    /// they share caps of a size that can run short.
    fn groups(&self) -> Vec<Vec<BayIndex>> {
        let mut groups: Vec<Vec<BayIndex>> =
            (0..self.day.unit.bays.len()).map(|bay| vec![BayIndex(bay)]).collect();
        for (size, stock) in self.day.unit.caps.iter().enumerate() {
            let users: Vec<(SessionIndex, Span)> = self.day.users_of(size).collect();
            let holds: Vec<Span> = users.iter().map(|user| user.1).collect();
            if holds.iter().all(|&hold| most_at_once(&holds, hold).0 <= stock.count as usize) {
                continue;
            }
            let uses =
                |group: &Vec<BayIndex>| users.iter().any(|user| group.contains(&self.day.all[user.0].bay));
            let (tied, apart): (Vec<_>, Vec<_>) = groups.into_iter().partition(uses);
            groups = apart;
            groups.push(tied.concat());
        }
        groups
    }

    /// The sessions of some bays that some machine suits.
    pub fn sessions_in(&self, bays: &[BayIndex]) -> Vec<SessionIndex> {
        let machines = self.day.unit.machines.len();
        let suited = |session: SessionIndex| {
            (0..machines).any(|machine| self.day.suits(MachineIndex(machine), session))
        };
        let here = (0..self.day.all.len()).filter(|&session| bays.contains(&self.day.all[session].bay));
        here.filter(|&session| suited(session)).collect()
    }

    /// Leaves out as few of `sessions` as can be while no machine moves; `least` are left out at least, and a plan may
    /// be known. Writes the machines into `placement`.
    pub fn settle(
        &self,
        bays: &[BayIndex],
        sessions: &[SessionIndex],
        (least, known): (u32, Option<Placement>),
        placement: &mut Placement,
    ) -> Settled {
        let slots = slots(self.day, bays, &[]);
        let mut fewest = true;
        let width = self.effort.width / if known.is_some() { SHARE_OF_SLACK } else { 1 };
        for left_out in least..=count(sessions.len()) {
            let limits = Limits { left_out, moves: 0, width };
            let outcome = sweep(self.day, sessions, &slots, limits, None);
            if let Some((machines, cost)) = outcome.best {
                for (&session, machine) in sessions.iter().zip(machines) {
                    placement[session] = machine;
                }
                return Settled { cost: Some(cost), fewest, proven: fewest && outcome.complete };
            }
            if let Some(known) = known.as_ref().filter(|known| missed(sessions, known) == left_out) {
                for &session in sessions {
                    placement[session] = known[session];
                }
                return Settled { cost: None, fewest, proven: false };
            }
            fewest &= outcome.complete;
        }
        Settled { cost: None, fewest: false, proven: false }
    }
}

/// How many of these sessions a plan leaves out.
fn missed(sessions: &[SessionIndex], placement: &Placement) -> u32 {
    count(sessions.iter().filter(|&&session| placement[session].is_none()).count())
}

/// What bays by themselves come to.
pub(super) struct Settled {
    /// The cost of the best way found.
    cost: Option<Cost>,
    /// Whether no fewer can be left out.
    fewest: bool,
    /// Whether nothing is cheaper.
    proven: bool,
}
