//! A patient's strip: all that belongs to one patient, on one face.

use chrono::Days;
use serde_json::json;

use super::desk::Desk;
use super::paperwork::{
    Alert, Banner, CoolingStrip, DrugLine, Fact, Paper, SlipColumn, SlipGrid, SlipLine, StageTime, Strip,
};
use super::slip_grid::{Grid, Promise, RULE, What, slip_grid};
use crate::allocate::OutletHold;
use crate::clock::{Minutes, Moment};
use crate::patient::Hair;
use crate::plan::{CoolingStages, PlannedStep};
use crate::problem::{Place, Problem};
use crate::survey::{Caution, namesakes};
use crate::unit_rules::{Pause, Step};

/// How many breaks the log of a strip holds, and that of a strip with much to say.
const BREAK_LINES: u8 = 3;
const BREAK_LINES_DENSE: u8 = 2;

/// How many patients with a name like this one's the strip names by their chairs; more are counted.
const NAMED_ALIKE: usize = 3;

/// Drugs, boxes for their starts, warnings and heavy lines that a face holds with room to spare, and columns of its
/// grid.
const ROWS_AT_EASE: usize = 3;
const COLUMNS_AT_EASE: usize = 9;

/// Composes a patient's strip.
pub(super) fn strip(desk: &Desk<'_>, visit: usize) -> Result<Strip, Problem> {
    let alerts = alerts(desk, visit)?;
    let steps = steps(desk, visit)?;
    let boxes = steps.iter().filter(|step| step.write).count();
    let cooling = match &desk.planned(visit).cooling {
        Some(stages) => Some(cooling_strip(desk, visit, stages, alerts.len() + boxes)?),
        None => None,
    };
    let order = if cooling.is_some() { "strip.before_cooled" } else { "strip.before" };
    Ok(Strip {
        banner: banner(desk, visit)?,
        alerts,
        facts: facts(desk, visit)?,
        stages: stages(desk, visit)?,
        steps,
        before: desk.words.list(&with_premed(desk, visit, order), &json!({}))?,
        cooling,
    })
}

/// The list of ticks of this name, or the one without pre-medication where the regimen has none: a box that nobody
/// can tick would be still to do for ever.
fn with_premed(desk: &Desk<'_>, visit: usize, list: &str) -> String {
    let has_premed = desk.regimen(visit).premed_lead.get() > 0;
    if has_premed { list.to_owned() } else { format!("{list}_no_premed") }
}

fn banner(desk: &Desk<'_>, visit: usize) -> Result<Banner, Problem> {
    let row = desk.visit(visit);
    let nhs_no = match &row.nhs_no {
        Some(digits) => spaced(digits),
        None => desk.text("common.labels.not_recorded")?,
    };
    Ok(Banner {
        name: row.staff_name(),
        born: desk.words.date("staff_date", row.born)?,
        hospital_no: row.hospital_no.clone(),
        nhs_no,
        chair: row.chair.clone(),
        arrive: row.arrive.to_string(),
    })
}

/// An NHS number in groups of 3, 3 and 4 (NHS Common User Interface, NUM-0001).
fn spaced(digits: &str) -> String {
    let part = |range: std::ops::Range<usize>| digits.get(range).unwrap_or_default();
    format!("{} {} {}", part(0..3), part(3..6), part(6..10))
}

/// What a nurse must know before anything else.
pub(super) fn alerts(desk: &Desk<'_>, visit: usize) -> Result<Vec<Alert>, Problem> {
    let row = desk.visit(visit);
    let mut alerts = Vec::new();
    let mut alert = |kind: &str, text: Option<String>, data: serde_json::Value| -> Result<(), Problem> {
        let word = desk.text(&format!("strip.alerts.{kind}.word"))?;
        let text = text.map_or_else(|| desk.say(&format!("strip.alerts.{kind}.text"), &data), Ok)?;
        alerts.push(Alert { word, text });
        Ok(())
    };
    if row.isolate {
        alert("isolate", None, json!({}))?;
    }
    if let Some(text) = &row.alert {
        alert("alert", Some(text.clone()), json!({}))?;
    }
    if let Some((kind, text)) = alike(desk, visit)? {
        alert(kind, Some(text), json!({}))?;
    }
    for caution in desk.cautions.iter().filter(|caution| caution.visits().contains(&visit)) {
        match caution {
            Caution::OutletShort { .. } => alert("no_outlet", None, json!({}))?,
            Caution::CapShort { .. } => alert("no_cap", None, json!({}))?,
            Caution::GoAheadWaiting { .. } => alert("go_ahead", None, json!({}))?,
            Caution::HairNotRecorded { .. } => alert("hair", None, json!({}))?,
            _ => {}
        }
    }
    Ok(alerts)
}

/// Where those with a name like this patient's sit and when they arrive, in one warning however many they are. The
/// first that are named have the very same name; then come those of the bay.
fn alike(desk: &Desk<'_>, visit: usize) -> Result<Option<(&'static str, String)>, Problem> {
    let of_visit = |caution: &&Caution| {
        matches!(caution, Caution::NamesAlike { .. }) && caution.visits().contains(&visit)
    };
    let Some(caution) = desk.cautions.iter().find(of_visit) else { return Ok(None) };
    let namesakes = namesakes(desk.list, visit);
    let mut others: Vec<usize> = caution.visits().into_iter().filter(|other| *other != visit).collect();
    others.sort_by_key(|other| (!namesakes.contains(other), desk.visit(*other).bay != desk.visit(visit).bay));
    let named = others.iter().take(NAMED_ALIKE).map(|&other| desk.seat(other));
    let mut seats = named.collect::<Result<Vec<_>, _>>()?.join(", ");
    if let Some(more) = others.len().checked_sub(NAMED_ALIKE).filter(|more| *more > 0) {
        seats += " ";
        seats += &desk.say("strip.alerts.alike.more", &json!({ "more": more }))?;
    }
    let kind = if namesakes.is_empty() { "alike" } else { "same_name" };
    let data = json!({ "others": others.len(), "seats": seats, "seat": desk.seat(visit)? });
    Ok(Some((kind, desk.say(&format!("strip.alerts.{kind}.text"), &data)?)))
}

fn facts(desk: &Desk<'_>, visit: usize) -> Result<Vec<Fact>, Problem> {
    let row = desk.visit(visit);
    let mut facts = Vec::new();
    let mut fact = |label: &str, value: String| -> Result<(), Problem> {
        facts.push(Fact { label: desk.text(&format!("strip.facts.{label}"))?, value });
        Ok(())
    };
    fact("regimen", desk.regimen(visit).name.clone())?;
    let cycle = if row.is_first() { "strip.first_visit" } else { "strip.cycle" };
    fact("cycle", desk.say(cycle, &json!({ "cycle": row.cycle }))?)?;
    if row.cooled {
        fact("hair", hair(desk, row.hair)?)?;
        fact("cap", cap(desk, visit)?)?;
        fact("outlet", desk.outlet_or_none(visit)?)?;
    } else {
        fact("cooling", desk.text("strip.not_cooled")?)?;
    }
    if let Some(ready) = row.drugs_ready {
        fact("drugs_ready", ready.to_string())?;
    }
    if let Some(leave_by) = row.leave_by {
        fact("leave_by", leave_by.to_string())?;
    }
    Ok(facts)
}

fn hair(desk: &Desk<'_>, hair: Option<Hair>) -> Result<String, Problem> {
    desk.text(match hair {
        Some(Hair::Fine) => "strip.hair.fine",
        Some(Hair::Medium) => "strip.hair.medium",
        Some(Hair::Thick) => "strip.hair.thick",
        None => "common.labels.not_recorded",
    })
}

/// The cap's size, whose it is, or that one must be fitted.
pub(super) fn cap(desk: &Desk<'_>, visit: usize) -> Result<String, Problem> {
    let row = desk.visit(visit);
    let size = row.cap.map(|size| desk.unit.cap(size).size.clone());
    match (size, row.own_cap) {
        (Some(size), true) => desk.say("strip.caps.own_size", &json!({ "size": size })),
        (None, true) => desk.text("strip.caps.own"),
        (Some(size), false) => Ok(size),
        (None, false) => desk.text("strip.caps.fitting_set"),
    }
}

fn stages(desk: &Desk<'_>, visit: usize) -> Result<Vec<StageTime>, Problem> {
    let planned = desk.planned(visit);
    let mut times = vec![("arrive", planned.arrive)];
    if let Some(stages) = &planned.cooling {
        times.extend([
            ("prepare", stages.prepare),
            ("connect", stages.cooling_on),
            ("start_drug", stages.hair_loss_drug_start),
            ("drug_ended", stages.hair_loss_drug_end),
            ("stop_cooling", stages.cooling_off),
            ("cap_off", stages.cap_off),
        ]);
    }
    times.push(("may_leave", planned.leave));
    let stage = |(label, time): (&str, Moment)| {
        let key = ["connect", "start_drug", "stop_cooling"].contains(&label);
        Ok(StageTime { label: desk.text(&format!("strip.stages.{label}"))?, time: time.to_string(), key })
    };
    times.into_iter().map(stage).collect()
}

fn steps(desk: &Desk<'_>, visit: usize) -> Result<Vec<DrugLine>, Problem> {
    let row = desk.visit(visit);
    let planned = desk.planned(visit);
    let grid = slip_grid(row, desk.regimen(visit), desk.unit, planned);
    let has_column = |place: usize| {
        let starts = [What::StartDrug(place), What::DrugStarted(place)];
        grid.as_ref().is_some_and(|grid| grid.events.iter().any(|event| starts.contains(&event.what)))
    };
    let line = |(place, (step, times)): (usize, (&Step, &PlannedStep))| {
        let duration = |length: Minutes| desk.words.duration(length);
        let mut length = vec![duration(step.infusion(row.is_first()))?];
        if step.flush.get() > 0 {
            length.push(desk.say("strip.flush", &json!({ "length": duration(step.flush)? }))?);
        }
        let observe = step.observation(row.is_first());
        if observe.get() > 0 {
            length.push(desk.say("strip.observe", &json!({ "length": duration(observe)? }))?);
        }
        Ok(DrugLine {
            drug: step.drug.clone(),
            length: length.join(" + "),
            start: times.start.to_string(),
            end: times.end.to_string(),
            free: times.free.to_string(),
            note: note(desk, step, row.is_first())?,
            write: !has_column(place),
        })
    };
    desk.regimen(visit).steps.iter().zip(&planned.steps).enumerate().map(line).collect()
}

fn note(desk: &Desk<'_>, step: &Step, first_visit: bool) -> Result<String, Problem> {
    let first_dose = first_visit && (step.first_minutes, step.first_observe) != (step.minutes, step.observe);
    let notes = [("hair_loss", step.hair_loss), ("push", step.push), ("first_dose", first_dose)];
    let said = notes
        .into_iter()
        .filter(|(_, holds)| *holds)
        .map(|(name, _)| desk.text(&format!("strip.notes.{name}")));
    Ok(said.collect::<Result<Vec<_>, _>>()?.join(", "))
}

fn cooling_strip(
    desk: &Desk<'_>,
    visit: usize,
    stages: &CoolingStages,
    more_rows: usize,
) -> Result<CoolingStrip, Problem> {
    let (row, regimen) = (desk.visit(visit), desk.regimen(visit));
    let planned = desk.planned(visit);
    let grid = slip_grid(row, regimen, desk.unit, planned).ok_or_else(|| no_grid(desk, row.line))?;
    let names: Vec<String> = regimen.steps.iter().map(|step| step.drug.clone()).collect();
    let observed = grid.links.iter().any(|link| link.promise == Promise::Observation);
    let guards = if observed { "strip.guards_observed" } else { "strip.guards" };
    let check = desk.unit.minutes.first_check;
    let grid = paper_grid(desk, &grid, &names, &costs(desk, visit)?, desk.flush_counts(visit))?;
    let heavy_lines = grid.lines.iter().filter(|line| line.cost.is_some()).count();
    let crowded =
        more_rows + names.len() + heavy_lines > ROWS_AT_EASE || grid.columns.len() > COLUMNS_AT_EASE;
    // A page of US Letter is lower by the height of four rows.
    let dense = crowded || desk.paper == Paper::UsLetter;
    Ok(CoolingStrip {
        grid,
        guards: desk.words.list(&with_premed(desk, visit, guards), &json!({}))?,
        first_check: desk.say(
            "strip.first_check",
            &json!({ "time": stages.cooling_on + check, "after": desk.words.duration(check)? }),
        )?,
        cap_sizes: desk.unit.caps.iter().map(|stock| stock.size.clone()).collect(),
        breaks: breaks(desk, visit)?,
        rinse: rinse(desk, stages)?,
        break_lines: if dense { BREAK_LINES_DENSE } else { BREAK_LINES },
        dense,
    })
}

/// When to rinse, without a sum: at the clock time at which cooling really stopped, a day later. Where the unit's
/// hours are others, or the clocks change in between, the plan's time is named: after a late end it is early enough.
fn rinse(desk: &Desk<'_>, stages: &CoolingStages) -> Result<String, Problem> {
    if stages.cooling_off.on(desk.list.day) + Days::new(1) == stages.rinse_by {
        return desk.text("strip.rinse");
    }
    let (day, time) =
        (desk.words.date("staff_day", stages.rinse_by.date())?, stages.rinse_by.format("%H:%M"));
    desk.say("strip.rinse_other", &json!({ "day": day, "time": time.to_string() }))
}

/// A cooled visit without a hair-loss drug; no verified day has one, and no face is printed without
/// its grid.
fn no_grid(desk: &Desk<'_>, line: u32) -> Problem {
    Problem {
        what: "patient is cooled, but the regimen has no hair-loss drug".to_owned(),
        place: Place { file: desk.list.source_name.clone(), line: Some(line), ..Place::default() },
        found: None,
        help: "write `no` under `cooled`, or the right regimen".to_owned(),
    }
}

/// What a slip of more than so many minutes costs others, in words.
type Cost = (i32, String);

/// Whom this visit's slip hits: who waits for the outlet or its machine, transport, closing.
fn costs(desk: &Desk<'_>, visit: usize) -> Result<Vec<Cost>, Problem> {
    let mut costs = Vec::new();
    if let Some(hold) = desk.outlet(visit) {
        for (slack, what, next) in waiting(desk, visit, hold) {
            let data = json!({ "chair": desk.visit(next).chair });
            costs.push((slack, desk.say(&format!("strip.costs.{what}"), &data)?));
        }
    }
    let leave = desk.planned(visit).leave;
    if let Some(leave_by) = desk.visit(visit).leave_by {
        costs.push((leave_by.minutes() - leave.minutes(), desk.text("strip.costs.leave_by")?));
    }
    costs.push((desk.unit.closes.minutes() - leave.minutes(), desk.text("strip.costs.closing")?));
    Ok(costs)
}

/// Who waits for the outlet or its machine, each with the slip that they allow: the outlet's next patient in the
/// bay; on the other outlet, the next one who is out of reach together with this one (clean-down needs no reach);
/// where nobody follows on the outlet before the machine goes to another bay, the first who waits for it there.
fn waiting(desk: &Desk<'_>, visit: usize, hold: OutletHold) -> Vec<(i32, &'static str, usize)> {
    let (unit, row) = (desk.unit, desk.visit(visit));
    let moves = desk.allocation.moves.iter().filter(|change| change.machine == hold.machine);
    let leaves =
        moves.filter(|change| hold.span.until <= change.within.from).min_by_key(|change| change.within);
    let mut later: Vec<(usize, OutletHold)> = desk.allocation.holds_of(hold.machine).collect();
    later.retain(|(other, next)| *other != visit && hold.span.from <= next.span.from);
    later.sort_by_key(|(other, next)| (next.span, *other));
    let before_it_leaves =
        |next: &OutletHold| leaves.is_none_or(|change| next.span.from < change.within.until);
    let slip = |from: Moment, until: Moment| from.minutes() - until.minutes();
    let mut waiting = Vec::new();
    let on_outlet = later.iter().find(|(_, next)| {
        next.number == hold.number && before_it_leaves(next) && hold.span.until <= next.span.from
    });
    let off = hold.span.until - unit.minutes.outlet_clean;
    let out_of_reach = later.iter().find(|(other, next)| {
        let reached = unit.bay(row.bay).reach_together(&row.chair, &desk.visit(*other).chair);
        next.number != hold.number && before_it_leaves(next) && off <= next.span.from && !reached
    });
    let waits = |found: Option<&(usize, OutletHold)>, free: Moment, what| {
        found.map(|(other, next)| (slip(next.span.from, free), what, *other))
    };
    waiting.extend(waits(on_outlet, hold.span.until, "outlet"));
    waiting.extend(waits(out_of_reach, off, "machine"));
    if let (None, Some(change)) = (on_outlet, leaves) {
        let there = later.iter().find(|(_, next)| change.within.until <= next.span.from);
        waiting.extend(waits(there, hold.span.until + unit.minutes.machine_move, "machine"));
    }
    waiting
}

/// A grid as it is printed. `drugs` names the steps; each cost stands above the first line whose slip
/// is more than it allows. Where the flush counts, the drug has ended only with it.
pub(super) fn paper_grid(
    desk: &Desk<'_>,
    grid: &Grid,
    drugs: &[String],
    costs: &[Cost],
    flush_counts: bool,
) -> Result<SlipGrid, Problem> {
    let columns = grid
        .events
        .iter()
        .map(|event| column(desk, event.what, drugs, flush_counts))
        .collect::<Result<Vec<_>, _>>()?;
    let mut lines = Vec::new();
    let mut last_slip = i32::MIN;
    for slip in Grid::slips() {
        let here = |cost: &&Cost| cost.0 < slip && cost.0 >= last_slip;
        let cost: Vec<&str> = costs.iter().filter(here).map(|(_, text)| text.as_str()).collect();
        lines.push(SlipLine {
            label: line_label(desk, slip)?,
            on_plan: slip == 0,
            rule: slip % RULE == 0,
            cells: (0..grid.events.len()).map(|event| grid.cell(event, slip).to_string()).collect(),
            cost: match cost.as_slice() {
                [] => None,
                some => Some(desk.say("strip.costs.line", &json!({ "costs": some.join("; ") }))?),
            },
        });
        last_slip = slip;
    }
    Ok(SlipGrid { columns, lines })
}

fn column(desk: &Desk<'_>, what: What, drugs: &[String], flush_counts: bool) -> Result<SlipColumn, Problem> {
    let (label, step) = match what {
        What::PremedGiven => ("premed_given", None),
        What::DrugStarted(step) => ("drug_started", Some(step)),
        What::ObservationStarts(step) => ("observation_starts", Some(step)),
        What::Connect => ("connect", None),
        What::FirstCheck => ("first_check", None),
        What::StartDrug(step) => ("start_drug", Some(step)),
        What::DrugEnded(step) if flush_counts => ("drug_flush_ended", Some(step)),
        What::DrugEnded(step) => ("drug_ended", Some(step)),
        What::StopCooling => ("stop_cooling", None),
        What::CapOff => ("cap_off", None),
        What::MayLeave => ("may_leave", None),
    };
    let drug = step.and_then(|step| drugs.get(step)).cloned().unwrap_or_default();
    let only_read = what == What::FirstCheck;
    Ok(SlipColumn { label: desk.text(&format!("strip.events.{label}"))?, drug, only_read })
}

fn line_label(desk: &Desk<'_>, slip: i32) -> Result<String, Problem> {
    let data = json!({ "minutes": slip.unsigned_abs() });
    match slip {
        0 => desk.text("strip.on_plan"),
        1.. => desk.say("strip.late", &data),
        _ => desk.say("strip.early", &data),
    }
}

/// How long breaks may be, when there is none, and whom a break stops too.
fn breaks(desk: &Desk<'_>, visit: usize) -> Result<Vec<String>, Problem> {
    let mut said = desk.words.list("strip.breaks", &json!({}))?;
    if desk.regimen(visit).steps.iter().any(|step| step.push) {
        said.push(desk.text("strip.no_break_in_push")?);
    }
    let Some(hold) = desk.outlet(visit) else { return Ok(said) };
    if desk.unit.machine(hold.machine).pause == Pause::Outlet {
        return Ok(said);
    }
    let neighbours = desk
        .allocation
        .holds_of(hold.machine)
        .filter(|(_, other)| other.number != hold.number && other.span.meets(hold.span));
    for (neighbour, _) in neighbours {
        let Some(theirs) = &desk.planned(neighbour).cooling else { continue };
        let data = json!({
            "chair": desk.visit(neighbour).chair,
            "when": desk.words.range(theirs.cooling_on, theirs.hair_loss_drug_start)?,
        });
        said.push(desk.say("strip.break_stops", &data)?);
    }
    Ok(said)
}
