//! What the allocation is worth, counted again from the holds, and what is claimed to be proven of it.

use std::collections::BTreeMap;

use crate::allocate::{Allocation, Cooling, Worth};
use crate::validate::DayList;

use super::breach::{Breach, Promise, Subject};
use super::machine_day::Held;

/// Two patients one after the other on one outlet.
#[derive(Clone, Copy, Debug)]
pub(super) struct HandOver {
    /// The visit that leaves the outlet.
    pub from: usize,
    /// The visit that gets it.
    pub to: usize,
    /// Minutes between the end of the clean-down and the next start of cooling.
    pub slack: i32,
}

/// The hand-overs of the day.
pub(super) fn hand_overs(held: &[Held]) -> Vec<HandOver> {
    let mut by_outlet: BTreeMap<(usize, u8), Vec<Held>> = BTreeMap::new();
    for hold in held {
        by_outlet.entry((hold.machine, hold.number)).or_default().push(*hold);
    }
    let mut pairs = Vec::new();
    for holds in by_outlet.values_mut() {
        holds.sort_by_key(|hold| (hold.on, hold.clean, hold.visit));
        for pair in holds.windows(2) {
            if let [one, next] = pair {
                pairs.push(HandOver { from: one.visit, to: next.visit, slack: next.on - one.clean });
            }
        }
    }
    pairs
}

/// What is wrong with the stated worth.
pub(super) fn check(list: &DayList, allocation: &Allocation, held: &[Held]) -> Vec<Breach> {
    let stated = allocation.worth;
    let left_out = allocation.visits.iter().filter(|one| matches!(one, Cooling::Without(_))).count();
    let figures = [
        ("without_outlet", stated.without_outlet, count(left_out)),
        ("moves", stated.moves, count(allocation.moves.len())),
        ("slack_shortfall", stated.slack_shortfall, shortfall(list, held)),
        ("busiest_outlet", stated.busiest_outlet, busiest(list, held)),
    ];
    let wrong = figures.into_iter().filter(|(_, found, expected)| found != expected);
    let mut breaches: Vec<Breach> = wrong
        .map(|(name, found, expected)| Breach::new(Promise::Worth(name), Subject::Day, found, expected))
        .collect();
    breaches.extend(bounds(stated));
    breaches.extend(prices(allocation));
    breaches
}

/// What is wrong with the stated prices of moves: they go from no move to the plan's, each number of moves
/// gains something, and nothing goes below the bound.
fn prices(allocation: &Allocation) -> Option<Breach> {
    let (stated, prices) = (allocation.worth, &allocation.prices);
    let (Some(first), Some(last)) = (prices.first(), prices.last()) else { return None };
    let fall = prices
        .windows(2)
        .all(|pair| pair[0].moves < pair[1].moves && pair[0].without_outlet > pair[1].without_outlet);
    let ends = first.moves == 0 && (last.moves, last.without_outlet) == (stated.moves, stated.without_outlet);
    let founded = !last.proven || stated.without_outlet == stated.bound_without_outlet;
    (!(fall && ends && founded)).then(|| {
        let found = format!("{} prices of moves that do not lead to the plan", prices.len());
        Breach::new(Promise::PricesOfMoves, Subject::Day, found, "from no move to the plan's moves")
    })
}

/// What is wrong with the stated bounds.
fn bounds(stated: Worth) -> Vec<Breach> {
    let pairs = [
        ("without_outlet", stated.bound_without_outlet, stated.without_outlet),
        ("moves", stated.bound_moves, stated.moves),
    ];
    let slack = ("slack_shortfall", stated.bound_slack_shortfall, stated.slack_shortfall);
    let above = pairs.iter().chain([&slack]).filter(|(_, bound, value)| bound > value);
    let mut breaches: Vec<Breach> = above
        .map(|&(name, bound, value)| {
            Breach::new(Promise::BoundBelowValue(name), Subject::Day, bound, format!("at most {value}"))
        })
        .collect();
    for (name, bound, value) in pairs {
        if stated.proven && bound != value {
            let found = format!("{name} {value} with bound {bound}, called proven");
            breaches.push(Breach::new(Promise::ProvenMeansBound, Subject::Day, found, "not proven"));
        }
    }
    breaches.extend(slack_claim(stated));
    breaches
}

/// What is wrong with what is claimed of the slack: anything at all is known of it only where the
/// objectives before it are proven, and it is proven only where the bound is met.
fn slack_claim(stated: Worth) -> Option<Breach> {
    let (value, bound) = (stated.slack_shortfall, stated.bound_slack_shortfall);
    let unmet = stated.slack_proven && bound != value;
    let unfounded = !stated.proven && (stated.slack_proven || bound > 0);
    (unmet || unfounded).then(|| {
        let said = if stated.slack_proven { "called proven" } else { "not called proven" };
        let found = format!("slack_shortfall {value} with bound {bound}, {said}");
        Breach::new(Promise::ProvenMeansBound, Subject::Day, found, "nothing claimed of the slack")
    })
}

/// Minutes by which hand-overs fall short of the wished slack, summed.
fn shortfall(list: &DayList, held: &[Held]) -> u32 {
    let wished = list.unit.rules.hand_over_slack.signed();
    hand_overs(held).iter().map(|pair| u32::try_from(wished - pair.slack).unwrap_or(0)).sum()
}

/// The largest, over machines, of cooling minutes for each outlet, rounded up.
fn busiest(list: &DayList, held: &[Held]) -> u32 {
    let minutes = |place: usize| {
        let own = held.iter().filter(|hold| hold.machine == place);
        own.map(|hold| u32::try_from(hold.off - hold.on).unwrap_or(0)).sum::<u32>()
    };
    let each = list.unit.machines.iter().enumerate();
    each.map(|(place, machine)| minutes(place).div_ceil(u32::from(machine.outlets.max(1)))).max().unwrap_or(0)
}

/// A count as the stated figures have it.
fn count(number: usize) -> u32 {
    u32::try_from(number).unwrap_or(u32::MAX)
}
