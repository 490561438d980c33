//! Allocations of random days, broken in every way at one place: verification refuses them, and what it accepts is
//! possible and worth what it says by a few plain rules that share nothing with it.

mod support;

use std::collections::BTreeMap;

use baypack::allocate::{Cooling, OutletHold, Reason};
use baypack::clock::Span;
use baypack::survey::Caution;
use baypack::unit_rules::MachineIndex;
use proptest::strategy::{Strategy, ValueTree};
use proptest::test_runner::TestRunner;
use support::random::a_day;
use support::worked::Day;

/// How many random days are broken, each with up to so many visits.
const DAYS: usize = 400;
const VISITS: usize = 14;

/// A broken day with the name of what was done to it.
type Mutant = (&'static str, Day);

/// The kinds of mutation, and how often each must have been tried at the least.
const KINDS: [(&str, usize); 11] = [
    ("another outlet", 2000),
    ("two outlets exchanged", 700),
    ("an outlet for somebody without", 600),
    ("nobody's outlet", 400),
    ("a hold moved by a minute", 1500),
    ("a figure off by one", 1600),
    ("a bound above its value", 800),
    ("a move left out", 40),
    ("a caution left out", 3000),
    ("a caution twice", 4000),
    ("a price off by one", 90),
];

#[test]
fn a_broken_allocation_is_refused_and_an_accepted_one_is_right() {
    let mut runner = TestRunner::deterministic();
    let mut tried: BTreeMap<&str, usize> = BTreeMap::new();
    let (mut accepted, mut refused) = (0, 0);
    for number in 0..DAYS {
        let list = a_day(VISITS).new_tree(&mut runner).expect("a day").current();
        let day = Day::of(list);
        assert_eq!(stated(&day), counted(&day), "day {number}: the plain rules agree with the day as it is");
        for (kind, mutant) in mutants(&day) {
            *tried.entry(kind).or_default() += 1;
            if !mutant.breaches().is_empty() {
                refused += 1;
                continue;
            }
            accepted += 1;
            assert!(MAY_BE_RIGHT.contains(&kind), "day {number}: {kind} is accepted");
            assert_eq!(stated(&mutant), counted(&mutant), "day {number}: {kind} is accepted, and is wrong");
        }
    }
    for (kind, least) in KINDS {
        let times = tried.get(kind).copied().unwrap_or(0);
        assert!(times >= least, "{kind}: tried {times} times of {least}");
    }
    assert!(accepted >= 300 && refused >= 15_000, "{accepted} accepted, {refused} refused");
}

/// What may lead to another day that is right: patients on other outlets that are as good.
const MAY_BE_RIGHT: [&str; 2] = ["another outlet", "two outlets exchanged"];

fn mutants(day: &Day) -> Vec<Mutant> {
    let mut mutants = other_outlets(day);
    mutants.extend(exchanged(day));
    mutants.extend(other_holds(day));
    mutants.extend(other_claims(day));
    mutants.extend(other_cautions(day));
    mutants
}

/// Every other outlet for everybody, and one for everybody who is cooled and has none.
fn other_outlets(day: &Day) -> Vec<Mutant> {
    let mut mutants = Vec::new();
    for (visit, cooling) in day.allocation.visits.iter().enumerate() {
        let Some(stages) = &day.plan.visits[visit].cooling else { continue };
        for (place, machine) in day.list.unit.machines.iter().enumerate() {
            for number in 1..=machine.outlets {
                let span =
                    Span::new(stages.cooling_on, stages.cooling_off + day.list.unit.minutes.outlet_clean);
                let hold = OutletHold { machine: MachineIndex(place), number, span };
                if *cooling == Cooling::Outlet(hold) {
                    continue;
                }
                let kind = match cooling {
                    Cooling::Outlet(_) => "another outlet",
                    _ => "an outlet for somebody without",
                };
                let mut mutant = day.clone();
                mutant.allocation.visits[visit] = Cooling::Outlet(hold);
                mutants.push((kind, mutant));
            }
        }
    }
    mutants
}

/// Every two patients on each other's outlets.
fn exchanged(day: &Day) -> Vec<Mutant> {
    let holds: Vec<(usize, OutletHold)> = day.allocation.holds().collect();
    let mut mutants = Vec::new();
    for (place, &(one, first)) in holds.iter().enumerate() {
        for &(other, second) in &holds[place + 1..] {
            if (first.machine, first.number) == (second.machine, second.number) {
                continue;
            }
            let mut mutant = day.clone();
            mutant.allocation.visits[one] = Cooling::Outlet(OutletHold { span: first.span, ..second });
            mutant.allocation.visits[other] = Cooling::Outlet(OutletHold { span: second.span, ..first });
            mutants.push(("two outlets exchanged", mutant));
        }
    }
    mutants
}

/// Everybody's hold a minute off at either end, and taken away without a word.
fn other_holds(day: &Day) -> Vec<Mutant> {
    let mut mutants = Vec::new();
    for (visit, hold) in day.allocation.holds() {
        for (from, until) in [(-1, 0), (1, 0), (0, -1), (0, 1)] {
            let mut mutant = day.clone();
            mutant.hold(visit).span = Span::new(hold.span.from.slipped(from), hold.span.until.slipped(until));
            mutants.push(("a hold moved by a minute", mutant));
        }
        let mut mutant = day.clone();
        mutant.allocation.visits[visit] = Cooling::Without(Reason::NoOutletFree);
        mutants.push(("nobody's outlet", mutant));
    }
    mutants
}

/// Every figure of the plan's worth off by one, bounds above their values, moves and prices untrue.
fn other_claims(day: &Day) -> Vec<Mutant> {
    let mut mutants = Vec::new();
    let mut push = |kind, change: &dyn Fn(&mut Day)| {
        let mut mutant = day.clone();
        change(&mut mutant);
        mutants.push((kind, mutant));
    };
    let figure = "a figure off by one";
    push(figure, &|day| day.allocation.worth.without_outlet += 1);
    push(figure, &|day| day.allocation.worth.moves += 1);
    push(figure, &|day| day.allocation.worth.slack_shortfall += 1);
    push(figure, &|day| day.allocation.worth.busiest_outlet += 1);
    let bound = "a bound above its value";
    push(bound, &|day| day.allocation.worth.bound_without_outlet = day.allocation.worth.without_outlet + 1);
    push(bound, &|day| day.allocation.worth.bound_moves = day.allocation.worth.moves + 1);
    for place in 0..day.allocation.moves.len() {
        push("a move left out", &|day| {
            day.allocation.moves.remove(place);
        });
    }
    // Between the first price, of no move, and the last, of the plan, only better search could tell.
    if let Some(last) = day.allocation.prices.len().checked_sub(1) {
        push("a price off by one", &|day| day.allocation.prices[0].moves += 1);
        push("a price off by one", &|day| day.allocation.prices[last].moves += 1);
        push("a price off by one", &|day| day.allocation.prices[last].without_outlet += 1);
    }
    mutants
}

fn other_cautions(day: &Day) -> Vec<Mutant> {
    let mut mutants = Vec::new();
    for place in 0..day.cautions.len() {
        let mut mutant = day.clone();
        let caution = mutant.cautions.remove(place);
        // How alike names are, and which minutes of a shortage of hands are named, leaves a choice.
        let of_choice = matches!(
            caution,
            Caution::NamesAlike { .. } | Caution::NursesShort { .. } | Caution::DrugsLate { .. }
        );
        if !of_choice {
            mutants.push(("a caution left out", mutant));
        }
        let mut mutant = day.clone();
        mutant.cautions.push(caution);
        mutants.push(("a caution twice", mutant));
    }
    mutants
}

/// What a plan is worth: patients without an outlet, moves, missing slack, the busiest outlet.
type Figures = (u32, u32, u32, u32);

fn stated(day: &Day) -> Option<Figures> {
    let worth = &day.allocation.worth;
    Some((worth.without_outlet, worth.moves, worth.slack_shortfall, worth.busiest_outlet))
}

/// The same counted from who has which outlet, minute by minute; nothing if two things are in each other's way.
fn counted(day: &Day) -> Option<Figures> {
    let without = day.allocation.visits.iter().filter(|one| matches!(one, Cooling::Without(_))).count();
    let mut figures = (u32::try_from(without).expect("few"), 0, 0, 0);
    for (place, machine) in day.list.unit.machines.iter().enumerate() {
        let mut holds: Vec<(usize, OutletHold)> =
            day.allocation.holds().filter(|(_, hold)| hold.machine.0 == place).collect();
        holds.sort_by_key(|(visit, hold)| (hold.span.from, *visit));
        figures.1 += moves(day, place, &holds)?;
        figures.2 += missing_slack(day, &holds)?;
        let cooled = holds.iter().map(|(visit, _)| cooled_minutes(day, *visit).count()).sum::<usize>();
        let busiest = cooled.div_ceil(usize::from(machine.outlets));
        figures.3 = figures.3.max(u32::try_from(busiest).expect("minutes of a day"));
    }
    caps_suffice(day).then_some(figures)
}

/// The minutes in which a visit is cooled.
fn cooled_minutes(day: &Day, visit: usize) -> std::ops::Range<i32> {
    let stages = day.plan.visits[visit].cooling.as_ref().expect("cooled");
    stages.cooling_on.minutes()..stages.cooling_off.minutes()
}

/// The minutes in which a hold is on an outlet.
fn minutes(span: Span) -> std::ops::Range<i32> {
    span.from.minutes()..span.until.minutes()
}

/// How often the machine changes its bay; nothing if it cannot, or is wanted where it does not stand or reach.
fn moves(day: &Day, place: usize, holds: &[(usize, OutletHold)]) -> Option<u32> {
    let machine = &day.list.unit.machines[place];
    let move_minutes = day.list.unit.minutes.machine_move.signed();
    let bay = |visit: usize| day.list.visits[visit].bay;
    let (mut stands, mut count, mut free_from) = (machine.bay, 0, i32::MIN);
    for (visit, hold) in holds {
        if bay(*visit) != stands {
            // It stands in one bay for as long as anybody is on it, and then the move takes its time.
            if !machine.movable || free_from > hold.span.from.minutes() - move_minutes {
                return None;
            }
            stands = bay(*visit);
            count += 1;
        }
        free_from = free_from.max(hold.span.until.minutes());
        let start = day.list.unit.minutes.machine_start.signed();
        let out = machine.outages_of(hold.number).any(|outage| {
            // A machine that was out altogether is switched on at the end of it at the earliest.
            let warm = if outage.outlet.is_none() { start } else { 0 };
            let connected = hold.span.from.minutes() - warm..cooled_minutes(day, *visit).end;
            minutes(outage.span).any(|minute| connected.contains(&minute))
        });
        let chair = |visit: usize| day.list.visits[visit].chair.as_str();
        let out_of_reach = holds.iter().any(|(other, _)| {
            let at_once =
                cooled_minutes(day, *visit).any(|minute| cooled_minutes(day, *other).contains(&minute));
            at_once && !day.list.unit.bays[stands.0].reach_together(chair(*visit), chair(*other))
        });
        if out || out_of_reach {
            return None;
        }
    }
    Some(count)
}

/// The minutes by which the gaps between two patients of an outlet are shorter than wished; nothing if one is
/// on it before the other is off it and it is clean.
fn missing_slack(day: &Day, holds: &[(usize, OutletHold)]) -> Option<u32> {
    let wished = day.list.unit.rules.hand_over_slack.signed();
    let mut free_from: BTreeMap<u8, i32> = BTreeMap::new();
    let mut missing = 0;
    for (_, hold) in holds {
        if let Some(free) = free_from.insert(hold.number, hold.span.until.minutes()) {
            let slack = hold.span.from.minutes() - free;
            if slack < 0 {
                return None;
            }
            missing += (wished - slack).max(0).unsigned_abs();
        }
    }
    Some(missing)
}

/// Whether the unit has a cap of the size for everybody who has an outlet, at every minute.
fn caps_suffice(day: &Day) -> bool {
    let wanted: Vec<(usize, std::ops::Range<i32>)> = day
        .allocation
        .holds()
        .filter_map(|(visit, _)| {
            let row = &day.list.visits[visit];
            let size = row.cap.filter(|_| !row.own_cap)?;
            let stages = day.plan.visits[visit].cooling.as_ref()?;
            let clean = (stages.cap_off + day.list.unit.minutes.cap_clean).minutes();
            Some((size.0, stages.prepare.minutes()..clean))
        })
        .collect();
    day.list.unit.caps.iter().enumerate().all(|(size, stock)| {
        let of_size = || wanted.iter().filter(move |(of, _)| *of == size);
        of_size().all(|(_, taken)| {
            of_size().filter(|(_, other)| other.contains(&taken.start)).count() <= stock.count as usize
        })
    })
}
