//! The slip grid's promise: whoever only follows the marks cuts no minimum short.
//!
//! A nurse is simulated who knows nothing but the grid: she does each thing at the time that the marks
//! tell her, or some minutes later, writes the real time, and marks the first cell not before it.

mod support;

use std::collections::BTreeMap;

use baypack::allocate::allocate;
use baypack::clock::{Minutes, Moment};
use baypack::compose::paperwork::{Kind, Paper};
use baypack::compose::slip_grid::{Event, FIRST_LINE, Grid, LINE, Link, Promise, What, slip_grid};
use baypack::compose::words::Words;
use baypack::compose::{Choices, WhenShort, compose};
use baypack::explain::explain;
use baypack::layouts::Layouts;
use baypack::patient::{Hair, Visit};
use baypack::plan::{VisitPlan, plan};
use baypack::propose::propose;
use baypack::survey::survey;
use baypack::unit_rules::{PostCoolingFrom, Regimen, RegimenIndex, Step, Unit};
use baypack::validate::DayList;
use baypack::verify::verify;
use proptest::strategy::{Strategy, ValueTree};
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::Value;
use support::random::a_day;
use support::{at, day_list, hair_loss, min, other_drug, regimen, seated_in, unit, visit};

/// How many visits are simulated.
const VISITS: usize = 100_000;

/// The most minutes by which the marks may delay a stage: the first cell not before a time is at
/// most four minutes after it, one line being five.
const MOST_ROUNDING: i32 = LINE - 1;

/// A stretch that must not be cut short: what it is, from which event to which, its least minutes.
#[derive(Clone, Debug)]
struct Stretch {
    what: &'static str,
    from: usize,
    to: usize,
    least: i32,
}

/// A cooled visit with its grid and all that must not be cut short, read from the list and not from
/// the grid's own links.
#[derive(Clone, Debug)]
struct Followable {
    grid: Grid,
    stretches: Vec<Stretch>,
    post_cooling: Minutes,
    until: Moment,
}

/// The place of an event in a grid.
fn place(grid: &Grid, what: What) -> usize {
    let found = grid.events.iter().position(|event| event.what == what);
    found.unwrap_or_else(|| panic!("no column {what:?} in {:?}", grid.events))
}

/// The place of the last drug that the post-cooling clock counts from.
fn counted(regimen: &Regimen, unit: &Unit) -> usize {
    let counts = |step: &Step| {
        step.hair_loss
            || (step.cytotoxic && unit.rules.post_cooling_from == PostCoolingFrom::LastCytotoxicDrug)
    };
    regimen.steps.iter().rposition(counts).expect("a hair-loss drug")
}

/// Every minimum of a cooled visit.
fn stretches(list: &DayList, visit: &Visit, grid: &Grid) -> Vec<Stretch> {
    let (unit, regimen) = (&list.unit, list.regimen(visit.regimen));
    let first = regimen.steps.iter().position(|step| step.hair_loss).expect("a hair-loss drug");
    let counted = counted(regimen, unit);
    let start_of = |step: usize| match step {
        _ if step == first => place(grid, What::StartDrug(step)),
        _ if step == regimen.steps.len() => place(grid, What::MayLeave),
        _ => place(grid, What::DrugStarted(step)),
    };
    let usual = unit.minutes.pre_cooling.signed();
    let thick = unit.minutes.pre_cooling_thick.signed();
    let pre_cooling = match visit.hair {
        Some(Hair::Thick) => thick,
        Some(_) => usual,
        None => usual.max(thick),
    };
    let (connect, start) = (place(grid, What::Connect), place(grid, What::StartDrug(first)));
    let (ended, stop) = (place(grid, What::DrugEnded(counted)), place(grid, What::StopCooling));
    let (cap_off, leave) = (place(grid, What::CapOff), place(grid, What::MayLeave));
    let stretch = |what, from, to, least| Stretch { what, from, to, least };
    let mut all = vec![
        stretch("first check", connect, place(grid, What::FirstCheck), unit.minutes.first_check.signed()),
        stretch("pre-cooling", connect, start, pre_cooling),
        stretch("post-cooling", ended, stop, regimen.post_cooling.signed()),
        stretch("warm-up", stop, cap_off, unit.minutes.warm_up.signed()),
        stretch("seated", cap_off, leave, unit.minutes.seated.signed()),
    ];
    // A lead of no minutes is no pre-medication, and has no column.
    let premed = grid.events.iter().position(|event| event.what == What::PremedGiven);
    let lead = regimen.premed_lead.signed();
    assert_eq!(premed.is_some(), lead > 0, "{grid:?}");
    all.extend(premed.map(|premed| stretch("pre-medication lead", premed, start_of(0), lead)));
    for (number, step) in regimen.steps.iter().enumerate() {
        let observed = step.observation(visit.is_first()).signed();
        if observed == 0 {
            continue;
        }
        let flush_to_come = if unit.rules.flush_counts { 0 } else { step.flush.signed() };
        all.push(match number == counted {
            true => stretch("observation", ended, start_of(number + 1), flush_to_come + observed),
            false => {
                let from = place(grid, What::ObservationStarts(number));
                stretch("observation", from, start_of(number + 1), observed)
            }
        });
    }
    all
}

/// The grids of a day's cooled visits.
fn followable(list: &DayList) -> Vec<Followable> {
    let planned = plan(list).visits;
    let with_grid = |(visit, planned): (&Visit, &VisitPlan)| {
        let regimen = list.regimen(visit.regimen);
        let grid = slip_grid(visit, regimen, &list.unit, planned)?;
        let stretches = stretches(list, visit, &grid);
        // The bay's table goes on an hour past the grids, where the unit closes before that.
        let end = planned.cooling.as_ref()?.hair_loss_drug_end;
        let until = list.unit.closes.max(end.slipped(90 + 60));
        Some(Followable { grid, stretches, post_cooling: regimen.post_cooling, until })
    };
    list.visits.iter().zip(&planned).filter_map(with_grid).collect()
}

/// What really happened to a visit; `None` where the grid no longer shows it.
struct Happened {
    real: Vec<Option<Moment>>,
    mark: Vec<Option<i32>>,
    /// How many minutes later than needed the marks told her to do each thing, inside the grid.
    rounding: Vec<Option<i32>>,
}

/// Minutes by which something is late: often none, otherwise up to forty, odd ones too.
fn lateness(chance: &mut ChaCha8Rng) -> i32 {
    if chance.random_range(0..3) == 0 { 0 } else { chance.random_range(0..=40) }
}

/// The bay's table past the last line: the first row not before the real end.
fn past_the_last_line(one: &Followable, ended: Moment) -> Option<Moment> {
    let row = (ended.minutes() + LINE - 1).div_euclid(LINE) * LINE;
    (row <= one.until.minutes()).then(|| Moment::from_midnight(row) + one.post_cooling)
}

/// The time before which a mark, or the bay's table, tells her not to do the next thing.
fn told_by(one: &Followable, so_far: &Happened, link: &Link) -> Option<Moment> {
    let real = so_far.real[link.from]?;
    match so_far.mark[link.from] {
        Some(slip) => Some(one.grid.cell(link.to, slip)),
        None if link.promise == Promise::PostCooling => past_the_last_line(one, real),
        None => None,
    }
}

/// Whether a real time was on the grid's lines, not before the first one.
fn is_inside(grid: &Grid, event: usize, real: Moment) -> bool {
    real.minutes() > grid.cell(event, FIRST_LINE).minutes() - LINE
}

/// Follows the marks through a visit.
fn follow(one: &Followable, chance: &mut ChaCha8Rng) -> Happened {
    let grid = &one.grid;
    let mut so_far = Happened { real: Vec::new(), mark: Vec::new(), rounding: Vec::new() };
    for (event, Event { base, .. }) in grid.events.iter().enumerate() {
        let links: Vec<&Link> = grid.links.iter().filter(|link| link.to == event).collect();
        assert!(links.iter().all(|link| link.from < event), "a mark leads to an earlier column");
        let told: Option<Vec<Moment>> = links.iter().map(|link| told_by(one, &so_far, link)).collect();
        let told = told.map(|told| told.into_iter().max());
        let real = match told {
            None => None,
            Some(None) => Some(base.slipped(chance.random_range(-30..=60))),
            Some(Some(told)) => {
                let itself = ends_by_itself(&links, &so_far).filter(|_| chance.random_range(0..2) == 0);
                Some(itself.unwrap_or(told).slipped(lateness(chance)))
            }
        };
        so_far.rounding.push(told.flatten().and_then(|told| rounding(grid, &links, &so_far, told)));
        so_far.real.push(real);
        so_far.mark.push(real.and_then(|real| grid.mark(event, real)));
    }
    so_far
}

/// When a running drug is over by its own minutes, whatever the grid says.
fn ends_by_itself(links: &[&Link], so_far: &Happened) -> Option<Moment> {
    let ends = links.iter().map(|link| match link.promise {
        Promise::Drugs => so_far.real[link.from].map(|from| from + link.minimum),
        _ => None,
    });
    ends.collect::<Option<Vec<_>>>()?.into_iter().max()
}

/// How much later than the minimums ask for the marks tell her to do something; `None` where a mark
/// was before the first line or past the last.
fn rounding(grid: &Grid, links: &[&Link], so_far: &Happened, told: Moment) -> Option<i32> {
    let needed = links.iter().map(|link| {
        let real = so_far.real[link.from]?;
        so_far.mark[link.from].filter(|_| is_inside(grid, link.from, real))?;
        Some(real + link.minimum)
    });
    let needed = needed.collect::<Option<Vec<_>>>()?.into_iter().max()?;
    Some(told.minutes() - needed.minutes())
}

/// Random days' grids, always the same ones.
fn many_grids() -> Vec<Followable> {
    let seed = TestRng::from_seed(RngAlgorithm::ChaCha, &[7; 32]);
    let mut runner = TestRunner::new_with_rng(Config::default(), seed);
    let days = a_day(12);
    let mut grids = Vec::new();
    while grids.len() < 2_000 {
        let list = days.new_tree(&mut runner).expect("a day").current();
        grids.extend(followable(&list));
    }
    grids
}

/// How often each minimum was measured, and how many stages' rounding.
#[derive(Debug, Default)]
struct Measured {
    minimums: BTreeMap<&'static str, usize>,
    rounded: usize,
}

/// What the marks made of one visit; an error says what they cut short or delayed too much.
fn judge(one: &Followable, happened: &Happened, measured: &mut Measured) -> Result<(), String> {
    for Stretch { what, from, to, least } in &one.stretches {
        let (Some(from), Some(to)) = (happened.real[*from], happened.real[*to]) else { continue };
        let length = to.minutes() - from.minutes();
        if length < *least {
            return Err(format!("{what} of {length} min, at least {least}: {one:?}"));
        }
        *measured.minimums.entry(what).or_default() += 1;
    }
    for (event, lost) in happened.rounding.iter().enumerate() {
        let Some(lost) = *lost else { continue };
        let allowed = MOST_ROUNDING + planned_wait(&one.grid, event);
        if !(0..=allowed).contains(&lost) {
            return Err(format!("{:?} lost {lost} min: {one:?}", one.grid.events[event].what));
        }
        measured.rounded += 1;
    }
    Ok(())
}

/// How many minutes longer than its minimum the plan makes a stage before leaving.
///
/// Leaving waits for two things that have nothing to do with each other, the seated minutes and the
/// last drug, and stands in one column at the later of the two on plan. The mark of the earlier one
/// carries its wait with it, so that a late cap may seem to delay a patient whose last drug was on
/// time: never too soon, but later than by rounding. Every other column is as tight as its minimum.
fn planned_wait(grid: &Grid, event: usize) -> i32 {
    let links = grid.links.iter().filter(|link| link.to == event);
    let wait = |link: &Link| {
        let apart = grid.events[link.to].base.minutes() - grid.events[link.from].base.minutes();
        apart - link.minimum.signed()
    };
    let leaving = grid.events[event].what == What::MayLeave;
    if leaving { links.map(wait).max().unwrap_or(0) } else { 0 }
}

/// Follows visits through these grids, in turn.
fn simulate(grids: &[Followable], visits: usize) -> Result<Measured, String> {
    let mut chance = ChaCha8Rng::seed_from_u64(20_310_314);
    let mut measured = Measured::default();
    for one in grids.iter().cycle().take(visits) {
        let happened = follow(one, &mut chance);
        judge(one, &happened, &mut measured)?;
    }
    Ok(measured)
}

#[test]
fn whoever_follows_the_marks_never_cuts_a_minimum_short_and_loses_less_than_a_line_a_stage() {
    let measured = simulate(&many_grids(), VISITS).unwrap_or_else(|broken| panic!("{broken}"));
    // The simulation is worth something only if most of it stayed on the grid.
    for what in [
        "pre-medication lead",
        "first check",
        "pre-cooling",
        "observation",
        "post-cooling",
        "warm-up",
        "seated",
    ] {
        let often = measured.minimums.get(what).is_some_and(|count| *count > VISITS / 5);
        assert!(often, "{what}: {measured:?}");
    }
    assert!(measured.rounded > VISITS, "{measured:?}");
}

#[test]
fn the_simulation_finds_a_column_that_is_a_minute_too_early_or_a_line_too_late() {
    let grids = many_grids();
    for what in [What::StopCooling, What::CapOff, What::MayLeave] {
        let early = moved_from(&grids, what, -1);
        let found = simulate(&early, VISITS).expect_err("a column is early");
        assert!(found.contains("lost -1 min") || found.contains(" min, at least "), "{what:?}: {found}");
    }
    for what in [What::StopCooling, What::CapOff] {
        let late = moved_from(&grids, what, LINE);
        let found = simulate(&late, VISITS).expect_err("a column is late");
        assert!(found.contains(" lost "), "{what:?}: {found}");
    }
}

/// The grids with a column and all after it moved.
fn moved_from(grids: &[Followable], what: What, by: i32) -> Vec<Followable> {
    let mut grids = grids.to_vec();
    for one in &mut grids {
        let first = place(&one.grid, what);
        for event in &mut one.grid.events[first..] {
            event.base = event.base.slipped(by);
        }
    }
    grids
}

#[test]
fn every_minimum_is_a_link_of_the_grid_and_every_other_link_is_drugs() {
    for one in many_grids() {
        let minimums = one.grid.links.iter().filter(|link| link.promise != Promise::Drugs);
        let mut linked: Vec<(usize, usize, i32)> =
            minimums.map(|link| (link.from, link.to, link.minimum.signed())).collect();
        let mut due: Vec<(usize, usize, i32)> =
            one.stretches.iter().map(|stretch| (stretch.from, stretch.to, stretch.least)).collect();
        linked.sort_unstable();
        due.sort_unstable();
        assert_eq!(linked, due, "{one:?}");
    }
}

/// The grid of one visit.
fn grid_of(list: &DayList, visit: usize) -> Grid {
    let row = &list.visits[visit];
    let planned = plan(list);
    slip_grid(row, list.regimen(row.regimen), &list.unit, &planned.visits[visit]).expect("a cooled visit")
}

/// The columns with their times on plan.
fn columns(grid: &Grid) -> Vec<(What, String)> {
    grid.events.iter().map(|event| (event.what, event.base.to_string())).collect()
}

/// Docetaxel over 60 minutes (van den Hurk et al., Support Care Cancer 2012;20:3255); lead 30,
/// pre-cooling 30, post-cooling 90, warm-up 10, seated 10 (common practice, no source).
fn docetaxel_from_half_past_nine() -> DayList {
    let regimens = vec![regimen("D", 90, vec![hair_loss("docetaxel", 60)])];
    day_list(unit(), regimens, vec![visit(2, "08:30")])
}

#[test]
fn the_columns_of_a_plain_visit_count_back_and_forth_from_the_start_of_the_drug() {
    let found = columns(&grid_of(&docetaxel_from_half_past_nine(), 0));
    let expected = [
        (What::PremedGiven, "09:00"),
        (What::Connect, "09:00"),
        (What::FirstCheck, "09:15"),
        (What::StartDrug(0), "09:30"),
        (What::DrugEnded(0), "10:30"),
        (What::StopCooling, "12:00"),
        (What::CapOff, "12:10"),
        (What::MayLeave, "12:20"),
    ];
    assert_eq!(found, expected.map(|(what, time)| (what, time.to_owned())));
}

// Pertuzumab 60 with observation 60, trastuzumab 90, docetaxel 60 on cycle 1: New Zealand regimen
// 59171000210106.
#[test]
fn drugs_before_the_cap_have_a_column_for_the_first_and_for_each_observation() {
    let mut list = docetaxel_from_half_past_nine();
    let pertuzumab = Step {
        first_minutes: min(60),
        observe: min(30),
        first_observe: min(60),
        ..other_drug("pertuzumab", 30)
    };
    let trastuzumab = Step { first_minutes: min(90), ..other_drug("trastuzumab", 30) };
    list.regimens[0].steps.splice(0..0, [pertuzumab, trastuzumab]);
    list.visits[0].cycle = 1;
    let expected = [
        (What::PremedGiven, "08:40"),
        (What::DrugStarted(0), "09:10"),
        (What::ObservationStarts(0), "10:10"),
        (What::DrugStarted(1), "11:10"),
        (What::Connect, "12:10"),
        (What::FirstCheck, "12:25"),
        (What::StartDrug(2), "12:40"),
        (What::DrugEnded(2), "13:40"),
        (What::StopCooling, "15:10"),
        (What::CapOff, "15:20"),
        (What::MayLeave, "15:30"),
    ];
    assert_eq!(columns(&grid_of(&list, 0)), expected.map(|(what, time)| (what, time.to_owned())));
}

#[test]
fn a_mark_is_the_first_cell_not_before_the_real_time() {
    let grid = grid_of(&docetaxel_from_half_past_nine(), 0);
    let start = place(&grid, What::StartDrug(0));
    let marks = [
        ("08:00", Some(-15)),
        ("09:15", Some(-15)),
        ("09:16", Some(-10)),
        ("09:30", Some(0)),
        ("09:31", Some(5)),
        ("09:35", Some(5)),
        ("11:00", Some(90)),
        ("11:01", None),
    ];
    for (real, slip) in marks {
        assert_eq!(grid.mark(start, at(real)), slip, "{real}");
    }
    assert_eq!(grid.cell(place(&grid, What::StopCooling), 5), at("12:05"));
}

#[test]
fn a_visit_that_is_not_cooled_has_no_grid() {
    let mut list = docetaxel_from_half_past_nine();
    list.visits[0].cooled = false;
    let planned = plan(&list);
    assert_eq!(slip_grid(&list.visits[0], &list.regimens[0], &list.unit, &planned.visits[0]), None);
}

/// The data of a bay's sheet, composed from a verified day.
fn bay_sheet(list: &DayList) -> Value {
    let planned = plan(list);
    let allocation = allocate(list, &planned);
    let cautions = survey(list, &planned, &allocation);
    let day = verify(list.clone(), planned, allocation, cautions).expect("a right day");
    let layouts = Layouts::new(BTreeMap::new()).expect("the project's own layouts");
    let text = std::str::from_utf8(layouts.file("wording/en.toml").expect("English words")).expect("text");
    let words = Words::parse("wording/en.toml", text).expect("right words").of_unit(&list.unit);
    let short = WhenShort { shortfalls: explain(&day), advice: propose(&day) };
    let choices = Choices { paper: Paper::A4, revision: 1 };
    let paperwork =
        compose(&day, &short, &BTreeMap::from([("en".to_owned(), words)]), choices).expect("paperwork");
    let sheet = paperwork.documents.into_iter().find(|document| document.kind == Kind::BaySheet);
    sheet.expect("a bay sheet").data
}

/// The texts of an array.
fn texts(value: &Value) -> Vec<String> {
    let texts = value.as_array().expect("an array").iter();
    texts.map(|text| text.as_str().expect("a text").to_owned()).collect()
}

#[test]
fn the_printed_grid_has_the_cells_that_the_simulated_nurse_is_told() {
    let list = docetaxel_from_half_past_nine();
    let grid = grid_of(&list, 0);
    let sheet = bay_sheet(&list);
    let printed = sheet["strips"][0]["cooling"]["grid"]["lines"].as_array().expect("lines");
    let cells: Vec<Vec<String>> = printed.iter().map(|line| texts(&line["cells"])).collect();
    let line = |slip| (0..grid.events.len()).map(|event| grid.cell(event, slip).to_string()).collect();
    let expected: Vec<Vec<String>> = (-15..=90).step_by(5).map(line).collect();
    assert_eq!(cells, expected);
    // Nothing waits for the first check, so nothing is marked in its column.
    let columns = sheet["strips"][0]["cooling"]["grid"]["columns"].as_array().expect("columns");
    let only_read: Vec<usize> = (0..columns.len()).filter(|&at| columns[at]["only_read"] == true).collect();
    assert_eq!(only_read, [place(&grid, What::FirstCheck)]);
    assert!(grid.links.iter().all(|link| !only_read.contains(&link.from)), "{:?}", grid.links);
    let on_plan: Vec<usize> = (0..printed.len()).filter(|&line| printed[line]["on_plan"] == true).collect();
    assert_eq!(on_plan, [3], "the line of no slip is the heavy one");
}

#[test]
fn past_the_last_line_the_bays_table_goes_on_to_closing_in_steps_of_five_minutes() {
    let mut list = docetaxel_from_half_past_nine();
    // A second length of post-cooling: 20 minutes (trial NCT03266185, Support Care Cancer 2022;30:6641-8).
    list.regimens.push(regimen("P", 20, vec![hair_loss("paclitaxel", 60)]));
    list.visits.push(Visit { regimen: RegimenIndex(1), ..seated_in(visit(3, "09:00"), 0, "A2") });
    list.unit.closes = at("18:02");
    let table = &bay_sheet(&list)["late"];
    let rows = table["rows"].as_array().expect("rows");
    // The longest first: nobody is stopped too early by the column nearest to the time.
    let lengths = [90, 20];
    assert_eq!(table["lengths"].as_array().map(Vec::len), Some(lengths.len()));
    let chairs: Vec<&str> =
        (0..lengths.len()).filter_map(|place| table["lengths"][place]["chairs"].as_str()).collect();
    assert_eq!(chairs, ["A1", "A2"], "each column says whose it is");
    let mut ended = at(rows[0]["ended"].as_str().expect("a time"));
    assert!(ended <= at("12:00"), "the first drug ends 10:30, its grid shows up to 12:00");
    for row in rows {
        assert_eq!(row["ended"], ended.to_string());
        let stop = lengths.map(|length| (ended + min(length)).to_string());
        assert_eq!(texts(&row["stop"]), stop);
        ended = ended.slipped(5);
    }
    assert_eq!(ended, at("18:05"), "the last row before closing is 18:00");
}

#[test]
fn whoever_runs_past_closing_still_finds_a_line_past_the_last_of_the_grid() {
    // The drug ends at 10:30; the unit closes while it runs, and just before the grid ends at 12:00.
    for closes in ["10:00", "11:55"] {
        let mut list = docetaxel_from_half_past_nine();
        list.unit.closes = at(closes);
        let rows = bay_sheet(&list)["late"]["rows"].clone();
        let ended: Vec<Moment> = rows
            .as_array()
            .expect("rows")
            .iter()
            .map(|row| at(row["ended"].as_str().expect("a time")))
            .collect();
        assert!(ended.windows(2).all(|pair| pair[0].slipped(5) == pair[1]), "{ended:?}");
        assert!(ended.contains(&at("12:05")), "closing at {closes}: {ended:?}");
        assert_eq!(ended.last(), Some(&at("13:00")), "an hour past the last line of the grid");
    }
}
