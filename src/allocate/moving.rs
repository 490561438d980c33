//! The rung on which machines move between bays.

use super::counting::{Counted, Counting, Detail, Guide};
use super::engine::{Microlp, Verdict};
use super::ladder::{Ladder, SHARE_OF_CHOICE};
use super::multipliers::{Climbed, Multipliers};
use super::placement::{Placement, count};
use super::rules::Goal;
use super::sessions::SessionIndex;
use super::slots::slots;
use super::sweep::{Limits, sweep};
use crate::unit_rules::{BayIndex, MachineIndex};

/// How many numbers of moves above the bound are tried, one by one, before any number will do.
const STEPS_OF_MOVES: u32 = 2;

/// Sessions times machines of all sweeps of whole days together: forty sweeps of a day with sixty visits and twenty
/// machines, one of a day with three hundred and a hundred.
const SWEEP_WORK: u64 = 50_000;

/// The share of the engine's nodes that the coarse relaxation takes; others follow that say more.
const COARSE_SHARE: u64 = 8;

/// Sessions times machines of a day for which all nodes are spent on whole days of machines; a larger day gets fewer.
const USUAL_DAY: u64 = 60 * 20;

/// A day of which no more sweeps than this can be made is a large one.
const FEW_SWEEPS: u64 = 3;

impl<'a> Ladder<'a> {
    fn counting(&self, detail: Detail) -> Counting<'a> {
        let mut counting = Counting::new(self.day, detail);
        for known in &self.known {
            counting.add_known(known);
        }
        counting
    }

    /// Tries the smallest numbers of sessions left out and of moves that are not ruled out.
    pub fn with_moves(&mut self) {
        self.weigh_machine_days();
        if self.is_met() {
            return;
        }
        let coarse = self.counting(Detail::Coarse);
        self.count_left_out(&coarse, self.effort.nodes / COARSE_SHARE);
        if self.is_met() {
            return;
        }
        self.try_with(&coarse, self.best.bound_left_out, self.effort.nodes / COARSE_SHARE);
        if self.is_met() {
            return;
        }
        self.try_any_moves();
        let fine = Some(self.counting(Detail::Fine)).filter(|fine| !fine.is_too_large()).unwrap_or(coarse);
        self.count_left_out(&fine, self.effort.nodes);
        if self.is_met() {
            return;
        }
        let mut left_out = self.best.bound_left_out;
        let mut ruled_out = true;
        while left_out <= self.best.score.without && self.can_sweep_the_day() {
            if ruled_out {
                self.raise_left_out(left_out);
            }
            let Some(moves) = self.try_with(&fine, left_out, self.effort.nodes) else {
                left_out += 1;
                continue;
            };
            if self.reached(left_out, moves) {
                return;
            }
            for more in 0..=STEPS_OF_MOVES {
                let complete = self.try_whole_day(left_out, moves + more);
                if self.reached(left_out, moves + more) {
                    return;
                }
                ruled_out &= complete;
                if ruled_out {
                    self.best.bound_moves = moves + more + 1;
                }
            }
            ruled_out &= self.try_whole_day(left_out, u32::MAX);
            if self.best.score.without <= left_out {
                return;
            }
            left_out += 1;
        }
    }

    /// Bounds from whole days of machines, and plans made of them: first for sessions left out, then, where that
    /// bound is met, for moves.
    fn weigh_machine_days(&mut self) {
        let known = self.known.clone();
        let weighed = Multipliers::new(self.fleet(), &known);
        let goal = Goal::LeftOut;
        let open = (self.best.score.without > self.best.bound_left_out).then(|| self.weigh(&weighed, goal));
        // Plans of few moves are fewer, and so sooner found than any that leaves out as few.
        if !self.is_met() {
            self.weigh_moves(&weighed, self.best.bound_left_out);
        }
        if let Some(climbed) = open.filter(|_| self.best.score.without > self.best.bound_left_out) {
            self.close(&weighed, goal, &climbed);
            if !self.is_met() {
                self.weigh_moves(&weighed, self.best.score.without);
            }
        }
    }

    /// What no plan goes below in moves that leaves out so few, and plans towards that.
    fn weigh_moves(&mut self, weighed: &Multipliers<'_>, left_out: u32) {
        let goal = Goal::Moves { left_out };
        let climbed = self.weigh(weighed, goal);
        self.close(weighed, goal, &climbed);
    }

    /// What no plan goes below at prices, and plans that are made on the way.
    fn weigh(&mut self, weighed: &Multipliers<'_>, goal: Goal) -> Climbed {
        let climbed = weighed.bound(goal, self.level(goal), |plan| self.level_with(plan, goal));
        self.raise(goal, climbed.bound());
        self.improve();
        climbed
    }

    /// Closes what is left between a bound and the best plan, as far as the engine's nodes suffice.
    fn close(&mut self, weighed: &Multipliers<'_>, goal: Goal, climbed: &Climbed) {
        let nodes = self.nodes_for_days() / SHARE_OF_CHOICE;
        let least = weighed.close(goal, climbed, self.level(goal), nodes, &Microlp, |plan| {
            self.consider(plan);
            self.improve();
            self.level(goal)
        });
        self.raise(goal, least);
    }

    /// Makes the best plan better by pairs of machines, unless it is as good as can be.
    fn improve(&mut self) {
        if !self.is_met() {
            self.consider(self.fleet().improve(&self.best.placement));
        }
    }

    /// The engine's nodes, fewer on a large day.
    fn nodes_for_days(&self) -> u64 {
        self.effort.nodes * USUAL_DAY / self.sweep_of_the_day().max(USUAL_DAY)
    }

    /// Takes a bound.
    fn raise(&mut self, goal: Goal, bound: u32) {
        match goal {
            Goal::Moves { left_out } if left_out == self.best.bound_left_out => {
                self.best.bound_moves = self.best.bound_moves.max(bound);
            }
            Goal::LeftOut => self.raise_left_out(bound),
            _ => {}
        }
    }

    /// What the best plan comes to, with one more to choose from.
    fn level_with(&mut self, plan: Placement, goal: Goal) -> u32 {
        self.consider(plan);
        self.level(goal)
    }

    /// What the best plan comes to; more than any plan needs where it leaves out more than the goal allows.
    fn level(&self, goal: Goal) -> u32 {
        match goal {
            Goal::Moves { left_out } if self.best.score.without > left_out => self.most_moves(),
            Goal::Moves { .. } => self.best.score.moves,
            Goal::LeftOut | Goal::LeftOutAtHome | Goal::LeftOutWithin { .. } => self.best.score.without,
        }
    }

    /// Takes a bound on sessions left out; what is known of moves with fewer of them says nothing of more.
    fn raise_left_out(&mut self, bound: u32) {
        if bound > self.best.bound_left_out {
            (self.best.bound_left_out, self.best.bound_moves) = (bound, 0);
        }
    }

    /// More moves than any plan needs.
    fn most_moves(&self) -> u32 {
        count(self.day.all.len())
    }

    /// On a day so large that few sweeps can be made of it, the first looks for any better plan.
    fn try_any_moves(&mut self) {
        let few = SWEEP_WORK / FEW_SWEEPS;
        if let Some(fewer) = self.best.score.without.checked_sub(1).filter(|_| self.sweep_of_the_day() > few)
        {
            self.try_whole_day(fewer, u32::MAX);
        }
    }

    /// What a sweep of the whole day costs: its sessions times its machines.
    fn sweep_of_the_day(&self) -> u64 {
        self.day.all.len() as u64 * self.day.unit.machines.len() as u64
    }

    /// Whether there is work left for one more sweep of the whole day.
    fn can_sweep_the_day(&self) -> bool {
        self.swept.get() + self.sweep_of_the_day() <= SWEEP_WORK
    }

    /// Takes the work of one sweep of the whole day, if so much is left.
    pub fn sweep_the_day(&self) -> bool {
        let can = self.can_sweep_the_day();
        if can {
            self.swept.set(self.swept.get() + self.sweep_of_the_day());
        }
        can
    }

    /// Takes the bound of a relaxation that counts, unless there is a plan that leaves out no more than is known.
    /// With a better bound, whole days of machines are looked at again.
    fn count_left_out(&mut self, counting: &Counting, nodes: u64) {
        let before = self.best.bound_left_out;
        if self.best.score.without > before
            && let Verdict::Found(answer) = counting.fewest_left_out(None, &Microlp, nodes)
        {
            self.raise_left_out(answer.bound);
            if self.best.bound_left_out > before {
                self.weigh_machine_days();
            }
        }
    }

    /// Whether the plan is as good as what is known to be possible, moves included.
    fn is_met(&self) -> bool {
        self.reached(self.best.bound_left_out, self.best.bound_moves)
    }

    fn reached(&self, left_out: u32, moves: u32) -> bool {
        (self.best.score.without, self.best.score.moves) <= (left_out, moves)
    }

    fn try_with(&mut self, counting: &Counting, left_out: u32, nodes: u64) -> Option<u32> {
        let verdict = counting.fewest_moves(left_out, &Microlp, nodes);
        if verdict == Verdict::Impossible {
            return None;
        }
        let answer = verdict.answer();
        let counted = answer.as_ref().and_then(|answer| counting.read(answer));
        let mut moves = answer.map_or(0, |answer| answer.bound);
        if self.best.bound_left_out == left_out {
            moves = moves.max(self.best.bound_moves);
            self.best.bound_moves = moves;
        }
        if let Some(counted) = counted.filter(|_| !self.reached(left_out, moves)) {
            self.try_counted(&counted, left_out, moves);
        }
        Some(moves)
    }

    /// Serves whom the relaxation serves, with the machines that it sends away.
    fn try_counted(&mut self, counted: &Counted, left_out: u32, moves: u32) {
        let mut placement: Placement = vec![None; self.day.all.len()];
        let served = |session: &SessionIndex| !counted.left_out[*session];
        let apart: Vec<BayIndex> =
            (0..self.day.unit.bays.len()).map(BayIndex).filter(|bay| !counted.bays.contains(bay)).collect();
        for bay in apart {
            let sessions: Vec<SessionIndex> = self.sessions_in(&[bay]).into_iter().filter(served).collect();
            self.settle(&[bay], &sessions, (0, None), &mut placement);
        }
        let all = self.sessions_in(&counted.bays);
        let chosen: Vec<SessionIndex> = all.iter().copied().filter(served).collect();
        let outside = |session: &SessionIndex| !counted.bays.contains(&self.day.all[*session].bay);
        let missed = |session: &SessionIndex| outside(session) && placement[*session].is_none();
        let elsewhere = count((0..placement.len()).filter(missed).count());
        let hopeless = count(
            (0..self.day.all.len()).filter(|s| counted.bays.contains(&self.day.all[*s].bay)).count()
                - all.len(),
        );
        let free = left_out.saturating_sub(elsewhere + hopeless);
        let movable = self.movable_in(&counted.bays);
        let guide: Option<&Guide> = counted.guide.as_ref();
        for (sessions, limit, movers, guide) in [
            (&chosen, 0, &counted.movers, guide),
            (&chosen, 0, &counted.movers, None),
            (&all, free, &counted.movers, None),
            (&chosen, 0, &movable, None),
            (&all, free, &movable, None),
        ] {
            let slots = slots(self.day, &counted.bays, movers);
            let outcome = sweep(
                self.day,
                sessions,
                &slots,
                Limits { left_out: limit, moves, width: self.effort.width },
                guide,
            );
            let mut placement = placement.clone();
            if let Some((machines, _)) = outcome.best {
                for (&session, machine) in sessions.iter().zip(machines) {
                    placement[session] = machine;
                }
                self.consider(placement.clone());
            }
            if self.reached(left_out, moves) {
                return;
            }
        }
    }

    /// Lets every movable machine move. Returns whether the outcome is proven; it is not where no work is left.
    pub fn try_whole_day(&mut self, left_out: u32, moves: u32) -> bool {
        self.try_whole_day_with(left_out, moves, self.effort.width)
    }

    /// The same with so many states.
    pub fn try_whole_day_with(&mut self, left_out: u32, moves: u32, width: usize) -> bool {
        if !self.sweep_the_day() {
            return false;
        }
        let bays: Vec<BayIndex> = (0..self.day.unit.bays.len()).map(BayIndex).collect();
        let sessions = self.sessions_in(&bays);
        let hopeless = count(self.day.all.len() - sessions.len());
        let Some(left_out) = left_out.checked_sub(hopeless) else { return true };
        let slots = slots(self.day, &bays, &self.movable_in(&bays));
        let outcome = sweep(self.day, &sessions, &slots, Limits { left_out, moves, width }, None);
        if let Some((machines, _)) = outcome.best {
            let mut placement: Placement = vec![None; self.day.all.len()];
            for (&session, machine) in sessions.iter().zip(machines) {
                placement[session] = machine;
            }
            self.consider(placement);
        }
        outcome.complete
    }

    /// The movable machines of some bays.
    pub fn movable_in(&self, bays: &[BayIndex]) -> Vec<MachineIndex> {
        let machines = self.day.unit.machines.iter().enumerate();
        machines
            .filter(|(_, machine)| machine.movable && bays.contains(&machine.bay))
            .map(|(place, _)| MachineIndex(place))
            .collect()
    }
}
