//! Verification refuses a day that is broken in one place, and names the promise.

mod support;

use baypack::allocate::{Cooling, Move, Reason};
use baypack::clock::Span;
use baypack::patient::Visit;
use baypack::survey::Caution;
use baypack::unit_rules::{BayIndex, MachineIndex, Outage, RegimenIndex, Step};
use baypack::validate::DayList;
use baypack::verify::{Promise, verify};
use support::worked::{Day, a_hand_over, assert_refused, assert_refused_only, three_visits};
use support::{at, hair_loss, min, other_drug, seated_in, visit};

#[test]
fn a_day_that_is_right_is_verified_and_comes_back_as_it_was() {
    let day = Day::of(three_visits());
    let verified = verify(day.list, day.plan.clone(), day.allocation.clone(), day.cautions.clone())
        .expect("a right day");
    assert_eq!(verified.list().visits.len(), 3);
    assert_eq!(verified.plan(), &day.plan);
    assert_eq!(verified.allocation(), &day.allocation);
    assert_eq!(verified.cautions(), day.cautions);
}

#[test]
fn a_visit_without_a_plan_or_an_answer_is_refused() {
    let mut day = Day::of(three_visits());
    day.plan.visits.pop();
    assert_refused_only(&day, Promise::OneEntryAVisit);
    let mut day = Day::of(three_visits());
    day.allocation.visits.push(Cooling::NotWanted);
    assert_refused_only(&day, Promise::OneEntryAVisit);
}

#[test]
fn cooling_that_the_list_does_not_ask_for_is_refused_and_so_is_its_lack() {
    let mut day = Day::of(three_visits());
    day.plan.visits[0].cooling = None;
    assert_refused_only(&day, Promise::CooledAsListed);
    let day = Day::of(three_visits());
    let mut list = day.list.clone();
    list.visits[0].cooled = false;
    assert_refused(&day.with_list(list), Promise::CooledAsListed);
}

#[test]
fn cooling_for_a_regimen_without_a_hair_loss_drug_is_refused() {
    let day = Day::of(three_visits());
    let mut list = day.list.clone();
    list.visits[0].regimen = RegimenIndex(1);
    assert_refused_only(&day.with_list(list), Promise::CooledForAHairLossDrug);
}

#[test]
fn a_drug_that_is_left_out_is_refused() {
    let mut day = Day::of(three_visits());
    day.plan.visits[1].steps.clear();
    assert_refused_only(&day, Promise::EveryDrugIsPlanned);
}

#[test]
fn a_stated_minimum_that_is_not_the_right_one_is_refused() {
    let mut day = Day::of(three_visits());
    let stages = day.plan.visits[0].cooling.as_mut().expect("cooled");
    stages.pre_cooling = min(29);
    stages.post_cooling = min(91);
    assert_refused(&day, Promise::StageTime("pre_cooling"));
    assert_refused(&day, Promise::StageTime("post_cooling"));
}

#[test]
fn every_minimum_that_is_cut_short_by_a_minute_is_named() {
    type Change = fn(&mut baypack::plan::VisitPlan);
    let changes: [(&str, Change); 9] = [
        ("settling", |visit| visit.premed = visit.premed.slipped(-1)),
        ("the pre-medication lead", |visit| visit.steps[0].start = visit.premed.slipped(29)),
        ("an infusion", |visit| visit.steps[0].end = visit.steps[0].end.slipped(-1)),
        ("a flush and observation", |visit| visit.steps[0].free = visit.steps[0].free.slipped(-1)),
        ("the preparation", |visit| cooling(visit).cooling_on = cooling(visit).cooling_on.slipped(-1)),
        ("pre-cooling", |visit| cooling(visit).cooling_on = cooling(visit).cooling_on.slipped(1)),
        ("post-cooling", |visit| cooling(visit).cooling_off = cooling(visit).cooling_off.slipped(-1)),
        ("warm-up", |visit| cooling(visit).cap_off = cooling(visit).cap_off.slipped(-1)),
        ("sitting after the cap", |visit| visit.leave = visit.leave.slipped(-1)),
    ];
    for (stretch, change) in changes {
        let mut day = Day::of(three_visits());
        change(&mut day.plan.visits[0]);
        assert_refused(&day, Promise::Minimum(stretch));
    }
}

fn cooling(visit: &mut baypack::plan::VisitPlan) -> &mut baypack::plan::CoolingStages {
    visit.cooling.as_mut().expect("cooled")
}

#[test]
fn observation_and_the_wait_for_drugs_are_minimums_too() {
    let watched = Step { observe: min(30), ..other_drug("pertuzumab", 30) };
    let mut list = three_visits();
    list.regimens[0].steps.insert(0, watched);
    list.visits[0].drugs_ready = Some(at("09:40"));
    let mut day = Day::of(list);
    day.plan.visits[0].steps[1].start = day.plan.visits[0].steps[0].free.slipped(-1);
    assert_refused(&day, Promise::Minimum("the wait for the drug before"));
    day.plan.visits[0].steps[0].start = at("09:39");
    assert_refused(&day, Promise::Minimum("the wait for the drugs"));
}

#[test]
fn several_hair_loss_drugs_with_short_post_cooling_need_a_reason() {
    let mut list = three_visits();
    list.regimens[0].post_cooling = min(60);
    list.regimens[0].steps.push(hair_loss("cyclophosphamide", 30));
    let mut day = Day::of(list);
    day.list.regimens[0].post_cooling_exception = None;
    assert_refused_only(&day, Promise::PostCoolingOfSeveralDrugs);
    day.list.regimens[0].post_cooling_exception = Some("  ".to_owned());
    assert_refused_only(&day, Promise::PostCoolingOfSeveralDrugs);
    day.list.regimens[0].steps[1].hair_loss = false;
    assert!(day.breaches().iter().all(|breach| breach.promise != Promise::PostCoolingOfSeveralDrugs));
}

#[test]
fn a_hold_that_is_a_minute_too_short_or_too_long_is_refused() {
    for (from, until) in [(1, 0), (0, -1), (-1, 0), (0, 1)] {
        let mut day = Day::of(three_visits());
        let span = day.hold(0).span;
        day.hold(0).span = Span::new(span.from.slipped(from), span.until.slipped(until));
        assert_refused_only(&day, Promise::OutletHold);
    }
}

#[test]
fn an_outlet_or_machine_that_does_not_exist_is_refused() {
    for (machine, number) in [(9, 1), (0, 0), (0, 3), (1, 2)] {
        let mut day = Day::of(three_visits());
        day.hold(0).machine = MachineIndex(machine);
        day.hold(0).number = number;
        assert_refused(&day, Promise::OutletExists);
    }
}

#[test]
fn an_outlet_for_somebody_who_is_not_cooled_is_refused() {
    let mut list = three_visits();
    list.visits[0].cooled = false;
    let mut day = Day::of(list);
    day.allocation.visits[0] = Cooling::Without(Reason::NoOutletFree);
    assert_refused(&day, Promise::OutletAsListed);
    day.allocation.visits[0] = day.allocation.visits[1];
    assert_refused(&day, Promise::OutletAsListed);
}

#[test]
fn two_patients_on_one_outlet_are_refused() {
    let mut day = Day::of(three_visits());
    day.hold(1).number = 1;
    day.hold(0).number = 1;
    assert_refused(&day, Promise::OnePatientAnOutlet);
}

#[test]
fn a_machine_in_another_bay_than_the_patient_is_refused() {
    let mut day = Day::of(three_visits());
    day.hold(2).machine = MachineIndex(0);
    assert_refused(&day, Promise::OnlyMovableMachinesMove);
    day.list.unit.machines[0].movable = true;
    assert_refused(&day, Promise::MachineInTheBay);
    assert_refused(&day, Promise::MovesAsHeld);
}

/// The one movable machine of bay B serves bay A from 09:00 to 12:10 and bay B from 12:25.
fn a_move_there_and_back() -> DayList {
    let mut list = three_visits();
    list.unit.machines.remove(0);
    list.visits = vec![visit(2, "08:30"), seated_in(visit(3, "11:55"), 1, "B1")];
    list
}

#[test]
fn a_move_needs_its_minutes() {
    let day = Day::of(a_move_there_and_back());
    assert_eq!(day.allocation.moves.len(), 2, "{:?}", day.allocation);
    let mut list = day.list.clone();
    list.unit.minutes.machine_move = min(16);
    assert_refused(&day.with_list(list), Promise::TimeToMove);
}

#[test]
fn a_list_of_moves_that_the_holds_do_not_imply_is_refused() {
    let day = Day::of(a_move_there_and_back());
    let mut missing = day.clone();
    missing.allocation.moves.pop();
    assert_refused(&missing, Promise::MovesAsHeld);
    assert_refused(&missing, Promise::Worth("moves"));
    let mut longer = day.clone();
    longer.allocation.moves[1].within.from = longer.allocation.moves[1].within.from.slipped(-1);
    assert_refused(&longer, Promise::MovesAsHeld);
    let mut elsewhere = day;
    elsewhere.allocation.moves[0].to = BayIndex(1);
    assert_refused(&elsewhere, Promise::MovesAsHeld);
    let mut needless = Day::of(three_visits());
    let within = Span::new(at("08:00"), at("09:00"));
    let (machine, from, to) = (MachineIndex(1), BayIndex(1), BayIndex(0));
    needless.allocation.moves.push(Move { machine, from, to, within });
    assert_refused(&needless, Promise::MovesAsHeld);
}

#[test]
fn patients_at_once_on_one_machine_sit_within_its_reach() {
    let day = Day::of(three_visits());
    let mut list = day.list.clone();
    list.unit.bays[0].reach = vec![vec!["A1".to_owned(), "A3".to_owned()], vec!["A2".to_owned()]];
    assert_refused_only(&day.with_list(list), Promise::WithinReach);
}

#[test]
fn an_outlet_out_of_service_cools_nobody() {
    let mut day = Day::of(three_visits());
    let number = day.hold(0).number;
    let outage =
        |from, until, outlet| Outage { span: Span::new(at(from), at(until)), outlet, reason: String::new() };
    // The first visit holds its outlet from 09:00 to 12:10, clean-down included.
    for (outage, is_hit) in [
        (outage("12:09", "13:30", Some(number)), true),
        (outage("12:10", "13:30", Some(number)), false),
        (outage("08:00", "09:01", None), true),
        (outage("08:00", "09:00", None), false),
        (outage("09:00", "09:30", Some(3 - number)), false),
    ] {
        let mut list = day.list.clone();
        // Only the first visit is on the machine, so that only its hold can be hit.
        list.visits.truncate(1);
        let mut one = Day::of(list);
        one.list.unit.machines[0].out_of_service = vec![outage.clone()];
        let refused = one.breaches().iter().any(|breach| breach.promise == Promise::InService);
        assert_eq!(refused, is_hit, "{outage:?}");
    }
}

#[test]
fn a_machine_that_was_out_of_service_is_cold_again_before_it_cools() {
    // A machine takes 60 minutes until it is cold; the one visit is connected at 09:00. A machine that was out
    // as a whole is switched on after that: our choice, no source.
    let mut list = three_visits();
    list.visits.truncate(1);
    list.unit.machines.truncate(1);
    for (from, until, outlet, is_warm) in [
        ("06:00", "08:00", None, false),
        ("06:00", "08:01", None, true),
        ("08:30", "09:00", None, true),
        ("08:30", "09:00", Some(1), false),
        ("08:30", "09:01", None, false),
        ("12:10", "13:00", None, false),
    ] {
        let outage = Outage { span: Span::new(at(from), at(until)), outlet, reason: String::new() };
        let mut day = Day::of(list.clone());
        day.list.unit.machines[0].out_of_service = vec![outage.clone()];
        let refused = day.breaches().iter().any(|breach| breach.promise == Promise::ColdAgain);
        assert_eq!(refused, is_warm, "{outage:?}");
        // What is planned with the outage known keeps to it: served if the machine is cold.
        let day = Day::of(day.list);
        assert_eq!(day.breaches(), []);
        let bars = is_warm || until == "09:01";
        assert_eq!(matches!(day.allocation.visits[0], Cooling::Without(_)), bars, "{outage:?}");
    }
}

#[test]
fn a_first_move_ends_when_the_machine_is_switched_on() {
    // Connected at 08:30 in the other bay, cold after 60 minutes, moved in 15.
    let mut list = a_move_there_and_back();
    list.visits = vec![visit(2, "08:00")];
    let day = Day::of(list);
    assert_eq!(day.allocation.moves[0].within, Span::new(at("07:15"), at("08:30")));
    assert_eq!(day.breaches(), []);
    let mut late = day;
    late.allocation.moves[0].within.from = at("08:00");
    assert_refused(&late, Promise::MovesAsHeld);
}

#[test]
fn more_caps_of_a_size_than_the_stock_are_refused() {
    let day = Day::of(three_visits());
    let mut list = day.list.clone();
    list.unit.caps[1].count = 1;
    assert_refused_only(&day.with_list(list.clone()), Promise::CapsInStock);
    // One of one's own takes none of the stock.
    list.visits[1].own_cap = true;
    list.visits[2].own_cap = true;
    assert_eq!(day.with_list(list).breaches(), []);
}

#[test]
fn nobody_is_left_without_an_outlet_for_a_reason_that_is_not_true() {
    for (reason, caution) in [
        (Reason::NoOutletFree, Caution::OutletShort { visit: 2 }),
        (Reason::NoCapFree, Caution::CapShort { visit: 2 }),
    ] {
        let mut day = Day::of(three_visits());
        day.allocation.visits[2] = Cooling::Without(reason);
        day.allocation.worth.without_outlet = 1;
        day.allocation.worth.bound_without_outlet = 0;
        day.allocation.worth.proven = false;
        claim_nothing_of_slack(&mut day.allocation.worth);
        day.cautions.push(caution);
        assert_refused_only(&day, Promise::LeftOutForTheReasonGiven);
    }
}

#[test]
fn a_plan_is_not_proven_while_a_move_would_serve_one_patient_more() {
    let mut list = three_visits();
    list.visits.truncate(2);
    list.unit.machines[0].outlets = 1;
    let mut day = Day::of(list);
    assert_eq!(day.allocation.moves.len(), 1, "the machine of bay B comes for the second patient");
    let on_the_movable = usize::from(day.hold(1).machine == MachineIndex(1));
    day.allocation.visits[on_the_movable] = Cooling::Without(Reason::NoOutletFree);
    day.allocation.moves.clear();
    day.allocation.prices.clear();
    let worth = &mut day.allocation.worth;
    (worth.without_outlet, worth.moves, worth.bound_moves) = (1, 0, 0);
    (worth.proven, worth.bound_without_outlet) = (false, 0);
    claim_nothing_of_slack(worth);
    day.cautions.retain(|caution| !matches!(caution, Caution::MachineMoves { .. }));
    day.cautions.push(Caution::OutletShort { visit: on_the_movable });
    assert_eq!(day.breaches(), [], "without a claim of proof the plan stands");
    (day.allocation.worth.proven, day.allocation.worth.bound_without_outlet) = (true, 1);
    assert_refused_only(&day, Promise::ProvenMeansFewest);
}

#[test]
fn a_figure_of_the_machine_plan_that_is_off_by_one_is_refused() {
    type Figure = fn(&mut baypack::allocate::Worth) -> &mut u32;
    let figures: [(&str, Figure); 4] = [
        ("without_outlet", |worth| &mut worth.without_outlet),
        ("moves", |worth| &mut worth.moves),
        ("slack_shortfall", |worth| &mut worth.slack_shortfall),
        ("busiest_outlet", |worth| &mut worth.busiest_outlet),
    ];
    for (name, figure) in figures {
        let mut day = Day::of(a_hand_over());
        day.allocation.worth.proven = false;
        claim_nothing_of_slack(&mut day.allocation.worth);
        *figure(&mut day.allocation.worth) += 1;
        assert_refused_only(&day, Promise::Worth(name));
    }
}

#[test]
fn the_worth_of_a_hand_over_is_its_shortfall_and_the_busiest_outlet() {
    let day = Day::of(a_hand_over());
    // Clean at 12:10, connected at 12:15, wished 10; two visits of 180 minutes of cooling on one outlet.
    assert_eq!(day.allocation.worth.slack_shortfall, 5);
    assert_eq!(day.allocation.worth.busiest_outlet, 360);
}

#[test]
fn a_bound_above_its_value_and_a_proof_without_one_are_refused() {
    let mut day = Day::of(three_visits());
    day.allocation.worth.proven = false;
    claim_nothing_of_slack(&mut day.allocation.worth);
    day.allocation.worth.bound_moves = 1;
    assert_refused_only(&day, Promise::BoundBelowValue("moves"));
    let mut day = Day::of(a_move_there_and_back());
    day.allocation.worth.proven = true;
    day.allocation.worth.bound_moves = 1;
    assert_refused_only(&day, Promise::ProvenMeansBound);
}

#[test]
fn a_price_of_moves_that_does_not_lead_to_the_plan_is_refused() {
    let right = Day::of(a_move_there_and_back());
    let said: Vec<_> =
        right.allocation.prices.iter().map(|price| (price.moves, price.without_outlet)).collect();
    let (first, last) = (said.first().expect("a price"), said.last().expect("a price"));
    assert!(first.0 == 0 && first.1 > 0, "without a move somebody has no outlet: {said:?}");
    assert_eq!(*last, (right.allocation.worth.moves, right.allocation.worth.without_outlet));
    let mut below = right.clone();
    below.allocation.prices[0].without_outlet = last.1;
    assert_refused_only(&below, Promise::PricesOfMoves);
    let mut short = right;
    short.allocation.prices.pop();
    assert_refused_only(&short, Promise::PricesOfMoves);
}

#[test]
fn a_claim_about_missing_slack_that_nothing_bears_out_is_refused() {
    let right = Day::of(a_hand_over());
    assert!(right.allocation.worth.slack_proven, "the only patients there are share the only outlet");
    assert_eq!(right.allocation.worth.bound_slack_shortfall, 5);
    let mut below = right.clone();
    below.allocation.worth.bound_slack_shortfall = 4;
    assert_refused_only(&below, Promise::ProvenMeansBound);
    below.allocation.worth.slack_proven = false;
    assert_eq!(below.breaches(), [], "a lower bound alone is no false claim");
    let mut above = below.clone();
    above.allocation.worth.bound_slack_shortfall = 6;
    assert_refused_only(&above, Promise::BoundBelowValue("slack_shortfall"));
    let mut before = right;
    before.allocation.worth.proven = false;
    assert_refused_only(&before, Promise::ProvenMeansBound);
}

/// Takes back what is claimed of missing slack, which stands only while the rest is proven.
fn claim_nothing_of_slack(worth: &mut baypack::allocate::Worth) {
    (worth.slack_proven, worth.bound_slack_shortfall) = (false, 0);
}

#[test]
fn a_refusal_says_where_and_what_without_the_patient() {
    let mut list = three_visits();
    list.visits[0] = Visit { alert: Some("needle phobia".to_owned()), ..list.visits[0].clone() };
    let mut day = Day::of(list);
    day.plan.visits[0].leave = at("12:21");
    day.cautions.clear();
    let texts: Vec<String> = day.breaches().iter().map(ToString::to_string).collect();
    let first = "broken promise: the stage `leave` is at its time; line 2 of the day list: \
                 found 12:21, expected 12:20";
    assert_eq!(texts[0], first);
    let row = &day.list.visits[0];
    for private in
        [&row.family_name, &row.given_name, &row.hospital_no, row.alert.as_ref().expect("an alert")]
    {
        assert!(!texts.iter().any(|text| text.contains(private.as_str())), "{private} in {texts:#?}");
    }
}
