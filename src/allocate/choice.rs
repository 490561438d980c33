//! A plan chosen among days of machines that were worth most at some prices: a linear model in whole numbers.
//!
//! Proves nothing, since other days might do better.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use super::engine::{Column, Engine, Model, Sense, limit};
use super::placement::{Placement, count};
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

/// The most days among which it is chosen: those that were found last.
const MOST: usize = 3000;

/// Days that were worth most at some prices, each once, in the order in which they were found.
#[derive(Debug, Default)]
pub(super) struct Choices {
    known: BTreeSet<Choice>,
    latest: VecDeque<Choice>,
}

impl Choices {
    /// Keeps a day, if it is a new one.
    pub fn insert(&mut self, choice: Choice) {
        if choice.served.is_empty() || !self.known.insert(choice.clone()) {
            return;
        }
        self.latest.push_back(choice);
        if self.latest.len() > MOST {
            self.latest.pop_front();
        }
    }
}

/// What a plan must keep to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Asked<'a> {
    /// Whether as few as can be are left out, with any number of moves; otherwise as few moves as can be.
    pub fewest_left_out: bool,
    /// Sessions that want a cap of one size at one time, and how many caps there are.
    pub scarce: &'a [(Vec<SessionIndex>, u32)],
    /// The most that may be left out.
    pub left_out: u32,
    /// The most moves.
    pub moves: u32,
    /// Nodes of the engine.
    pub nodes: u64,
}

/// The best plan that is made of these days, or of days without some of their sessions; nothing if there is none, or
/// none was found. `machines` gives the machines of a crew that stand in a bay.
pub(super) fn choose(
    day: &Sessions,
    choices: &Choices,
    machines: impl Fn(usize, BayIndex) -> Vec<MachineIndex>,
    asked: Asked<'_>,
    engine: &impl Engine,
) -> Option<Placement> {
    let latest = &choices.latest;
    let mut model = Model::default();
    let left_out: Vec<Column> = day.all.iter().map(|_| model.whole(1)).collect();
    let mut fleet: BTreeMap<(usize, BayIndex), (Vec<MachineIndex>, Vec<Column>)> = BTreeMap::new();
    let mut serving: Vec<Vec<Column>> = vec![Vec::new(); day.all.len()];
    let (mut moves, mut columns) = (Vec::new(), Vec::new());
    for choice in latest {
        let of_kind = fleet
            .entry((choice.crew, choice.home))
            .or_insert_with(|| (machines(choice.crew, choice.home), Vec::new()));
        let column = model.whole(limit(count(of_kind.0.len())));
        of_kind.1.push(column);
        columns.push(column);
        choice.served.iter().for_each(|&session| serving[session].push(column));
        let changes = changes(day, choice);
        if changes > 0 {
            moves.push((column, changes));
        }
    }
    for (machines, days) in fleet.values() {
        model.row(days.iter().map(|&day| (day, 1)), Sense::AtMost, limit(count(machines.len())));
    }
    for (session, days) in serving.iter().enumerate() {
        let served = days.iter().map(|&day| (day, -1));
        model.row(served.chain([(left_out[session], -1)]), Sense::AtMost, -1);
    }
    for (sessions, caps) in asked.scarce {
        let too_many = limit(count(sessions.len())) - limit(*caps);
        model.row(sessions.iter().map(|&session| (left_out[session], -1)), Sense::AtMost, -too_many);
    }
    model.row(left_out.iter().map(|&left| (left, 1)), Sense::AtMost, limit(asked.left_out));
    model.row(moves.iter().copied(), Sense::AtMost, limit(asked.moves));
    let goal = if asked.fewest_left_out { left_out.iter().map(|&left| (left, 1)).collect() } else { moves };
    let answer = engine.smallest(&model, &goal, asked.nodes).answer()?;
    answer.values.as_ref()?;
    let mut placement: Placement = vec![None; day.all.len()];
    for (choice, column) in latest.iter().zip(columns) {
        for _ in 0..answer.value(column)? {
            let machine = fleet.get_mut(&(choice.crew, choice.home))?.0.pop()?;
            for &session in &choice.served {
                if placement[session].is_none() && answer.value(left_out[session])? == 0 {
                    placement[session] = Some(machine);
                }
            }
        }
    }
    Some(placement)
}

/// How often the machine changes its bay.
fn changes(day: &Sessions, choice: &Choice) -> i32 {
    let bays = || choice.served.iter().map(|&session| day.all[session].bay);
    let moved = [choice.home].into_iter().chain(bays()).zip(bays()).filter(|(from, to)| from != to);
    limit(count(moved.count()))
}
