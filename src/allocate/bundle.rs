//! The next prices to try, out of the days of machines that are known so far: those at which the bound would be
//! highest if there were no other days, near the best prices known.
//!
//! This is the proximal bundle method (Lemaréchal, 'An extension of Davidon methods to nondifferentiable problems',
//! Mathematical Programming Study 3, 1975; Kiwiel, 'Methods of descent for nondifferentiable optimization', 1985). It
//! is solved in floating point and believed in nothing: prices are rounded, and their bound is computed anew.

use clarabel::algebra::CscMatrix;
use clarabel::solver::{DefaultSettings, DefaultSolver, IPSolver, SolverStatus, SupportedConeT};

use super::machine_days::Worth;
use super::rules::WHOLE;

/// A day of a machine that is known.
#[derive(Clone, Debug)]
pub(super) struct KnownDay {
    /// Which machines can have it: the place of their group.
    pub group: usize,
    /// What it is worth before prices.
    pub worth: Worth,
    /// What it takes of the rules; a rule may be named more than once.
    pub takes: Vec<(usize, Worth)>,
}

impl KnownDay {
    /// What it is worth at some prices.
    pub fn worth_at(&self, prices: &[Worth]) -> Worth {
        self.worth - self.takes.iter().map(|&(rule, by)| prices[rule] * by).sum::<Worth>()
    }
}

/// What next prices are found from.
pub(super) struct Ground<'g> {
    /// The best prices known.
    pub centre: &'g [Worth],
    /// What a worth of each price adds to the bound whatever the days.
    pub fixed: &'g [Worth],
    /// How many machines each group has.
    pub machines: &'g [Worth],
    /// How far from the best prices they may be.
    pub reach: &'g Reach,
}

/// How far from the best prices the next ones may be.
pub(super) struct Reach {
    /// The larger, the further.
    far: f64,
    /// Rounds in turn that kept too little of what they promised.
    failed: u32,
}

/// At first, and from where on it is no limit any more.
const NEAR: f64 = 0.1;
const ANYWHERE: f64 = 10.0;

/// So many rounds in turn that kept little, and the next prices must be nearer.
const PATIENCE: u32 = 3;

impl Default for Reach {
    fn default() -> Self {
        Self { far: NEAR, failed: 0 }
    }
}

impl Reach {
    /// Takes in what a round promised and what it gained.
    pub fn learn(&mut self, promised: Worth, gained: Worth) {
        if gained > 0 && gained * 2 >= promised {
            self.far *= 2.0;
        }
        self.failed = if gained * 10 >= promised { 0 } else { self.failed + 1 };
        if self.failed >= PATIENCE && gained < -promised {
            (self.far, self.failed) = (self.far / 2.0, 0);
        }
    }

    /// Reaches further; not where it is no limit any more.
    pub fn widen(&mut self) -> bool {
        let narrow = self.far < ANYWHERE;
        if narrow {
            self.far *= 4.0;
        }
        narrow
    }
}

/// Prices to try.
pub(super) struct Next {
    /// The prices.
    pub prices: Vec<Worth>,
    /// What of the bound depends on prices, if there are no other days.
    pub promised: Worth,
    /// How many machines have each known day, in fractions: a plan that keeps all rules if the prices are best.
    pub weights: Vec<f64>,
}

/// The next prices; nothing if the engine failed.
pub(super) fn next_prices<'d>(ground: &Ground<'_>, days: impl Iterator<Item = &'d KnownDay>) -> Option<Next> {
    let days: Vec<&KnownDay> = days.collect();
    let (rules, groups) = (ground.centre.len(), ground.machines.len());
    let columns = rules + groups;
    let rows = rows(&days, rules, groups);
    let diagonal = || (0..rules).collect();
    let near = vec![1.0 / ground.reach.far; rules];
    let near = CscMatrix::new_from_triplets(columns, columns, diagonal(), diagonal(), near);
    let centre = |rule: usize| real(ground.centre[rule]) / real(WHOLE) / ground.reach.far;
    let mut costs: Vec<f64> = (0..rules).map(|rule| -real(ground.fixed[rule]) - centre(rule)).collect();
    costs.extend(ground.machines.iter().map(|&machines| real(machines)));
    let height = rows.right.len();
    let sides = CscMatrix::new_from_triplets(height, columns, rows.rows, rows.columns, rows.values);
    let settings = DefaultSettings {
        verbose: false,
        tol_gap_abs: 1e-5,
        tol_gap_rel: 1e-5,
        tol_feas: 1e-6,
        ..DefaultSettings::default()
    };
    let cones = [SupportedConeT::NonnegativeConeT(height)];
    let mut solver = DefaultSolver::new(&near, &costs, &sides, &rows.right, &cones, settings).ok()?;
    solver.solve();
    let solution = solver.solution;
    if !matches!(solution.status, SolverStatus::Solved | SolverStatus::AlmostSolved) {
        return None;
    }
    let prices: Vec<Worth> = solution.x[..rules].iter().map(|&price| worth(price).max(0)).collect();
    let promised = promised(ground, &days, &prices);
    Some(Next { prices, promised, weights: solution.z[..days.len()].to_vec() })
}

/// Sums of columns that may not be above a number, entry after entry.
#[derive(Default)]
struct Rows {
    rows: Vec<usize>,
    columns: Vec<usize>,
    values: Vec<f64>,
    right: Vec<f64>,
}

impl Rows {
    /// One row more.
    fn push(&mut self, entries: impl IntoIterator<Item = (usize, f64)>, right: f64) {
        for (column, value) in entries {
            self.rows.push(self.right.len());
            self.columns.push(column);
            self.values.push(value);
        }
        self.right.push(right);
    }
}

/// The columns are the prices, and what a machine of each group is worth: no less than each of its days, and nothing
/// if it stays idle. No price is below 0.
fn rows(days: &[&KnownDay], rules: usize, groups: usize) -> Rows {
    let mut rows = Rows::default();
    for day in days {
        let takes = day.takes.iter().map(|&(rule, by)| (rule, -real(by)));
        rows.push(takes.chain([(rules + day.group, -1.0)]), -real(day.worth) / real(WHOLE));
    }
    for column in 0..rules + groups {
        rows.push([(column, -1.0)], 0.0);
    }
    rows
}

/// What of the bound depends on prices, if there are no other days.
fn promised(ground: &Ground<'_>, days: &[&KnownDay], prices: &[Worth]) -> Worth {
    let mut best = vec![0; ground.machines.len()];
    for day in days {
        best[day.group] = day.worth_at(prices).max(best[day.group]);
    }
    let taken: Worth = best.iter().zip(ground.machines).map(|(best, machines)| best * machines).sum();
    prices.iter().zip(ground.fixed).map(|(price, fixed)| price * fixed).sum::<Worth>() - taken
}

/// A small whole number, for the engine.
fn real(number: Worth) -> f64 {
    i32::try_from(number).map_or(f64::INFINITY, f64::from)
}

/// A number of the engine, as a worth.
#[expect(
    clippy::cast_possible_truncation,
    reason = "a price, far below the largest whole number; rounded on purpose"
)]
fn worth(number: f64) -> Worth {
    (number * real(WHOLE)).round() as Worth
}
