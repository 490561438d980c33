//! The machines of a day by crews, and plans that they make in turn: each takes the day that is worth most to it of
//! what the others leave.
//!
//! Proves nothing.

use super::machine_days::{Crew, Worth, Worths, crews};
use super::placement::{Placement, cap_is_free, changes_of_bay, score, served_by};
use super::rules::{Goal, STAYS, WHOLE};
use super::sessions::{Pair, SessionIndex, Sessions};
use crate::unit_rules::{BayIndex, MachineIndex};

/// While a plan is made better: a session that is served, so much that no moves and no prices weigh it up; and a
/// move, which weighs more than all prices of a day.
const SERVED: Worth = 10_000 * MOVE;
const MOVE: Worth = 1_000 * WHOLE;

/// The most rounds in which every two machines choose anew.
const ROUNDS_OF_PAIRS: u32 = 4;

/// The machines of a day.
pub(super) struct Fleet<'a> {
    /// The day.
    pub day: &'a Sessions<'a>,
    /// The machines by crews.
    pub crews: Vec<Crew>,
    /// Two sessions of a bay that can be on one machine at the same time, in order: a pair's place is its number.
    pub pairs: Vec<Pair>,
}

/// A machine with its crew and its bay in the morning.
type Member<'f> = (&'f Crew, MachineIndex, BayIndex);

impl<'a> Fleet<'a> {
    /// The machines of a day.
    pub fn new(day: &'a Sessions<'a>) -> Self {
        let pairs = day.pairs();
        Self { day, crews: crews(day, &pairs), pairs }
    }

    /// A plan: one machine after another takes the best day of what is left.
    pub fn plan(&self, goal: Goal, worths: &Worths) -> Placement {
        let mut left = worths.clone();
        left.pairs.fill(0);
        let mut placement: Placement = vec![None; self.day.all.len()];
        let (movable, staying): (Vec<&Crew>, Vec<&Crew>) = self.crews.iter().partition(|crew| crew.movable);
        for crew in staying.into_iter().chain(movable) {
            for &(machine, home) in &crew.machines {
                for session in crew.best_days(&left).served(home) {
                    left.sessions[session] = 0;
                    self.give(&mut placement, session, machine);
                }
            }
        }
        match goal {
            Goal::LeftOutWithin { moves } => self.stay_within(&mut placement, moves, &worths.sessions),
            Goal::LeftOutAtHome => {}
            Goal::LeftOut | Goal::Moves { .. } => {
                for machine in self.members() {
                    self.choose_anew(&mut placement, &[machine], &worths.sessions, MOVE);
                }
            }
        }
        placement
    }

    /// Lets every two machines choose their days anew, until a round gains nothing.
    pub fn improve(&self, placement: &Placement) -> Placement {
        let machines: Vec<Member> = self.members().collect();
        let worth = vec![0; placement.len()];
        let mut best = (placement.clone(), score(self.day, placement));
        for _ in 0..ROUNDS_OF_PAIRS {
            let before = best.1;
            for first in 0..machines.len() {
                for second in (0..machines.len()).filter(|&second| second != first) {
                    let mut placement = best.0.clone();
                    self.choose_anew(&mut placement, &[machines[first], machines[second]], &worth, MOVE);
                    let score = score(self.day, &placement);
                    if score < best.1 {
                        best = (placement, score);
                    }
                }
            }
            if best.1 == before {
                break;
            }
        }
        best.0
    }

    /// Every machine.
    fn members(&self) -> impl Iterator<Item = Member<'_>> {
        self.crews
            .iter()
            .flat_map(|crew| crew.machines.iter().map(move |&(machine, home)| (crew, machine, home)))
    }

    /// Lets machines choose their days anew, one after another, of their own sessions and those left out.
    fn choose_anew(
        &self,
        placement: &mut Placement,
        machines: &[Member<'_>],
        worth: &[Worth],
        move_price: Worth,
    ) {
        for session in placement.iter_mut() {
            if machines.iter().any(|&(_, machine, _)| *session == Some(machine)) {
                *session = None;
            }
        }
        let mut worths = Worths {
            sessions: vec![0; placement.len()],
            moves: vec![move_price; self.day.unit.bays.len()],
            pairs: vec![0; self.pairs.len()],
        };
        for &(crew, machine, home) in machines {
            let cooled: Vec<SessionIndex> =
                (0..placement.len()).filter(|&other| placement[other].is_some()).collect();
            for session in 0..placement.len() {
                let open =
                    placement[session].is_none() && cap_is_free(self.day, session, cooled.iter().copied());
                worths.sessions[session] = if open { SERVED + worth[session].clamp(0, WHOLE) } else { 0 };
            }
            for session in crew.best_days(&worths).served(home) {
                self.give(placement, session, machine);
            }
        }
    }

    /// Keeps machines at home until no more move than may: first those by whose moves the fewest are served.
    fn stay_within(&self, placement: &mut Placement, most: u32, worth: &[Worth]) {
        loop {
            let now = score(self.day, placement);
            if now.moves <= most {
                return;
            }
            let at_home = |machine: Member<'_>| {
                let served = served_by(placement, machine.1);
                if changes_of_bay(self.day, machine.1, &served).is_empty() {
                    return None;
                }
                let mut placement = placement.clone();
                self.choose_anew(&mut placement, &[machine], worth, STAYS);
                Some((score(self.day, &placement).without, machine.1, placement))
            };
            let Some((_, _, without)) =
                self.members().filter_map(at_home).min_by_key(|(without, machine, _)| (*without, *machine))
            else {
                return;
            };
            *placement = without;
        }
    }

    /// Gives a session a machine if there is a cap for it.
    fn give(&self, placement: &mut Placement, session: SessionIndex, machine: MachineIndex) {
        let cooled = (0..placement.len()).filter(|&other| placement[other].is_some());
        if cap_is_free(self.day, session, cooled) {
            placement[session] = Some(machine);
        }
    }
}
