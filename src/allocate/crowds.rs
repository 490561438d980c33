//! Crowds: an odd number of sessions of a bay that are all held at one time. A machine holds two at most, so that no
//! more than half of them, rounded down, are pairs on a machine.
//!
//! Whole plans keep this by themselves; fractions of days do not: with halves of three machines, each for two of three
//! sessions, one and a half machines would serve all three. These are the odd-set inequalities of matchings (Edmonds,
//! 'Maximum matching and a polyhedron with 0,1-vertices', Journal of Research of the National Bureau of Standards 69B,
//! 1965). Knows pairs and crowds; knows nothing of prices but what they are paid for.

use std::collections::BTreeSet;

use super::machine_days::Worth;
use super::placement::{count, pairs};
use super::sessions::{Pair, Session, SessionIndex, Sessions};

/// The most crowds that are found at a time.
const NEW_CROWDS: usize = 10;

/// By how much pairs must be too many.
const TOO_MANY: f64 = 0.05;

/// The crowds of a day in which pairs were too many.
pub(super) struct Crowds<'a> {
    /// The pairs of the day, in order.
    pairs: &'a [Pair],
    /// Who is held when somebody begins, in one bay; at least three.
    held: Vec<BTreeSet<SessionIndex>>,
    /// The crowds found, in the order in which they were.
    found: Vec<BTreeSet<SessionIndex>>,
    /// For each pair the crowds found that hold both.
    of_pair: Vec<Vec<usize>>,
}

impl<'a> Crowds<'a> {
    /// None found yet; a pair's place is its number everywhere.
    pub fn new(day: &Sessions, pairs: &'a [Pair]) -> Self {
        let held = |one: &Session| {
            let with_one = |session: &SessionIndex| {
                let other = &day.all[*session];
                other.bay == one.bay && other.hold.from <= one.hold.from && one.hold.from < other.hold.until
            };
            (0..day.all.len()).filter(with_one).collect::<BTreeSet<SessionIndex>>()
        };
        let held = day.all.iter().map(held).filter(|held| held.len() >= 3).collect();
        Self { of_pair: vec![Vec::new(); pairs.len()], pairs, held, found: Vec::new() }
    }

    /// How many were found.
    pub fn len(&self) -> usize {
        self.found.len()
    }

    /// What each pair has to pay, with a price for each crowd found.
    pub fn paid_by_pairs(&self, prices: &[Worth]) -> Vec<Worth> {
        self.of_pair.iter().map(|crowds| crowds.iter().map(|&crowd| prices[crowd]).sum()).collect()
    }

    /// For each crowd found the pairs that there may be.
    pub fn most_pairs(&self) -> impl Iterator<Item = Worth> {
        self.found.iter().map(|crowd| Worth::from(half(crowd)))
    }

    /// The crowds found that hold both of a pair of a machine's day, once a pair.
    pub fn of_pairs(&self, served: &[SessionIndex]) -> Vec<usize> {
        self.pairs_of(served).into_iter().flat_map(|pair| self.of_pair[pair].iter().copied()).collect()
    }

    /// The numbers of the pairs of a machine's day.
    pub fn pairs_of(&self, served: &[SessionIndex]) -> Vec<usize> {
        pairs(served).filter_map(|pair| self.pairs.binary_search(&pair).ok()).collect()
    }

    /// Looks for crowds whose pairs are too many in a fractional plan, with how often each pair is together in it.
    pub fn find(&mut self, together: &[f64]) {
        let mut new: Vec<(f64, BTreeSet<SessionIndex>)> =
            self.held.iter().filter_map(|held| self.worst(held, together)).collect();
        new.retain(|(_, crowd)| !self.found.contains(crowd));
        new.sort_by(|one, other| other.0.total_cmp(&one.0).then_with(|| one.1.cmp(&other.1)));
        new.dedup();
        for (_, crowd) in new.into_iter().take(NEW_CROWDS) {
            for (pair, crowds) in self.pairs.iter().zip(&mut self.of_pair) {
                if crowd.contains(&pair.0) && crowd.contains(&pair.1) {
                    crowds.push(self.found.len());
                }
            }
            self.found.push(crowd);
        }
    }

    /// The crowd among those held whose pairs are the most too many: those least often in a pair go first.
    fn worst(
        &self,
        held: &BTreeSet<SessionIndex>,
        together: &[f64],
    ) -> Option<(f64, BTreeSet<SessionIndex>)> {
        let times = |one: SessionIndex, other: SessionIndex| {
            let pair = self.pairs.binary_search(&(one.min(other), one.max(other)));
            pair.map_or(0.0, |pair| together[pair])
        };
        let mut crowd = held.clone();
        let mut worst: Option<(f64, BTreeSet<SessionIndex>)> = None;
        while crowd.len() >= 3 {
            let in_pairs = |&one: &SessionIndex| {
                let others = crowd.iter().filter(|&&other| other != one);
                (one, others.map(|&other| times(one, other)).sum::<f64>())
            };
            let in_pairs: Vec<(SessionIndex, f64)> = crowd.iter().map(in_pairs).collect();
            let all = in_pairs.iter().map(|one| one.1).sum::<f64>() / 2.0;
            let too_many = all - f64::from(half(&crowd));
            let more = too_many > worst.as_ref().map_or(TOO_MANY, |worst| worst.0);
            if crowd.len() % 2 == 1 && more {
                worst = Some((too_many, crowd.clone()));
            }
            let least = in_pairs.iter().min_by(|one, other| one.1.total_cmp(&other.1));
            crowd.retain(|session| least.is_none_or(|least| *session != least.0));
        }
        worst
    }
}

/// Half of a crowd, rounded down.
fn half(crowd: &BTreeSet<SessionIndex>) -> u32 {
    count(crowd.len() / 2)
}
