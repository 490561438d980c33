//! Published cases of interval partitioning and of a cumulative resource, as days of cooling.
//!
//! An interval is a stay on an outlet, or the time for which a cap is taken; outlets and caps are the
//! resource. Hours of the sources are hours of the day.

mod support;

use baypack::allocate::{Allocation, Cooling, Effort, Reason, Worth, allocate, allocate_with};
use baypack::clock::Moment;
use baypack::plan::{DayPlan, plan};
use baypack::validate::DayList;
use support::{bay, cap_stock, day_list, hair_loss, machine, min, regimen, seated_in, unit, visit};

/// From, until: in minutes since midnight.
type Interval = (i32, i32);

/// Whole hours as minutes.
fn hours(pairs: &[Interval]) -> Vec<Interval> {
    pairs.iter().map(|(from, until)| (60 * from, 60 * until)).collect()
}

/// A day on which each interval is a patient's cooling, cap included, with nothing before or after it.
fn cooled_in(intervals: &[Interval], outlets: usize, caps: u32) -> (DayList, DayPlan) {
    let mut unit = unit();
    unit.minutes.outlet_clean = min(0);
    unit.minutes.cap_clean = min(0);
    unit.rules.hand_over_slack = min(0);
    unit.caps = vec![cap_stock("S", 0), cap_stock("M", caps)];
    unit.machines = (1..=outlets).map(|number| machine(&format!("M{number}"), 0, 1, false)).collect();
    let lines = (2..).take(intervals.len());
    let visits = lines.map(|line| visit(line, "08:00")).collect();
    let list = day_list(unit, vec![regimen("R", 90, vec![hair_loss("Paclitaxel", 60)])], visits);
    let mut planned = plan(&list);
    for (visit, (from, until)) in planned.visits.iter_mut().zip(intervals) {
        let stages = visit.cooling.as_mut().expect("a cooled visit");
        (stages.prepare, stages.cooling_on) = (Moment::from_midnight(*from), Moment::from_midnight(*from));
        (stages.cooling_off, stages.cap_off) = (Moment::from_midnight(*until), Moment::from_midnight(*until));
    }
    (list, planned)
}

fn allocated(intervals: &[Interval], outlets: usize, caps: u32) -> Allocation {
    let (list, planned) = cooled_in(intervals, outlets, caps);
    allocate(&list, &planned)
}

/// Fails unless everyone has an outlet and no outlet serves two at once.
fn assert_all_served(allocation: &Allocation, intervals: usize) {
    assert_eq!(allocation.holds().count(), intervals);
    for (visit, hold) in allocation.holds() {
        let shared = allocation.holds().filter(|(other, held)| {
            *other != visit
                && (held.machine, held.number) == (hold.machine, hold.number)
                && held.span.meets(hold.span)
        });
        assert_eq!(shared.count(), 0, "visit {visit} shares its outlet");
    }
}

/// Fails unless exactly `depth` outlets are needed, which is proven of one fewer.
fn assert_depth(intervals: &[Interval], depth: usize) {
    let plenty = 99;
    let enough = allocated(intervals, depth, plenty);
    assert_all_served(&enough, intervals.len());
    let worth = allocated(intervals, depth - 1, plenty).worth;
    assert!(worth.proven && worth.bound_without_outlet >= 1, "{worth:?}");
}

#[test]
fn the_worked_table_of_a_course_on_algorithms_needs_six_outlets() {
    // California State University Stanislaus, CS4440, take-home exercise 03: twelve classes, depth 6.
    let classes = [
        (13, 15),
        (17, 22),
        (12, 17),
        (9, 10),
        (12, 15),
        (9, 11),
        (11, 14),
        (10, 15),
        (16, 19),
        (12, 14),
        (18, 23),
        (8, 11),
    ];
    assert_depth(&hours(&classes), 6);
}

#[test]
fn the_assignment_of_the_same_course_needs_six_outlets() {
    // The same page, assignment input; the depth of 6 is counted from the intervals.
    let classes = [
        (8, 11),
        (13, 15),
        (9, 10),
        (8, 10),
        (15, 16),
        (16, 19),
        (18, 19),
        (8, 10),
        (9, 14),
        (11, 16),
        (17, 19),
        (9, 13),
    ];
    assert_depth(&hours(&classes), 6);
}

#[test]
fn ten_lectures_of_a_textbook_need_three_outlets() {
    // Kleinberg and Tardos, Algorithm Design, lecture slide on interval partitioning: three rooms suffice
    // (the times from memory, the depth counted from them).
    let (half, lectures) = (
        30,
        [(18, 21), (18, 25), (18, 21), (22, 25), (22, 28), (26, 29), (26, 29), (28, 33), (30, 33), (30, 33)],
    );
    let lectures: Vec<Interval> = lectures.iter().map(|(from, until)| (half * from, half * until)).collect();
    assert_depth(&lectures, 3);
}

#[test]
fn four_intervals_of_a_notes_file_need_three_outlets() {
    // A small example in a public notes file on interval partitioning: 1-4, 2-5, 6-8, 3-7.
    assert_depth(&hours(&[(1, 4), (2, 5), (6, 8), (3, 7)]), 3);
}

/// Fails unless `limit` caps suffice for the tasks (origin, duration, height) and one fewer does not.
fn assert_peak(tasks: &[(i32, i32, usize)], limit: u32) {
    let one = |&(origin, duration, height): &(i32, i32, usize)| vec![(origin, origin + duration); height];
    let intervals = hours(&tasks.iter().flat_map(one).collect::<Vec<_>>());
    assert_all_served(&allocated(&intervals, intervals.len(), limit), intervals.len());
    let short = allocated(&intervals, intervals.len(), limit - 1);
    assert!(short.worth.proven && short.worth.bound_without_outlet >= 1, "{:?}", short.worth);
    assert!(short.visits.contains(&Cooling::Without(Reason::NoCapFree)), "{:?}", short.visits);
}

#[test]
fn the_catalogue_s_cumulative_example_passes_with_seven_caps_and_fails_with_six() {
    // Global Constraint Catalog, `cumulative`: tasks of origin, duration and height; limit 8, the profile's
    // peak is 7 (counted from the tasks).
    assert_peak(&[(1, 3, 1), (2, 9, 2), (3, 10, 1), (6, 6, 1), (7, 2, 3)], 7);
}

#[test]
fn a_solver_tutorial_s_tasks_pass_with_five_caps_and_fail_with_four() {
    // lmmx/hello-pumpkin, example 08: T0 2-4 x1, T1 4-7 x2, T2 0-4 x3, T3 0-2 x2, capacity 5.
    assert_peak(&[(2, 2, 1), (4, 3, 2), (0, 4, 3), (0, 2, 2)], 5);
}

/// Bays with three patients each, all cooled at the same time, and movable machines of two outlets: the first of them
/// one in each bay, the rest in the first bay.
fn three_in_each(bays: usize, machines: usize) -> Worth {
    let mut unit = unit();
    unit.bays = (0..bays).map(|number| bay(&format!("B{number}"), 3)).collect();
    unit.machines = (0..machines)
        .map(|number| machine(&format!("M{number}"), if number < bays { number } else { 0 }, 2, true))
        .collect();
    unit.caps = vec![cap_stock("S", 0), cap_stock("M", 99)];
    let seats = (0..bays).flat_map(|bay| (1..=3).map(move |chair| (bay, format!("B{bay}{chair}"))));
    let visits = (2..).zip(seats).map(|(line, (bay, chair))| seated_in(visit(line, "08:00"), bay, &chair));
    let list = day_list(unit, vec![regimen("R", 90, vec![hair_loss("Paclitaxel", 60)])], visits.collect());
    allocate_with(&list, &plan(&list), Effort::QUICK).worth
}

#[test]
fn of_three_at_once_no_more_than_two_are_a_pair() {
    // Edmonds, 'Maximum matching and a polyhedron with 0,1-vertices' (1965), inequalities for odd sets; cited from
    // memory. Three patients need two machines, although one and a half would have outlets enough. With 15 machines
    // for ten bays, five bays have two and serve three, five have one and serve two; of the six machines that stand in
    // the first bay two stay and four are moved.
    let worth = three_in_each(10, 15);
    assert_eq!((worth.without_outlet, worth.bound_without_outlet), (5, 5), "{worth:?}");
    assert_eq!((worth.moves, worth.proven), (4, true), "{worth:?}");
    // With 19 machines one bay is left with one; of the ten that stand in the first bay two stay.
    let worth = three_in_each(10, 19);
    assert_eq!((worth.without_outlet, worth.moves, worth.proven), (1, 8, true), "{worth:?}");
}
