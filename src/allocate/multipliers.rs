//! A bound from whole days of machines: every session and every cap has a price, each machine takes the day that
//! is worth most to it, and prices are moved until what is wanted by too many is dear enough.
//!
//! This is Lagrangian relaxation with the steps of Held, Wolfe and Crowder, 'Validation of subgradient
//! optimization', Mathematical Programming 6 (1974). Whatever the prices, the bound holds; all numbers are whole. Rules that
//! whole plans keep and fractions of days do not are priced as they are broken: see [`super::crowds`].
//! On the way, the same prices build plans.

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};

use super::choice::{Asked, Choice, Choices, choose};
use super::crowds::Crowds;
use super::engine::Engine;
use super::known::Known;
use super::machine_days::{Crew, Worth, Worths, crews};
use super::placement::{Placement, cap_is_free, changes_of_bay, count, score, served_by};
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

/// How far prices are moved: the most rounds, and the length of the first steps, in thousandths of the way to the goal.
struct Pace {
    rounds: u32,
    step: Worth,
}

/// From nothing known; once more from where steps had become too short; and for a part of all plans.
const FIRST: Pace = Pace { rounds: 700, step: 1500 };
const AGAIN: Pace = Pace { rounds: 700, step: 1000 };
const OF_A_PART: Pace = Pace { rounds: 100, step: 500 };

/// Prices are moved once more so often, as long as each time gains so much.
const TIMES_AGAIN: u32 = 6;
const WORTH_AGAIN: Worth = WHOLE / 20;

/// A plan is built in one round of so many.
const ROUNDS_A_PLAN: u32 = 8;

/// So many rounds without a better bound, and steps become three quarters as long.
const PATIENCE: u32 = 15;

/// Crowds are looked for each time after so many rounds, in what was done in them.
const ROUNDS_A_CROWD: u32 = 40;

/// Parts that may be open at once: with more, halving rules out too little to be worth going on.
const DEPTH: usize = 12;

/// The price of a session that a machine may not serve.
const BARRED: Worth = -STAYS;

/// The length of steps at which it is given up: thousandths of the way to the goal.
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
    /// Sessions left out, no machine moving.
    LeftOutAtHome,
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
    /// The crowds whose pairs were too many in some rounds.
    crowds: RefCell<Crowds>,
    /// Nothing for any pair.
    free_pairs: Vec<Worth>,
}

/// What a round of prices comes to.
struct Round {
    /// No plan goes below it.
    bound: Worth,
    /// By how much each rule is broken; below 0 there is room.
    broken: Vec<Worth>,
    /// The day of each machine.
    days: Vec<Choice>,
    /// How often each pair of the day is together.
    together: Vec<u32>,
}

/// A part of all plans.
#[derive(Clone, Debug, Default)]
struct Part {
    /// Sessions that are not left out.
    served: BTreeSet<SessionIndex>,
    /// Sessions that no machine of a crew serves: the crew's place, and the session.
    barred: BTreeSet<(usize, SessionIndex)>,
}

/// What moving prices came to.
#[derive(Clone)]
pub(super) struct Climbed {
    /// No plan of the part goes below it.
    worth: Worth,
    /// The prices at which this was found.
    prices: Vec<Worth>,
    /// What the best plan comes to that was known at the end.
    pub known: u32,
    /// In how many rounds a crew served a session.
    served: BTreeMap<(usize, SessionIndex), u32>,
    /// How many rounds there were.
    rounds: u32,
}

impl Climbed {
    /// A whole number that no plan of the part goes below.
    pub fn bound(&self) -> u32 {
        let worth = self.worth.max(0);
        u32::try_from(worth / WHOLE + Worth::from(worth % WHOLE > 0)).unwrap_or(0)
    }
}

impl Goal {
    /// Whether something else than what is to be small has a limit, and so a price.
    fn limits(self) -> bool {
        matches!(self, Self::Moves { .. } | Self::LeftOutWithin { .. })
    }
}

impl<'a> Multipliers<'a> {
    /// The relaxation of a day.
    pub fn new(day: &'a Sessions<'a>, known: &'a [Known], tried: &'a RefCell<Choices>) -> Self {
        let crowds = Crowds::new(day);
        Self {
            day,
            crews: crews(day, crowds.pairs()),
            scarce: scarce(day),
            known,
            tried,
            free_pairs: vec![0; crowds.pairs().len()],
            crowds: RefCell::new(crowds),
        }
    }

    /// What no plan can go below. Knows a plan that comes to `known`, and offers those that it builds; the answer to an
    /// offer is what the best plan known comes to.
    pub fn bound(&self, goal: Goal, known: u32, offer: impl FnMut(Placement) -> u32) -> Climbed {
        self.climb(goal, known, &Part::default(), None, FIRST, offer)
    }

    /// The same once more and again, from the prices that were found on, as long as that gains something.
    pub fn bound_again(
        &self,
        goal: Goal,
        climbed: Climbed,
        known: u32,
        mut offer: impl FnMut(Placement) -> u32,
    ) -> Climbed {
        let mut climbed = Climbed { known, ..climbed };
        for _ in 0..TIMES_AGAIN {
            if climbed.bound() >= climbed.known {
                break;
            }
            let again = self.climb(goal, climbed.known, &Part::default(), Some(&climbed), AGAIN, &mut offer);
            let gained = again.worth - climbed.worth;
            climbed = again;
            if gained < WORTH_AGAIN {
                break;
            }
        }
        climbed
    }

    /// What no plan can go below that serves some sessions alone: all others count as left out.
    pub fn bound_of(
        &self,
        goal: Goal,
        alone: &[SessionIndex],
        known: u32,
        offer: impl FnMut(Placement) -> u32,
    ) -> Climbed {
        let others = (0..self.day.all.len()).filter(|session| !alone.contains(session));
        let barred = others.flat_map(|session| (0..self.crews.len()).map(move |crew| (crew, session)));
        self.climb(goal, known, &Part { barred: barred.collect(), ..Part::default() }, None, FIRST, offer)
    }

    /// Moves prices up to what no plan of a part can go below, from the prices of another part on, if there is one.
    fn climb(
        &self,
        goal: Goal,
        known: u32,
        part: &Part,
        from: Option<&Climbed>,
        pace: Pace,
        mut offer: impl FnMut(Placement) -> u32,
    ) -> Climbed {
        let mut prices = from.map_or_else(|| self.first_prices(goal), |from| from.prices.clone());
        let Pace { rounds, mut step } = pace;
        let mut way: Vec<Worth> = Vec::new();
        let (mut idle, mut together) = (0, vec![0; self.free_pairs.len()]);
        let mut climbed =
            Climbed { worth: Worth::MIN, prices: prices.clone(), known, served: BTreeMap::new(), rounds: 0 };
        for round in 0..rounds {
            prices.resize(self.number_of_prices(goal), 0);
            way.resize(prices.len(), 0);
            let (worth, moves, pairs) = self.worths(goal, &prices);
            let worths = Worths { sessions: &worth, moves: &moves, pairs: &pairs };
            let now = self.round(goal, &prices, worths, part);
            if now.bound > climbed.worth {
                (climbed.worth, idle) = (now.bound, 0);
                climbed.prices.clone_from(&prices);
            } else {
                idle += 1;
            }
            climbed.rounds += 1;
            for (sum, now) in together.iter_mut().zip(&now.together) {
                *sum += now;
            }
            for days in now.days {
                for &session in &days.served {
                    *climbed.served.entry((days.crew, session)).or_default() += 1;
                }
                self.tried.borrow_mut().insert(days);
            }
            if idle == PATIENCE {
                (idle, step) = (0, step * 3 / 4);
            }
            if round % ROUNDS_A_PLAN == 0 {
                let moves: Vec<Worth> = moves.iter().map(|&price| price.max(WHOLE / 8)).collect();
                climbed.known = climbed.known.min(offer(self.plan(goal, &worth, &moves)));
            }
            let known = Worth::from(climbed.known) * WHOLE;
            if climbed.worth > known - WHOLE || step < SHORTEST_STEP {
                break;
            }
            let goal_is = known.min(climbed.worth + climbed.worth.max(0) / 4 + 2 * WHOLE);
            go_on(&mut prices, &mut way, &now.broken, part, (goal_is - now.bound) * step / 1000);
            if climbed.rounds.is_multiple_of(ROUNDS_A_CROWD) {
                self.crowds.borrow_mut().find(&together, ROUNDS_A_CROWD);
                together.fill(0);
            }
        }
        climbed
    }

    /// Looks at all plans in ever smaller parts, until none can be better than the best known, or that meets what is
    /// known of all, or too many parts were looked at. Returns what the best known comes to if none can be better.
    pub fn rule_out(
        &self,
        goal: Goal,
        climbed: &Climbed,
        known: u32,
        parts: u64,
        mut offer: impl FnMut(Placement) -> u32,
    ) -> Option<u32> {
        let (mut known, bound, mut parts_left) = (known, climbed.bound(), parts);
        let mut open = vec![(Part::default(), climbed.clone())];
        while let Some((part, climbed)) = open.pop() {
            for half in self.halves(&part, &climbed)? {
                if known <= bound {
                    return Some(known);
                }
                if parts_left == 0 || open.len() > DEPTH {
                    return None;
                }
                parts_left -= 1;
                let climbed = self.climb(goal, known, &half, Some(&climbed), OF_A_PART, &mut offer);
                known = climbed.known;
                if climbed.bound() < known {
                    open.push((half, climbed));
                }
            }
        }
        Some(known)
    }

    /// Two parts that hold all plans of a part; nothing where its machines agree on whom they serve.
    fn halves(&self, part: &Part, climbed: &Climbed) -> Option<[Part; 2]> {
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

    /// The prices of the first round: of sessions, scarce caps, what is known of bays, and what the goal limits. Those
    /// of the crowds found follow.
    fn first_prices(&self, goal: Goal) -> Vec<Worth> {
        let mut prices = vec![WHOLE / 2; self.day.all.len()];
        prices.extend(self.scarce.iter().map(|_| 0));
        prices.extend(self.known.iter().map(|_| 0));
        prices.extend(goal.limits().then_some(WHOLE));
        prices
    }

    /// How many prices there are now.
    fn number_of_prices(&self, goal: Goal) -> usize {
        let before_crowds = self.day.all.len() + self.scarce.len() + self.known.len();
        before_crowds + usize::from(goal.limits()) + self.crowds.borrow().len()
    }

    /// What each session is worth to a machine, what coming to each bay costs it, and what each pair does.
    fn worths(&self, goal: Goal, prices: &[Worth]) -> (Vec<Worth>, Vec<Worth>, Vec<Worth>) {
        let crowds = self.crowds.borrow();
        let (prices, of_crowds) = prices.split_at(prices.len() - crowds.len());
        let last = prices.last().copied().unwrap_or(0);
        let (move_price, left_out) = match goal {
            Goal::LeftOut => (0, WHOLE),
            Goal::Moves { .. } => (WHOLE, last),
            Goal::LeftOutWithin { .. } => (last, WHOLE),
            Goal::LeftOutAtHome => (STAYS, WHOLE),
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
        (worth, moves, crowds.paid_by_pairs(of_crowds))
    }

    /// Every machine takes its best day.
    fn round(&self, goal: Goal, prices: &[Worth], worths: Worths, part: &Part) -> Round {
        let Worths { sessions: worth, moves, pairs } = worths;
        let mut together = vec![0; pairs.len()];
        let (mut taken, mut served, mut arrivals) = (0, vec![0; worth.len()], vec![0; moves.len()]);
        let mut chosen = Vec::new();
        for (place, crew) in self.crews.iter().enumerate() {
            let mut worth = worth.to_vec();
            for &(_, session) in part.barred.range((place, 0)..(place + 1, 0)) {
                worth[session] = BARRED;
            }
            let days = crew.best_days(Worths { sessions: &worth, moves, pairs });
            for &(_, home) in &crew.machines {
                taken += days.worth(home);
                let mut bay = home;
                let served_here = days.served_and_pairs(home, |pair| together[pair] += 1);
                let choice = Choice { crew: place, home, served: served_here };
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
            Goal::LeftOut | Goal::LeftOutAtHome => bound += all * WHOLE,
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
        let crowds = self.crowds.borrow();
        broken.extend(crowds.too_many(&together));
        fixed.extend(crowds.most_pairs().map(|most| -most));
        bound += prices.iter().zip(&fixed).map(|(price, fixed)| price * fixed).sum::<Worth>();
        Round { bound, broken, days: chosen, together }
    }

    /// The best plan made of days that were worth most in some round, if it is better than one that comes to `known`.
    pub fn choose(&self, goal: Goal, known: u32, nodes: u64, engine: &impl Engine) -> Option<Placement> {
        let better = known.checked_sub(1)?;
        let (left_out, moves) = match goal {
            Goal::LeftOut => (better, count(self.day.all.len())),
            Goal::LeftOutWithin { moves } => (better, moves),
            Goal::LeftOutAtHome => (better, 0),
            Goal::Moves { left_out } => (left_out, better),
        };
        let fewest_left_out = !matches!(goal, Goal::Moves { .. });
        let machines = |crew: usize, home| {
            let here = self.crews[crew].machines.iter().filter(|machine| machine.1 == home);
            here.map(|machine| machine.0).collect()
        };
        let asked = Asked { fewest_left_out, scarce: &self.scarce, left_out, moves, nodes };
        choose(self.day, &self.tried.borrow(), machines, asked, engine)
    }

    /// The sessions of some bays.
    fn sessions_of(&self, bays: &[BayIndex]) -> impl Iterator<Item = SessionIndex> {
        let of_bays = |session: &SessionIndex| bays.contains(&self.day.all[*session].bay);
        (0..self.day.all.len()).filter(of_bays)
    }

    /// Worths at which pairs cost nothing.
    fn free_of_pairs<'w>(&'w self, sessions: &'w [Worth], moves: &'w [Worth]) -> Worths<'w> {
        Worths { sessions, moves, pairs: &self.free_pairs }
    }

    /// A plan: one machine after another takes the best day of what is left.
    fn plan(&self, goal: Goal, worth: &[Worth], moves: &[Worth]) -> Placement {
        let mut left = worth.to_vec();
        let mut placement: Placement = vec![None; worth.len()];
        let (movable, staying): (Vec<&Crew>, Vec<&Crew>) = self.crews.iter().partition(|crew| crew.movable);
        for crew in staying.into_iter().chain(movable) {
            for &(machine, home) in &crew.machines {
                let served = crew.best_days(self.free_of_pairs(&left, moves)).served(home);
                for session in served {
                    left[session] = 0;
                    self.give(&mut placement, session, machine);
                }
            }
        }
        match goal {
            Goal::LeftOutWithin { moves } => self.stay_within(&mut placement, moves, worth),
            Goal::LeftOutAtHome => {}
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
            for session in crew.best_days(self.free_of_pairs(&prices, &moves)).served(home) {
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
        *way = *way * 9 / 10 + broken * 100;
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
