//! If a machine fails: the answers on paper are held, minute by minute, against a plain simulation of
//! who is on which outlet.

mod support;

use std::collections::BTreeMap;

use baypack::allocate::OutletHold;
use baypack::clock::{Moment, Span};
use baypack::fall_backs::{FallBack, Limit, Refuge, fall_backs};
use baypack::unit_rules::{BayIndex, MachineIndex};
use baypack::verify::{VerifiedDay, verify};
use proptest::prelude::{ProptestConfig, prop_assert, prop_assert_eq, prop_assume, proptest};
use support::random::a_day;
use support::worked::{Day, three_visits};
use support::{at, bay, machine, min, seated_in, visit};

fn verified(day: Day) -> VerifiedDay {
    verify(day.list, day.plan, day.allocation, day.cautions).expect("a day that is right")
}

/// The patient of each outlet, connected at a minute.
fn cooled_at(day: &VerifiedDay, minute: Moment) -> BTreeMap<(MachineIndex, u8), usize> {
    let connected = |(visit, hold): (usize, OutletHold)| {
        let stages = day.plan().visits[visit].cooling.as_ref()?;
        let here = stages.cooling_on <= minute && minute < stages.cooling_off;
        here.then_some(((hold.machine, hold.number), visit))
    };
    day.allocation().holds().filter_map(connected).collect()
}

/// Where a machine stands at a minute; `None` from when it may be fetched until it is used elsewhere.
fn bay_of(day: &VerifiedDay, machine: MachineIndex, minute: Moment) -> Option<BayIndex> {
    let mut holds: Vec<_> = day.allocation().holds_of(machine).collect();
    holds.sort_by_key(|(_, hold)| hold.span);
    let bay = |visit: usize| day.list().visits[visit].bay;
    let next = holds.iter().find(|(_, hold)| minute < hold.span.until);
    let before = holds.iter().rev().find(|(_, hold)| hold.span.from <= minute);
    let stood = before.map_or(day.list().unit.machine(machine).bay, |(visit, _)| bay(*visit));
    match next {
        Some((visit, hold)) if minute < hold.span.from && bay(*visit) != stood => None,
        _ => Some(stood),
    }
}

/// Whether an outlet stands cold, clean and free beside a patient at a minute, in reach with everybody
/// who is on the machine then. Clean-down after the patient is not looked at.
fn is_there(day: &VerifiedDay, patient: usize, outlet: (MachineIndex, u8), minute: Moment) -> bool {
    let (list, allocation) = (day.list(), day.allocation());
    let row = &list.visits[patient];
    let index = outlet.0;
    let now = Span::new(minute, minute.slipped(1));
    let taken = allocation.outlet_day(index, outlet.1).iter().any(|(_, hold)| hold.span.meets(now));
    let out = list.unit.machine(index).outages_of(outlet.1).any(|outage| outage.span.meets(now));
    let reached = cooled_at(day, minute)
        .into_iter()
        .filter(|(place, _)| place.0 == index)
        .all(|(_, other)| list.unit.bay(row.bay).reach_together(&row.chair, &list.visits[other].chair));
    bay_of(day, index, minute) == Some(row.bay) && !taken && !out && reached
}

/// Whether a machine has been on since an earlier use.
fn is_cold(day: &VerifiedDay, index: MachineIndex, minute: Moment) -> bool {
    let outages = &day.list().unit.machine(index).out_of_service;
    day.allocation().holds_of(index).any(|(_, hold)| {
        let on = Span::new(hold.span.from, minute.slipped(1));
        !on.is_empty() && !outages.iter().any(|outage| outage.outlet.is_none() && outage.span.meets(on))
    })
}

/// For how many minutes from `from` a patient could stay on an outlet and leave it clean in time.
fn stay(day: &VerifiedDay, patient: usize, outlet: (MachineIndex, u8), from: Moment) -> i32 {
    let end = day.plan().visits[patient].cooling.as_ref().expect("a cooled patient").cooling_off;
    let unit = &day.list().unit;
    let clean = unit.minutes.outlet_clean.get().cast_signed();
    let usable = |minute: i32| is_there(day, patient, outlet, Moment::from_midnight(minute));
    // Cleaning needs the outlet and the machine, and no reach.
    let cleanable = |minute: i32| {
        let now = Span::new(Moment::from_midnight(minute), Moment::from_midnight(minute + 1));
        let free =
            !day.allocation().outlet_day(outlet.0, outlet.1).iter().any(|(_, hold)| hold.span.meets(now));
        let out = unit.machine(outlet.0).outages_of(outlet.1).any(|outage| outage.span.meets(now));
        let stands = bay_of(day, outlet.0, now.from) == Some(day.list().visits[patient].bay);
        free && !out && stands
    };
    let (from, end) = (from.minutes(), end.minutes());
    if !is_cold(day, outlet.0, Moment::from_midnight(from)) {
        return 0;
    }
    let longest = (from..end).take_while(|&minute| usable(minute)).count().try_into().unwrap_or(0);
    (0..=longest).rev().find(|&minutes| (0..clean).all(|more| cleanable(from + minutes + more))).unwrap_or(0)
}

/// All outlets of the unit.
fn outlets(day: &VerifiedDay) -> Vec<(MachineIndex, u8)> {
    let machines = day.list().unit.machines.iter().enumerate();
    machines
        .flat_map(|(place, machine)| (1..=machine.outlets).map(move |number| (MachineIndex(place), number)))
        .collect()
}

/// The answers that hold at a minute, for one failing machine.
fn answers_at(lines: &[FallBack], index: MachineIndex, minute: Moment) -> Vec<&FallBack> {
    let holds = |line: &&FallBack| line.fails.from <= minute && minute < line.fails.until;
    lines.iter().filter(|line| line.machine == index).filter(holds).collect()
}

/// The most patients of a failing machine that could be cooled to their end together: every way tried.
fn most_to_the_end(day: &VerifiedDay, failed: MachineIndex, patients: &[usize], minute: Moment) -> usize {
    let end = |patient: usize| day.plan().visits[patient].cooling.as_ref().expect("cooled").cooling_off;
    let whole = |patient: usize, outlet: &(MachineIndex, u8)| {
        outlet.0 != failed && stay(day, patient, *outlet, minute) == end(patient).minutes() - minute.minutes()
    };
    let choices = |patient: usize| outlets(day).into_iter().filter(move |outlet| whole(patient, outlet));
    match patients {
        [] => 0,
        [one] => usize::from(choices(*one).next().is_some()),
        [one, other, ..] => {
            let both = choices(*one).any(|first| choices(*other).any(|second| second != first));
            let any = choices(*one).next().or_else(|| choices(*other).next()).is_some();
            if both { 2 } else { usize::from(any) }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn every_answer_holds_at_every_minute_and_nobody_could_be_helped_better(list in a_day(9)) {
        let day = verified(Day::made_from(list));
        let lines = fall_backs(&day);
        let holds = || day.allocation().holds().map(|(_, hold)| hold.span);
        let (first, last) = (holds().map(|span| span.from).min(), holds().map(|span| span.until).max());
        let (Some(first), Some(last)) = (first, last) else {
            prop_assert!(lines.is_empty());
            return Ok(());
        };
        for minute in (first.minutes()..last.minutes()).step_by(7).map(Moment::from_midnight) {
            let cooled = cooled_at(&day, minute);
            for (place, _) in day.list().unit.machines.iter().enumerate() {
                let index = MachineIndex(place);
                let mut patients: Vec<usize> =
                    cooled.iter().filter(|(outlet, _)| outlet.0 == index).map(|(_, patient)| *patient).collect();
                let answers = answers_at(&lines, index, minute);
                let mut answered: Vec<usize> = answers.iter().map(|line| line.visit).collect();
                patients.sort_unstable();
                answered.sort_unstable();
                prop_assert_eq!(&answered, &patients, "each patient of the machine has one answer at {}", minute);
                let mut places = Vec::new();
                for line in &answers {
                    let stages = day.plan().visits[line.visit].cooling.as_ref().expect("a cooled patient");
                    prop_assert_eq!(line.pre_cooling, minute < stages.hair_loss_drug_start);
                    let Some(refuge) = line.refuge else { continue };
                    prop_assert!(refuge.machine != index, "the machine that failed helps nobody");
                    let place = (refuge.machine, refuge.number);
                    prop_assert!(!places.contains(&place), "one outlet for two");
                    places.push(place);
                    let stay = stay(&day, line.visit, place, minute);
                    let stated = refuge.until.map_or(stages.cooling_off, |(until, _)| until.min(stages.cooling_off));
                    prop_assert_eq!(stay, stated.minutes() - minute.minutes(), "{:?} at {}", line, minute);
                    prop_assert_eq!(refuge.to_the_end, stated == stages.cooling_off);
                }
                let unhelped = answers.iter().filter(|line| line.refuge.is_none());
                for line in unhelped {
                    let free = outlets(&day).into_iter().find(|outlet| {
                        outlet.0 != index && !places.contains(outlet) && stay(&day, line.visit, *outlet, minute) > 0
                    });
                    prop_assert_eq!(free, None, "{:?} is left without an outlet at {}", line, minute);
                }
                let late: Vec<usize> =
                    answers.iter().filter(|line| !line.pre_cooling).map(|line| line.visit).collect();
                let helped = answers.iter().filter(|line| !line.pre_cooling);
                let whole = helped.filter(|line| line.refuge.is_some_and(|refuge| refuge.to_the_end)).count();
                prop_assert_eq!(whole, most_to_the_end(&day, index, &late, minute));
            }
        }
    }

    #[test]
    fn a_stretch_is_printed_once_and_its_neighbour_says_something_else(list in a_day(12)) {
        let day = verified(Day::made_from(list));
        let lines = fall_backs(&day);
        prop_assume!(!lines.is_empty());
        for pair in lines.windows(2) {
            prop_assert!(!pair[0].fails.is_empty());
            let follows = (pair[0].machine, pair[0].visit, pair[0].fails.until)
                == (pair[1].machine, pair[1].visit, pair[1].fails.from);
            prop_assert!(
                !follows || (pair[0].pre_cooling, pair[0].refuge) != (pair[1].pre_cooling, pair[1].refuge)
            );
        }
    }
}

/// Bay A with two machines of one outlet; A1 is cooled 09:00 to 12:00 on M1. By hand, invented minutes.
fn two_machines(second: &str) -> VerifiedDay {
    let mut list = three_visits();
    list.unit.bays = vec![bay("A", 3)];
    list.unit.machines = vec![machine("M1", 0, 1, false), machine("M2", 0, 1, false)];
    list.visits = vec![visit(2, "08:30"), seated_in(visit(3, second), 0, "A2")];
    verified(Day::of(list))
}

#[test]
fn before_its_first_use_a_machine_is_not_cold_and_after_it_it_takes_the_other_patient() {
    // A2 is cooled 09:40 to 12:40 on M2, so M2 is cold from 09:40 and taken at once; nobody can go anywhere.
    let day = two_machines("09:10");
    let lines = fall_backs(&day);
    let one: Vec<_> = lines.iter().filter(|line| line.visit == 0).collect();
    assert!(one.iter().all(|line| line.refuge.is_none()), "{one:#?}");
    // Whoever is left on M2 after A1 is off M1 (12:00) and it is clean (12:10) can go there to the end.
    let last = lines.iter().rfind(|line| line.visit == 1).expect("a line of A2");
    assert_eq!(last.fails, Span::new(at("12:10"), at("12:40")));
    assert_eq!(last.refuge.map(|refuge| (refuge.machine, refuge.to_the_end)), Some((MachineIndex(0), true)));
}

#[test]
fn a_patient_who_is_next_on_the_outlet_ends_the_stay_early_enough_to_clean_it() {
    // M2 cools A2 from 08:00 to 09:50 (post-cooling only 20) and A3 from 11:00; A1 is on M1 to 12:00.
    let mut list = three_visits();
    list.unit.bays = vec![bay("A", 3)];
    list.unit.machines = vec![machine("M1", 0, 1, false), machine("M2", 0, 1, false)];
    list.unit.opens = at("07:00");
    list.regimens.push(support::regimen("P", 20, vec![support::hair_loss("paclitaxel", 60)]));
    let mut early = seated_in(visit(2, "07:30"), 0, "A2");
    early.regimen = baypack::unit_rules::RegimenIndex(2);
    list.visits = vec![early, visit(3, "08:30"), seated_in(visit(4, "10:30"), 0, "A3")];
    list.unit.minutes.outlet_clean = min(10);
    let day = verified(Day::of(list));
    let lines = fall_backs(&day);
    let one: Vec<_> =
        lines.iter().filter(|line| line.visit == 1 && !line.pre_cooling && line.refuge.is_some()).collect();
    assert_eq!(one.len(), 1, "{lines:#?}");
    assert_eq!(
        one[0].fails,
        Span::new(at("10:00"), at("10:50")),
        "from clean to ten minutes before A3 is connected"
    );
    let other = if one[0].machine == MachineIndex(0) { MachineIndex(1) } else { MachineIndex(0) };
    let until = Some((at("10:50"), Limit::Next(2)));
    assert_eq!(one[0].refuge, Some(Refuge { machine: other, number: 1, until, to_the_end: false }));
}

#[test]
fn in_pre_cooling_no_rule_is_invented() {
    let day = two_machines("09:10");
    let lines = fall_backs(&day);
    let early: Vec<_> =
        lines.iter().filter(|line| line.pre_cooling).map(|line| (line.visit, line.fails)).collect();
    let expected = [(0, Span::new(at("09:00"), at("09:30"))), (1, Span::new(at("09:40"), at("10:10")))];
    assert_eq!(early, expected);
}
