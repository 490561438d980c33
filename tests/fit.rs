//! Room for one patient more: every time that is offered is held against the day with that patient on its
//! list, every time that is not against trying it, and the table is read as the ward clerk sees it.

mod support;

use std::collections::BTreeSet;

use assert_cmd::Command;
use baypack::allocate::{Cooling, Effort, allocate};
use baypack::clock::Moment;
use baypack::fit::{BayRoom, Newcomer, Obstacle, fit};
use baypack::patient::Visit;
use baypack::plan::plan;
use baypack::survey::{Caution, survey};
use baypack::unit_rules::{BayIndex, CapSize, RegimenIndex};
use baypack::validate::DayList;
use baypack::verify::{VerifiedDay, verify};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use support::{at, day_list, hair_loss, machine, min, other_drug, regimen, seated_in, unit, visit};

fn verified(list: DayList) -> VerifiedDay {
    let planned = plan(&list);
    let allocation = allocate(&list, &planned);
    let cautions = survey(&list, &planned, &allocation);
    verify(list, planned, allocation, cautions).expect("a day that passes its own check")
}

/// Short days with few visits, chairs, outlets, hands and caps, so that everything can be in the way.
fn scarce_days(number: u64) -> Vec<VerifiedDay> {
    let day = |seed: u64| {
        let mut chance = ChaCha8Rng::seed_from_u64(seed);
        let mut unit = unit();
        unit.closes = at("13:30");
        unit.minutes.machine_start = min(chance.random_range(0..40));
        unit.machines = (0..chance.random_range(1..3))
            .map(|place| {
                let (outlets, movable) = (chance.random_range(1..=2), chance.random_bool(0.5));
                machine(&format!("M{place}"), place, outlets, movable)
            })
            .collect();
        for bay in &mut unit.bays {
            bay.nurses = chance.random_range(2..5);
            bay.chairs.truncate(chance.random_range(2..=4));
            let size = if chance.random_bool(0.4) { 1 } else { bay.chairs.len() };
            bay.reach = bay.chairs.chunks(size).map(<[String]>::to_vec).collect();
        }
        unit.caps.iter_mut().for_each(|cap| cap.count = chance.random_range(1..5));
        let chairs: Vec<Vec<String>> = unit.bays.iter().map(|bay| bay.chairs.clone()).collect();
        let regimens = vec![
            regimen("D", 20, vec![hair_loss("docetaxel", 20)]),
            regimen("T", 30, vec![other_drug("trastuzumab", 30)]),
        ];
        let rows = (0..chance.random_range(2..6)).map(|place| {
            let bay = usize::from(chance.random_bool(0.4));
            let chair = chairs[bay][chance.random_range(0..chairs[bay].len())].clone();
            let row = seated_in(visit(2 + place, "08:00"), bay, &chair);
            let arrive = at("08:00").slipped(5 * chance.random_range(0..40));
            Visit {
                arrive,
                regimen: RegimenIndex(0),
                cooled: chance.random_bool(0.9),
                cap: Some(CapSize(0)),
                ..row
            }
        });
        let rows = rows.collect();
        verified(day_list(unit, regimens, rows))
    };
    (0..number).map(day).collect()
}

fn newcomer(regimen: usize) -> Newcomer {
    Newcomer {
        regimen: RegimenIndex(regimen),
        hair: None,
        cap: Some(CapSize(0)),
        own_cap: false,
        first_visit: false,
    }
}

/// The line that no visit of the tests has.
const NEW_LINE: u32 = 900;

/// The day with the newcomer on its list.
fn with(day: &VerifiedDay, newcomer: &Newcomer, bay: usize, chair: &str, arrive: Moment) -> VerifiedDay {
    let row = seated_in(visit(NEW_LINE, "08:00"), bay, chair);
    let cooled = newcomer.regimen.0 == 0;
    let row = Visit {
        arrive,
        regimen: newcomer.regimen,
        cooled,
        hair: newcomer.hair,
        cap: newcomer.cap,
        own_cap: newcomer.own_cap,
        cycle: if newcomer.first_visit { 1 } else { 2 },
        drugs_ready: None,
        leave_by: None,
        ..row
    };
    verified(day.list().with_visit(row).0)
}

/// The lines of those without an outlet.
fn without(day: &VerifiedDay) -> BTreeSet<u32> {
    let visits = day.list().visits.iter().zip(&day.allocation().visits);
    visits.filter(|(_, cooling)| matches!(cooling, Cooling::Without(_))).map(|(row, _)| row.line).collect()
}

/// Everything about chairs, closing, opening and hands that is wrong on a day, each minute by itself.
fn harms(day: &VerifiedDay) -> BTreeSet<(&'static str, usize, i32, u32)> {
    let mut found = BTreeSet::new();
    let line = |visit: &usize| day.list().visits[*visit].line;
    for caution in day.cautions() {
        match caution {
            Caution::NursesShort { bay, when, needed, nurses } => {
                let minutes = when.from.minutes()..when.until.minutes();
                let more = nurses + 1..=*needed;
                found.extend(
                    minutes
                        .flat_map(|at| more.clone().map(move |need| (bay.0, at, need)))
                        .map(|(bay, at, need)| ("nurses", bay, at, need)),
                );
            }
            Caution::ChairDoubleBooked { one, other, both } => {
                found.insert(("chair", line(one) as usize, both.from.minutes(), line(other)));
            }
            Caution::ClosingPassed { visit, .. } => {
                found.insert(("closing", 0, 0, line(visit)));
            }
            Caution::BeforeOpening { visit } => {
                found.insert(("opening", 0, 0, line(visit)));
            }
            _ => {}
        }
    }
    found
}

/// By how much each machine is on before opening.
fn early(day: &VerifiedDay) -> Vec<(usize, i32)> {
    let all = day.cautions().iter().filter_map(|caution| match caution {
        Caution::MachineBeforeOpening { machine, switch_on } => Some((machine.0, switch_on.minutes())),
        _ => None,
    });
    all.collect()
}

/// Whether nobody is worse off than on the day before.
fn nobody_is_worse_off(before: &VerifiedDay, after: &VerifiedDay) -> bool {
    let was_early = early(before);
    without(after).is_subset(&without(before))
        && harms(after).is_subset(&harms(before))
        && early(after)
            .iter()
            .all(|(machine, on)| was_early.iter().any(|was| was.0 == *machine && was.1 <= *on))
}

/// The chair offered for an arrival time.
fn offered(bay: &BayRoom, arrive: Moment) -> Option<&str> {
    let room = bay.room.iter().find(|room| room.from <= arrive && arrive <= room.to)?;
    Some(&room.chair)
}

/// The arrival times from opening to closing.
fn times(list: &DayList) -> Vec<Moment> {
    let steps = (list.unit.closes.minutes() - list.unit.opens.minutes()) / 5;
    (0..steps).map(|step| list.unit.opens.slipped(5 * step)).collect()
}

#[test]
fn every_time_that_is_offered_really_fits() {
    let (mut cooled, mut not_cooled, mut short_days) = (0, 0, 0);
    for day in scarce_days(40) {
        let short = without(&day).len();
        short_days += usize::from(short > 0);
        for newcomer in [newcomer(0), newcomer(1)] {
            for bay in fit(&day, &newcomer, Effort::USUAL) {
                for arrive in times(day.list()) {
                    let Some(chair) = offered(&bay, arrive) else { continue };
                    let after = with(&day, &newcomer, bay.bay.0, chair, arrive);
                    assert!(harms(&after).is_subset(&harms(&day)), "{arrive} in {chair}");
                    // The plan made anew may leave out another than today's, never one more.
                    assert!(without(&after).len() <= short, "{arrive} in {chair}: {:?}", without(&after));
                    if short == 0 {
                        cooled += usize::from(newcomer.regimen.0 == 0)
                    }
                    not_cooled += usize::from(newcomer.regimen.0 == 1);
                }
            }
        }
    }
    assert!(cooled > 100 && not_cooled > 500 && short_days > 2, "{cooled}, {not_cooled}, {short_days}");
}

#[test]
fn every_time_that_is_not_offered_fails_when_it_is_tried_in_every_chair() {
    let mut refused = [0; 5];
    for day in scarce_days(40) {
        for newcomer in [newcomer(0), newcomer(1)] {
            for bay in fit(&day, &newcomer, Effort::USUAL) {
                assert!(
                    !bay.obstacles.contains_key(&Obstacle::NotTried),
                    "so few visits are all looked into"
                );
                for arrive in times(day.list()).into_iter().filter(|arrive| offered(&bay, *arrive).is_none())
                {
                    for chair in &day.list().unit.bay(bay.bay).chairs {
                        let after = with(&day, &newcomer, bay.bay.0, chair, arrive);
                        assert!(!nobody_is_worse_off(&day, &after), "{arrive} in {chair} would do");
                    }
                }
                for (obstacle, times) in bay.obstacles {
                    refused[obstacle as usize] += times;
                }
            }
        }
    }
    assert!(refused.iter().all(|times| *times > 10), "every obstacle comes up: {refused:?}");
}

#[test]
fn a_row_says_when_the_first_is_connected_the_last_leaves_and_which_times_need_a_move() {
    // Bay B has no machine of its own, so that M1 must come, 15 minutes after opening at the earliest.
    let mut unit = unit();
    unit.closes = at("12:00");
    unit.minutes.machine_start = min(0);
    unit.machines = vec![machine("M1", 0, 1, true)];
    let regimens = vec![regimen("D", 20, vec![hair_loss("docetaxel", 20)])];
    let mut listed = visit(2, "08:00");
    listed.cooled = false;
    let day = verified(day_list(unit, regimens, vec![listed]));
    let bays = fit(&day, &newcomer(0), Effort::USUAL);
    assert!(bays[0].room.iter().all(|room| !room.needs_move), "M1 stands there: {:?}", bays[0].room);
    assert!(
        !bays[1].room.is_empty() && bays[1].room.iter().all(|room| room.needs_move),
        "{:?}",
        bays[1].room
    );
    for (place, bay) in bays.iter().enumerate() {
        for room in &bay.room {
            let planned = |arrive: Moment| {
                let after = with(&day, &newcomer(0), place, &room.chair, arrive);
                let own = after.list().visits.iter().position(|row| row.line == NEW_LINE).expect("the row");
                after.plan().visits[own].clone()
            };
            assert_eq!(room.connected, planned(room.from).cooling.map(|stages| stages.cooling_on));
            assert_eq!(room.leave, planned(room.to).leave);
            assert!(room.leave <= at("12:00"), "{room:?}");
        }
    }
    assert_eq!(bays[1].bay, BayIndex(1));
}

fn baypack(more: &[&str]) -> (i32, String, String) {
    let mut command = Command::cargo_bin("baypack").expect("the program is built for the test");
    command.current_dir(env!("CARGO_MANIFEST_DIR")).args(["fit", "demo-input/day-list.csv"]).args(more);
    let output = command.output().expect("it runs");
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).expect("UTF-8");
    (output.status.code().expect("not killed"), text(&output.stdout), text(&output.stderr))
}

#[test]
fn the_demo_has_a_table_of_whole_aligned_rows_that_names_nobody() {
    let (status, said, refused) = baypack(&["--regimen", "PAC-W", "--hair", "medium", "--cap", "m"]);
    assert_eq!((status, refused.as_str()), (0, ""));
    let lines: Vec<&str> = said.lines().collect();
    assert_eq!(lines[0], "2031-03-14: room for one patient more, PAC-W, cooled");
    assert_eq!(lines[1], "bay  arrive from  to     chair  connected  leaves by");
    assert_eq!(lines[2], "A    14:00        14:05  A1     14:40      18:10");
    assert!(
        lines.iter().any(|line| line.starts_with("B    "))
            && lines.iter().any(|line| line.starts_with("C    "))
    );
    assert!(!said.contains("Abernathy") && !said.contains("LD-"), "{said}");
    assert!(said.contains("Nothing is booked; the nurse in charge decides.\n"));
    assert!(said.ends_with("add the patient's row to the day list and run `baypack make` again.\n"));
    let (_, said, _) = baypack(&["--regimen", "TRAS"]);
    assert!(said.contains("TRAS, not cooled") && said.contains("  -          "), "{said}");
    assert_eq!(baypack(&["--regimen", "TRAS", "--quiet"]), (0, String::new(), String::new()));
}

#[test]
fn a_regimen_or_cap_that_does_not_exist_is_refused_with_the_nearest_that_does() {
    let (status, said, refused) = baypack(&["--regimen", "PACW", "--cap", "Q"]);
    assert_eq!((status, said.as_str()), (1, ""));
    for part in ["regimen does not exist", "did you mean `PAC-W`?", "size of cap does not exist", "`Q`"] {
        assert!(refused.contains(part), "{part} in {refused}");
    }
    assert_eq!(baypack(&[]).0, 2, "the regimen is needed");
    assert_eq!(baypack(&["--regimen", "TC", "--cap", "M", "--own-cap"]).0, 2, "one cap is enough");
}
