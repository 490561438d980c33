//! `baypack fit`: when one patient more could arrive, as a table. Writes no file and names nobody.

use super::arguments;
use super::outside::{Failure, count, read_inputs};
use super::report::say;
use super::{planned_and_verified, valid_list, with_layouts};
use crate::fit::{BayRoom, Newcomer, Obstacle, Room, fit, is_cooled};
use crate::problem::{Found, Place, Problem};
use crate::read::read;
use crate::unit_rules::{CapSize, RegimenIndex};
use crate::validate::{DayList, nearest};

/// Says how much room there is.
pub(super) fn run(arguments: &arguments::Fit) -> Result<(), Failure> {
    let inputs = read_inputs(&arguments.day)?;
    let raw = read(&inputs.as_inputs());
    let list = with_layouts(&arguments.day.own, |at_hand| valid_list(&arguments.day, &raw, at_hand))?;
    let newcomer = newcomer(arguments, &list)?;
    let day = planned_and_verified(list, arguments.day.effort.into())?;
    let bays = fit(&day, &newcomer, arguments.day.effort.into());
    if !arguments.day.quiet {
        print(day.list(), &newcomer, &bays);
    }
    Ok(())
}

/// Who is asked for, with the unit's own names for regimen and cap.
fn newcomer(arguments: &arguments::Fit, list: &DayList) -> Result<Newcomer, Vec<Problem>> {
    let codes: Vec<&str> = list.regimens.iter().map(|regimen| regimen.code.as_str()).collect();
    let sizes: Vec<&str> = list.unit.caps.iter().map(|cap| cap.size.as_str()).collect();
    let regimen = place_of("--regimen", "regimen does not exist", &arguments.regimen, &codes);
    let cap = arguments.cap.as_deref();
    let cap = cap.map(|cap| place_of("--cap", "size of cap does not exist", cap, &sizes)).transpose();
    match (regimen, cap) {
        (Ok(regimen), Ok(cap)) => Ok(Newcomer {
            regimen: RegimenIndex(regimen),
            hair: arguments.hair.map(Into::into),
            cap: cap.map(CapSize),
            own_cap: arguments.own_cap,
            first_visit: arguments.first_visit,
        }),
        (regimen, cap) => Err(regimen.err().into_iter().chain(cap.err()).collect()),
    }
}

/// The place of a name among the real ones, whatever its case.
fn place_of(option: &str, what: &str, name: &str, names: &[&str]) -> Result<usize, Problem> {
    let found = || match nearest::hint(name, names) {
        Some(hint) => Found::Like { value: name.to_owned(), hint },
        None => Found::Value(name.to_owned()),
    };
    names.iter().position(|known| known.to_lowercase() == name.trim().to_lowercase()).ok_or_else(|| Problem {
        what: what.to_owned(),
        place: Place { file: format!("the command line, {option}"), ..Place::default() },
        found: Some(found()),
        help: nearest::accepted(names),
    })
}

fn print(list: &DayList, newcomer: &Newcomer, bays: &[BayRoom]) {
    let cooled = is_cooled(list, newcomer);
    let code = &list.regimen(newcomer.regimen).code;
    say!("{}: room for one patient more, {code}, {}cooled", list.day, if cooled { "" } else { "not " });
    let width = |texts: &mut dyn Iterator<Item = &str>| texts.map(|text| text.chars().count()).max();
    let bay_width = width(&mut list.unit.bays.iter().map(|bay| bay.name.as_str())).unwrap_or(0).max(3);
    let rooms = || bays.iter().flat_map(|bay| &bay.room);
    let chair_width = width(&mut rooms().map(|room| room.chair.as_str())).unwrap_or(0).max(5);
    if rooms().next().is_some() {
        let (bay, chair) = ("bay", "chair");
        say!("{bay:bay_width$}  arrive from  to     {chair:chair_width$}  connected  leaves by");
    }
    for bay in bays {
        let name = &list.unit.bay(bay.bay).name;
        for room in &bay.room {
            let Room { from, to, chair, leave, needs_move, .. } = room;
            let connected = room.connected.map_or_else(|| "-".to_owned(), |at| at.to_string());
            let note = if *needs_move { "  one machine move more" } else { "" };
            let (from, to, leave) = (from.to_string(), to.to_string(), leave.to_string());
            say!("{name:bay_width$}  {from:11}  {to:5}  {chair:chair_width$}  {connected:9}  {leave}{note}");
        }
        if bay.room.is_empty() {
            say!("{name:bay_width$}  no room: {}", obstacles(bay));
        }
    }
    print_notes(list, newcomer, bays, cooled);
}

/// What the table leaves open.
fn print_notes(list: &DayList, newcomer: &Newcomer, bays: &[BayRoom], cooled: bool) {
    if cooled && newcomer.cap.is_none() && !newcomer.own_cap {
        say!("Without --cap, caps are not counted.");
    }
    if cooled && newcomer.hair.is_none() {
        say!("Without --hair, the longer pre-cooling is planned.");
    }
    if !list.held_back.is_empty() {
        say!("{} held back: they take no chair and no outlet here.", count(list.held_back.len(), "row"));
    }
    let not_tried: u32 = bays.iter().filter_map(|bay| bay.obstacles.get(&Obstacle::NotTried)).sum();
    if not_tried > 0 {
        say!("{} not looked into: there may be more room.", count(not_tried as usize, "arrival time"));
    }
    if bays.iter().all(|bay| bay.room.is_empty()) {
        say!("No time fits. Try another day, or ask the nurse in charge.");
        return;
    }
    say!("Each line is for one patient more, not for two. Nothing is booked; the nurse in charge decides.");
    say!("When it is agreed, add the patient's row to the day list and run `baypack make` again.");
}

/// `no chair (40 arrival times), nurses (12)`, the commonest first.
fn obstacles(bay: &BayRoom) -> String {
    let mut counted: Vec<(Obstacle, u32)> = bay.obstacles.iter().map(|(one, times)| (*one, *times)).collect();
    counted.sort_by_key(|&(obstacle, times)| (std::cmp::Reverse(times), obstacle));
    let texts = counted.iter().enumerate().map(|(place, &(obstacle, times))| {
        let word = match obstacle {
            Obstacle::Closing => "closing",
            Obstacle::NoChair => "no chair",
            Obstacle::Nurses => "nurses",
            Obstacle::NoCap => "no cap",
            Obstacle::NoOutlet => "no outlet",
            Obstacle::NotTried => "not looked into",
        };
        let times = if place == 0 { count(times as usize, "arrival time") } else { times.to_string() };
        format!("{word} ({times})")
    });
    texts.collect::<Vec<_>>().join(", ")
}
