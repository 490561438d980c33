//! What different sheets, and parts of one, say of the same thing agrees, on random days: composed, not printed.

mod support;

use std::collections::BTreeMap;

use baypack::allocate::{Allocation, Cooling, OutletHold, allocate};
use baypack::clock::{Moment, Span};
use baypack::compose::paperwork::{Kind, Paper, Paperwork};
use baypack::compose::words::Words;
use baypack::compose::{Choices, WhenShort, compose};
use baypack::explain::explain;
use baypack::layouts::Layouts;
use baypack::plan::{DayPlan, plan};
use baypack::propose::propose;
use baypack::survey::survey;
use baypack::unit_rules::{MachineIndex, Outage, Shift};
use baypack::validate::DayList;
use baypack::verify::verify;
use proptest::strategy::{Strategy, ValueTree};
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use serde_json::Value;
use support::at;
use support::random::a_day;

/// A day with its paper.
struct Printed {
    list: DayList,
    plan: DayPlan,
    allocation: Allocation,
    paperwork: Paperwork,
}

impl Printed {
    fn of(list: DayList) -> Self {
        let plan = plan(&list);
        let allocation = allocate(&list, &plan);
        let cautions = survey(&list, &plan, &allocation);
        let day = verify(list.clone(), plan.clone(), allocation.clone(), cautions).expect("a right day");
        let short = WhenShort { shortfalls: explain(&day), advice: propose(&day) };
        let choices = Choices { paper: Paper::A4, revision: 1 };
        let words = english().of_unit(&list.unit);
        let paperwork =
            compose(&day, &short, &BTreeMap::from([("en".to_owned(), words)]), choices).expect("paperwork");
        Self { list, plan, allocation, paperwork }
    }

    fn sheets(&self, kind: Kind) -> impl Iterator<Item = &Value> {
        self.paperwork.documents.iter().filter(move |document| document.kind == kind).map(|one| &one.data)
    }

    /// The lines of the tick lists that are about a visit.
    fn ticks(&self, visit: usize) -> Vec<&Value> {
        let lines = self.sheets(Kind::BaySheet).flat_map(|sheet| list(&sheet["ticks"]));
        let number = &self.list.visits[visit].hospital_no;
        lines.filter(|line| line["identity"].as_str() == Some(number.as_str())).collect()
    }

    fn machine_sheet(&self) -> &Value {
        self.sheets(Kind::MachineSheet).next().expect("a machine sheet")
    }
}

/// The English words.
fn english() -> Words {
    let layouts = Layouts::new(BTreeMap::new()).expect("the project's own layouts");
    let text = std::str::from_utf8(layouts.file("wording/en.toml").expect("English words")).expect("text");
    Words::parse("wording/en.toml", text).expect("right words")
}

/// Random days, always the same ones, each handed to `look`.
fn on_days(days: usize, mut look: impl FnMut(&Printed)) {
    let seed = TestRng::from_seed(RngAlgorithm::ChaCha, &[21; 32]);
    let mut runner = TestRunner::new_with_rng(Config::default(), seed);
    let random = a_day(14);
    let shift = |name: &str, from, to| Shift { name: name.to_owned(), from: at(from), to: at(to) };
    for _ in 0..days {
        let mut day = random.new_tree(&mut runner).expect("a day").current();
        day.unit.shifts = vec![
            shift("Early", "07:00", "11:00"),
            shift("Middle", "11:00", "15:00"),
            shift("Late", "15:00", "22:00"),
        ];
        look(&Printed::of(day));
    }
}

fn list(value: &Value) -> &[Value] {
    value.as_array().expect("a list")
}

fn text(value: &Value) -> &str {
    value.as_str().expect("a text")
}

#[test]
fn a_machine_that_moves_is_in_its_bay_when_it_is_to_be_switched_on_there() {
    let (mut first_moves, mut later_moves) = (0, 0);
    on_days(400, |day| {
        let (sheet, minutes) = (day.machine_sheet(), &day.list.unit.minutes);
        for (line, change) in list(&sheet["moves"]).iter().zip(&day.allocation.moves) {
            let (in_place, first_use) = (at(text(&line["before"])), at(text(&line["first_use"])));
            assert_eq!(first_use, change.within.until);
            if text(&line["after"]) == "Any time" {
                first_moves += 1;
                let machine = &line["machine"];
                let on = list(&sheet["switch_on"]).iter().find(|row| row["machine"] == *machine);
                let on = on.expect("it is switched on");
                assert_eq!((&on["at"], &on["bay"]), (&line["before"], &line["to"]));
            } else {
                later_moves += 1;
                let moved = at(text(&line["after"])) + minutes.machine_move;
                assert!(moved <= in_place && in_place <= first_use, "{line}");
                let cold = in_place + minutes.machine_start <= first_use;
                assert!(cold || in_place == moved, "it could be cold if it were moved sooner: {line}");
            }
            let front = day.sheets(Kind::FrontSheet).next().expect("a front sheet");
            let name = text(&line["machine"]);
            let rows = list(&front["sections"]).iter().flat_map(|section| list(&section["rows"]));
            let says = format!(
                "Machine {name} moves from bay {} to bay {}:",
                text(&line["from"]),
                text(&line["to"])
            );
            let told = rows
                .filter(|row| text(&row["text"]).starts_with(&says))
                .any(|row| row["by"] == line["before"] && text(&row["text"]).contains(text(&line["before"])));
            assert!(told, "the front sheet says another time than {line}");
        }
    });
    assert!(first_moves > 20 && later_moves > 5, "{first_moves} first moves, {later_moves} later ones");
}

#[test]
fn machines_are_switched_on_in_the_order_of_the_list_and_a_row_of_the_chart_names_every_bay() {
    let mut moved = 0;
    on_days(200, |day| {
        let sheet = day.machine_sheet();
        let times: Vec<&str> = list(&sheet["switch_on"]).iter().map(|row| text(&row["at"])).collect();
        let needed: Vec<&str> = times.iter().copied().filter(|time| *time != "Not needed").collect();
        assert!(needed.is_sorted_by_key(|time| at(time)), "{times:?}");
        assert!(times.starts_with(&needed), "what is not needed stands last: {times:?}");
        for row in list(&sheet["chart"]["rows"]) {
            let place =
                day.list.unit.machines.iter().position(|machine| machine.name == text(&row["machine"]));
            let place = MachineIndex(place.expect("a machine of the unit"));
            let changes = day.allocation.moves.iter().filter(|change| change.machine == place);
            let bays =
                std::iter::once(day.list.unit.machine(place).bay).chain(changes.map(|change| change.to));
            let bays: Vec<&str> = bays.map(|bay| day.list.unit.bay(bay).name.as_str()).collect();
            moved += usize::from(bays.len() > 1);
            assert_eq!(text(&row["bay"]), bays.join(" → "));
        }
    });
    assert!(moved > 20, "only {moved} rows of machines that move");
}

#[test]
fn a_machine_is_switched_on_anew_after_an_outage_of_the_whole_of_it() {
    let (mut once, mut again, mut not_needed) = (0, 0, 0);
    on_days(400, |day| {
        let sheet = day.machine_sheet();
        for (place, machine) in day.list.unit.machines.iter().enumerate() {
            let rows = list(&sheet["switch_on"]).iter().filter(|row| text(&row["machine"]) == machine.name);
            let rows: Vec<&Value> = rows.collect();
            let mut uses: Vec<_> =
                day.allocation.holds_of(MachineIndex(place)).map(|(_, hold)| hold.span.from).collect();
            uses.sort();
            if uses.is_empty() {
                assert_eq!(rows.iter().map(|row| text(&row["at"])).collect::<Vec<_>>(), ["Not needed"]);
                not_needed += 1;
                continue;
            }
            let whole = || machine.out_of_service.iter().filter(|outage| outage.outlet.is_none());
            // Walked minute by minute: off in the morning and whenever all of it is out.
            let (mut is_on, mut expected) = (false, Vec::new());
            for minute in 0..48 * 60 {
                let now = Moment::from_midnight(minute);
                is_on &= !whole().any(|outage| outage.span.from <= now && now < outage.span.until);
                if uses.contains(&now) && !std::mem::replace(&mut is_on, true) {
                    expected.push(now);
                }
            }
            let said: Vec<Moment> = rows.iter().map(|row| at(text(&row["first_use"]))).collect();
            assert_eq!(said, expected, "{}", machine.name);
            for row in rows {
                let (on, first_use) = (at(text(&row["at"])), at(text(&row["first_use"])));
                let ended = whole().map(|outage| outage.span.until).filter(|until| *until <= first_use).max();
                assert!(ended.is_none_or(|ended| ended + day.list.unit.minutes.machine_start <= first_use));
                assert!(on <= first_use && ended.is_none_or(|ended| ended <= on), "{row}");
            }
            *(if expected.len() > 1 { &mut again } else { &mut once }) += 1;
        }
    });
    assert!(once > 100 && again > 0 && not_needed > 100, "{once}, {again}, {not_needed}");
    // Out from 12:30 to 13:00, cold after 60 minutes; the second patient is connected at 14:30.
    let mut list_of_two = support::worked::three_visits();
    list_of_two.visits = vec![support::visit(2, "08:30"), support::visit(3, "14:00")];
    list_of_two.unit.machines.truncate(1);
    let span = Span::new(at("12:30"), at("13:00"));
    list_of_two.unit.machines[0].out_of_service = vec![Outage { span, outlet: None, reason: String::new() }];
    let day = Printed::of(list_of_two);
    let rows = list(&day.machine_sheet()["switch_on"]).iter();
    let said: Vec<(&str, &str)> = rows.map(|row| (text(&row["at"]), text(&row["first_use"]))).collect();
    assert_eq!(said, [("08:00", "09:00"), ("13:30", "14:30")]);
}

/// Whether a machine can do its day if `late` is on it for some minutes more: tried by plain rules of this test.
fn can_serve(day: &Printed, machine: MachineIndex, late: usize, slip: i32) -> bool {
    let (list, minutes) = (&day.list, &day.list.unit.minutes);
    let held: Vec<_> = day.allocation.holds_of(machine).collect();
    let until = |visit: usize, hold: &OutletHold| {
        if visit == late { hold.span.until.slipped(slip) } else { hold.span.until }
    };
    held.iter().all(|(one, hold)| {
        held.iter().filter(|(other, _)| other != one).all(|(other, next)| {
            if next.span.from < hold.span.from {
                return true;
            }
            let (row, neighbour) = (&list.visits[*one], &list.visits[*other]);
            let free = until(*one, hold);
            if row.bay != neighbour.bay {
                return free + minutes.machine_move <= next.span.from;
            }
            let off = free - minutes.outlet_clean;
            let reached = list.unit.bay(row.bay).reach_together(&row.chair, &neighbour.chair);
            (hold.number != next.number || free <= next.span.from) && (reached || off <= next.span.from)
        })
    })
}

#[test]
fn a_heavy_line_says_from_which_slip_on_somebody_waits_for_the_outlet_or_its_machine() {
    let (mut outlets, mut machines, mut nobody) = (0, 0, 0);
    on_days(400, |day| {
        for strip in day.sheets(Kind::BaySheet).flat_map(|sheet| list(&sheet["strips"])) {
            let number = text(&strip["banner"]["hospital_no"]);
            let visit = day.list.visits.iter().position(|visit| visit.hospital_no == number);
            let visit = visit.expect("a visit");
            let Cooling::Outlet(hold) = day.allocation.visits[visit] else { continue };
            let first = (0..=90).find(|&slip| !can_serve(day, hold.machine, visit, slip));
            let slips = (-15..=90).step_by(5);
            let lines = slips.zip(list(&strip["cooling"]["grid"]["lines"]));
            let said =
                |line: &Value, what: &str| line["cost"].as_str().is_some_and(|cost| cost.contains(what));
            let marked: Vec<i32> = lines
                .filter(|(_, line)| said(line, "waits for this"))
                .map(|(slip, line)| {
                    outlets += usize::from(said(line, "waits for this outlet"));
                    machines += usize::from(said(line, "waits for this machine"));
                    slip
                })
                .collect();
            let expected = first.map(|slip| (slip + 4).div_euclid(5) * 5).filter(|slip| *slip <= 90);
            assert_eq!(marked.first().copied(), expected, "chair {}", day.list.visits[visit].chair);
            nobody += usize::from(expected.is_none());
        }
    });
    assert!(outlets > 20 && machines > 10 && nobody > 100, "{outlets}, {machines}, {nobody}");
}

#[test]
fn where_hoses_do_not_reach_a_whole_bay_the_free_outlets_say_so() {
    let mut parted = 0;
    on_days(60, |day| {
        let said = text(&day.machine_sheet()["spare"]["reach"]);
        let is_parted = |bay: &&baypack::unit_rules::Bay| bay.reach.len() > 1;
        let bays: Vec<_> = day.list.unit.bays.iter().filter(is_parted).collect();
        assert_eq!(said.is_empty(), bays.is_empty());
        for group in bays.iter().flat_map(|bay| &bay.reach) {
            parted += 1;
            assert!(said.contains(&group.join(", ")), "{group:?} is not in `{said}`");
        }
    });
    assert!(parted > 20);
}

#[test]
fn there_is_nothing_to_connect_to_stop_or_to_take_off_for_a_patient_without_an_outlet() {
    let of_the_cap =
        ["Connect cap", "First check", "post-cooling starts", "Stop cooling", "Cap off", "fit cap"];
    let (mut without, mut with) = (0, 0);
    on_days(150, |day| {
        for (visit, cooling) in day.allocation.visits.iter().enumerate() {
            let lines = day.ticks(visit);
            let about = |words: &str| lines.iter().filter(|line| text(&line["what"]).contains(words)).count();
            let counted: Vec<usize> = of_the_cap.iter().map(|words| about(words)).collect();
            match cooling {
                Cooling::Outlet(_) => {
                    with += 1;
                    assert_eq!(counted, [1; 6], "{lines:?}");
                }
                Cooling::NotWanted => assert_eq!(counted, [0; 6], "{lines:?}"),
                Cooling::Without(_) => {
                    without += 1;
                    assert_eq!(counted, [0; 6], "{lines:?}");
                    let ask =
                        lines.iter().find(|line| text(&line["what"]).starts_with("No outlet or cap: ask"));
                    let ask = ask.expect("somebody is asked");
                    let prepare =
                        day.plan.visits[visit].cooling.as_ref().map(|stages| stages.prepare.to_string());
                    assert_eq!((ask["time"].as_str(), &ask["key"]), (prepare.as_deref(), &Value::Bool(true)));
                    assert_eq!(about("May leave, sooner if not cooled"), 1);
                }
            }
        }
    });
    assert!(without > 50 && with > 50, "{without} without, {with} with an outlet");
}

#[test]
fn at_one_minute_what_ends_stands_before_what_starts_and_late_drugs_are_named_before_the_pre_medication() {
    let (mut at_one_minute, mut late) = (0, 0);
    on_days(150, |day| {
        for visit in 0..day.list.visits.len() {
            let lines = day.ticks(visit);
            let place = |words: &str| lines.iter().position(|line| text(&line["what"]).contains(words));
            if let Some(ended) = place("post-cooling starts") {
                let time = &lines[ended]["time"];
                let starts =
                    |line: &&Value| line["time"] == *time && text(&line["what"]).starts_with("Start ");
                let before = lines[..ended].iter().copied().filter(starts).count();
                at_one_minute += lines[ended..].iter().copied().filter(starts).count();
                // A drug of no minutes may start and end at once; the random ones all take some.
                assert_eq!(before, 0, "{lines:?}");
            }
            assert_eq!(place("May leave"), Some(lines.len() - 1), "{lines:?}");
            let premed = place("Give pre-medication");
            let due = day.list.visits[visit].drugs_ready.filter(|due| *due > day.plan.visits[visit].premed);
            if let (Some(premed), Some(due)) = (premed, due) {
                late += 1;
                assert!(text(&lines[premed]["detail"]).starts_with(&format!("drugs {due}")), "{lines:?}");
            }
        }
    });
    assert!(at_one_minute > 20 && late > 20, "{at_one_minute} at one minute, {late} late");
}

#[test]
fn a_change_of_shift_names_everybody_who_is_there_and_points_to_alerts_and_other_sheets() {
    let (mut alerts, mut nobody, mut elsewhere) = (0, 0, 0);
    on_days(150, |day| {
        for sheet in day.sheets(Kind::BaySheet) {
            let strips = list(&sheet["strips"]);
            for change in list(&sheet["ticks"]).iter().filter(|line| line["type"] == "hand-over") {
                let now = at(text(&change["time"]));
                let is_here = |visit: &usize| {
                    let planned = &day.plan.visits[*visit];
                    planned.arrive <= now && now < planned.leave
                };
                let row_of = |visit: usize| {
                    let number = &day.list.visits[visit].hospital_no;
                    let named = |row: &&Value| text(&row["patient"]["identity"]).ends_with(number.as_str());
                    list(&change["rows"]).iter().find(named)
                };
                for strip in strips {
                    let number = text(&strip["banner"]["hospital_no"]);
                    let visit = day.list.visits.iter().position(|visit| visit.hospital_no == number);
                    let visit = visit.expect("a visit");
                    let row = row_of(visit);
                    assert_eq!(row.is_some(), is_here(&visit), "{change}");
                    let Some(row) = row else { continue };
                    let warned = !list(&strip["alerts"]).is_empty();
                    alerts += usize::from(warned);
                    assert_eq!(text(&row["stage"]).ends_with(", see alert"), warned, "{row}");
                }
                let isolated = day.list.visits.iter().enumerate().filter(|(_, visit)| visit.isolate);
                let of_the_bay = |chair: &String| {
                    let bay =
                        day.list.unit.bays.iter().find(|bay| bay.chairs.contains(chair)).expect("a bay");
                    text(&sheet["head"]["title"]) == format!("Bay {}", bay.name)
                };
                let away: Vec<String> = isolated
                    .filter(|(visit, row)| is_here(visit) && of_the_bay(&row.chair))
                    .map(|(_, row)| format!("{} ({})", row.chair, row.arrive))
                    .collect();
                elsewhere += away.len();
                let said = text(&change["elsewhere"]);
                assert!(away.iter().all(|seat| said.contains(seat)), "{away:?} are not in `{said}`");
                assert_eq!(said.matches('(').count(), away.len(), "{said}");
                nobody += usize::from(away.is_empty() && list(&change["rows"]).is_empty());
            }
        }
    });
    assert!(
        alerts > 50 && nobody > 5 && elsewhere > 10,
        "{alerts} alerts, {nobody} empty, {elsewhere} elsewhere"
    );
}

#[test]
fn shifts_side_by_side_hand_over_to_the_one_that_comes_and_not_to_each_other() {
    let changes = |shifts: &[(&str, &str, &str)]| -> Vec<(String, String)> {
        let mut unit = support::unit();
        let shift = |(name, from, to): &(&str, &str, &str)| Shift {
            name: (*name).to_owned(),
            from: at(from),
            to: at(to),
        };
        unit.shifts = shifts.iter().map(shift).collect();
        let regimens = vec![support::regimen("D", 90, vec![support::hair_loss("docetaxel", 60)])];
        let day = Printed::of(support::day_list(unit, regimens, vec![support::visit(2, "08:00")]));
        let sheet = day.sheets(Kind::BaySheet).next().expect("bay A");
        let lines = list(&sheet["ticks"]).iter().filter(|line| line["type"] == "hand-over");
        lines.map(|line| (text(&line["time"]).to_owned(), text(&line["title"]).to_owned())).collect()
    };
    let (early, late) = (("Early", "07:00", "10:00"), ("Late", "09:30", "20:00"));
    let long = ("Long", "07:00", "11:00");
    for (shifts, expected) in [
        (vec![early, late], vec![("09:30", "Early → Late")]),
        (vec![early, ("Late", "10:00", "20:00")], vec![("10:00", "Early → Late")]),
        (vec![early, ("Late", "10:30", "20:00")], vec![("10:30", "Early → Late")]),
        // The long shift takes over nothing when it begins, and nobody from it leaves when the late one comes.
        (vec![early, long, late], vec![("09:30", "Early → Late"), ("11:00", "Long → Late")]),
        (vec![late, long, early], vec![("09:30", "Early → Late"), ("11:00", "Long → Late")]),
        (vec![early, ("Long", "07:00", "20:00")], vec![("10:00", "Early → Long")]),
        (vec![("Day", "07:00", "20:00"), ("Help", "09:00", "11:00")], vec![("11:00", "Help → Day")]),
        (vec![early, ("Help", "08:00", "10:00"), late], vec![("09:30", "Early, Help → Late")]),
        (vec![early, late, ("Help", "09:30", "12:00")], vec![("09:30", "Early → Late, Help")]),
        (vec![("Day", "07:00", "20:00"), ("Other", "07:00", "20:00")], vec![]),
    ] {
        let found = changes(&shifts);
        let found: Vec<(&str, &str)> = found
            .iter()
            .map(|(time, title)| (time.as_str(), title.trim_start_matches("Change of shift: ")))
            .collect();
        assert_eq!(found, expected, "{shifts:?}");
    }
}

#[test]
fn the_clerk_counts_for_each_bay_the_patients_on_its_sheet_and_apart_those_with_their_own() {
    let mut alone = 0;
    on_days(100, |day| {
        let front = day.sheets(Kind::FrontSheet).next().expect("a front sheet");
        let counted = |label: &str| {
            let line = list(&front["counts"]).iter().find(|line| text(&line["label"]).starts_with(label));
            line.map_or(0, |line| text(&line["value"]).parse::<usize>().expect("a number"))
        };
        let strips = |sheet: &Value| list(&sheet["strips"]).len();
        let bays: Vec<&Value> = day.sheets(Kind::BaySheet).collect();
        let mut of_bays = 0;
        for sheet in bays.iter().filter(|sheet| !text(&sheet["head"]["title"]).contains("isolated")) {
            let title = text(&sheet["head"]["title"]);
            assert_eq!(counted(&format!("{title}: patients")), strips(sheet), "{title}");
            of_bays += strips(sheet);
        }
        let isolated = bays.iter().filter(|sheet| text(&sheet["head"]["title"]).contains("isolated")).count();
        alone += isolated;
        assert_eq!(counted("Isolated: a sheet each"), isolated);
        assert_eq!(of_bays + isolated, counted("Care cards"), "everybody has a card");
    });
    assert!(alone > 20, "only {alone} isolated");
}

#[test]
fn the_real_start_of_every_drug_has_a_box_on_its_patients_strip() {
    let (mut in_the_grid, mut in_the_table) = (0, 0);
    on_days(100, |day| {
        for strip in day.sheets(Kind::BaySheet).flat_map(|sheet| list(&sheet["strips"])) {
            let columns =
                strip["cooling"]["grid"]["columns"].as_array().map(Vec::as_slice).unwrap_or_default();
            let starts = columns.iter().filter(|column| text(&column["label"]).starts_with("Start")).count();
            let written = list(&strip["steps"]).iter().filter(|step| step["write"] == true).count();
            assert_eq!(starts + written, list(&strip["steps"]).len(), "{strip}");
            in_the_grid += starts;
            in_the_table += written;
        }
    });
    assert!(in_the_grid > 100 && in_the_table > 100, "{in_the_grid} and {in_the_table} boxes");
}

/// 24 hours is what the demo's unit has; the random days include nights in which clocks change.
#[test]
fn the_clock_time_at_which_cooling_stopped_is_when_to_rinse_wherever_a_strip_says_so() {
    let (mut same, mut other) = (0, 0);
    on_days(150, |day| {
        for strip in day.sheets(Kind::BaySheet).flat_map(|sheet| list(&sheet["strips"])) {
            let Some(said) = strip["cooling"]["rinse"].as_str() else { continue };
            let number = text(&strip["banner"]["hospital_no"]);
            let visit =
                day.list.visits.iter().position(|visit| visit.hospital_no == number).expect("a visit");
            let stages = day.plan.visits[visit].cooling.as_ref().expect("cooled");
            let unit = &day.list.unit;
            let due = |late: i32| {
                let stopped = stages.cooling_off.slipped(late);
                let due = stopped.plus_elapsed_hours(unit.rinse_within_hours, day.list.day, unit.time_zone);
                (due, stopped.on(day.list.day) + chrono::Days::new(1))
            };
            if said == "Rinse by next day, at the time cooling stopped" {
                same += 1;
                assert!((0..=90).map(due).all(|(due, next_day)| due == next_day), "{said}: {stages:?}");
            } else {
                other += 1;
                let (due, next_day) = due(0);
                assert_ne!(due, next_day);
                assert!(said.contains(&due.format("%d-%b-%Y %H:%M").to_string()), "{said}");
            }
        }
    });
    assert!(same > 50 && other > 20, "{same} on the same clock time, {other} not");
}
