//! A linear model in whole numbers, and the engine that solves it.
//!
//! The engine computes in floating point and is believed in two things only: a proven bound, rounded
//! in the safe direction, and a hint of a solution, which the caller builds up and checks anew.
//! Effort is counted in nodes, never by the clock, so that the answer is the same on every machine.

use microlp::{ComparisonOp, OptimizationDirection, Problem, SolveOptions, SolveOutcome};

/// A variable's place in a [`Model`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Column(usize);

/// How the two sides of a row compare.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Sense {
    /// The left side is at most the right.
    AtMost,
    /// Both are equal.
    Equal,
}

/// One row: a sum of variables with whole coefficients against a whole number.
#[derive(Clone, Debug)]
struct Row {
    terms: Vec<(Column, i32)>,
    sense: Sense,
    right: i32,
}

/// A linear model: variables from 0 to a largest value, and rows that hold between them.
#[derive(Clone, Debug, Default)]
pub(super) struct Model {
    /// The largest value of each variable, and whether it must be whole.
    columns: Vec<(i32, bool)>,
    rows: Vec<Row>,
}

/// How a solve ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Verdict {
    /// Nothing satisfies the rows.
    Impossible,
    /// The engine failed, and nothing is known.
    Unknown,
    /// A bound, and perhaps a solution.
    Found(Answer),
}

/// What an engine found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Answer {
    /// A value of the objective that no solution goes below.
    pub bound: u32,
    /// The best solution found, rounded, one value a variable; `None` if there was none in time.
    pub values: Option<Vec<i32>>,
}

impl Model {
    /// A whole variable from 0 to `most`.
    pub fn whole(&mut self, most: i32) -> Column {
        self.columns.push((most, true));
        Column(self.columns.len() - 1)
    }

    /// A variable that is whole because those that it is summed from are.
    pub fn sum(&mut self, most: i32) -> Column {
        self.columns.push((most, false));
        Column(self.columns.len() - 1)
    }

    /// Adds a row; a variable may stand in it more than once.
    pub fn row(&mut self, terms: impl IntoIterator<Item = (Column, i32)>, sense: Sense, right: i32) {
        let mut merged: Vec<(Column, i32)> = Vec::new();
        for (column, by) in terms {
            match merged.iter_mut().find(|(known, _)| *known == column) {
                Some((_, total)) => *total += by,
                None => merged.push((column, by)),
            }
        }
        self.rows.push(Row { terms: merged, sense, right });
    }
}

impl Verdict {
    /// What was found, if anything was.
    pub fn answer(self) -> Option<Answer> {
        match self {
            Self::Found(answer) => Some(answer),
            Self::Impossible | Self::Unknown => None,
        }
    }
}

impl Answer {
    /// The value of a variable, if there is a solution.
    pub fn value(&self, column: Column) -> Option<i32> {
        self.values.as_ref().map(|values| values[column.0])
    }
}

/// Solves linear models.
pub(super) trait Engine {
    /// Makes the sum of `goal` as small as can be within so many nodes.
    fn smallest(&self, model: &Model, goal: &[(Column, i32)], nodes: u64) -> Verdict;
}

/// The crate `microlp`: simplex with branch and bound, in Rust.
pub(super) struct Microlp;

/// How far above a whole number a bound may lie and still be rounded down to it.
const ROUNDING: f64 = 1e-5;

impl Engine for Microlp {
    fn smallest(&self, model: &Model, goal: &[(Column, i32)], nodes: u64) -> Verdict {
        let mut problem = Problem::new(OptimizationDirection::Minimize);
        let mut costs = vec![0; model.columns.len()];
        for (column, cost) in goal {
            costs[column.0] += cost;
        }
        let add = |(&(most, whole), &cost): (&(i32, bool), &i32)| match whole {
            true => problem.add_integer_var(f64::from(cost), (0, most)),
            false => problem.add_var(f64::from(cost), (0.0, f64::from(most))),
        };
        let variables: Vec<_> = model.columns.iter().zip(&costs).map(add).collect();
        for row in &model.rows {
            let terms = row.terms.iter().map(|(column, by)| (variables[column.0], f64::from(*by)));
            let sense = if row.sense == Sense::Equal { ComparisonOp::Eq } else { ComparisonOp::Le };
            problem.add_constraint(terms, sense, f64::from(row.right));
        }
        let mut options = SolveOptions::default();
        options.node_limit = Some(nodes_for(model, nodes));
        let outcome = match problem.solve_with(options) {
            Ok(outcome) => outcome,
            Err(microlp::Error::Infeasible) => return Verdict::Impossible,
            Err(_) => return Verdict::Unknown,
        };
        let optimum = |solution: &microlp::Solution| solution.objective();
        let proven = match &outcome {
            SolveOutcome::Solution(solution) if outcome.is_optimal() => Some(optimum(solution)),
            _ => outcome.stats().best_bound,
        };
        let values = outcome.solution().map(|solution| {
            let rounded = variables.iter().map(|&variable| whole(solution.var_value(variable)));
            rounded.collect()
        });
        let bound = proven.map_or(0, |bound| whole((bound - ROUNDING).ceil()));
        Verdict::Found(Answer { bound: u32::try_from(bound).unwrap_or(0), values })
    }
}

/// Columns times rows of a model of which all the nodes asked for are tried.
const USUAL_SIZE: u64 = 400 * 400;

/// The nodes that a model is worth: a node of a larger model costs more than its share, so that the
/// work stays within what was asked for.
fn nodes_for(model: &Model, nodes: u64) -> u64 {
    let size = (model.columns.len() as u64).saturating_mul(model.rows.len() as u64).max(1);
    (nodes.saturating_mul(USUAL_SIZE) / size.max(USUAL_SIZE)).max(LEAST_NODES)
}

/// Columns times rows of the largest model that is worth solving at all: the simplex of a larger one alone takes
/// longer than every other search of the day.
const LARGEST_SIZE: u64 = 5000 * 7000;

impl Model {
    /// Whether the model is too large to be solved.
    pub fn is_too_large(&self) -> bool {
        (self.columns.len() as u64).saturating_mul(self.rows.len() as u64) > LARGEST_SIZE
    }
}

/// Nodes that a model is tried with however large it is; the first one alone gives a bound.
const LEAST_NODES: u64 = 10;

/// The whole number nearest to a value of a model, which are all small.
#[expect(clippy::cast_possible_truncation, reason = "clamped to the range of i32 before the cast")]
fn whole(value: f64) -> i32 {
    value.round().clamp(f64::from(i32::MIN), f64::from(i32::MAX)) as i32
}

/// A number of the plan as a number of a model.
pub(super) fn limit(number: u32) -> i32 {
    i32::try_from(number).unwrap_or(i32::MAX)
}
