//! A plan chosen among days of machines: a linear model in whole numbers.

use std::collections::BTreeMap;

use super::engine::{Answer, Column, Engine, Model, Sense, Verdict, limit};
use super::fleet::Fleet;
use super::machine_days::Worth;
use super::placement::{Placement, count};
use super::rules::{Goal, Rules};
use super::sessions::{SessionIndex, Sessions};
use crate::unit_rules::{BayIndex, MachineIndex};

/// A day of one of several machines that are alike and stand in one bay in the morning.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Choice {
    /// Which machines: the place of their crew.
    pub crew: usize,
    /// Where they stand in the morning.
    pub home: BayIndex,
    /// Whom one of them serves, in the order of their starts.
    pub served: Vec<SessionIndex>,
}

/// How choosing ended.
pub(super) enum Chosen {
    /// A plan that comes to no more than was asked.
    Plan(Placement),
    /// None is made of these days.
    Impossible,
    /// The engine did not find out.
    Unknown,
}

/// Fewer days than this are worth more nodes each, up to so many times.
const FEW_DAYS: u64 = 1500;
const MORE_NODES: u64 = 6;

/// What a plan is asked for.
#[derive(Clone, Copy)]
pub(super) struct Asked<'a> {
    /// What is to be as small as can be.
    pub goal: Goal,
    /// The days of machines of which it is made.
    pub days: &'a [Choice],
    /// For each session whether it must be served.
    pub served: &'a [bool],
    /// What it comes to at most.
    pub most: u32,
    /// Nodes of the engine.
    pub nodes: u64,
}

/// The best plan made of some days, or of days without some of their sessions.
pub(super) fn choose(fleet: &Fleet<'_>, rules: &Rules<'_>, asked: Asked<'_>, engine: &impl Engine) -> Chosen {
    let mut choosing = Choosing::new(fleet, asked);
    choosing.keep_to_the_day(rules, asked.days);
    choosing.keep_to_the_rules(rules, asked);
    let few = FEW_DAYS / (asked.days.len() as u64).max(1);
    let nodes = asked.nodes * few.clamp(1, MORE_NODES);
    match engine.smallest(&choosing.model, choosing.goal(asked.goal), nodes) {
        Verdict::Impossible => Chosen::Impossible,
        Verdict::Unknown => Chosen::Unknown,
        Verdict::Found(answer) if answer.values.is_none() && answer.bound > asked.most => Chosen::Impossible,
        Verdict::Found(answer) => choosing.read(&answer, asked.days).map_or(Chosen::Unknown, Chosen::Plan),
    }
}

/// The model under way.
struct Choosing<'f> {
    fleet: &'f Fleet<'f>,
    model: Model,
    /// For each session whether it is left out.
    left_out: Vec<(Column, i32)>,
    /// For each day whether a machine has it.
    days: Vec<Column>,
    /// The days on which a machine moves, and how often.
    moves: Vec<(Column, i32)>,
}

impl<'f> Choosing<'f> {
    /// The variables. No two machines have the same day, since nobody is served twice.
    fn new(fleet: &'f Fleet<'f>, asked: Asked<'_>) -> Self {
        let mut model = Model::default();
        let left_out = asked.served.iter().map(|&served| (model.whole(i32::from(!served)), 1)).collect();
        let days: Vec<Column> = asked.days.iter().map(|_| model.whole(1)).collect();
        let moves = days.iter().zip(asked.days).map(|(&day, choice)| (day, changes(fleet.day, choice)));
        let moves = moves.filter(|&(_, moves)| moves > 0).collect();
        Self { fleet, model, left_out, days, moves }
    }

    /// Each machine has one day, each session is served or left out, and caps suffice.
    fn keep_to_the_day(&mut self, rules: &Rules<'_>, days: &[Choice]) {
        let mut of_kind: BTreeMap<(usize, BayIndex), Vec<(Column, i32)>> = BTreeMap::new();
        let mut serving: Vec<Vec<(Column, i32)>> =
            self.left_out.iter().map(|&(left_out, _)| vec![(left_out, -1)]).collect();
        for (choice, &day) in days.iter().zip(&self.days) {
            of_kind.entry((choice.crew, choice.home)).or_default().push((day, 1));
            choice.served.iter().for_each(|&session| serving[session].push((day, -1)));
        }
        for ((crew, home), days) in of_kind {
            let machines = self.fleet.crews[crew].number_in(home);
            self.model.row(days, Sense::AtMost, limit(count(machines)));
        }
        for served in serving {
            self.model.row(served, Sense::AtMost, -1);
        }
        for (sessions, caps) in &rules.scarce {
            let too_many = limit(count(sessions.len())) - limit(*caps);
            let left_out = sessions.iter().map(|&session| (self.left_out[session].0, -1));
            self.model.row(left_out, Sense::AtMost, -too_many);
        }
    }

    /// What else a plan keeps, and what it may come to.
    fn keep_to_the_rules(&mut self, rules: &Rules<'_>, asked: Asked<'_>) {
        let fixed = rules.fixed(asked.goal);
        let mut taking: Vec<Vec<(Column, i32)>> = vec![Vec::new(); fixed.len()];
        for (choice, &day) in asked.days.iter().zip(&self.days) {
            for (rule, by) in rules.takes(asked.goal, choice.home, &choice.served).1 {
                taking[rule].push((day, small(by)));
            }
        }
        let of_the_day = self.left_out.len() + rules.scarce.len();
        for (takes, fixed) in taking.into_iter().zip(fixed).skip(of_the_day).filter(|rule| !rule.0.is_empty())
        {
            self.model.row(takes, Sense::AtMost, small(-fixed));
        }
        let (left_out, moves) = match asked.goal {
            Goal::LeftOut => (asked.most, None),
            Goal::LeftOutAtHome => (asked.most, Some(0)),
            Goal::LeftOutWithin { moves } => (asked.most, Some(moves)),
            Goal::Moves { left_out } => (left_out, Some(asked.most)),
        };
        self.model.row(self.left_out.iter().copied(), Sense::AtMost, limit(left_out));
        if let Some(moves) = moves {
            self.model.row(self.moves.iter().copied(), Sense::AtMost, limit(moves));
        }
    }

    /// What is to be as small as can be.
    fn goal(&self, goal: Goal) -> &[(Column, i32)] {
        if matches!(goal, Goal::Moves { .. }) { &self.moves } else { &self.left_out }
    }

    /// The plan of an answer, if it holds one. Who is served twice is left to the first machine.
    fn read(&self, answer: &Answer, days: &[Choice]) -> Option<Placement> {
        let mut placement: Placement = vec![None; self.left_out.len()];
        let mut free: BTreeMap<(usize, BayIndex), Vec<MachineIndex>> = BTreeMap::new();
        for (choice, &day) in days.iter().zip(&self.days) {
            if answer.value(day)? == 0 {
                continue;
            }
            let alike = || self.fleet.crews[choice.crew].standing_in(choice.home);
            let machine = free.entry((choice.crew, choice.home)).or_insert_with(alike).pop()?;
            for &session in &choice.served {
                if placement[session].is_none() && answer.value(self.left_out[session].0)? == 0 {
                    placement[session] = Some(machine);
                }
            }
        }
        Some(placement)
    }
}

/// A small number, for the model.
fn small(number: Worth) -> i32 {
    i32::try_from(number).unwrap_or(i32::MAX)
}

/// How often the machine changes its bay.
fn changes(day: &Sessions, choice: &Choice) -> i32 {
    let bays = || choice.served.iter().map(|&session| day.all[session].bay);
    let moved = [choice.home].into_iter().chain(bays()).zip(bays()).filter(|(from, to)| from != to);
    limit(count(moved.count()))
}
