//! Random days: small units that are often too small, so that every kind of shortage comes up.

use baypack::clock::{Moment, Span};
use baypack::patient::{GoAhead, Hair, Visit};
use baypack::unit_rules::{
    BayIndex, CapSize, CoolingStart, HandsOn, Machine, Outage, Pause, PostCoolingFrom, Printer, Regimen,
    RegimenIndex, Rules, Step, Unit, UnitMinutes,
};
use baypack::validate::{DayList, HeldBack};
use proptest::collection::vec;
use proptest::option;
use proptest::prelude::{Just, Strategy, any, prop_oneof};

use super::{cap_stock, date, min};

/// Family names, some of which differ in case and accents only.
const FAMILY_NAMES: [&str; 40] = [
    "Invented",
    "Ínvented",
    "INVENTED",
    "Sample",
    "Samples",
    "ΦΑΝΤΑΣΤΙΚΌΣ",
    "Φανταστικός",
    "Erfunden",
    "Inventada",
    "Madeup",
    "Fiction",
    "Example",
    "Pretend",
    "Imagined",
    "Notional",
    "Fabled",
    "Feigned",
    "Mock",
    "Dreamt",
    "Storied",
    "Mythic",
    "Unreal",
    "Fancied",
    "Contrived",
    "Assumed",
    "Supposed",
    "Devised",
    "Conjured",
    "Drafted",
    "Sketched",
    "Figment",
    "Phantom",
    "Shadow",
    "Paper",
    "Stock",
    "Placeholder",
    "Anybody",
    "Whoever",
    "Someone",
    "Noname",
];

/// A day with up to `most` visits.
pub fn a_day(most: usize) -> impl Strategy<Value = DayList> {
    let regimens = vec(a_regimen(), 1..5);
    let visits = vec(a_visit(), 0..=most);
    let days = (
        prop_oneof![
            Just(date(2031, 3, 14)),
            Just(date(2026, 3, 28)),
            Just(date(2026, 10, 24)),
            Just(date(2026, 10, 31))
        ],
        prop_oneof![Just(chrono_tz::Europe::London), Just(chrono_tz::America::New_York)],
    );
    (a_unit(), regimens, visits, days, 0..2_usize, 0..3_usize).prop_map(
        |(unit, regimens, rows, (day, time_zone), held, other_days)| {
            let unit = Unit { time_zone, ..unit };
            let regimens: Vec<Regimen> = regimens.into_iter().map(|one| with_reason(one, &unit)).collect();
            let visits = rows.into_iter().enumerate();
            let visits = visits.map(|(place, row)| row.placed(place, &unit, &regimens)).collect();
            let held_back = (0..held).map(a_held_back_row).collect();
            let source_name = "day-list.csv".to_owned();
            DayList {
                day,
                source_name,
                unit,
                regimens,
                visits,
                held_back,
                notes: Vec::new(),
                other_days,
                cards_in_unit_language: std::collections::BTreeSet::new(),
            }
        },
    )
}

fn a_held_back_row(place: usize) -> HeldBack {
    let line = 900 + u32::try_from(place).unwrap_or(0);
    HeldBack { line, name: None, place: None, arrive: None, faults: Vec::new() }
}

/// A regimen of several hair-loss drugs and short post-cooling needs its reason to be allowed.
fn with_reason(regimen: Regimen, unit: &Unit) -> Regimen {
    let short = regimen.post_cooling < unit.minutes.post_cooling;
    Regimen { post_cooling_exception: short.then(|| "invented".to_owned()), ..regimen }
}

fn a_unit() -> impl Strategy<Value = Unit> {
    let bays = vec((1..5_u32, 1..9_usize, any::<bool>()), 1..4);
    let machines = vec(a_machine(), 0..7);
    let caps = vec(prop_oneof![1 => 0..3_u32, 2 => 3..9_u32], 1..4);
    let hours = (400..530_i32, 900..1300_i32);
    (bays, machines, caps, hours, minutes(), rules(), hands_on()).prop_map(
        |(bays, machines, caps, (opens, closes), minutes, rules, hands_on)| {
            let bays: Vec<_> =
                bays.into_iter().enumerate().map(|(place, shape)| a_bay(place, shape)).collect();
            let home = |machine: Machine| Machine { bay: BayIndex(machine.bay.0 % bays.len()), ..machine };
            let machines = machines.into_iter().enumerate();
            let machines = machines
                .map(|(place, machine)| Machine { name: format!("M{}", place + 1), ..home(machine) })
                .collect();
            let caps = caps.into_iter().enumerate();
            Unit {
                opens: Moment::from_midnight(opens),
                closes: Moment::from_midnight(closes),
                machines,
                caps: caps.map(|(place, count)| cap_stock(&format!("C{place}"), count)).collect(),
                bays,
                minutes,
                rules,
                hands_on,
                printer: Printer::default(),
                ..super::unit()
            }
        },
    )
}

/// A bay whose chairs are in one machine's reach, or only in pairs.
fn a_bay(place: usize, (nurses, chairs, in_pairs): (u32, usize, bool)) -> baypack::unit_rules::Bay {
    let name = ["A", "B", "C"][place % 3].to_owned();
    let chairs: Vec<String> = (1..=chairs).map(|number| format!("{name}{number}")).collect();
    let size = if in_pairs { 2 } else { chairs.len() };
    let reach = chairs.chunks(size).map(<[String]>::to_vec).collect();
    baypack::unit_rules::Bay { name, nurses, chairs, reach }
}

fn a_machine() -> impl Strategy<Value = Machine> {
    let outage = (480..1000_i32, 10..240_i32, option::of(1..=2_u8));
    (
        0..3_usize,
        1..=2_u8,
        any::<bool>(),
        any::<bool>(),
        prop_oneof![2 => Just(Vec::new()), 1 => vec(outage, 1..3)],
    )
        .prop_map(|(bay, outlets, movable, stops_whole, outages)| {
            let outage = |(from, length, outlet): (i32, i32, Option<u8>)| Outage {
                span: Span::new(Moment::from_midnight(from), Moment::from_midnight(from + length)),
                outlet: outlet.map(|number| number.min(outlets)),
                reason: String::new(),
            };
            Machine {
                name: String::new(),
                bay: BayIndex(bay),
                outlets,
                movable,
                pause: if stops_whole { Pause::Machine } else { Pause::Outlet },
                out_of_service: outages.into_iter().map(outage).collect(),
            }
        })
}

fn minutes() -> impl Strategy<Value = UnitMinutes> {
    let stay = (0..20_u32, 0..40_u32, 0..40_u32, 1..50_u32, 1..60_u32, 20..100_u32, 0..20_u32, 0..15_u32);
    let care = (0..20_u32, 0..20_u32, 0..40_u32, 30..100_u32, 0..40_u32);
    (stay, care).prop_map(|(stay, care)| UnitMinutes {
        settle: min(stay.0),
        prepare_first: min(stay.1),
        prepare_return: min(stay.2),
        pre_cooling: min(stay.3),
        pre_cooling_thick: min(stay.4),
        post_cooling: min(stay.5),
        warm_up: min(stay.6),
        seated: min(stay.7),
        chair_turnaround: min(care.0),
        outlet_clean: min(care.1),
        cap_clean: min(care.2),
        machine_start: min(care.3),
        machine_move: min(care.4),
        ..super::usual_minutes()
    })
}

fn rules() -> impl Strategy<Value = Rules> {
    (any::<bool>(), any::<bool>(), any::<bool>(), 0..30_u32).prop_map(|(at_once, cytotoxic, flush, slack)| {
        Rules {
            cooling_start: if at_once { CoolingStart::AtOnce } else { CoolingStart::InTime },
            post_cooling_from: match cytotoxic {
                true => PostCoolingFrom::LastCytotoxicDrug,
                false => PostCoolingFrom::LastHairLossDrug,
            },
            flush_counts: flush,
            hand_over_slack: min(slack),
            retime_earlier: min(0),
            retime_later: min(0),
        }
    })
}

fn hands_on() -> impl Strategy<Value = HandsOn> {
    (0..15_u32, 0..15_u32, 0..10_u32, 0..10_u32).prop_map(|(connect, start, disconnect, off)| HandsOn {
        connect: min(connect),
        drug_start: min(start),
        disconnect: min(disconnect),
        cap_off: min(off),
    })
}

fn a_regimen() -> impl Strategy<Value = Regimen> {
    (0..70_u32, 10..100_u32, vec(a_step(), 1..5)).prop_map(|(lead, post_cooling, steps)| Regimen {
        premed_lead: min(lead),
        ..super::regimen("R", post_cooling, steps)
    })
}

fn a_step() -> impl Strategy<Value = Step> {
    let given = (prop_oneof![1..40_u32, 30..120_u32], 1..100_u32, 0..15_u32);
    let watched = prop_oneof![3 => Just((0, 0)), 1 => (0..40_u32, 0..70_u32)];
    (given, watched, 0..3_u8, any::<bool>()).prop_map(|(given, watched, harm, push)| Step {
        first_minutes: min(given.1),
        flush: min(given.2),
        observe: min(watched.0),
        first_observe: min(watched.1),
        hair_loss: harm == 2,
        cytotoxic: harm > 0,
        push: push && given.0 < 30,
        ..super::other_drug("drug", given.0)
    })
}

/// A row whose places are numbers that any unit can be asked for.
#[derive(Clone, Debug)]
struct Row {
    arrive: i32,
    chair: usize,
    regimen: usize,
    cap: Option<usize>,
    name: usize,
    first: bool,
    cooled: bool,
    own_cap: bool,
    isolate: bool,
    alert: bool,
    hair: u8,
    go_ahead: u8,
    drugs_ready: Option<i32>,
    leave_by: Option<i32>,
}

fn a_visit() -> impl Strategy<Value = Row> {
    let places = (430..930_i32, 0..600_usize, 0..20_usize, option::weighted(0.8, 0..6_usize), 0..40_usize);
    let marks = (any::<bool>(), 0..5_u8, 0..5_u8, 0..6_u8, 0..6_u8);
    let values = (0..4_u8, 0..6_u8);
    let times = (option::weighted(0.3, 480..1000_i32), option::weighted(0.2, 700..1200_i32));
    (places, marks, values, times).prop_map(|(places, marks, values, times)| Row {
        arrive: places.0,
        chair: places.1,
        regimen: places.2,
        cap: places.3,
        name: places.4,
        first: marks.0,
        cooled: marks.1 > 0,
        own_cap: marks.2 == 0,
        isolate: marks.3 == 0,
        alert: marks.4 == 0,
        hair: values.0,
        go_ahead: values.1,
        drugs_ready: times.0,
        leave_by: times.1,
    })
}

impl Row {
    /// The row as a visit of a unit; the list's place gives its line.
    fn placed(self, place: usize, unit: &Unit, regimens: &[Regimen]) -> Visit {
        let bay = self.chair % unit.bays.len();
        let chairs = &unit.bays[bay].chairs;
        let regimen = self.regimen % regimens.len();
        let can_be_cooled = regimens[regimen].first_hair_loss().is_some();
        Visit {
            arrive: Moment::from_midnight(self.arrive),
            bay: BayIndex(bay),
            chair: chairs[self.chair / 3 % chairs.len()].clone(),
            regimen: RegimenIndex(regimen),
            cycle: if self.first { 1 } else { 3 },
            cooled: self.cooled && can_be_cooled,
            hair: [None, Some(Hair::Fine), Some(Hair::Medium), Some(Hair::Thick)][usize::from(self.hair % 4)],
            cap: self.cap.map(|size| CapSize(size % unit.caps.len())),
            own_cap: self.own_cap,
            drugs_ready: self.drugs_ready.map(Moment::from_midnight),
            leave_by: self.leave_by.map(Moment::from_midnight),
            alert: self.alert.then(|| "invented alert".to_owned()),
            go_ahead: match self.go_ahead {
                0 => GoAhead::Waiting,
                1 => GoAhead::NotRecorded,
                _ => GoAhead::Yes,
            },
            isolate: self.isolate,
            family_name: FAMILY_NAMES[self.name % FAMILY_NAMES.len()].to_owned(),
            ..super::visit(u32::try_from(place).unwrap_or(0) + 2, "08:00")
        }
    }
}
