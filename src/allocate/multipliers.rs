//! A bound from whole days of machines: every rule that a plan keeps has a price, each machine takes the day that
//! is worth most to it, and prices are moved until what is wanted by too many is dear enough.
//!
//! This is Lagrangian relaxation. Whatever the prices, the bound holds; all its numbers are whole. On the way, the same
//! prices build plans. At good prices few days are worth nearly as much as the best: a plan that meets the bound is
//! made of these alone (Baldacci, Christofides and Mingozzi, 'An exact algorithm for the vehicle routing problem based on
//! the set partitioning formulation with additional cuts', Mathematical Programming 115, 2008).

use std::mem;

use super::bundle::{Ground, KnownDay, Next, Reach, next_prices};
use super::choice::{Asked, Choice, Chosen, choose};
use super::engine::Engine;
use super::fleet::Fleet;
use super::known::Known;
use super::machine_days::{Worth, Worths};
use super::placement::{Placement, count};
use super::rules::{Goal, Rules, STAYS, WHOLE};
use super::sessions::SessionIndex;
use crate::unit_rules::BayIndex;

/// Rounds of steps, from the first prices on: at least so many, and so many for each session.
const STEPS: usize = 100;
const STEPS_A_SESSION: usize = 2;

/// The length of the first step, in thousandths of the way to the goal; so many rounds without a better bound, and
/// steps become three quarters as long.
const FIRST_STEP: Worth = 1500;
const PATIENCE: u32 = 15;

/// The most rounds in which the best of what is known is asked for.
const ROUNDS: u32 = 100;

/// A plan is built in one round of so many: of steps, and where the best is asked for.
const ROUNDS_A_PLAN: usize = 8;
const ROUNDS_A_PLAN_ASKED: u32 = 2;

/// The days of machines among which the best prices are looked for, for each session.
const KNOWN_A_SESSION: usize = 7;

/// Crowds are looked for each time after so many of these rounds, and at the end.
const ROUNDS_A_CROWD: u32 = 5;

/// What a promise must come to, to be worth a round.
const WORTH_A_ROUND: Worth = WHOLE / 200;

/// How often a bound is raised because no plan meets it.
const MOST_RAISED: u32 = 5;

/// The most days of machines among which a plan is chosen.
const MOST_NEAR: usize = 2000;

/// The price of a session that no machine may serve.
const BARRED: Worth = -STAYS;

/// The relaxation of a day.
pub(super) struct Multipliers<'a> {
    fleet: &'a Fleet<'a>,
    rules: Rules<'a>,
    groups: Vec<Group>,
}

/// Machines that have the same days.
struct Group {
    /// The place of their crew.
    crew: usize,
    /// Their bay in the morning.
    home: BayIndex,
    /// How many they are.
    machines: Worth,
}

/// What a round of prices comes to.
struct Round {
    /// No plan goes below it.
    bound: Worth,
    /// By how much each rule is broken; below 0 there is room.
    broken: Vec<Worth>,
    /// The day of each group of machines, and what it is worth.
    days: Vec<(Choice, Worth)>,
}

/// What is left between a bound and a plan.
struct Near {
    goal: Goal,
    /// What the plan comes to at most.
    most: u32,
    prices: Vec<Worth>,
    worths: Worths,
    /// By how much a day of such a plan can be worth less than the best.
    gap: Worth,
    /// Who is not left out by such a plan.
    served: Vec<bool>,
}

/// What moving prices came to.
pub(super) struct Climbed {
    /// No plan goes below it.
    worth: Worth,
    /// The prices at which this was found.
    prices: Vec<Worth>,
    /// What the best plan comes to that was known at the end.
    pub known: u32,
    /// Days of machines that were worth most at some prices.
    days: Vec<Choice>,
    /// Whom nobody may serve.
    barred: Vec<SessionIndex>,
}

impl Climbed {
    /// A whole number that no plan goes below.
    pub fn bound(&self) -> u32 {
        let worth = self.worth.max(0);
        u32::try_from(worth / WHOLE + Worth::from(worth % WHOLE > 0)).unwrap_or(0)
    }

    /// Whether no plan is better than what is known.
    fn is_over(&self) -> bool {
        self.worth > (Worth::from(self.known) - 1) * WHOLE
    }
}

impl<'a> Multipliers<'a> {
    /// The relaxation of a day.
    pub fn new(fleet: &'a Fleet<'a>, known: &'a [Known]) -> Self {
        let mut groups = Vec::new();
        for (place, crew) in fleet.crews.iter().enumerate() {
            groups.extend(crew.homes().into_iter().map(|home| Group {
                crew: place,
                home,
                machines: Worth::from(count(crew.number_in(home))),
            }));
        }
        Self { fleet, rules: Rules::new(fleet.day, known, &fleet.pairs), groups }
    }

    /// What no plan can go below. Knows a plan that comes to `known`, and offers those that it builds; the answer to an
    /// offer is what the best plan known comes to.
    pub fn bound(&self, goal: Goal, known: u32, offer: impl FnMut(Placement) -> u32) -> Climbed {
        self.climb(goal, known, Vec::new(), offer)
    }

    /// The same, from the prices and days of another bound on, whose goal has the same rules.
    pub fn bound_from(
        &self,
        goal: Goal,
        before: Climbed,
        known: u32,
        mut offer: impl FnMut(Placement) -> u32,
    ) -> Climbed {
        let mut prices = before.prices;
        prices.resize(self.rules.number(goal), 0);
        let worth = self.round(goal, &prices, &self.worths(goal, &prices, &before.barred)).bound;
        self.ask(goal, Climbed { worth, prices, known, ..before }, &mut offer)
    }

    /// What no plan can go below that serves some sessions alone: all others count as left out.
    pub fn bound_of(
        &self,
        goal: Goal,
        alone: &[SessionIndex],
        known: u32,
        offer: impl FnMut(Placement) -> u32,
    ) -> Climbed {
        let others = (0..self.fleet.day.all.len()).filter(|session| !alone.contains(session));
        self.climb(goal, known, others.collect(), offer)
    }

    /// Moves prices up to what no plan can go below; nobody serves those who are barred.
    fn climb(
        &self,
        goal: Goal,
        known: u32,
        barred: Vec<SessionIndex>,
        mut offer: impl FnMut(Placement) -> u32,
    ) -> Climbed {
        let prices = self.rules.first_prices(goal);
        let climbed = Climbed { worth: Worth::MIN, prices, known, days: Vec::new(), barred };
        let climbed = self.step(goal, climbed, &mut offer);
        self.ask(goal, climbed, &mut offer)
    }

    /// Moves prices step by step, each in the direction of what is broken: the steps of Held, Wolfe and Crowder,
    /// 'Validation of subgradient optimization', Mathematical Programming 6 (1974).
    fn step(&self, goal: Goal, mut climbed: Climbed, offer: &mut impl FnMut(Placement) -> u32) -> Climbed {
        let mut prices = climbed.prices.clone();
        let mut way: Vec<Worth> = vec![0; prices.len()];
        let (mut idle, mut length) = (0, FIRST_STEP);
        for round in 0..STEPS.max(STEPS_A_SESSION * self.fleet.day.all.len()) {
            let worths = self.worths(goal, &prices, &climbed.barred);
            let now = self.round(goal, &prices, &worths);
            if now.bound > climbed.worth {
                (climbed.worth, idle) = (now.bound, 0);
                climbed.prices.clone_from(&prices);
            } else {
                idle += 1;
            }
            climbed.days.extend(now.days.into_iter().map(|day| day.0));
            if idle == PATIENCE {
                (idle, length) = (0, length * 3 / 4);
            }
            if round.is_multiple_of(ROUNDS_A_PLAN) {
                climbed.known = climbed.known.min(offer(self.plan(goal, worths)));
            }
            if climbed.is_over() {
                break;
            }
            let known = Worth::from(climbed.known) * WHOLE;
            let goal_is = known.min(climbed.worth + climbed.worth.max(0) / 4 + 2 * WHOLE);
            go_on(&mut prices, &mut way, &now.broken, (goal_is - now.bound) * length / 1000);
        }
        climbed.days.sort();
        climbed.days.dedup();
        climbed
    }

    /// A plan built at some worths.
    fn plan(&self, goal: Goal, mut worths: Worths) -> Placement {
        for price in &mut worths.moves {
            *price = (*price).max(WHOLE / 8);
        }
        self.fleet.plan(goal, &worths)
    }

    /// Asks again and again for the prices at which the bound would be highest if there were no days but those known.
    fn ask(&self, goal: Goal, mut climbed: Climbed, offer: &mut impl FnMut(Placement) -> u32) -> Climbed {
        if climbed.is_over() {
            return climbed;
        }
        let tried = mem::take(&mut climbed.days);
        let mut days = self.nearest(goal, &climbed.prices, tried);
        let mut reach = Reach::default();
        climbed.prices.resize(self.rules.number(goal), 0);
        for round in 1..=ROUNDS {
            let Some(next) = self.next(goal, &climbed, &days, &reach) else { break };
            let promised = next.promised + self.rules.idle(goal) - climbed.worth;
            let worths = self.worths(goal, &next.prices, &climbed.barred);
            let now = self.round(goal, &next.prices, &worths);
            let gained = now.bound - climbed.worth;
            if gained > 0 {
                (climbed.worth, climbed.prices) = (now.bound, next.prices);
            }
            reach.learn(promised, gained);
            self.keep(goal, &mut days, now.days);
            if round % ROUNDS_A_PLAN_ASKED == 1 {
                climbed.known = climbed.known.min(offer(self.plan(goal, worths)));
            }
            if climbed.is_over() {
                break;
            }
            let settled = promised < WORTH_A_ROUND;
            if settled || round.is_multiple_of(ROUNDS_A_CROWD) {
                let new = self.find_crowds(goal, &mut days, &next.weights);
                climbed.prices.resize(self.rules.number(goal), 0);
                if settled && !new && !reach.widen() {
                    break;
                }
            }
            if days.len() > 2 * self.most_known() {
                days = self.nearest(goal, &climbed.prices, days.into_iter().map(|day| day.0));
            }
        }
        climbed.days = days.into_iter().map(|day| day.0).collect();
        climbed
    }

    /// Keeps the days of a round that are new.
    fn keep(&self, goal: Goal, days: &mut Vec<(Choice, KnownDay)>, new: Vec<(Choice, Worth)>) {
        for (group, (choice, _)) in new.into_iter().enumerate() {
            if !days.iter().any(|known| known.0 == choice) {
                let day = self.known_day(goal, group, &choice);
                days.push((choice, day));
            }
        }
    }

    /// The next prices to try.
    fn next(
        &self,
        goal: Goal,
        climbed: &Climbed,
        days: &[(Choice, KnownDay)],
        reach: &Reach,
    ) -> Option<Next> {
        let machines: Vec<Worth> = self.groups.iter().map(|group| group.machines).collect();
        let fixed = self.rules.fixed(goal);
        let asked = Ground { centre: &climbed.prices, fixed: &fixed, machines: &machines, reach };
        next_prices(&asked, days.iter().map(|day| &day.1))
    }

    /// Looks for crowds whose pairs are too many in a fractional plan; whether there are new ones.
    fn find_crowds(&self, goal: Goal, days: &mut [(Choice, KnownDay)], weights: &[f64]) -> bool {
        let mut crowds = self.rules.crowds.borrow_mut();
        let before = crowds.len();
        let mut together = vec![0.0; self.fleet.pairs.len()];
        for ((choice, _), weight) in days.iter().zip(weights) {
            for pair in crowds.pairs_of(&choice.served) {
                together[pair] += weight;
            }
        }
        crowds.find(&together);
        let new = crowds.len() > before;
        drop(crowds);
        if new {
            for (choice, day) in days {
                *day = self.known_day(goal, day.group, choice);
            }
        }
        new
    }

    /// The days that are worth least less than the best of their group, at some prices.
    fn nearest(
        &self,
        goal: Goal,
        prices: &[Worth],
        days: impl IntoIterator<Item = Choice>,
    ) -> Vec<(Choice, KnownDay)> {
        let at_prices = |choice: Choice| {
            let mut groups = self.groups.iter();
            let group = groups.position(|group| (group.crew, group.home) == (choice.crew, choice.home))?;
            let day = self.known_day(goal, group, &choice);
            Some((day.worth_at(prices), choice, day))
        };
        let mut days: Vec<(Worth, Choice, KnownDay)> = days.into_iter().filter_map(at_prices).collect();
        let mut best = vec![0; self.groups.len()];
        for (worth, _, day) in &days {
            best[day.group] = best[day.group].max(*worth);
        }
        days.sort_by(|one, other| {
            let less = |day: &(Worth, Choice, KnownDay)| best[day.2.group] - day.0;
            less(one).cmp(&less(other)).then_with(|| one.1.cmp(&other.1))
        });
        days.truncate(self.most_known());
        days.into_iter().map(|(_, choice, day)| (choice, day)).collect()
    }

    /// How many days are kept in mind.
    fn most_known(&self) -> usize {
        KNOWN_A_SESSION * self.fleet.day.all.len()
    }

    /// A day as prices see it.
    fn known_day(&self, goal: Goal, group: usize, choice: &Choice) -> KnownDay {
        let (worth, takes) = self.rules.takes(goal, choice.home, &choice.served);
        KnownDay { group, worth, takes }
    }

    /// What parts of a day are worth; nobody serves those who are barred.
    fn worths(&self, goal: Goal, prices: &[Worth], barred: &[SessionIndex]) -> Worths {
        let mut worths = self.rules.worths(goal, prices);
        for &session in barred {
            worths.sessions[session] = BARRED;
        }
        worths
    }

    /// Every machine takes its best day.
    fn round(&self, goal: Goal, prices: &[Worth], worths: &Worths) -> Round {
        let mut broken = self.rules.fixed(goal);
        let mut bound = self.rules.idle(goal);
        bound += prices.iter().zip(&broken).map(|(price, fixed)| price * fixed).sum::<Worth>();
        let crews: Vec<_> = self.fleet.crews.iter().map(|crew| crew.best_days(worths)).collect();
        let mut days = Vec::new();
        for &Group { crew, home, machines } in &self.groups {
            let worth = crews[crew].worth(home);
            bound -= machines * worth;
            let choice = Choice { crew, home, served: crews[crew].served(home) };
            for (rule, by) in self.rules.takes(goal, home, &choice.served).1 {
                broken[rule] += by * machines;
            }
            days.push((choice, worth));
        }
        Round { bound, broken, days }
    }

    /// Closes what is left between the bound and what is known: looks for a plan that meets the bound, and raises the
    /// bound where there is none, until they meet or the engine's nodes do not suffice. Returns what no plan goes below.
    pub fn close(
        &self,
        goal: Goal,
        climbed: &Climbed,
        known: u32,
        nodes: u64,
        engine: &impl Engine,
        mut offer: impl FnMut(Placement) -> u32,
    ) -> u32 {
        let (mut bound, mut known) = (climbed.bound(), known);
        for _ in 0..MOST_RAISED {
            if known <= bound {
                return bound;
            }
            let near = self.near(goal, climbed, bound);
            let of_known = self.known_within(climbed, &near);
            if let Chosen::Plan(plan) = self.choose(&near, &of_known, nodes, engine) {
                known = known.min(offer(plan));
            }
            if known <= bound {
                return bound;
            }
            let of_any = self.within(&near);
            match of_any.map_or(Chosen::Unknown, |days| self.choose(&near, &days, nodes, engine)) {
                Chosen::Impossible => bound += 1,
                Chosen::Plan(plan) => {
                    known = known.min(offer(plan));
                    break;
                }
                Chosen::Unknown => break,
            }
        }
        // There may be a plan between the two.
        if bound + 1 < known {
            let near = self.near(goal, climbed, known - 1);
            let of_known = self.known_within(climbed, &near);
            if let Chosen::Plan(plan) = self.choose(&near, &of_known, nodes, engine) {
                offer(plan);
            }
        }
        bound
    }

    /// A plan made of some days; if they are all that are near enough and there is none, there is none at all.
    fn choose(&self, near: &Near, days: &[Choice], nodes: u64, engine: &impl Engine) -> Chosen {
        let asked = Asked { goal: near.goal, days, served: &near.served, most: near.most, nodes };
        choose(self.fleet, &self.rules, asked, engine)
    }

    /// What is left between the bound and a plan that comes to `most`.
    fn near(&self, goal: Goal, climbed: &Climbed, most: u32) -> Near {
        let mut prices = climbed.prices.clone();
        prices.resize(self.rules.number(goal), 0);
        let gap = Worth::from(most) * WHOLE - climbed.worth;
        let worths = self.worths(goal, &prices, &climbed.barred);
        let mut served: Vec<bool> =
            prices[..worths.sessions.len()].iter().map(|&price| price > gap).collect();
        for &session in &climbed.barred {
            served[session] = false;
        }
        Near { goal, most, prices, worths, gap, served }
    }

    /// The known days that are worth less than the best by no more than a gap.
    fn known_within(&self, climbed: &Climbed, near: &Near) -> Vec<Choice> {
        let crews: Vec<_> = self.fleet.crews.iter().map(|crew| crew.best_days(&near.worths)).collect();
        let is_near = |choice: &&Choice| {
            let (worth, takes) = self.rules.takes(near.goal, choice.home, &choice.served);
            let day = KnownDay { group: 0, worth, takes };
            let less = crews[choice.crew].worth(choice.home) - day.worth_at(&near.prices);
            !choice.served.is_empty() && less <= near.gap
        };
        climbed.days.iter().filter(is_near).cloned().collect()
    }

    /// All days of machines that are worth so little less than the best; nothing if they are too many.
    fn within(&self, near: &Near) -> Option<Vec<Choice>> {
        let mut days = Vec::new();
        for &Group { crew, home, .. } in &self.groups {
            let most = MOST_NEAR.checked_sub(days.len())?;
            let of_group = self.fleet.crews[crew].days_within(&near.worths, home, near.gap, most)?;
            days.extend(of_group.into_iter().map(|served| Choice { crew, home, served }));
        }
        Some(days)
    }
}

/// Makes dearer what is broken and cheaper what has room, partly still in the direction of the round before
/// (Camerini, Fratta and Maffioli, 'On improving relaxation methods by modified gradient techniques', 1975).
fn go_on(prices: &mut [Worth], way: &mut [Worth], broken: &[Worth], far: Worth) {
    for (way, broken) in way.iter_mut().zip(broken) {
        *way = *way * 9 / 10 + broken * 100;
    }
    let moving = prices.iter().zip(&*way).filter(|(price, way)| **way > 0 || **price > 0);
    let length: Worth = moving.map(|(_, way)| way * way).sum();
    if length > 0 {
        for (price, way) in prices.iter_mut().zip(way) {
            *price = (*price + far * 100 * *way / length).max(0);
        }
    }
}
