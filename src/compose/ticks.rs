//! The bay's day in time order: what is done when, to whom, and who is where at a change of shift.

use std::collections::BTreeMap;

use serde_json::json;

use super::desk::Desk;
use super::paperwork::{HandOverRow, TickLine};
use super::strip::alerts;
use crate::clock::Moment;
use crate::patient::Visit;
use crate::plan::CoolingStages;
use crate::problem::Problem;
use crate::unit_rules::Shift;

/// One thing to do, before it is put into words.
pub(super) struct Task {
    at: Moment,
    visit: usize,
    /// The name of its words: `ticks.<name>`.
    name: &'static str,
    /// The drug it is about.
    drug: Option<usize>,
    /// Whether nobody may miss it.
    key: bool,
}

/// The tick list of the given patients, with the hand-over lines between. `elsewhere` are those of the bay who
/// have a sheet of their own.
pub(super) fn ticks(
    desk: &Desk<'_>,
    patients: &[usize],
    elsewhere: &[usize],
) -> Result<Vec<TickLine>, Problem> {
    let mut tasks: Vec<Task> = patients.iter().flat_map(|&visit| tasks(desk, visit)).collect();
    tasks.sort_by_key(|task| (task.at, desk.chair_place(task.visit), task.visit));
    let mut lines = Vec::new();
    let mut changes = shift_changes(desk).into_iter().peekable();
    for task in &tasks {
        while let Some((at, title)) = changes.next_if(|(at, _)| *at <= task.at) {
            lines.push(hand_over(desk, (patients, elsewhere), &tasks, at, title)?);
        }
        lines.push(event(desk, task)?);
    }
    Ok(lines)
}

/// Everything that is done for one patient, in order.
fn tasks(desk: &Desk<'_>, visit: usize) -> Vec<Task> {
    let planned = desk.planned(visit);
    let task = |at, name, drug, key| Task { at, visit, name, drug, key };
    let mut tasks = vec![task(planned.arrive, "arrive", None, false)];
    if desk.regimen(visit).premed_lead.get() > 0 {
        tasks.push(task(planned.premed, "premed", None, false));
    }
    let mut leave = "leave";
    match &planned.cooling {
        Some(stages) if desk.outlet(visit).is_some() => {
            let ended = if desk.flush_counts(visit) { "post_cooling_flush" } else { "post_cooling" };
            tasks.extend([
                task(stages.prepare, "prepare", None, false),
                task(stages.cooling_on, "connect", None, true),
                task(stages.cooling_on + desk.unit.minutes.first_check, "first_check", None, false),
                task(stages.hair_loss_drug_end, ended, None, false),
                task(stages.cooling_off, "stop_cooling", None, true),
                task(stages.cap_off, "cap_off", None, false),
            ]);
        }
        // Without an outlet or a cap the hair stays dry until somebody has decided. There is nothing to connect
        // and nothing to stop: a box that stays empty would say that it is still to do. If they find one, the
        // strip has the times.
        Some(stages) => {
            leave = "leave_without";
            tasks.push(task(stages.prepare, "prepare_without", None, true));
        }
        None => {}
    }
    // At one minute the flush of a drug has ended before the next drug is started.
    let first = desk.regimen(visit).first_hair_loss().filter(|_| planned.cooling.is_some());
    let drugs = desk.regimen(visit).steps.iter().zip(&planned.steps).enumerate();
    for (place, (step, times)) in drugs {
        let name = if step.cytotoxic { "start_cytotoxic_drug" } else { "start_drug" };
        tasks.push(task(times.start, name, Some(place), first == Some(place)));
    }
    tasks.push(task(planned.leave, leave, None, false));
    tasks.sort_by_key(|task| task.at);
    tasks
}

fn event(desk: &Desk<'_>, task: &Task) -> Result<TickLine, Problem> {
    let row = desk.visit(task.visit);
    Ok(TickLine::Event {
        time: task.at.to_string(),
        chair: row.chair.clone(),
        name: row.staff_name(),
        // Name and number are the two identifiers; with the date of birth a line would not be one.
        identity: row.hospital_no.clone(),
        what: what(desk, task)?,
        detail: detail(desk, task)?,
        key: task.key,
    })
}

fn what(desk: &Desk<'_>, task: &Task) -> Result<String, Problem> {
    let drug = task.drug.map(|step| desk.regimen(task.visit).steps[step].drug.as_str());
    desk.say(&format!("ticks.{}", task.name), &json!({ "drug": drug }))
}

/// The outlet where the cap is connected, the cap where it is fitted, and that an alert stands on the
/// strip.
fn detail(desk: &Desk<'_>, task: &Task) -> Result<String, Problem> {
    let row = desk.visit(task.visit);
    match task.name {
        "arrive" if !alerts(desk, task.visit)?.is_empty() => desk.text("ticks.see_alert"),
        "premed" => premed_detail(desk, task.visit),
        "start_drug" | "start_cytotoxic_drug" if desk.is_alike(task.visit) => desk.text("ticks.see_alert"),
        "prepare" if desk.is_warned(task.visit, BEFORE_THE_CAP) => {
            let parts = [fitted_cap(desk, row)?, desk.text("ticks.see_alert")?];
            Ok(parts.join(", "))
        }
        "prepare" => fitted_cap(desk, row),
        "prepare_without" => desk.text("ticks.see_alert"),
        "connect" | "stop_cooling" => desk.outlet_or_none(task.visit),
        "leave" | "leave_without" => match row.leave_by {
            Some(leave_by) => desk.say("ticks.leave_by", &json!({ "time": leave_by })),
            None => Ok(String::new()),
        },
        _ => Ok(String::new()),
    }
}

/// What to be sure of before the pre-medication: the go-ahead, and that drugs that come late are coming.
fn premed_detail(desk: &Desk<'_>, visit: usize) -> Result<String, Problem> {
    let mut parts = Vec::new();
    if let Some(ready) = desk.visit(visit).drugs_ready.filter(|ready| *ready > desk.planned(visit).premed) {
        parts.push(desk.say("ticks.drugs_ready", &json!({ "time": ready }))?);
    }
    if desk.is_warned(visit, WAITING) {
        parts.push(desk.text("ticks.see_alert")?);
    }
    Ok(parts.join(", "))
}

/// The cap that is fitted.
fn fitted_cap(desk: &Desk<'_>, row: &Visit) -> Result<String, Problem> {
    match row.cap.map(|size| &desk.unit.cap(size).size) {
        _ if row.own_cap => desk.text("ticks.own_cap"),
        Some(size) => desk.say("ticks.cap", &json!({ "size": size })),
        None => desk.text("ticks.fitting_set"),
    }
}

/// Cautions that hold up the pre-medication.
const WAITING: &[&str] = &["go_ahead_waiting"];
/// Cautions that are to be looked at before a cap is fitted.
const BEFORE_THE_CAP: &[&str] = &["go_ahead_waiting", "hair_not_recorded"];

/// The changes of shift of the day, by time, each with its title.
///
/// Who leaves hands over to the shift that is there at that time and came last, or else to the next that comes. It
/// is done when that one comes: but where it came before, or has taken over from a shift that ends sooner, when
/// who leaves does. Shifts side by side so hand over to nobody who begins with them.
fn shift_changes(desk: &Desk<'_>) -> Vec<(Moment, String)> {
    let shifts = &desk.unit.shifts;
    let mut changes: BTreeMap<(Moment, Moment), Vec<&Shift>> = BTreeMap::new();
    for leaving in shifts {
        let Some(comes) = next_after(shifts, leaving) else { continue };
        let rivals = shifts.iter().filter(|other| {
            next_after(shifts, other) == Some(comes) && other.from < comes && other.to < leaving.to
        });
        let at = if leaving.from < comes && rivals.count() == 0 { comes } else { leaving.to };
        changes.entry((at, comes)).or_default().push(leaving);
    }
    let names = |shifts: &mut dyn Iterator<Item = &Shift>| {
        shifts.map(|shift| shift.name.as_str()).collect::<Vec<_>>().join(", ")
    };
    let title = |((at, comes), leaving): (&(Moment, Moment), &Vec<&Shift>)| {
        let stays = |shift: &&Shift| shift.from == *comes && shift.to > *at;
        let (before, after) = (names(&mut leaving.iter().copied()), names(&mut shifts.iter().filter(stays)));
        (*at, format!("{before} → {after}"))
    };
    changes.iter().map(title).collect()
}

/// When the shift began, or begins, to which `leaving` hands over; none if nobody is left.
fn next_after(shifts: &[Shift], leaving: &Shift) -> Option<Moment> {
    let stays = shifts.iter().filter(|shift| shift.from <= leaving.to && leaving.to < shift.to);
    let comes = shifts.iter().filter(|shift| shift.from > leaving.to).map(|shift| shift.from).min();
    stays.map(|shift| shift.from).max().or(comes)
}

fn hand_over(
    desk: &Desk<'_>,
    (patients, elsewhere): (&[usize], &[usize]),
    tasks: &[Task],
    at: Moment,
    shifts: String,
) -> Result<TickLine, Problem> {
    let here = |visit: &usize| desk.planned(*visit).arrive <= at && at < desk.planned(*visit).leave;
    let row = |visit: usize| {
        let next = match tasks.iter().find(|task| task.visit == visit && task.at >= at) {
            Some(task) => desk.say("ticks.next", &json!({ "what": what(desk, task)?, "time": task.at }))?,
            None => String::new(),
        };
        let mut stage = stage(desk, visit, at)?;
        if !alerts(desk, visit)?.is_empty() {
            stage = [stage, desk.text("ticks.see_alert")?].join(", ");
        }
        Ok(HandOverRow { patient: desk.patient_line(visit)?, stage, next })
    };
    let away: Vec<usize> = elsewhere.iter().copied().filter(here).collect();
    Ok(TickLine::HandOver {
        time: at.to_string(),
        title: desk.say("ticks.hand_over", &json!({ "shifts": shifts }))?,
        rows: patients.iter().copied().filter(here).map(row).collect::<Result<Vec<_>, _>>()?,
        elsewhere: on_other_sheets(desk, &away)?,
    })
}

/// That these patients of the bay stand on sheets of their own: by chair and arrival, since no other sheet names
/// them. Empty where there are none.
pub(super) fn on_other_sheets(desk: &Desk<'_>, patients: &[usize]) -> Result<String, Problem> {
    if patients.is_empty() {
        return Ok(String::new());
    }
    let seats = patients.iter().map(|&visit| desk.seat(visit)).collect::<Result<Vec<_>, _>>()?;
    desk.say("ticks.elsewhere", &json!({ "seats": seats.join(", ") }))
}

/// The stage at which a patient is by the plan. What is due at that very minute is still to do: it
/// stands beside as the next thing.
fn stage(desk: &Desk<'_>, visit: usize, at: Moment) -> Result<String, Problem> {
    let planned = desk.planned(visit);
    let name = match &planned.cooling {
        Some(stages) if at > stages.prepare && desk.outlet(visit).is_none() => "without",
        Some(stages) => cooled_stage(stages, at),
        None if planned.steps.first().is_some_and(|step| at <= step.start) => "waiting",
        None => "drugs",
    };
    desk.text(&format!("stages.{name}"))
}

fn cooled_stage(stages: &CoolingStages, at: Moment) -> &'static str {
    let until = [
        (stages.prepare, "before_cap"),
        (stages.cooling_on, "preparing"),
        (stages.hair_loss_drug_start, "pre_cooling"),
        (stages.hair_loss_drug_end, "drugs_cooled"),
        (stages.cooling_off, "post_cooling"),
        (stages.cap_off, "warming"),
    ];
    until.into_iter().find(|(end, _)| at <= *end).map_or("seated", |(_, name)| name)
}
