//! Crowds: an odd number of sessions of a bay that are all held at one time. A machine holds two at most, so that no
//! more than half of them, rounded down, are pairs on a machine.
//!
//! Whole plans keep this by themselves; fractions of days do not: with halves of three machines, each for two of three
//! sessions, one and a half machines would serve all three. These are the odd-set inequalities of matchings (Edmonds,
//! 'Maximum matching and a polyhedron with 0,1-vertices', Journal of Research of the National Bureau of Standards 69B,
//! 1965). Knows pairs and crowds; knows nothing of prices but what they are paid for.

use std::collections::{BTreeMap, BTreeSet};

use super::machine_days::Worth;
use super::placement::count;
use super::sessions::{Pair, Session, SessionIndex, Sessions};

/// The most crowds that are found at a time.
const NEW_CROWDS: usize = 10;

/// The share of the rounds looked at by which pairs must be too many.
const SHARE_TOO_MANY: u32 = 10;

/// The crowds of a day in which pairs were too many.
pub(super) struct Crowds {
    /// Two sessions of a bay that can be on one machine at the same time, in order.
    pairs: Vec<Pair>,
    /// Who is held when somebody begins, in one bay; at least three.
    held: Vec<BTreeSet<SessionIndex>>,
    /// The crowds found, in the order in which they were.
    found: Vec<BTreeSet<SessionIndex>>,
    /// For each pair the crowds found that hold both.
    of_pair: Vec<Vec<usize>>,
}

impl Crowds {
    /// None found yet.
    pub fn new(day: &Sessions) -> Self {
        let mut pairs = Vec::new();
        for (first, one) in day.all.iter().enumerate() {
            let later = day.all.iter().enumerate().skip(first + 1);
            let meet = later.filter(|(_, other)| other.bay == one.bay && other.hold.meets(one.hold));
            pairs.extend(meet.map(|(second, _)| (first, second)));
        }
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

    /// The pairs of the day: a pair's place here is its number everywhere.
    pub fn pairs(&self) -> &[Pair] {
        &self.pairs
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

    /// For each crowd found by how many its pairs are too many, with so many of each pair of the day together.
    pub fn too_many(&self, together: &[u32]) -> Vec<Worth> {
        let mut too_many: Vec<Worth> = self.most_pairs().map(|most| -most).collect();
        for (times, crowds) in together.iter().zip(&self.of_pair) {
            for &crowd in crowds {
                too_many[crowd] += Worth::from(*times);
            }
        }
        too_many
    }

    /// Looks for crowds whose pairs were too many on average, with how often each pair was together in so many rounds.
    pub fn find(&mut self, together: &[u32], rounds: u32) {
        let mut new: Vec<(u32, BTreeSet<SessionIndex>)> =
            self.held.iter().filter_map(|held| self.worst(held, together, rounds)).collect();
        new.retain(|(_, crowd)| !self.found.contains(crowd));
        new.sort_by(|one, other| other.0.cmp(&one.0).then_with(|| one.1.cmp(&other.1)));
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
        together: &[u32],
        rounds: u32,
    ) -> Option<(u32, BTreeSet<SessionIndex>)> {
        let times = |one: SessionIndex, other: SessionIndex| {
            let pair = self.pairs.binary_search(&(one.min(other), one.max(other)));
            pair.map_or(0, |pair| together[pair])
        };
        let mut crowd = held.clone();
        let mut worst: Option<(u32, BTreeSet<SessionIndex>)> = None;
        while crowd.len() >= 3 {
            let in_pairs: BTreeMap<SessionIndex, u32> = crowd
                .iter()
                .map(|&one| {
                    (one, crowd.iter().filter(|&&other| other != one).map(|&other| times(one, other)).sum())
                })
                .collect();
            let may = half(&crowd) * rounds;
            let all = in_pairs.values().sum::<u32>() / 2;
            let too_many = all.saturating_sub(may);
            let more = worst.as_ref().is_none_or(|worst| worst.0 < too_many);
            if crowd.len() % 2 == 1 && too_many > rounds / SHARE_TOO_MANY && more {
                worst = Some((too_many, crowd.clone()));
            }
            let least = in_pairs.into_iter().min_by_key(|&(_, times)| times);
            crowd.retain(|&session| least.is_none_or(|(least, _)| session != least));
        }
        worst
    }
}

/// Half of a crowd, rounded down.
fn half(crowd: &BTreeSet<SessionIndex>) -> u32 {
    count(crowd.len() / 2)
}
