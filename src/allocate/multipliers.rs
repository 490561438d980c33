//! A bound from whole days of machines: every session and every cap has a price, each machine takes the day that
//! is worth most to it, and prices are moved until what is wanted by too many is dear enough.
//!
//! This is Lagrangian relaxation with the steps of Held, Wolfe and Crowder, 'Validation of subgradient
//! optimization', Mathematical Programming 6 (1974). Whatever the prices, the bound holds; all numbers are whole.
//! On the way, the same prices build plans.

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};

use super::choice::{Asked, Choice, Choices, choose};
use super::engine::Engine;
use super::known::Known;
use super::machine_days::{Crew, Worth, crews};
use super::placement::{Placement, Score, cap_is_free, changes_of_bay, count, score, served_by};
use super::sessions::{SessionIndex, Sessions};
use crate::clock::Span;
use crate::unit_rules::{BayIndex, MachineIndex};

/// One session left out, or one move, as a worth.
const WHOLE: Worth = 10_000;

/// While a plan is made better: a session that is served, so much that no moves and no prices weigh it up; and a
/// move, which weighs more than all prices of a day.
const SERVED: Worth = 10_000 * MOVE;
const MOVE: Worth = 1_000 * WHOLE;

/// The price of a move that no day is worth.
const STAYS: Worth = 1_000 * SERVED;

/// The most rounds in which every two machines choose anew.
const ROUNDS_OF_PAIRS: u32 = 4;

/// The most rounds in which prices are moved.
const ROUNDS: u32 = 400;

/// A plan is built in one round of so many.
const ROUNDS_A_PLAN: u32 = 8;

/// So many rounds without a better bound, and steps become half as long.
const PATIENCE: u32 = 12;

/// The most rounds in which prices are moved where a part of all plans is looked at, and the length of its first steps.
const ROUNDS_OF_A_PART: u32 = 100;
const STEP_OF_A_PART: Worth = 500;

/// The price of a session that a machine may not serve.
const BARRED: Worth = -STAYS;

/// The length of the first steps, and of those at which it is given up: thousandths of the way to the goal.
const LONGEST_STEP: Worth = 1500;
const SHORTEST_STEP: Worth = 8;

/// What is to be as small as can be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Goal {
    /// Sessions left out.
    LeftOut,
    /// Moves, with at most so many left out.
    Moves {
        /// The most that may be left out.
        left_out: u32,
    },
    /// Sessions left out, with at most so many moves.
    LeftOutWithin {
        /// The most moves.
        moves: u32,
    },
}

/// The relaxation of a day.
pub(super) struct Multipliers<'a> {
    day: &'a Sessions<'a>,
    crews: Vec<Crew>,
    /// Sessions that want a cap of one size at one time, where these are too few, and how many there are.
    scarce: Vec<(Vec<SessionIndex>, u32)>,
    /// What is known of bays by themselves.
    known: &'a [Known],
    /// The days that were worth most to machines in some round.
    tried: &'a RefCell<Choices>,
}

/// What a round of prices comes to.
struct Round {
    /// No plan goes below it.
    bound: Worth,
    /// By how much each rule is broken; below 0 there is room.
    broken: Vec<Worth>,
    /// The day of each machine.
    days: Vec<Choice>,
}

/// A part of all plans.
#[derive(Clone, Debug, Default)]
pub(super) struct Part {
    /// Sessions that are not left out.
    served: BTreeSet<SessionIndex>,
    /// Sessions that no machine of a crew serves: the crew's place, and the session.
    barred: BTreeSet<(usize, SessionIndex)>,
}

/// What moving prices came to.
pub(super) struct Climbed {
    /// No plan of the part goes below it.
    worth: Worth,
    /// The prices at which this was found.
    prices: Vec<Worth>,
    /// In how many rounds a crew served a session.
    served: BTreeMap<(usize, SessionIndex), u32>,
    /// How many rounds there were.
    rounds: u32,
}

impl Climbed {
    /// A whole number that no plan of the part goes below.
    pub fn bound(&self) -> u32 {
        u32::try_from(self.worth / WHOLE + Worth::from(self.worth % WHOLE > 0)).unwrap_or(0)
    }
}

impl<'a> Multipliers<'a> {
    /// The relaxation of a day.
    pub fn new(day: &'a Sessions<'a>, known: &'a [Known], tried: &'a RefCell<Choices>) -> Self {
        Self { day, crews: crews(day), scarce: scarce(day), known, tried }
    }

    /// What no plan can go below. Knows a plan that comes to `known`, and offers those that it builds.
    pub fn bound(&self, goal: Goal, known: u32, offer: impl FnMut(Placement)) -> (u32, Climbed) {
        let climbed = self.climb(goal, known, &Part::default(), None, offer);
        (climbed.bound(), climbed)
    }

    /// Moves prices up to what no plan of a part can go below, from the prices of another part on, if there is one.
    pub fn climb(
        &self,
        goal: Goal,
        known: u32,
        part: &Part,
        from: Option<&Climbed>,
        mut offer: impl FnMut(Placement),
    ) -> Climbed {
        let known = Worth::from(known) * WHOLE;
        let mut prices = from.map_or_else(|| self.first_prices(goal), |from| from.prices.clone());
        let (rounds, mut step) =
            if from.is_some() { (ROUNDS_OF_A_PART, STEP_OF_A_PART) } else { (ROUNDS, LONGEST_STEP) };
        let mut way: Vec<Worth> = vec![0; prices.len()];
        let mut idle = 0;
        let mut climbed = Climbed { worth: 0, prices: prices.clone(), served: BTreeMap::new(), rounds: 0 };
        for round in 0..rounds {
            let (worth, moves) = self.worths(goal, &prices);
            let now = self.round(goal, &prices, &worth, &moves, part);
            if now.bound > climbed.worth {
                (climbed.worth, idle) = (now.bound, 0);
                climbed.prices.clone_from(&prices);
            } else {
                idle += 1;
            }
            climbed.rounds += 1;
            for days in now.days {
                for &session in &days.served {
                    *climbed.served.entry((days.crew, session)).or_default() += 1;
                }
                self.tried.borrow_mut().insert(days);
            }
            if idle == PATIENCE {
                (idle, step) = (0, step / 2);
            }
            if round % ROUNDS_A_PLAN == 0 {
                let moves: Vec<Worth> = moves.iter().map(|&price| price.max(WHOLE / 8)).collect();
                offer(self.plan(goal, &worth, &moves));
            }
            if climbed.worth > known - WHOLE || step < SHORTEST_STEP {
                break;
            }
            let goal_is = known.min(climbed.worth + climbed.worth / 4 + 2 * WHOLE);
            go_on(&mut prices, &mut way, &now.broken, part, (goal_is - now.bound) * step / 1000);
        }
        climbed
    }

    /// Two parts that hold all plans of a part; nothing where its machines agree on whom they serve.
    pub fn halves(&self, part: &Part, climbed: &Climbed) -> Option<[Part; 2]> {
        let half = |rounds: u32| (2 * rounds).abs_diff(climbed.rounds);
        let mut of_session = vec![0; self.day.all.len()];
        for (&(_, session), rounds) in &climbed.served {
            of_session[session] += rounds;
        }
        let undecided = |rounds: u32| half(rounds) * 10 < climbed.rounds * 9;
        let session = (0..of_session.len())
            .filter(|&session| undecided(of_session[session]) && !part.served.contains(&session))
            .min_by_key(|&session| half(of_session[session]));
        if let Some(session) = session {
            let (mut served, mut left_out) = (part.clone(), part.clone());
            served.served.insert(session);
            left_out.barred.extend((0..self.crews.len()).map(|crew| (crew, session)));
            return Some([left_out, served]);
        }
        let (&(crew, session), _) = climbed
            .served
            .iter()
            .filter(|&(_, &rounds)| undecided(rounds))
            .min_by_key(|&(_, &rounds)| half(rounds))?;
        let (mut here, mut elsewhere) = (part.clone(), part.clone());
        here.barred
            .extend((0..self.crews.len()).filter(|&other| other != crew).map(|other| (other, session)));
        elsewhere.barred.insert((crew, session));
        Some([elsewhere, here])
    }

    /// The prices of the first round.
    fn first_prices(&self, goal: Goal) -> Vec<Worth> {
        let mut prices = vec![WHOLE / 2; self.day.all.len()];
        prices.extend(self.scarce.iter().map(|_| 0));
        prices.extend(self.known.iter().map(|_| 0));
        prices.extend((goal != Goal::LeftOut).then_some(WHOLE));
        prices
    }

    /// What each session is worth to a machine, and what coming to each bay costs it.
    fn worths(&self, goal: Goal, prices: &[Worth]) -> (Vec<Worth>, Vec<Worth>) {
        let last = prices.last().copied().unwrap_or(0);
        let (move_price, left_out) = match goal {
            Goal::LeftOut => (0, WHOLE),
            Goal::Moves { .. } => (WHOLE, last),
            Goal::LeftOutWithin { .. } => (last, WHOLE),
        };
        let (wanted, rest) = prices.split_at(self.day.all.len());
        let (caps, rest) = rest.split_at(self.scarce.len());
        let mut worth: Vec<Worth> = wanted.iter().map(|wanted| left_out - wanted).collect();
        let mut moves = vec![move_price; self.day.unit.bays.len()];
        for ((sessions, _), price) in self.scarce.iter().zip(caps) {
            for &session in sessions {
                worth[session] -= price;
            }
        }
        for (known, price) in self.known.iter().zip(rest) {
            for session in self.sessions_of(&known.bays) {
                worth[session] -= price;
            }
            for bay in &known.bays {
                moves[bay.0] -= price * Worth::from(known.relief);
            }
        }
        (worth, moves)
    }

    /// Every machine takes its best day.
    fn round(&self, goal: Goal, prices: &[Worth], worth: &[Worth], moves: &[Worth], part: &Part) -> Round {
        let (mut taken, mut served, mut arrivals) = (0, vec![0; worth.len()], vec![0; moves.len()]);
        let mut chosen = Vec::new();
        for (place, crew) in self.crews.iter().enumerate() {
            let mut worth = worth.to_vec();
            for &(_, session) in part.barred.range((place, 0)..(place + 1, 0)) {
                worth[session] = BARRED;
            }
            let days = crew.best_days(&worth, moves);
            for &(_, home) in &crew.machines {
                taken += days.worth(home);
                let mut bay = home;
                let choice = Choice { crew: place, home, served: days.served(home) };
                for &session in &choice.served {
                    served[session] += 1;
                    if self.day.all[session].bay != bay {
                        bay = self.day.all[session].bay;
                        arrivals[bay.0] += 1;
                    }
                }
                chosen.push(choice);
            }
        }
        let all = Worth::from(count(worth.len()));
        let mut broken: Vec<Worth> = served.iter().map(|served| served - 1).collect();
        let mut fixed: Vec<Worth> = vec![-1; worth.len()];
        for (sessions, caps) in &self.scarce {
            let held: Worth = sessions.iter().map(|&session| served[session]).sum();
            broken.push(held - Worth::from(*caps));
            fixed.push(-Worth::from(*caps));
        }
        for known in self.known {
            let (mut here, mut held) = (0, 0);
            for session in self.sessions_of(&known.bays) {
                (here, held) = (here + 1, held + served[session]);
            }
            let came: Worth = known.bays.iter().map(|bay| arrivals[bay.0]).sum();
            let least = Worth::from(known.least) - here;
            broken.push(least - Worth::from(known.relief) * came + held);
            fixed.push(least);
        }
        let mut bound = -taken;
        match goal {
            Goal::LeftOut => bound += all * WHOLE,
            Goal::Moves { left_out } => {
                broken.push(all - Worth::from(left_out) - served.iter().sum::<Worth>());
                fixed.push(all - Worth::from(left_out));
            }
            Goal::LeftOutWithin { moves } => {
                bound += all * WHOLE;
                broken.push(arrivals.iter().sum::<Worth>() - Worth::from(moves));
                fixed.push(-Worth::from(moves));
            }
        }
        bound += prices.iter().zip(&fixed).map(|(price, fixed)| price * fixed).sum::<Worth>();
        Round { bound, broken, days: chosen }
    }

    /// The best plan that is made of days that were worth most in some round, if it is better than one of this score.
    pub fn choose(
        &self,
        than: Score,
        fewest_left_out: bool,
        nodes: u64,
        engine: &impl Engine,
    ) -> Option<Placement> {
        let tried = self.tried.borrow();
        let machines = |crew: usize, home| {
            let here = self.crews[crew].machines.iter().filter(|machine| machine.1 == home);
            here.map(|machine| machine.0).collect()
        };
        let (left_out, moves) = match fewest_left_out {
            true => (than.without.checked_sub(1)?, count(self.day.all.len())),
            false => (than.without, than.moves.checked_sub(1)?),
        };
        let asked = Asked { fewest_left_out, scarce: &self.scarce, left_out, moves, nodes };
        choose(self.day, &tried, machines, asked, engine)
    }

    /// The sessions of some bays.
    fn sessions_of(&self, bays: &[BayIndex]) -> impl Iterator<Item = SessionIndex> {
        let of_bays = |session: &SessionIndex| bays.contains(&self.day.all[*session].bay);
        (0..self.day.all.len()).filter(of_bays)
    }

    /// A plan: one machine after another takes the best day of what is left.
    fn plan(&self, goal: Goal, worth: &[Worth], moves: &[Worth]) -> Placement {
        let mut left = worth.to_vec();
        let mut placement: Placement = vec![None; worth.len()];
        let (movable, staying): (Vec<&Crew>, Vec<&Crew>) = self.crews.iter().partition(|crew| crew.movable);
        for crew in staying.into_iter().chain(movable) {
            for &(machine, home) in &crew.machines {
                let served = crew.best_days(&left, moves).served(home);
                for session in served {
                    left[session] = 0;
                    self.give(&mut placement, session, machine);
                }
            }
        }
        match goal {
            Goal::LeftOutWithin { moves } => self.stay_within(&mut placement, moves, worth),
            Goal::LeftOut | Goal::Moves { .. } => {
                for (crew, machine, home) in self.machines() {
                    self.choose_anew(&mut placement, &[(crew, machine, home)], worth, MOVE);
                }
            }
        }
        placement
    }

    /// Every machine with its crew and its bay in the morning.
    fn machines(&self) -> impl Iterator<Item = (&Crew, MachineIndex, BayIndex)> {
        self.crews
            .iter()
            .flat_map(|crew| crew.machines.iter().map(move |&(machine, home)| (crew, machine, home)))
    }

    /// Lets machines choose their days anew, one after another, of their own sessions and those left out.
    fn choose_anew(
        &self,
        placement: &mut Placement,
        machines: &[(&Crew, MachineIndex, BayIndex)],
        worth: &[Worth],
        move_price: Worth,
    ) {
        for session in placement.iter_mut() {
            if machines.iter().any(|&(_, machine, _)| *session == Some(machine)) {
                *session = None;
            }
        }
        let moves = vec![move_price; self.day.unit.bays.len()];
        for &(crew, machine, home) in machines {
            let cooled: Vec<SessionIndex> =
                (0..placement.len()).filter(|&other| placement[other].is_some()).collect();
            let price = |session: SessionIndex| {
                let open =
                    placement[session].is_none() && cap_is_free(self.day, session, cooled.iter().copied());
                if open { SERVED + worth[session].clamp(0, WHOLE) } else { 0 }
            };
            let prices: Vec<Worth> = (0..placement.len()).map(price).collect();
            for session in crew.best_days(&prices, &moves).served(home) {
                self.give(placement, session, machine);
            }
        }
    }

    /// Lets every two machines choose their days anew, until a round gains nothing.
    pub fn improve(&self, placement: &Placement, mut offer: impl FnMut(Placement)) {
        let machines: Vec<_> = self.machines().collect();
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
        offer(best.0);
    }

    /// Keeps machines at home until no more move than may: first those by whose moves the fewest are served.
    fn stay_within(&self, placement: &mut Placement, most: u32, worth: &[Worth]) {
        loop {
            let now = score(self.day, placement);
            if now.moves <= most {
                return;
            }
            let at_home = |machine: (&Crew, MachineIndex, BayIndex)| {
                let served = served_by(placement, machine.1);
                if changes_of_bay(self.day, machine.1, &served).is_empty() {
                    return None;
                }
                let mut placement = placement.clone();
                self.choose_anew(&mut placement, &[machine], worth, STAYS);
                Some((score(self.day, &placement).without, machine.1, placement))
            };
            let Some((_, _, without)) =
                self.machines().filter_map(at_home).min_by_key(|(without, machine, _)| (*without, *machine))
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

/// Makes dearer what is broken and cheaper what has room, partly still in the direction of the round before
/// (Camerini, Fratta and Maffioli, 'On improving relaxation methods by modified gradient techniques', 1975).
fn go_on(prices: &mut [Worth], way: &mut [Worth], broken: &[Worth], part: &Part, far: Worth) {
    for (way, broken) in way.iter_mut().zip(broken) {
        *way = *way * 7 / 10 + broken * 100;
    }
    // A session that must be served may have a price below 0.
    let least = |place: usize| if part.served.contains(&place) { BARRED } else { 0 };
    let length: Worth = prices
        .iter()
        .zip(&*way)
        .enumerate()
        .filter(|(place, (price, way))| **way > 0 || **price > least(*place))
        .map(|(_, (_, way))| way * way)
        .sum();
    if length > 0 {
        for (place, (price, way)) in prices.iter_mut().zip(way).enumerate() {
            *price = (*price + far * 100 * *way / length).max(least(place));
        }
    }
}

/// Where caps of a size can be too few.
fn scarce(day: &Sessions) -> Vec<(Vec<SessionIndex>, u32)> {
    let mut scarce = Vec::new();
    for (size, stock) in day.unit.caps.iter().enumerate() {
        let users: Vec<(SessionIndex, Span)> = day.users_of(size).collect();
        for &(_, first) in &users {
            let held = users.iter().filter(|(_, hold)| hold.from <= first.from && first.from < hold.until);
            let held: Vec<SessionIndex> = held.map(|(session, _)| *session).collect();
            if count(held.len()) > stock.count {
                scarce.push((held, stock.count));
            }
        }
    }
    scarce
}
