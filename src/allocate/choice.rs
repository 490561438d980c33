//! A plan chosen among days of machines: a linear model in whole numbers.

use std::collections::BTreeMap;

use super::engine::{Column, Engine, Model, Sense, Verdict, limit};
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
    let Asked { goal, days, served, most, nodes } = asked;
    let day = fleet.day;
    let mut model = Model::default();
    let left_out: Vec<Column> = served.iter().map(|&served| model.whole(i32::from(!served))).collect();
    let mut machines: BTreeMap<(usize, BayIndex), (Vec<MachineIndex>, Vec<Column>)> = BTreeMap::new();
    let mut serving: Vec<Vec<Column>> = vec![Vec::new(); day.all.len()];
    let fixed = rules.fixed(goal);
    let mut taking: Vec<Vec<(Column, i32)>> = vec![Vec::new(); fixed.len()];
    let (mut moves, mut columns) = (Vec::new(), Vec::new());
    for choice in days {
        let alike = || {
            let crew = fleet.crews[choice.crew].machines.iter();
            crew.filter(|machine| machine.1 == choice.home).map(|machine| machine.0).collect()
        };
        let of_kind = machines.entry((choice.crew, choice.home)).or_insert_with(|| (alike(), Vec::new()));
        // Nobody is served twice.
        let column = model.whole(1);
        of_kind.1.push(column);
        columns.push(column);
        choice.served.iter().for_each(|&session| serving[session].push(column));
        for (rule, by) in rules.takes(goal, choice.home, &choice.served).1 {
            taking[rule].push((column, small(by)));
        }
        let changes = changes(day, choice);
        if changes > 0 {
            moves.push((column, changes));
        }
    }
    for (machines, days) in machines.values() {
        model.row(days.iter().map(|&day| (day, 1)), Sense::AtMost, limit(count(machines.len())));
    }
    for (session, days) in serving.iter().enumerate() {
        let served = days.iter().map(|&day| (day, -1));
        model.row(served.chain([(left_out[session], -1)]), Sense::AtMost, -1);
    }
    for (sessions, caps) in &rules.scarce {
        let too_many = limit(count(sessions.len())) - limit(*caps);
        model.row(sessions.iter().map(|&session| (left_out[session], -1)), Sense::AtMost, -too_many);
    }
    for (takes, fixed) in taking.into_iter().zip(fixed).skip(day.all.len() + rules.scarce.len()) {
        if !takes.is_empty() {
            model.row(takes, Sense::AtMost, small(-fixed));
        }
    }
    let (most_left_out, most_moves) = match goal {
        Goal::LeftOut => (most, None),
        Goal::LeftOutAtHome => (most, Some(0)),
        Goal::LeftOutWithin { moves } => (most, Some(moves)),
        Goal::Moves { left_out } => (left_out, Some(most)),
    };
    model.row(left_out.iter().map(|&left| (left, 1)), Sense::AtMost, limit(most_left_out));
    if let Some(most) = most_moves {
        model.row(moves.iter().copied(), Sense::AtMost, limit(most));
    }
    let wanted: Vec<(Column, i32)> = left_out.iter().map(|&left| (left, 1)).collect();
    let nodes = nodes * (FEW_DAYS / (days.len() as u64).max(1)).clamp(1, MORE_NODES);
    let answer = match engine.smallest(
        &model,
        &if matches!(goal, Goal::Moves { .. }) { moves } else { wanted },
        nodes,
    ) {
        Verdict::Impossible => return Chosen::Impossible,
        Verdict::Unknown => return Chosen::Unknown,
        Verdict::Found(answer) => answer,
    };
    let mut placement: Placement = vec![None; day.all.len()];
    for (choice, column) in days.iter().zip(columns) {
        match answer.value(column) {
            None => return if answer.bound > most { Chosen::Impossible } else { Chosen::Unknown },
            Some(0) => continue,
            Some(_) => {}
        }
        let Some(machine) = machines.get_mut(&(choice.crew, choice.home)).and_then(|kind| kind.0.pop())
        else {
            return Chosen::Unknown;
        };
        for &session in &choice.served {
            if placement[session].is_none() && answer.value(left_out[session]) == Some(0) {
                placement[session] = Some(machine);
            }
        }
    }
    Chosen::Plan(placement)
}

fn small(number: Worth) -> i32 {
    i32::try_from(number).unwrap_or(i32::MAX)
}

/// How often the machine changes its bay.
fn changes(day: &Sessions, choice: &Choice) -> i32 {
    let bays = || choice.served.iter().map(|&session| day.all[session].bay);
    let moved = [choice.home].into_iter().chain(bays()).zip(bays()).filter(|(from, to)| from != to);
    limit(count(moved.count()))
}
