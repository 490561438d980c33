//! On days small enough to try every answer, the machine plan's claims are held against all of them.
//!
//! Every way of giving the outlets is tried, each judged by a few plain rules of its own, so that
//! neither the allocation's search nor the verification's rules are trusted here.

mod support;

use baypack::allocate::{Allocation, Cooling, allocate};
use baypack::clock::Span;
use baypack::plan::{DayPlan, plan};
use baypack::unit_rules::{BayIndex, Outage};
use baypack::validate::DayList;
use proptest::prelude::{ProptestConfig, prop_assert, prop_assert_eq, prop_assume, proptest};
use support::random::a_day;

/// An outlet: the machine's place and the outlet's number.
type Outlet = (usize, u8);

/// The most answers that are tried for one day.
const MOST_ANSWERS: usize = 20_000;

/// A cooled visit: what it takes, and where.
#[derive(Clone, Copy, Debug)]
struct Wish {
    visit: usize,
    cooling: Span,
    hold: Span,
    cap: Span,
}

fn wishes(list: &DayList, planned: &DayPlan) -> Vec<Wish> {
    let minutes = &list.unit.minutes;
    let wish = |(visit, planned): (usize, &baypack::plan::VisitPlan)| {
        let stages = planned.cooling.as_ref()?;
        Some(Wish {
            visit,
            cooling: Span::new(stages.cooling_on, stages.cooling_off),
            hold: Span::new(stages.cooling_on, stages.cooling_off + minutes.outlet_clean),
            cap: Span::new(stages.prepare, stages.cap_off + minutes.cap_clean),
        })
    };
    planned.visits.iter().enumerate().filter_map(wish).collect()
}

/// Tries outlets, or none, for one wish after the other; keeps the fewest without, then fewest moves, of the
/// answers with at most `most` moves.
fn best(
    list: &DayList,
    wishes: &[Wish],
    most: usize,
    given: &mut Vec<Option<Outlet>>,
    best_so_far: &mut (usize, usize),
) {
    let without = given.iter().filter(|outlet| outlet.is_none()).count();
    if without > best_so_far.0 {
        return;
    }
    if given.len() == wishes.len() {
        if let Some(moves) = moves(list, wishes, given).filter(|moves| *moves <= most) {
            *best_so_far = (*best_so_far).min((without, moves));
        }
        return;
    }
    let outlets = list.unit.machines.iter().enumerate();
    let outlets =
        outlets.flat_map(|(place, machine)| (1..=machine.outlets).map(move |number| (place, number)));
    for outlet in outlets.map(Some).chain([None]) {
        given.push(outlet);
        if fits(list, wishes, given) {
            best(list, wishes, most, given, best_so_far);
        }
        given.pop();
    }
}

/// Whether the last outlet given suits those given before it, moves apart.
fn fits(list: &DayList, wishes: &[Wish], given: &[Option<Outlet>]) -> bool {
    let last = given.len() - 1;
    let Some((machine, number)) = given[last] else { return true };
    let wish = wishes[last];
    let start = list.unit.minutes.machine_start;
    let barred = |outage: &Outage| {
        let from = wish.hold.from;
        let cold = outage.outlet.is_some() || from < outage.span.until || outage.span.until + start <= from;
        outage.span.meets(wish.hold) || !cold
    };
    if list.unit.machines[machine].outages_of(number).any(barred) {
        return false;
    }
    let row = &list.visits[wish.visit];
    for (other, outlet) in wishes.iter().zip(&given[..last]) {
        if outlet.is_none_or(|(of, _)| of != machine) {
            continue;
        }
        let neighbour = &list.visits[other.visit];
        let same_outlet = *outlet == given[last];
        let reached =
            row.bay == neighbour.bay && list.unit.bay(row.bay).reach_together(&row.chair, &neighbour.chair);
        if (same_outlet && wish.hold.meets(other.hold)) || (wish.cooling.meets(other.cooling) && !reached) {
            return false;
        }
    }
    caps_suffice(list, wishes, given)
}

/// Whether the stock suffices at every start of a cap's use.
fn caps_suffice(list: &DayList, wishes: &[Wish], given: &[Option<Outlet>]) -> bool {
    let uses: Vec<(usize, Span)> = wishes
        .iter()
        .zip(given)
        .filter(|(wish, outlet)| outlet.is_some() && !list.visits[wish.visit].own_cap)
        .filter_map(|(wish, _)| list.visits[wish.visit].cap.map(|size| (size.0, wish.cap)))
        .collect();
    uses.iter().all(|(size, span)| {
        let at_once = uses
            .iter()
            .filter(|(of, use_of)| of == size && use_of.from <= span.from && span.from < use_of.until);
        at_once.count() <= usize::try_from(list.unit.caps[*size].count).unwrap_or(usize::MAX)
    })
}

/// How many moves the machines make; `None` if one cannot be made.
fn moves(list: &DayList, wishes: &[Wish], given: &[Option<Outlet>]) -> Option<usize> {
    let mut count = 0;
    for (place, machine) in list.unit.machines.iter().enumerate() {
        let mine = wishes.iter().zip(given).filter(|(_, outlet)| outlet.is_some_and(|(of, _)| of == place));
        let mut visits: Vec<(Span, BayIndex)> =
            mine.map(|(wish, _)| (wish.hold, list.visits[wish.visit].bay)).collect();
        visits.sort_unstable_by_key(|(hold, bay)| (hold.from, hold.until, *bay));
        let (mut stands, mut free) = (machine.bay, None);
        for (hold, bay) in visits {
            if bay != stands {
                let time = free.is_none_or(|free| free + list.unit.minutes.machine_move <= hold.from);
                if !machine.movable || !time {
                    return None;
                }
                count += 1;
                stands = bay;
            }
            free = free.max(Some(hold.until));
        }
    }
    Some(count)
}

/// The best of all answers with at most `most` moves, if they are few enough to try.
fn best_of_all(list: &DayList, planned: &DayPlan, most: usize) -> Option<(usize, usize)> {
    let wishes = wishes(list, planned);
    let choices = 1 + list.unit.machines.iter().map(|machine| usize::from(machine.outlets)).sum::<usize>();
    let power = u32::try_from(wishes.len()).unwrap_or(u32::MAX);
    choices.checked_pow(power).filter(|answers| *answers <= MOST_ANSWERS)?;
    let mut found = (wishes.len(), usize::MAX);
    best(list, &wishes, most, &mut Vec::new(), &mut found);
    Some(found)
}

/// What an allocation has: without, moves.
fn has(allocation: &Allocation) -> (usize, usize) {
    let without = allocation.visits.iter().filter(|cooling| matches!(cooling, Cooling::Without(_)));
    (without.count(), allocation.moves.len())
}

proptest! {
    #![proptest_config(ProptestConfig {
        failure_persistence: None,
        max_global_rejects: 1_000_000,
        ..ProptestConfig::default()
    })]

    #[test]
    fn no_allocation_claims_more_than_trying_every_answer_shows(list in a_day(9)) {
        let planned = plan(&list);
        let found = best_of_all(&list, &planned, usize::MAX);
        prop_assume!(found.is_some());
        let (without, moves) = found.unwrap_or_default();
        let allocation = allocate(&list, &planned);
        let worth = allocation.worth;
        prop_assert!(has(&allocation) >= (without, moves), "better than all: {:?}", allocation);
        let bound = worth.bound_without_outlet as usize;
        prop_assert!(bound <= without, "bound {} but {} is possible", bound, without);
        if has(&allocation).0 == without {
            let bound = worth.bound_moves as usize;
            prop_assert!(bound <= moves, "bound {} but {} moves suffice", bound, moves);
        }
        if worth.proven {
            prop_assert_eq!(has(&allocation), (without, moves), "called proven: {:?}", allocation);
        }
        for price in &allocation.prices {
            let (fewest, _) = best_of_all(&list, &planned, price.moves as usize).unwrap_or_default();
            let said = price.without_outlet as usize;
            prop_assert!(said >= fewest, "{:?}, but no answer has fewer than {} without", price, fewest);
            prop_assert!(!price.proven || said == fewest, "{:?}, but {} is possible", price, fewest);
        }
    }
}
