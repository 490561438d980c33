//! The worked slip grid of the front sheet: an invented patient who runs late.

use serde_json::json;

use super::desk::Desk;
use super::paperwork::{GridExample, GridMark};
use super::slip_grid::{Event, Grid, Link, Promise, What};
use super::strip::paper_grid;
use crate::clock::{Minutes, Moment};
use crate::problem::Problem;

/// When the example's drug starts by its plan: ten in the morning.
const START: Moment = Moment::from_midnight(10 * 60);
/// The example's pre-medication lead.
const LEAD: Minutes = Minutes::new(30);
/// The example's drug.
const DRUG: Minutes = Minutes::new(60);
/// How late each of the first events of the story really is: connected, started, ended.
const SLIPS: [(What, i32); 3] = [(What::Connect, 7), (What::StartDrug(0), 12), (What::DrugEnded(0), 18)];

/// The example with its marks and its story.
pub(super) fn example(desk: &Desk<'_>) -> Result<GridExample, Problem> {
    let grid = grid(desk);
    let mut marks = Vec::new();
    let mut steps = Vec::new();
    for (place, (what, late)) in SLIPS.into_iter().enumerate() {
        let Some(column) = grid.events.iter().position(|event| event.what == what) else { continue };
        let real = grid.events[column].base.slipped(late);
        let Some(line) = Grid::slips().position(|slip| grid.cell(column, slip) >= real) else { continue };
        let slip = Grid::slips().nth(line).unwrap_or_default();
        let next = grid.links.iter().find(|link| link.from == column).map_or(column, |link| link.to);
        let check = grid.events.iter().position(|event| event.what == What::FirstCheck).unwrap_or(column);
        steps.push(desk.say(
            &format!("front.example.{place}"),
            &json!({
                "real": real,
                "marked": grid.cell(column, slip),
                "check": grid.cell(check, slip),
                "next": grid.cell(next, slip),
            }),
        )?);
        marks.push(GridMark {
            column,
            line,
            time: real.to_string(),
            initials: desk.text("front.example_initials")?,
        });
    }
    let names = [desk.text("front.example_drug")?];
    Ok(GridExample { steps, grid: paper_grid(desk, &grid, &names, &[], false)?, marks })
}

/// A plain visit by the unit's own minutes: pre-medication, cap, one drug.
fn grid(desk: &Desk<'_>) -> Grid {
    let minutes = &desk.unit.minutes;
    let links = [
        (What::PremedGiven, What::StartDrug(0), LEAD, Promise::PremedLead),
        (What::Connect, What::StartDrug(0), minutes.pre_cooling, Promise::PreCooling),
        (What::StartDrug(0), What::DrugEnded(0), DRUG, Promise::Drugs),
        (What::DrugEnded(0), What::StopCooling, minutes.post_cooling, Promise::PostCooling),
        (What::StopCooling, What::CapOff, minutes.warm_up, Promise::WarmUp),
        (What::CapOff, What::MayLeave, minutes.seated, Promise::Seated),
    ];
    let mut events = vec![
        Event { what: What::PremedGiven, base: START - LEAD },
        Event { what: What::Connect, base: START - minutes.pre_cooling },
        Event { what: What::FirstCheck, base: START - minutes.pre_cooling + minutes.first_check },
        Event { what: What::StartDrug(0), base: START },
    ];
    let place =
        |events: &[Event], what: What| events.iter().position(|event| event.what == what).unwrap_or(0);
    for (from, to, minimum, _) in links.iter().skip(2) {
        let base = events[place(&events, *from)].base + *minimum;
        events.push(Event { what: *to, base });
    }
    let link = |(from, to, minimum, promise): (What, What, Minutes, Promise)| Link {
        from: place(&events, from),
        to: place(&events, to),
        minimum,
        promise,
    };
    let check = (What::Connect, What::FirstCheck, minutes.first_check, Promise::FirstCheck);
    Grid { links: links.into_iter().chain([check]).map(link).collect(), events }
}
