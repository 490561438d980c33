//! What holds on every day, shown on random ones.

mod support;

use baypack::allocate::Cooling;
use baypack::clock::{Minutes, Moment};
use baypack::patient::Hair;
use baypack::plan::{CoolingStages, VisitPlan, plan};
use baypack::survey::Caution;
use baypack::unit_rules::PostCoolingFrom;
use baypack::verify::{Breach, Promise};
use proptest::prelude::{ProptestConfig, prop_assert, prop_assert_eq, prop_assume, proptest};
use proptest::strategy::Strategy;
use proptest::test_runner::TestCaseError;
use support::random::a_day;
use support::worked::Day;

/// A random day with all that is made of it.
fn a_worked_day(most: usize) -> impl Strategy<Value = Day> {
    a_day(most).prop_map(Day::made_from)
}

/// The visits that have an outlet.
fn with_outlet(day: &Day) -> Vec<usize> {
    let visits = 0..day.allocation.visits.len();
    visits.filter(|&visit| matches!(day.allocation.visits[visit], Cooling::Outlet(_))).collect()
}

fn config() -> ProptestConfig {
    ProptestConfig { failure_persistence: None, max_global_rejects: 1_000_000, ..ProptestConfig::default() }
}

/// Fails unless one of the breaches is of the promise.
fn broken(breaches: &[Breach], promise: impl Fn(Promise) -> bool) -> Result<(), TestCaseError> {
    let texts: Vec<String> = breaches.iter().map(ToString::to_string).collect();
    prop_assert!(breaches.iter().any(|breach| promise(breach.promise)), "refused only: {texts:#?}");
    Ok(())
}

/// The stages of a visit that can be moved, each with its name in the plan.
const STAGES: [&str; 9] = [
    "arrive",
    "premed",
    "leave",
    "prepare",
    "cooling_on",
    "hair_loss_drug_start",
    "hair_loss_drug_end",
    "cooling_off",
    "cap_off",
];

/// The time of a stage, to be changed.
fn stage_of<'a>(planned: &'a mut VisitPlan, stage: &str) -> Option<&'a mut Moment> {
    match stage {
        "arrive" => return Some(&mut planned.arrive),
        "premed" => return Some(&mut planned.premed),
        "leave" => return Some(&mut planned.leave),
        _ => {}
    }
    let stages: &mut CoolingStages = planned.cooling.as_mut()?;
    match stage {
        "prepare" => Some(&mut stages.prepare),
        "cooling_on" => Some(&mut stages.cooling_on),
        "hair_loss_drug_start" => Some(&mut stages.hair_loss_drug_start),
        "hair_loss_drug_end" => Some(&mut stages.hair_loss_drug_end),
        "cooling_off" => Some(&mut stages.cooling_off),
        "cap_off" => Some(&mut stages.cap_off),
        _ => None,
    }
}

/// Minutes of a visit's stretch, negative if it runs backwards.
fn length(from: Moment, until: Moment) -> i32 {
    until.minutes() - from.minutes()
}

proptest! {
    #![proptest_config(config())]

    #[test]
    fn the_order_of_rows_changes_no_visits_plan(list in a_day(12), turn in proptest::num::usize::ANY) {
        prop_assume!(!list.visits.is_empty());
        let before = plan(&list);
        let mut turned = list.clone();
        let by = turn % turned.visits.len();
        turned.visits.rotate_left(by);
        turned.visits.reverse();
        let after = plan(&turned);
        for (place, visit) in turned.visits.iter().enumerate() {
            let was = list.visits.iter().position(|row| row.line == visit.line).expect("the same rows");
            prop_assert_eq!(&after.visits[place], &before.visits[was]);
        }
    }

    #[test]
    fn nobody_is_on_two_outlets_and_no_outlet_has_two_people(day in a_worked_day(14)) {
        prop_assert_eq!(day.allocation.visits.len(), day.list.visits.len());
        let cooled = with_outlet(&day);
        for (place, &one) in cooled.iter().enumerate() {
            for &other in &cooled[..place] {
                let (Cooling::Outlet(one), Cooling::Outlet(other)) =
                    (day.allocation.visits[one], day.allocation.visits[other])
                else {
                    continue;
                };
                let same = (one.machine, one.number) == (other.machine, other.number);
                prop_assert!(!(same && one.span.from < other.span.until && other.span.from < one.span.until));
            }
        }
    }

    #[test]
    fn each_minimum_holds(list in a_day(12)) {
        let planned = plan(&list);
        for (visit, times) in list.visits.iter().zip(&planned.visits) {
            let regimen = list.regimen(visit.regimen);
            let minutes = &list.unit.minutes;
            let lead = length(times.premed, times.steps[0].start);
            prop_assert!(lead >= regimen.premed_lead.signed());
            for (step, given) in regimen.steps.iter().zip(&times.steps) {
                prop_assert!(length(given.start, given.end) >= step.infusion(visit.is_first()).signed());
                let watched = step.flush + step.observation(visit.is_first());
                prop_assert!(length(given.end, given.free) >= watched.signed());
            }
            prop_assert!(times.steps.windows(2).all(|pair| pair[0].free <= pair[1].start));
            prop_assert!(times.steps.iter().all(|step| step.free <= times.leave));
            let Some(stages) = &times.cooling else { continue };
            let thick = minutes.pre_cooling_thick;
            let pre_cooling = match visit.hair {
                Some(Hair::Thick) => thick,
                Some(_) => minutes.pre_cooling,
                None => thick.max(minutes.pre_cooling),
            };
            for (step, given) in regimen.steps.iter().zip(&times.steps).filter(|(step, _)| step.hair_loss) {
                prop_assert!(length(stages.cooling_on, given.start) >= pre_cooling.signed());
                let flush = if list.unit.rules.flush_counts { step.flush } else { Minutes::new(0) };
                let after = length(given.end, stages.cooling_off);
                prop_assert!(after >= (regimen.post_cooling + flush).signed());
            }
            if list.unit.rules.post_cooling_from == PostCoolingFrom::LastCytotoxicDrug {
                for (_, given) in regimen.steps.iter().zip(&times.steps).filter(|(step, _)| step.cytotoxic) {
                    prop_assert!(length(given.end, stages.cooling_off) >= regimen.post_cooling.signed());
                }
            }
            prop_assert!(length(stages.cooling_off, stages.cap_off) >= minutes.warm_up.signed());
            prop_assert!(length(stages.cap_off, times.leave) >= minutes.seated.signed());
        }
    }

    #[test]
    fn verify_accepts_a_day_that_was_planned_allocated_and_surveyed(day in a_worked_day(16)) {
        let shown = (day.plan.clone(), day.allocation.clone(), day.cautions.clone());
        let texts: Vec<String> = day.breaches().iter().map(ToString::to_string).collect();
        prop_assert!(texts.is_empty(), "{texts:#?}\n{shown:#?}");
    }

    #[test]
    fn verify_refuses_a_plan_with_one_stage_moved_by_one_minute(
        day in a_worked_day(10),
        who in proptest::num::usize::ANY,
        which in proptest::sample::select(&STAGES[..]),
        later in proptest::bool::ANY,
    ) {
        prop_assume!(!day.list.visits.is_empty());
        let mut day = day;
        let visit = who % day.plan.visits.len();
        let Some(time) = stage_of(&mut day.plan.visits[visit], which) else { return Ok(()) };
        *time = time.slipped(if later { 1 } else { -1 });
        broken(&day.breaches(), |promise| promise == Promise::StageTime(which))?;
    }

    #[test]
    fn verify_refuses_a_plan_with_rinse_by_or_a_drug_moved_by_one_minute(
        day in a_worked_day(10),
        who in proptest::num::usize::ANY,
        which in 0..4_usize,
    ) {
        prop_assume!(!day.list.visits.is_empty());
        let mut day = day;
        let visit = who % day.plan.visits.len();
        let planned = &mut day.plan.visits[visit];
        let step = who % planned.steps.len();
        match which {
            0 => planned.steps[step].start = planned.steps[step].start.slipped(1),
            1 => planned.steps[step].end = planned.steps[step].end.slipped(-1),
            2 => planned.steps[step].free = planned.steps[step].free.slipped(1),
            _ => {
                let Some(stages) = planned.cooling.as_mut() else { return Ok(()) };
                stages.rinse_by += chrono::Duration::minutes(1);
            }
        }
        broken(&day.breaches(), |promise| match promise {
            Promise::DrugTime(number, _) => number == step + 1 && which < 3,
            Promise::StageTime(stage) => stage == "rinse_by" && which == 3,
            _ => false,
        })?;
    }

    #[test]
    fn verify_refuses_an_outlet_swapped_onto_an_occupied_one(day in a_worked_day(16), who in proptest::num::usize::ANY) {
        let mut meeting = Vec::new();
        for &one in &with_outlet(&day) {
            for &other in &with_outlet(&day) {
                if let (Cooling::Outlet(of_one), Cooling::Outlet(of_other)) =
                    (day.allocation.visits[one], day.allocation.visits[other])
                    && one != other
                    && of_one.span.meets(of_other.span)
                {
                    meeting.push((one, of_one, of_other));
                }
            }
        }
        prop_assume!(!meeting.is_empty());
        let (visit, mut hold, occupied) = meeting[who % meeting.len()];
        hold.machine = occupied.machine;
        hold.number = occupied.number;
        let mut day = day;
        day.allocation.visits[visit] = Cooling::Outlet(hold);
        broken(&day.breaches(), |promise| promise == Promise::OnePatientAnOutlet)?;
    }

    #[test]
    fn verify_refuses_a_day_without_one_of_its_cautions(day in a_worked_day(14), which in proptest::num::usize::ANY) {
        prop_assume!(!day.cautions.is_empty());
        let mut day = day;
        let dropped = day.cautions.remove(which % day.cautions.len());
        // A caution about names that are only nearly alike, or about drugs without which the visit
        // would miss its limit as well, is the survey's own judgement.
        prop_assume!(!matches!(dropped, Caution::NamesAlike { .. } | Caution::DrugsLate { .. }));
        broken(&day.breaches(), |promise| matches!(promise, Promise::Cautioned(_)))?;
    }

    #[test]
    fn verify_refuses_a_caution_of_a_shortage_that_is_not_there(day in a_worked_day(10), who in proptest::num::usize::ANY) {
        prop_assume!(!day.list.visits.is_empty());
        let visit = who % day.list.visits.len();
        let leave = day.plan.visits[visit].leave;
        let invented = [
            Caution::OutletShort { visit },
            Caution::CapShort { visit },
            Caution::GoAheadWaiting { visit },
            Caution::Isolated { visit },
            Caution::ClosingPassed { visit, leave },
            Caution::BeforeOpening { visit },
            Caution::HairNotRecorded { visit },
            Caution::CapNotRecorded { visit },
            Caution::Alert { visit },
            Caution::HeldBack { row: day.list.held_back.len() },
        ];
        for caution in invented.into_iter().filter(|caution| !day.cautions.contains(caution)) {
            let mut day = day.clone();
            day.cautions.push(caution);
            broken(&day.breaches(), |promise| matches!(promise, Promise::CautionIsTrue(_)))?;
        }
    }

    #[test]
    fn verify_refuses_a_patient_whose_outlet_was_taken_away(day in a_worked_day(14), who in proptest::num::usize::ANY) {
        let cooled = with_outlet(&day);
        prop_assume!(!cooled.is_empty());
        let mut day = day;
        day.allocation.visits[cooled[who % cooled.len()]] = Cooling::NotWanted;
        broken(&day.breaches(), |promise| promise == Promise::OutletAsListed)?;
    }
}
