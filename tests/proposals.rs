//! Explanations and proposals for days that do not fit, held against counting and against every answer.

mod support;

use std::collections::BTreeSet;

use baypack::allocate::{Allocation, Cooling, allocate};
use baypack::clock::{Moment, Span};
use baypack::explain::{Resource, Why, explain};
use baypack::patient::Visit;
use baypack::plan::{DayPlan, plan};
use baypack::propose::{Advice, Proposal, propose};
use baypack::survey::{Caution, hands_on, survey};
use baypack::unit_rules::{BayIndex, Outage, RegimenIndex, Unit};
use baypack::validate::DayList;
use baypack::verify::{VerifiedDay, verify};
use proptest::strategy::{Strategy, ValueTree};
use proptest::test_runner::TestRunner;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use support::random::a_day;
use support::{at, day_list, hair_loss, machine, min, other_drug, regimen, seated_in, unit, visit};

/// A list's day, verified.
fn verified(list: DayList) -> VerifiedDay {
    let planned = plan(&list);
    let allocation = allocate(&list, &planned);
    let cautions = survey(&list, &planned, &allocation);
    verify(list, planned, allocation, cautions).expect("a day that passes its own check")
}

/// So many random days of at most so many visits, always the same ones.
fn days(number: usize, most: usize) -> Vec<VerifiedDay> {
    let mut runner = TestRunner::deterministic();
    let strategy = a_day(most);
    let day = |_| verified(strategy.new_tree(&mut runner).expect("a day").current());
    (0..number).map(day).collect()
}

/// So many days with exactly so many short visits close together, hands enough, and machines, caps and
/// reach that often just do not suffice.
fn days_that_nearly_fit(number: u64, visits: u32, (earlier, later): (u32, u32)) -> Vec<VerifiedDay> {
    let day = |seed: u64| {
        let mut chance = ChaCha8Rng::seed_from_u64(seed);
        let mut unit = unit();
        (unit.rules.retime_earlier, unit.rules.retime_later) = (min(earlier), min(later));
        unit.minutes.machine_start = min(chance.random_range(0..40));
        unit.machines = (0..chance.random_range(1..=visits.div_ceil(3)))
            .map(|place| {
                machine(
                    &format!("M{place}"),
                    place as usize % 2,
                    chance.random_range(1..=2),
                    chance.random_bool(0.3),
                )
            })
            .collect();
        if chance.random_bool(0.3) {
            let from = chance.random_range(500..640);
            let span = Span::new(Moment::from_midnight(from), Moment::from_midnight(from + 45));
            unit.machines[0].out_of_service.push(Outage { span, outlet: Some(1), reason: String::new() });
        }
        for bay in &mut unit.bays {
            bay.nurses = chance.random_range(1..5);
            if chance.random_bool(0.3) {
                bay.reach = bay.chairs.chunks(2).map(<[String]>::to_vec).collect();
            }
        }
        let stock = chance.random_range(2..=visits);
        unit.caps.iter_mut().for_each(|cap| cap.count = stock);
        let regimens = vec![
            regimen("D", 20, vec![hair_loss("docetaxel", 20)]),
            regimen("P", 30, vec![other_drug("trastuzumab", 30), hair_loss("paclitaxel", 30)]),
        ];
        let rows = (0..visits).map(|place| {
            let bay = usize::from(chance.random_bool(0.2));
            let chair = format!("{}{}", ["A", "B"][bay], chance.random_range(1..=4));
            let arrive = at("08:15").slipped(5 * chance.random_range(0..6 * visits.cast_signed()));
            let row = seated_in(visit(2 + place, "08:00"), bay, &chair);
            Visit {
                arrive,
                regimen: RegimenIndex(chance.random_range(0..2)),
                cooled: chance.random_bool(0.9),
                leave_by: chance.random_bool(0.2).then(|| arrive.slipped(chance.random_range(150..260))),
                drugs_ready: chance.random_bool(0.2).then(|| arrive.slipped(chance.random_range(30..90))),
                ..row
            }
        });
        verified(day_list(unit, regimens, rows.collect()))
    };
    (0..number).map(day).collect()
}

/// The lines of those without an outlet.
fn without(list: &DayList, allocation: &Allocation) -> BTreeSet<u32> {
    let visits = list.visits.iter().zip(&allocation.visits);
    visits.filter(|(_, cooling)| matches!(cooling, Cooling::Without(_))).map(|(row, _)| row.line).collect()
}

/// Two lines, or a bay; a minute; how many.
type Lacks = BTreeSet<(u32, u32, usize, i32, usize)>;

/// Minutes at which two hold one chair, and minutes at which a bay lacks hands, with how many.
fn lacks(list: &DayList, planned: &DayPlan) -> Lacks {
    let mut found = BTreeSet::new();
    let chair = |place: usize| planned.visits[place].chair_hold(&list.unit);
    let within = |span: Span, minute: i32| (span.from.minutes()..span.until.minutes()).contains(&minute);
    for one in 0..list.visits.len() {
        for other in 0..list.visits.len() {
            let (first, second) = (&list.visits[one], &list.visits[other]);
            if first.line < second.line && (first.bay, &first.chair) == (second.bay, &second.chair) {
                let both =
                    (0..3000).filter(|&minute| within(chair(one), minute) && within(chair(other), minute));
                found.extend(both.map(|minute| (first.line, second.line, 0, minute, 1)));
            }
        }
    }
    for (place, bay) in list.unit.bays.iter().enumerate() {
        let hands = hands_on(BayIndex(place), list, planned);
        for minute in 0..3000 {
            let needed = hands.iter().filter(|span| within(**span, minute)).count();
            found.extend((bay.nurses as usize + 1..=needed).map(|number| (0, 0, place + 1, minute, number)));
        }
    }
    found
}

/// What a visit misses: minutes before opening, after closing, after the time to leave, and before a
/// machine can be cold.
fn misses(list: &DayList, planned: &DayPlan, place: usize) -> [i32; 4] {
    let (row, times, unit) = (&list.visits[place], &planned.visits[place], &list.unit);
    let past = |late: Moment, limit: Moment| (late.minutes() - limit.minutes()).max(0);
    let cold = unit.opens + unit.minutes.machine_start;
    [
        past(unit.opens, row.arrive),
        past(times.leave, unit.closes),
        row.leave_by.map_or(0, |limit| past(times.leave, limit)),
        times.cooling.as_ref().map_or(0, |stages| past(cold, stages.cooling_on)),
    ]
}

/// What drugs that come too late allow: `None` where they do not.
fn drugs(cautions: &[Caution], list: &DayList) -> Vec<(u32, Option<Moment>)> {
    let late = cautions.iter().filter_map(|caution| match caution {
        Caution::DrugsLate { visit, needed_by, .. } => Some((list.visits[*visit].line, *needed_by)),
        _ => None,
    });
    late.collect()
}

/// Whether machines are on before opening no earlier than before.
fn machines_as_before(before: &[Caution], after: &[Caution]) -> bool {
    let early = |cautions: &[Caution]| -> Vec<_> {
        let all = cautions.iter().filter_map(|caution| match caution {
            Caution::MachineBeforeOpening { machine, switch_on } => Some((*machine, *switch_on)),
            _ => None,
        });
        all.collect()
    };
    early(after)
        .iter()
        .all(|(machine, on)| early(before).iter().any(|(same, was)| same == machine && was <= on))
}

/// What these arrivals come to: how many are without, or `None` if they harm anybody.
fn judged(day: &VerifiedDay, lacked: &Lacks, arrivals: &[(usize, Moment)]) -> Option<usize> {
    let list = day.list().with_arrivals(arrivals.iter().copied());
    let planned = plan(&list);
    let was = |line: u32| day.list().visits.iter().position(|row| row.line == line).expect("the same rows");
    let harmed = (0..list.visits.len()).any(|place| {
        let before = misses(day.list(), day.plan(), was(list.visits[place].line));
        misses(&list, &planned, place).iter().zip(before).any(|(after, before)| *after > before)
    });
    if harmed || !lacks(&list, &planned).is_subset(lacked) {
        return None;
    }
    let allocation = allocate(&list, &planned);
    let cautions = survey(&list, &planned, &allocation);
    let late_before = drugs(day.cautions(), day.list());
    let later =
        |(line, by): &(u32, Option<Moment>)| late_before.iter().all(|(same, was)| same != line || by < was);
    if drugs(&cautions, &list).iter().any(later) || !machines_as_before(day.cautions(), &cautions) {
        return None;
    }
    let left_out = without(&list, &allocation);
    left_out.is_subset(&without(day.list(), day.allocation())).then_some(left_out.len())
}

fn arrivals(proposal: &Proposal) -> Vec<(usize, Moment)> {
    proposal.changes.iter().map(|change| (change.visit, change.to)).collect()
}

/// The least that any change within the limits comes to: people without, minutes, people asked.
fn least_of_all(day: &VerifiedDay) -> (usize, u32, usize) {
    let rules = &day.list().unit.rules;
    let steps = -(rules.retime_earlier.signed() / 5)..=rules.retime_later.signed() / 5;
    let mut ways: Vec<Vec<i32>> = vec![Vec::new()];
    for _ in &day.list().visits {
        let longer = |way: &Vec<i32>| {
            let way = way.clone();
            steps.clone().map(move |step| [&way[..], &[5 * step]].concat())
        };
        ways = ways.iter().flat_map(longer).collect();
    }
    let lacked = lacks(day.list(), day.plan());
    let worth = |way: Vec<i32>| {
        let moved = way.iter().enumerate().filter(|(_, change)| **change != 0);
        let arrivals: Vec<(usize, Moment)> =
            moved.map(|(visit, change)| (visit, day.list().visits[visit].arrive.slipped(*change))).collect();
        let of_the_day = arrivals.iter().all(|(_, arrive)| (0..24 * 60).contains(&arrive.minutes()));
        let minutes = way.iter().map(|change| change.unsigned_abs()).sum();
        let left_out = judged(day, &lacked, &arrivals).filter(|_| of_the_day)?;
        Some((left_out, minutes, arrivals.len()))
    };
    ways.into_iter().filter_map(worth).min().expect("the listed day is one of them")
}

#[test]
fn a_proposal_that_is_called_least_is_least_of_all_answers_on_tiny_days() {
    let (mut proposed, mut proven) = (0, 0);
    for day in days_that_nearly_fit(60, 3, (15, 30)) {
        let before = without(day.list(), day.allocation()).len();
        if before == 0 {
            assert_eq!(propose(&day), Advice::NothingNeeded);
            continue;
        }
        match propose(&day) {
            Advice::Retime(proposal) => {
                proposed += 1;
                let found = (proposal.still_without.len(), proposal.total().get(), proposal.changes.len());
                let least = least_of_all(&day);
                assert!(least <= found, "better than all: {proposal:?}");
                if proposal.proven {
                    assert_eq!(found, least, "called least: {proposal:?}");
                    proven += 1;
                }
            }
            Advice::NothingHelps { proven: true } => {
                assert_eq!(least_of_all(&day).0, before, "a change would help: {:?}", day.list());
            }
            other => assert_eq!(other, Advice::NothingHelps { proven: false }),
        }
    }
    assert!(proposed >= 5 && proven >= 5, "only {proposed} days had a proposal, {proven} proven");
}

#[test]
fn a_proposal_never_breaks_anything() {
    let mut proposed = 0;
    for day in days_that_nearly_fit(30, 10, (30, 60)) {
        let Advice::Retime(proposal) = propose(&day) else { continue };
        proposed += 1;
        let left_out =
            judged(&day, &lacks(day.list(), day.plan()), &arrivals(&proposal)).expect("nobody is harmed");
        assert!(left_out <= proposal.still_without.len(), "{proposal:?}");
        assert!(left_out < proposal.without_before, "{proposal:?}");
        for change in &proposal.changes {
            let minutes = change.to.minutes() - change.from.minutes();
            assert!(minutes % 5 == 0 && (-30..=60).contains(&minutes) && minutes != 0, "{change:?}");
            assert_eq!(change.from, day.list().visits[change.visit].arrive);
        }
    }
    assert!(proposed >= 8, "only {proposed} days had a proposal");
}

/// The holds that a resource counts at a stretch, recomputed from the plan alone.
fn holds_all(day: &VerifiedDay, resource: &Resource, visit: usize, when: Span) -> bool {
    let unit = &day.list().unit;
    let Some(stages) = &day.plan().visits[visit].cooling else { return false };
    let span = match resource {
        Resource::Outlets { .. } => stages.outlet_hold(unit),
        Resource::Machines { .. } => Span::new(stages.cooling_on, stages.cooling_off),
        Resource::Caps(_) => stages.cap_hold(unit),
    };
    span.from <= when.from && when.until <= span.until
}

/// How many outlets at the most can serve some bays at a minute: in service, cold again after an outage of the
/// whole machine, standing there or movable.
fn outlets_there(unit: &Unit, bays: &[BayIndex], minute: Moment) -> usize {
    let now = Span::new(minute, minute.slipped(1));
    let machines = unit.machines.iter().filter(|machine| machine.movable || bays.contains(&machine.bay));
    let outlets = machines.flat_map(|machine| (1..=machine.outlets).map(move |number| (machine, number)));
    let starts = |outage: &Outage| {
        outage.outlet.is_none()
            && Span::new(outage.span.until, outage.span.until + unit.minutes.machine_start).meets(now)
    };
    let out = |outage: &Outage| outage.span.meets(now) || starts(outage);
    outlets.filter(|(machine, number)| !machine.outages_of(*number).any(out)).count()
}

#[test]
fn who_is_named_for_a_shortfall_asks_for_the_resource_at_that_time_and_there_is_too_little_of_it() {
    let (mut outlets, mut machines, mut caps, mut none) = (0, 0, 0, 0);
    for day in days(200, 14) {
        let unit = &day.list().unit;
        let shortfalls = explain(&day);
        assert_eq!(shortfalls.len(), without(day.list(), day.allocation()).len(), "each is explained once");
        for shortfall in shortfalls {
            let Why::TooMany(clash) = &shortfall.why else {
                none += 1;
                continue;
            };
            assert!(clash.people.contains(&shortfall.visit), "the patient is one of them: {clash:?}");
            assert!(!clash.when.is_empty() && clash.needed > clash.there, "{clash:?}");
            assert_eq!(clash.too_many(), clash.needed - clash.there);
            for &visit in &clash.people {
                assert!(holds_all(&day, &clash.resource, visit, clash.when), "{visit} in {clash:?}");
            }
            let bay_of = |visit: &usize| day.list().visits[*visit].bay;
            match &clash.resource {
                Resource::Outlets { bays, all_through, .. } => {
                    outlets += 1;
                    assert!(clash.people.iter().all(|visit| bays.contains(&bay_of(visit))));
                    assert_eq!(clash.people.len(), clash.needed as usize);
                    let in_service = outlets_there(unit, bays, clash.when.from);
                    assert!(
                        *all_through || in_service == clash.there as usize,
                        "{clash:?}, {in_service} there"
                    );
                    assert!(clash.there as usize <= in_service, "{clash:?}, {in_service} there");
                }
                Resource::Machines { bay } => {
                    machines += 1;
                    assert!(clash.people.iter().all(|visit| bay_of(visit) == *bay));
                }
                Resource::Caps(size) => {
                    caps += 1;
                    assert_eq!(clash.people.len(), clash.needed as usize);
                    assert_eq!(unit.cap(*size).count, clash.there);
                    let takes = |visit: &usize| {
                        let row = &day.list().visits[*visit];
                        row.cap == Some(*size) && !row.own_cap
                    };
                    assert!(clash.people.iter().all(takes), "{clash:?}");
                }
            }
        }
    }
    assert!(
        outlets > 100 && machines > 0 && caps > 20,
        "{outlets} outlets, {machines} machines, {caps} caps, {none}"
    );
}

/// Three at once in bay A with two outlets there; the third can come an hour later.
fn one_too_many(earlier: u32, later: u32) -> VerifiedDay {
    let regimens = vec![regimen("D", 20, vec![hair_loss("docetaxel", 20)])];
    let visits =
        vec![visit(2, "08:30"), seated_in(visit(3, "08:40"), 0, "A2"), seated_in(visit(4, "09:20"), 0, "A3")];
    let mut unit = unit();
    unit.machines.truncate(1);
    unit.caps[1].count = 3;
    (unit.rules.retime_earlier, unit.rules.retime_later) = (min(earlier), min(later));
    verified(day_list(unit, regimens, visits))
}

/// Cooling on at 09:00, 09:10, 09:50 and off 70 minutes later, clean 10 minutes after that: the third must
/// wait from 09:50 to 10:20, 30 minutes; worked out by hand from the definitions.
#[test]
fn the_least_change_of_a_day_worked_by_hand_is_found_and_proven() {
    let Advice::Retime(proposal) = propose(&one_too_many(30, 60)) else { panic!("a proposal") };
    assert!(proposal.proven && proposal.still_without.is_empty());
    assert_eq!(proposal.total(), min(30));
    assert_eq!(proposal.changes.len(), 1);
    assert_eq!((proposal.changes[0].from, proposal.changes[0].to), (at("09:20"), at("09:50")));
}

#[test]
fn limits_that_are_too_narrow_or_nought_are_said() {
    assert_eq!(propose(&one_too_many(0, 0)), Advice::NotAllowed);
    assert_eq!(propose(&one_too_many(4, 4)), Advice::NotAllowed);
    assert_eq!(propose(&one_too_many(5, 10)), Advice::NothingHelps { proven: true });
}
