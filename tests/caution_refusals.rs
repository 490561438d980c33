//! Verification refuses a shortage that nobody is told of, and a caution about nothing.

mod support;

use baypack::clock::Span;
use baypack::survey::Caution;
use baypack::unit_rules::{BayIndex, MachineIndex, Step};
use baypack::verify::Promise;
use support::worked::{Day, a_hand_over, assert_refused, assert_refused_only, three_visits};
use support::{at, hair_loss, min, visit};

/// The day with one caution put in the place of another.
fn replaced(mut day: Day, is_it: fn(&Caution) -> bool, by: fn(Caution) -> Caution) -> Day {
    let place = day.cautions.iter().position(is_it).expect("the caution is there");
    day.cautions[place] = by(day.cautions[place].clone());
    day
}

#[test]
fn a_tight_hand_over_is_said_with_its_minutes() {
    let day = Day::of(a_hand_over());
    let is_it =
        |caution: &Caution| matches!(caution, Caution::HandOverTight { slack, .. } if slack.get() == 5);
    let wrong = replaced(day, is_it, |caution| match caution {
        Caution::HandOverTight { from, to, .. } => Caution::HandOverTight { from, to, slack: min(6) },
        other => other,
    });
    assert_refused(&wrong, Promise::CautionIsTrue("hand-over tight"));
    assert_refused(&wrong, Promise::Cautioned("hand-over tight"));
}

#[test]
fn a_chair_for_two_is_said_with_its_minutes() {
    let mut list = three_visits();
    "A1".clone_into(&mut list.visits[1].chair);
    let day = Day::of(list);
    // From the second arrival until the first has left at 12:20 and the chair is ready at 12:30.
    let both = Span::new(at("09:10"), at("12:30"));
    assert!(day.cautions.contains(&Caution::ChairDoubleBooked { one: 0, other: 1, both }));
    let is_it = |caution: &Caution| matches!(caution, Caution::ChairDoubleBooked { .. });
    let wrong = replaced(day, is_it, |caution| match caution {
        Caution::ChairDoubleBooked { one, other, both } => {
            Caution::ChairDoubleBooked { one, other, both: Span::new(both.from, both.until.slipped(-1)) }
        }
        caution => caution,
    });
    assert_refused(&wrong, Promise::Cautioned("chair double-booked"));
}

#[test]
fn the_chair_is_taken_until_it_is_ready_and_not_a_minute_longer() {
    let mut list = three_visits();
    // The first visit leaves at 12:20, the chair is ready at 12:30.
    list.visits[1] = visit(3, "12:30");
    let day = Day::of(list.clone());
    assert!(!day.cautions.iter().any(|caution| matches!(caution, Caution::ChairDoubleBooked { .. })));
    list.visits[1] = visit(3, "12:29");
    let day = Day::of(list);
    let both = Span::new(at("12:29"), at("12:30"));
    assert!(day.cautions.contains(&Caution::ChairDoubleBooked { one: 0, other: 1, both }));
}

#[test]
fn a_lack_of_nurses_is_said_with_its_minutes_and_its_number() {
    let mut list = three_visits();
    list.unit.bays[0].nurses = 1;
    let day = Day::of(list);
    let is_it = |caution: &Caution| matches!(caution, Caution::NursesShort { .. });
    // The check by two nurses at the start of each cytotoxic drug: 09:30 and 10:10 for five minutes.
    let due = |from, until| Caution::NursesShort {
        bay: BayIndex(0),
        when: Span::new(at(from), at(until)),
        needed: 2,
        nurses: 1,
    };
    assert!(day.cautions.contains(&due("09:30", "09:35")), "{:?}", day.cautions);
    assert!(day.cautions.contains(&due("10:10", "10:15")), "{:?}", day.cautions);
    type Change = fn(Span, u32) -> (Span, u32);
    let changes: [Change; 4] = [
        |when, needed| (when, needed + 1),
        |when, needed| (when, needed - 1),
        |when, needed| (Span::new(when.from.slipped(1), when.until), needed),
        |when, needed| (Span::new(when.from, when.until.slipped(1)), needed),
    ];
    for change in changes {
        let mut wrong = day.clone();
        let place = wrong.cautions.iter().position(is_it).expect("nurses are short");
        if let Caution::NursesShort { when, needed, .. } = &mut wrong.cautions[place] {
            (*when, *needed) = change(*when, *needed);
        }
        let kinds: Vec<Promise> = wrong.breaches().iter().map(|breach| breach.promise).collect();
        let named = [Promise::CautionIsTrue("nurses short"), Promise::Cautioned("nurses short")];
        assert!(kinds.iter().any(|kind| named.contains(kind)), "{kinds:?}");
    }
}

#[test]
fn a_push_takes_its_nurse_to_the_end() {
    let mut list = three_visits();
    list.visits.truncate(1);
    list.unit.bays[0].nurses = 0;
    list.regimens[0].steps = vec![Step { push: true, ..hair_loss("doxorubicin", 15) }];
    let day = Day::of(list);
    let push: Vec<(Span, u32)> = day
        .cautions
        .iter()
        .filter_map(|caution| match caution {
            Caution::NursesShort { when, needed, .. }
                if when.from >= at("09:30") && when.from < at("09:45") =>
            {
                Some((*when, *needed))
            }
            _ => None,
        })
        .collect();
    assert_eq!(push.iter().map(|(when, _)| when.until).max(), Some(at("09:45")), "{push:?}");
    assert_eq!(push.iter().map(|(_, needed)| *needed).max(), Some(2));
}

#[test]
fn late_drugs_are_said_where_they_alone_break_the_day() {
    let mut list = three_visits();
    list.visits[0].drugs_ready = Some(at("12:00"));
    list.visits[0].leave_by = Some(at("14:00"));
    let day = Day::of(list);
    // Drug at 12:00 means leaving 14:50; leaving at 14:00 would need it at 11:10.
    let needed_by = Some(at("11:10"));
    let caution = Caution::DrugsLate { visit: 0, ready: at("12:00"), needed_by };
    assert!(day.cautions.contains(&caution), "{:?}", day.cautions);
    let mut silent = day.clone();
    silent.cautions.retain(|one| *one != caution);
    assert_refused_only(&silent, Promise::Cautioned("drugs late"));
    for needed_by in [Some(at("11:09")), Some(at("11:11")), None] {
        let mut wrong = silent.clone();
        wrong.cautions.push(Caution::DrugsLate { visit: 0, ready: at("12:00"), needed_by });
        assert_refused_only(&wrong, Promise::CautionIsTrue("drugs late"));
    }
}

#[test]
fn one_family_name_twice_is_said_whatever_its_case_and_accents() {
    for (one, other) in
        [("Núñez", "NUNEZ"), ("ΦΑΝΤΑΣΤΙΚΌΣ", "Φανταστικός"), ("ΛΗΣ", "Λης"), ("Invented", "Invented")]
    {
        let mut list = three_visits();
        one.clone_into(&mut list.visits[0].family_name);
        other.clone_into(&mut list.visits[2].family_name);
        let mut day = Day::of(list);
        day.cautions.retain(|caution| !matches!(caution, Caution::NamesAlike { .. }));
        assert_refused_only(&day, Promise::Cautioned("names alike"));
    }
}

#[test]
fn a_patient_is_not_named_alike_with_themselves_or_with_nobody() {
    for visits in [vec![1, 1], vec![1, 3], vec![0, 1, 1], vec![2], vec![]] {
        let mut day = Day::of(three_visits());
        day.cautions.retain(|caution| !matches!(caution, Caution::NamesAlike { .. }));
        day.cautions.push(Caution::NamesAlike { visits });
        assert_refused_only(&day, Promise::CautionIsTrue("names alike"));
    }
}

#[test]
fn all_of_one_family_name_stand_in_one_group_and_nobody_in_two() {
    let mut list = three_visits();
    for row in &mut list.visits {
        "Invented".clone_into(&mut row.family_name);
    }
    let day = Day::of(list);
    assert!(day.cautions.contains(&Caution::NamesAlike { visits: vec![0, 1, 2] }), "{:?}", day.cautions);
    let mut split = day.clone();
    split.cautions.retain(|caution| !matches!(caution, Caution::NamesAlike { .. }));
    split.cautions.push(Caution::NamesAlike { visits: vec![0, 1] });
    assert_refused_only(&split, Promise::Cautioned("names alike"));
    let mut in_two = day;
    in_two.cautions.push(Caution::NamesAlike { visits: vec![0, 1] });
    assert_refused(&in_two, Promise::CautionOnce("names alike"));
}

#[test]
fn a_caution_said_twice_or_about_no_row_is_refused() {
    let mut list = three_visits();
    list.visits[0].isolate = true;
    let mut day = Day::of(list);
    day.cautions.push(Caution::Isolated { visit: 7 });
    assert_refused_only(&day, Promise::CautionIsTrue("isolated"));
    day.cautions.pop();
    day.cautions.push(Caution::Isolated { visit: 0 });
    assert_refused_only(&day, Promise::CautionOnce("isolated"));
}

#[test]
fn the_limits_of_the_day_are_kept_to_the_minute() {
    let mut list = three_visits();
    // The visits leave at 12:20, 13:00 and 14:50.
    list.unit.closes = at("14:50");
    list.unit.opens = at("08:30");
    list.visits[0].leave_by = Some(at("12:20"));
    let day = Day::of(list.clone());
    let limits = |caution: &&Caution| {
        matches!(
            caution,
            Caution::ClosingPassed { .. } | Caution::LeaveByMissed { .. } | Caution::BeforeOpening { .. }
        )
    };
    assert_eq!(day.cautions.iter().filter(limits).count(), 0, "{:?}", day.cautions);
    list.unit.closes = at("14:49");
    list.unit.opens = at("08:31");
    list.visits[0].leave_by = Some(at("12:19"));
    let day = Day::of(list);
    assert_eq!(day.cautions.iter().filter(limits).count(), 3, "{:?}", day.cautions);
}

#[test]
fn a_machine_to_be_cold_before_opening_is_said() {
    let mut list = three_visits();
    list.unit.opens = at("08:01");
    let day = Day::of(list);
    // First use at 09:00, an hour to get cold.
    let caution = Caution::MachineBeforeOpening { machine: MachineIndex(0), switch_on: at("08:00") };
    assert!(day.cautions.contains(&caution), "{:?}", day.cautions);
    let mut silent = day;
    silent.cautions.retain(|one| *one != caution);
    assert_refused_only(&silent, Promise::Cautioned("machine before opening"));
}
