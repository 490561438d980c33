//! Days for tests: a plain invented unit to change by hand, and random days of every kind.
//!
//! All names, numbers and minutes are invented unless a test names a source beside them.
#![allow(dead_code, reason = "each test file uses a part of this")]

pub mod harm;
pub mod random;
pub mod worked;

use baypack::clock::{Minutes, Moment};
use baypack::patient::{GoAhead, Hair, Visit};
use baypack::unit_rules::{
    Bay, BayIndex, CapSize, CapStock, CoolingStart, HandsOn, Machine, Pause, PostCoolingFrom, Printer,
    Regimen, RegimenIndex, Rules, Step, Unit, UnitMinutes,
};
use baypack::validate::DayList;
use chrono::NaiveDate;

/// A moment from `HH:MM`.
pub fn at(text: &str) -> Moment {
    Moment::parse(text).expect("a time in a test")
}

/// A length in minutes.
pub const fn min(minutes: u32) -> Minutes {
    Minutes::new(minutes)
}

/// A date.
pub fn date(year: i32, month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, month, day).expect("a date in a test")
}

/// The usual minutes: pre-cooling 30 and 45, post-cooling 90, warm-up 10, seated 10 (common practice,
/// no source); settling and preparation invented.
pub const fn usual_minutes() -> UnitMinutes {
    UnitMinutes {
        settle: min(10),
        prepare_first: min(30),
        prepare_return: min(20),
        pre_cooling: min(30),
        pre_cooling_thick: min(45),
        post_cooling: min(90),
        warm_up: min(10),
        seated: min(10),
        break_longest: min(10),
        break_reminder: min(8),
        first_check: min(15),
        chair_turnaround: min(10),
        outlet_clean: min(10),
        cap_clean: min(20),
        machine_start: min(60),
        machine_move: min(15),
    }
}

/// A unit with bays A and B of four chairs and three nurses, one machine of two outlets in A, one
/// movable machine of one outlet in B, and two caps of each of two sizes.
pub fn unit() -> Unit {
    Unit {
        name: "Invented Day Unit".to_owned(),
        time_zone: chrono_tz::Europe::London,
        opens: at("08:00"),
        closes: at("20:00"),
        phone_day: "01632 960001".to_owned(),
        phone_night: "01632 960002".to_owned(),
        engineer_phone: "01632 960003".to_owned(),
        fever_from: "37.5".to_owned(),
        language: "en".to_owned(),
        rinse_within_hours: 24,
        shifts: Vec::new(),
        bays: vec![bay("A", 3), bay("B", 3)],
        machines: vec![machine("M1", 0, 2, false), machine("M2", 1, 1, true)],
        caps: vec![cap_stock("S", 2), cap_stock("M", 2)],
        minutes: usual_minutes(),
        rules: Rules {
            cooling_start: CoolingStart::InTime,
            post_cooling_from: PostCoolingFrom::LastHairLossDrug,
            flush_counts: true,
            hand_over_slack: min(10),
            retime_earlier: min(0),
            retime_later: min(0),
        },
        hands_on: HandsOn { connect: min(5), drug_start: min(5), disconnect: min(5), cap_off: min(5) },
        printer: Printer::default(),
    }
}

/// A bay of four chairs, all in one machine's reach.
pub fn bay(name: &str, nurses: u32) -> Bay {
    let chairs: Vec<String> = (1..=4).map(|number| format!("{name}{number}")).collect();
    Bay { name: name.to_owned(), nurses, reach: vec![chairs.clone()], chairs }
}

/// A machine that is in service all day.
pub fn machine(name: &str, bay: usize, outlets: u8, movable: bool) -> Machine {
    Machine {
        name: name.to_owned(),
        bay: BayIndex(bay),
        outlets,
        movable,
        pause: Pause::Outlet,
        out_of_service: Vec::new(),
    }
}

/// Caps of one size.
pub fn cap_stock(size: &str, count: u32) -> CapStock {
    CapStock { size: size.to_owned(), count }
}

/// A drug that makes hair fall out.
pub fn hair_loss(drug: &str, minutes: u32) -> Step {
    Step { hair_loss: true, ..cytotoxic(drug, minutes) }
}

/// A cytotoxic drug that leaves the hair.
pub fn cytotoxic(drug: &str, minutes: u32) -> Step {
    Step { cytotoxic: true, ..other_drug(drug, minutes) }
}

/// A drug that is neither.
pub fn other_drug(drug: &str, minutes: u32) -> Step {
    Step {
        drug: drug.to_owned(),
        minutes: min(minutes),
        first_minutes: min(minutes),
        flush: min(0),
        observe: min(0),
        first_observe: min(0),
        hair_loss: false,
        cytotoxic: false,
        push: false,
    }
}

/// A regimen with a pre-medication lead of 30 minutes, and a reason in case its post-cooling is short.
pub fn regimen(code: &str, post_cooling: u32, steps: Vec<Step>) -> Regimen {
    Regimen {
        code: code.to_owned(),
        name: format!("{code} (test)"),
        premed_lead: min(30),
        post_cooling: min(post_cooling),
        post_cooling_exception: Some("for a test".to_owned()),
        source: None,
        steps,
    }
}

/// A cooled return visit to the first regimen in chair A1 with medium hair, cap `M` and go-ahead.
pub fn visit(line: u32, arrive: &str) -> Visit {
    Visit {
        line,
        arrive: at(arrive),
        bay: BayIndex(0),
        chair: "A1".to_owned(),
        hospital_no: format!("X{line:04}"),
        nhs_no: None,
        family_name: format!("Invented{line}"),
        given_name: "Person".to_owned(),
        born: date(1960, 1, 1),
        regimen: RegimenIndex(0),
        cycle: 2,
        cooled: true,
        hair: Some(Hair::Medium),
        cap: Some(CapSize(1)),
        own_cap: false,
        drugs_ready: None,
        leave_by: None,
        language: None,
        large_print: false,
        alert: None,
        next_visit: None,
        go_ahead: GoAhead::Yes,
        isolate: false,
    }
}

/// The same visit in another bay and chair.
pub fn seated_in(visit: Visit, bay: usize, chair: &str) -> Visit {
    Visit { bay: BayIndex(bay), chair: chair.to_owned(), ..visit }
}

/// A list of these visits on a Friday without a clock change near it.
pub fn day_list(unit: Unit, regimens: Vec<Regimen>, visits: Vec<Visit>) -> DayList {
    DayList {
        day: date(2031, 3, 14),
        source_name: "day-list.csv".to_owned(),
        unit,
        regimens,
        visits,
        held_back: Vec::new(),
        notes: Vec::new(),
        other_days: 0,
        cards_in_unit_language: std::collections::BTreeSet::new(),
    }
}
