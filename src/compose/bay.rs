//! Bay sheets: the tick list, a strip for each patient, and the table past the grids.

use std::cmp::Reverse;
use std::collections::BTreeSet;

use serde_json::json;

use super::desk::{Desk, document};
use super::page_code::PageCodes;
use super::paperwork::{BaySheet, Document, Kind, LadderStep, LateLength, LateRow, LateTable};
use super::slip_grid::{FIRST_LINE, LAST_LINE, LINE, RULE};
use super::strip::strip;
use super::ticks::{on_other_sheets, ticks};
use crate::clock::{Minutes, Moment};
use crate::problem::Problem;
use crate::unit_rules::BayIndex;
use crate::validate::file_name_part;

/// One sheet a bay in the unit's order, and behind it one for each isolated patient of the bay.
pub(super) fn bay_sheets(desk: &Desk<'_>, codes: &mut PageCodes) -> Result<Vec<Document>, Problem> {
    let mut sheets = Vec::new();
    for (place, bay) in desk.unit.bays.iter().enumerate() {
        let here = (0..desk.list.visits.len()).filter(|&visit| desk.visit(visit).bay == BayIndex(place));
        let (isolated, shared): (Vec<usize>, Vec<usize>) = here.partition(|&visit| desk.visit(visit).isolate);
        let file = format!("bay-{}", file_name_part(&bay.name));
        let title = desk.say("bay.title", &json!({ "bay": bay.name }))?;
        let code = codes.code(&file);
        sheets.push(sheet(desk, code, file.clone(), title, (&shared, &isolated))?);
        for visit in isolated {
            let row = desk.visit(visit);
            let title = desk.say("bay.title_isolated", &json!({ "bay": bay.name, "chair": row.chair }))?;
            // Named after its place, so that nothing of it changes when another's sheet comes or goes.
            let code = codes.code(&format!("{file}|isolated|{}|{}", row.chair, row.arrive));
            let file = format!("{file}-isolated-{code}");
            sheets.push(sheet(desk, code, file, title, (&[visit], &[]))?);
        }
    }
    Ok(sheets)
}

fn sheet(
    desk: &Desk<'_>,
    page_code: String,
    file: String,
    title: String,
    (patients, elsewhere): (&[usize], &[usize]),
) -> Result<Document, Problem> {
    let head = desk.head(title, "bay", page_code)?;
    let sheet = BaySheet {
        elsewhere: on_other_sheets(desk, elsewhere)?,
        ticks: ticks(desk, patients, elsewhere)?,
        strips: patients.iter().map(|&visit| strip(desk, visit)).collect::<Result<Vec<_>, _>>()?,
        late: late_table(desk, patients)?,
        ladder: ladder(desk),
        head,
    };
    document(Kind::BaySheet, file, &sheet.head, &sheet)
}

/// For how many minutes past the last line of every grid the table goes on where the unit closes before that:
/// whoever is sent to it finds a line (our choice, no source).
const PAST_THE_GRIDS: i32 = 60;

/// From the earliest end of a drug that a grid still shows until closing, and past every grid, every five minutes.
fn late_table(desk: &Desk<'_>, patients: &[usize]) -> Result<Option<LateTable>, Problem> {
    let cooled = || patients.iter().filter_map(|&visit| desk.planned(visit).cooling.as_ref());
    // The longest first: nobody is stopped too early by the column nearest to the time.
    let lengths: BTreeSet<Reverse<Minutes>> = cooled().map(|stages| Reverse(stages.post_cooling)).collect();
    let ends = || cooled().map(|stages| stages.hair_loss_drug_end);
    let (Some(earliest), Some(latest)) = (ends().min(), ends().max()) else { return Ok(None) };
    let last = desk.unit.closes.max(latest.slipped(LAST_LINE + PAST_THE_GRIDS));
    let first = earliest.slipped(FIRST_LINE).minutes().div_euclid(LINE) * LINE;
    let row = |minutes: i32| {
        let ended = Moment::from_midnight(minutes);
        LateRow {
            ended: ended.to_string(),
            stop: lengths.iter().map(|Reverse(length)| (ended + *length).to_string()).collect(),
            rule: minutes % RULE == 0,
        }
    };
    let rows = (first..=last.minutes()).step_by(LINE.unsigned_abs() as usize).map(row).collect();
    let lengths = lengths
        .iter()
        .map(|Reverse(length)| {
            let chairs = chairs(desk, patients, *length)?;
            Ok(LateLength { length: desk.words.duration(*length)?, chairs })
        })
        .collect::<Result<Vec<_>, Problem>>()?;
    let with_flush =
        patients.iter().any(|&visit| desk.planned(visit).cooling.is_some() && desk.flush_counts(visit));
    Ok(Some(LateTable { lengths, with_flush, rows }))
}

/// The chairs of the patients with this post-cooling, in the order of their chairs; with the arrival where a
/// chair has two.
fn chairs(desk: &Desk<'_>, patients: &[usize], length: Minutes) -> Result<String, Problem> {
    let of_chair = |chair: &str| patients.iter().filter(|&&visit| desk.visit(visit).chair == chair).count();
    let mut here: Vec<usize> = patients
        .iter()
        .copied()
        .filter(|&visit| {
            desk.planned(visit).cooling.as_ref().is_some_and(|stages| stages.post_cooling == length)
        })
        .collect();
    here.sort_by_key(|&visit| (desk.chair_place(visit), desk.visit(visit).arrive));
    let chair = |&visit: &usize| match desk.visit(visit).chair.as_str() {
        shared if of_chair(shared) > 1 => desk.seat(visit),
        own => Ok(own.to_owned()),
    };
    Ok(here.iter().map(chair).collect::<Result<Vec<_>, _>>()?.join(", "))
}

/// For every minute of the hour in which a break may begin: when to remind, and back by when.
fn ladder(desk: &Desk<'_>) -> Vec<LadderStep> {
    let minutes = &desk.unit.minutes;
    let of_hour = |minute: u32| format!(":{:02}", minute % 60);
    let step = |left: u32| LadderStep {
        left: of_hour(left),
        remind: of_hour(left + minutes.break_reminder.get()),
        back: of_hour(left + minutes.break_longest.get()),
    };
    (0..60).map(step).collect()
}
