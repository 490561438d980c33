//! Room for one patient more: every time that is offered is held against the day with that patient on its
//! list, every time that is not against trying it, and the table is read as the ward clerk sees it.

mod support;

use std::fs;
use std::path::Path;

use assert_cmd::Command;
use baypack::allocate::Effort;
use baypack::clock::Moment;
use baypack::fit::{BayRoom, Newcomer, Obstacle, fit};
use baypack::patient::Visit;
use baypack::survey::Caution;
use baypack::unit_rules::{BayIndex, CapSize, RegimenIndex};
use baypack::validate::DayList;
use baypack::verify::VerifiedDay;
use baypack::write::write_one;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::Value;
use support::harm::{new_harms, verified, without};
use support::{at, day_list, hair_loss, machine, min, other_drug, regimen, seated_in, unit, visit};

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
            let drugs_ready = chance.random_bool(0.3).then(|| arrive.slipped(5 * chance.random_range(6..24)));
            let leave_by = chance.random_bool(0.3).then(|| arrive.slipped(5 * chance.random_range(18..40)));
            Visit {
                arrive,
                drugs_ready,
                leave_by,
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

/// Whether nobody is worse off than on the day before.
fn nobody_is_worse_off(before: &VerifiedDay, after: &VerifiedDay) -> bool {
    without(after).is_subset(&without(before)) && new_harms(before, after).is_empty()
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
    let (mut cooled, mut not_cooled, mut short_days, mut on_short_days) = (0, 0, 0, 0);
    for day in scarce_days(40) {
        let short = without(&day).len();
        short_days += usize::from(short > 0);
        for newcomer in [newcomer(0), newcomer(1)] {
            for bay in fit(&day, &newcomer, Effort::USUAL) {
                for arrive in times(day.list()) {
                    let Some(chair) = offered(&bay, arrive) else { continue };
                    let after = with(&day, &newcomer, bay.bay.0, chair, arrive);
                    // The plan made anew may use other machines than today's, so that one is on before
                    // opening. On a day that is short it may leave out nobody but who is left out today.
                    let mut harms = new_harms(&day, &after);
                    harms.retain(|harm| !harm.contains("machine_before_opening"));
                    assert!(harms.is_empty(), "{arrive} in {chair}: {harms:?}");
                    assert!(
                        without(&after).is_subset(&without(&day)),
                        "{arrive} in {chair}: {:?} instead of {:?}",
                        without(&after),
                        without(&day)
                    );
                    on_short_days += usize::from(short > 0 && newcomer.regimen.0 == 0);
                    if short == 0 {
                        cooled += usize::from(newcomer.regimen.0 == 0)
                    }
                    not_cooled += usize::from(newcomer.regimen.0 == 1);
                }
            }
        }
    }
    assert!(cooled > 100 && not_cooled > 500 && short_days > 2, "{cooled}, {not_cooled}, {short_days}");
    assert!(on_short_days > 10, "{on_short_days} offers of an outlet on short days");
}

#[test]
fn on_a_day_that_is_short_no_time_is_offered_at_which_making_the_day_leaves_out_somebody_else() {
    // One outlet for three, of whom two go without; which two is a choice of the plan.
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-input");
    let place = tempfile::tempdir().expect("a folder");
    let unit = fs::read_to_string(demo.join("unit.toml")).expect("the demo's unit");
    let (before, rest) = unit.split_once("[[machines]]").expect("machines");
    let (_, after) = rest.split_once("[caps]").expect("caps");
    let one = "[[machines]]\nname = \"M1\"\nbay = \"A\"\noutlets = 1\n\n[caps]";
    let unit = place.path().join("unit.toml");
    write_one(&unit, format!("{before}{one}{after}").as_bytes()).expect("the unit");
    let row = |number: u32, arrive: &str, chair: &str, regimen: &str| {
        format!(
            "2031-03-14,{arrive},A,{chair},X{number},Invented{number},Ada,1960-01-01,{regimen},2,yes,medium,yes,yes\n"
        )
    };
    let header = "date,arrive,bay,chair,hospital_no,family_name,given_name,born,regimen,cycle,cooled,hair,own_cap,go_ahead\n";
    let listed = [row(1, "09:15", "A1", "TC"), row(2, "10:50", "A2", "PAC-W"), row(3, "09:55", "A3", "TC")];
    let listed = format!("{header}{}", listed.concat());
    let run = |verb: &str, list: &str, more: &[&str]| -> String {
        let path = place.path().join("list.csv");
        write_one(&path, list.as_bytes()).expect("the list");
        let mut command = Command::cargo_bin("baypack").expect("the program is built for the test");
        command.arg(verb).arg(path).arg("--unit").arg(&unit);
        command.arg("--regimens").arg(demo.join("regimens.toml")).args(more).current_dir(place.path());
        let output = command.output().expect("it runs");
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).expect("UTF-8")
    };
    let without = |list: &str| -> Vec<Value> {
        run("check", list, &["--plan", "plan.json"]);
        let plan = fs::read(place.path().join("plan.json")).expect("the plan");
        let plan: Value = serde_json::from_slice(&plan).expect("JSON");
        let visits = plan["visits"].as_array().expect("visits").iter();
        visits.filter(|visit| visit["outlet"].is_null()).map(|visit| visit["hospital_no"].clone()).collect()
    };
    let said = run("fit", &listed, &["--regimen", "DOC", "--own-cap", "--hair", "medium"]);
    let lines: Vec<Vec<&str>> = said.lines().map(|line| line.split_whitespace().collect()).collect();
    let is_offered = |arrive: &str| {
        lines.iter().any(|line| line[0] == "A" && line.len() > 3 && line[1] <= arrive && arrive <= line[2])
    };
    let today = without(&listed);
    assert_eq!(today, ["X1", "X3"]);
    for (arrive, leaves_out, offered) in
        [("14:15", ["X2", "X3"], false), ("14:20", ["X2", "X3"], false), ("14:25", ["X1", "X3"], true)]
    {
        let longer = format!("{listed}{}", row(9, arrive, "A1", "DOC"));
        assert_eq!(
            (without(&longer), is_offered(arrive)),
            (leaves_out.map(Value::from).to_vec(), offered),
            "{arrive}"
        );
    }
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

/// How many of some days have a caution of a kind.
fn days_with(days: &[VerifiedDay], is_it: impl Fn(&Caution) -> bool) -> usize {
    days.iter().filter(|day| day.cautions().iter().any(&is_it)).count()
}

#[test]
fn the_days_hold_leaving_times_that_are_missed_and_drugs_that_come_late() {
    let days = scarce_days(40);
    let missed = days_with(&days, |caution| matches!(caution, Caution::LeaveByMissed { .. }));
    let late = days_with(&days, |caution| matches!(caution, Caution::DrugsLate { .. }));
    assert!(missed > 5 && late > 1, "{missed}, {late}");
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

/// The plan of a list of the demonstration unit.
fn planned(list: &Path) -> Value {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-input");
    let place = tempfile::tempdir().expect("a folder");
    let path = place.path().join("plan.json");
    let mut command = Command::cargo_bin("baypack").expect("the program is built for the test");
    command.arg("check").arg(list).arg("--unit").arg(demo.join("unit.toml"));
    command.arg("--regimens").arg(demo.join("regimens.toml")).arg("--plan").arg(&path);
    let output = command.output().expect("it runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&fs::read(path).expect("the plan")).expect("JSON")
}

#[test]
fn the_first_and_the_last_time_of_every_line_of_the_demo_are_planned_as_said_when_put_into_the_list() {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-input/day-list.csv");
    let before = planned(&demo);
    let list = fs::read_to_string(&demo).expect("the demo's list");
    let place = tempfile::tempdir().expect("a folder");
    let (_, said, _) = baypack(&["--regimen", "PAC-W", "--hair", "medium", "--cap", "M"]);
    let lines: Vec<Vec<&str>> = said
        .lines()
        .skip(2)
        .map(|line| line.split_whitespace().collect())
        .filter(|line: &Vec<&str>| line[0].len() == 1)
        .collect();
    assert!(lines.len() > 5, "{said}");
    for line in lines {
        let [bay, from, to, chair, connected, leaves_by, ..] = line[..] else { panic!("{line:?}") };
        for (arrive, stage, expected) in [(from, "cooling_on", connected), (to, "leave", leaves_by)] {
            let row = format!(
                "2031-03-14,{arrive},{bay},{chair},LD-3999,,Invented,Newcomer,1970-01-01,PAC-W,2,yes,medium,M,no,,,,no,,,yes,no"
            );
            let path = place.path().join("longer.csv");
            write_one(&path, format!("{}\n{row}\n", list.trim_end()).as_bytes()).expect("the longer list");
            let after = planned(&path);
            let own = after["visits"].as_array().expect("visits").last().expect("the patient more").clone();
            assert_eq!((&own["hospital_no"], &own["stages"][stage]), (&"LD-3999".into(), &expected.into()));
            assert!(own["outlet"].is_object(), "{line:?}");
            assert_eq!(after["machines"]["without_outlet"], before["machines"]["without_outlet"], "{line:?}");
            let harms = |plan: &Value| {
                let kinds = [
                    "closing_passed",
                    "before_opening",
                    "leave_by_missed",
                    "drugs_late",
                    "chair_double_booked",
                    "nurses_short",
                ];
                let cautions = plan["cautions"].as_array().expect("cautions").iter();
                cautions.filter(|caution| kinds.iter().any(|kind| caution["kind"] == *kind)).count()
            };
            assert_eq!(harms(&after), harms(&before), "{line:?}");
        }
    }
}
