//! The front sheet: what somebody must act on, who, and by when.

use serde_json::{Value, json};

use super::desk::{Desk, document};
use super::example::example;
use super::page_code::PageCodes;
use super::paperwork::{CountLine, Document, FrontRow, FrontSection, FrontSheet, Kind, PatientLine};
use super::proposal::{proposal, why};
use crate::allocate::Move;
use crate::clock::{Moment, Span};
use crate::problem::Problem;
use crate::propose::Advice;
use crate::read::Delimiter;
use crate::survey::Caution;
use crate::validate::{CellFault, Note, RowFaultKind, UnreadColumns};

/// The sections in the order of the sheet, each with the kinds of caution that stand in it.
const SECTIONS: [(&str, &[&str]); 8] = [
    ("missing", &["held_back", "other_days"]),
    ("names", &["names_alike"]),
    ("outlets", &["outlet_short", "cap_short"]),
    ("go_ahead", &["go_ahead_waiting", "go_ahead_not_recorded"]),
    ("isolation", &["isolated"]),
    ("closing", &["closing_passed"]),
    ("ring", &["leave_by_missed", "drugs_late"]),
    (
        "other",
        &[
            "chair_double_booked",
            "before_opening",
            "nurses_short",
            "hair_not_recorded",
            "cap_not_recorded",
            "card_language",
            "machine_before_opening",
            "machine_moves",
            "hand_over_tight",
            "alert",
        ],
    ),
];

/// The kinds that the sheet names in one row for all, because each stands on its own sheet too.
const GROUPED: [&str; 4] = ["nurses_short", "hand_over_tight", "alert", "hair_not_recorded"];

/// How many names or stretches of lines a note names.
const NAMED_AT_MOST: usize = 12;

/// Composes the front sheet.
pub(super) fn front_sheet(desk: &Desk<'_>, codes: &mut PageCodes) -> Result<Document, Problem> {
    let head = desk.head(desk.text("front.title")?, "front", codes.code("front"))?;
    let section = |(name, kinds): (&str, &[&str])| section(desk, name, kinds);
    let mut sections = SECTIONS.into_iter().map(section).collect::<Result<Vec<_>, _>>()?;
    for section in &mut sections {
        section
            .rows
            .sort_by(|one, other| (one.by.is_empty(), &one.by).cmp(&(other.by.is_empty(), &other.by)));
    }
    let sheet =
        FrontSheet { counts: counts(desk)?, sections, notes: notes(desk)?, example: example(desk)?, head };
    document(Kind::FrontSheet, "front-sheet".to_owned(), &sheet.head, &sheet)
}

fn section(desk: &Desk<'_>, name: &str, kinds: &[&str]) -> Result<FrontSection, Problem> {
    let mut rows = Vec::new();
    for kind in kinds {
        let of_kind = || desk.cautions.iter().filter(|caution| caution.kind() == *kind);
        if GROUPED.contains(kind) {
            rows.extend(grouped(desk, kind, &of_kind().collect::<Vec<_>>())?);
        } else {
            rows.extend(of_kind().map(|caution| row(desk, caution)).collect::<Result<Vec<_>, _>>()?);
        }
    }
    if name == "closing" {
        rows.extend(last_out(desk)?);
    }
    Ok(FrontSection {
        title: desk.text(&format!("front.sections.{name}.title"))?,
        none: desk.text(
            match (name, desk.advice) {
                ("ring", Advice::Retime(_)) => "front.sections.ring.proposal".to_owned(),
                _ => format!("front.sections.{name}.none"),
            }
            .as_str(),
        )?,
        rows,
        proposal: if name == "outlets" { proposal(desk)? } else { None },
    })
}

/// One caution as a row: its patients, what to do, who acts, by when.
fn row(desk: &Desk<'_>, caution: &Caution) -> Result<FrontRow, Problem> {
    let kind = caution.kind();
    Ok(FrontRow {
        patients: patients(desk, caution)?,
        text: match caution {
            // Where each sits stands with the names.
            Caution::NamesAlike { .. } => desk.say("cautions.names_alike.short", &facts(desk, caution)?)?,
            _ => sentence(desk, caution)?,
        },
        why: match caution {
            Caution::OutletShort { visit } | Caution::CapShort { visit } => why(desk, *visit)?,
            _ => String::new(),
        },
        who: desk.text(&format!("cautions.{kind}.who"))?,
        by: by(desk, caution),
    })
}

/// All cautions of a kind as one row.
fn grouped(desk: &Desk<'_>, kind: &str, cautions: &[&Caution]) -> Result<Option<FrontRow>, Problem> {
    if cautions.is_empty() {
        return Ok(None);
    }
    let short = |caution: &&Caution| desk.say(&format!("cautions.{kind}.short"), &facts(desk, caution)?);
    let items = cautions.iter().map(short).collect::<Result<Vec<_>, _>>()?.join(", ");
    let by = cautions.iter().map(|caution| by(desk, caution)).filter(|by| !by.is_empty()).min();
    Ok(Some(FrontRow {
        patients: Vec::new(),
        why: String::new(),
        text: desk
            .say(&format!("cautions.{kind}.all"), &json!({ "items": items, "count": cautions.len() }))?,
        who: desk.text(&format!("cautions.{kind}.who"))?,
        by: by.unwrap_or_default(),
    }))
}

/// How the list was read, and whether the words are checked: nobody need act before the day starts.
fn notes(desk: &Desk<'_>) -> Result<Vec<String>, Problem> {
    let mut notes = Vec::new();
    for note in &desk.list.notes {
        notes.extend(how_read(desk, note)?);
    }
    if !desk.words.is_checked() {
        notes.push(desk.text("cautions.wording_unchecked.text")?);
    }
    if !desk.unchecked.is_empty() {
        let languages = json!({ "languages": desk.unchecked.join(", ") });
        notes.push(desk.say("cautions.wording_unchecked.cards", &languages)?);
    }
    Ok(notes)
}

/// A note on how the list was read, in the unit's words.
fn how_read(desk: &Desk<'_>, note: &Note) -> Result<Vec<String>, Problem> {
    let on = |key: &str, lines: &[u32]| desk.say(key, &json!({ "lines": lines_in_brief(lines) }));
    let text = match note {
        Note::Windows1252 => desk.text("front.read.encoding")?,
        // Commas are what everybody expects.
        Note::Delimiter(Delimiter::Comma) => return Ok(Vec::new()),
        Note::Delimiter(Delimiter::Semicolon) => desk.text("front.read.semicolons")?,
        Note::Delimiter(Delimiter::Tab) => desk.text("front.read.tabs")?,
        Note::Unread(columns) => return unread(desk, columns),
        Note::RepeatedHeader(lines) => on("front.read.repeated_header", lines)?,
        Note::LostLetters(lines) => on("front.read.lost_letters", lines)?,
        Note::NamesExchanged(lines) => on("front.read.names_exchanged", lines)?,
        Note::LongBeforeOpening(lines, _) => on("front.read.long_before_opening", lines)?,
    };
    Ok(vec![text])
}

/// Columns that are not read: by name where it can be printed, by number otherwise.
fn unread(desk: &Desk<'_>, columns: &UnreadColumns) -> Result<Vec<String>, Problem> {
    let (named, other): (Vec<_>, Vec<_>) = columns.named.iter().partition(|column| column.prints);
    let mut sentences = Vec::new();
    if !named.is_empty() {
        let names = cut(named.iter().map(|column| format!("“{}”", column.name)).collect());
        sentences.push(desk.say("front.read.unread", &json!({ "names": names }))?);
    }
    for column in named {
        let Some(meant) = &column.meant else { continue };
        let data = json!({ "name": column.name, "meant": meant });
        sentences.push(desk.say("front.read.meant", &data)?);
    }
    let mut numbers: Vec<usize> = other.iter().map(|column| column.number).collect();
    numbers.extend(&columns.nameless);
    numbers.sort_unstable();
    if !numbers.is_empty() {
        let numbers = cut(numbers.iter().map(ToString::to_string).collect());
        sentences.push(desk.say("front.read.unread_numbers", &json!({ "numbers": numbers }))?);
    }
    Ok(sentences)
}

/// Lines without a word: `2–4, 9`.
fn lines_in_brief(lines: &[u32]) -> String {
    let mut sorted = lines.to_vec();
    sorted.sort_unstable();
    sorted.dedup();
    let follows = |one: &u32, next: &u32| *one + 1 == *next;
    let runs = sorted.chunk_by(follows).map(|run| match run {
        [only] => only.to_string(),
        [first, .., last] => format!("{first}–{last}"),
        [] => String::new(),
    });
    cut(runs.collect())
}

/// The first of many, with commas between them.
fn cut(mut parts: Vec<String>) -> String {
    if parts.len() > NAMED_AT_MOST {
        parts.truncate(NAMED_AT_MOST);
        parts.push("…".to_owned());
    }
    parts.join(", ")
}

/// Who is the last to leave, against closing: always there.
fn last_out(desk: &Desk<'_>) -> Result<Option<FrontRow>, Problem> {
    let Some(last) = (0..desk.plan.visits.len()).max_by_key(|&visit| desk.planned(visit).leave) else {
        return Ok(None);
    };
    let data = json!({ "leave": desk.planned(last).leave, "closes": desk.unit.closes });
    Ok(Some(FrontRow {
        patients: vec![desk.patient_line(last)?],
        text: desk.say("front.last_out", &data)?,
        why: String::new(),
        who: desk.text("front.last_out_who")?,
        by: desk.unit.closes.to_string(),
    }))
}

fn patients(desk: &Desk<'_>, caution: &Caution) -> Result<Vec<PatientLine>, Problem> {
    match caution {
        Caution::HeldBack { row } => {
            let held = &desk.list.held_back[*row];
            let not_recorded = desk.text("common.labels.not_recorded")?;
            Ok(vec![PatientLine {
                name: held.name.clone().unwrap_or_else(|| not_recorded.clone()),
                identity: String::new(),
                chair: held.place.clone().unwrap_or(not_recorded),
            }])
        }
        Caution::GoAheadNotRecorded { .. } => Ok(Vec::new()),
        Caution::NamesAlike { visits } => visits
            .iter()
            .map(|&visit| Ok(PatientLine { chair: desk.seat(visit)?, ..desk.patient_line(visit)? }))
            .collect(),
        _ => caution.visits().into_iter().map(|visit| desk.patient_line(visit)).collect(),
    }
}

/// The sentence of a caution; it names chairs and times, never a patient.
pub(super) fn sentence(desk: &Desk<'_>, caution: &Caution) -> Result<String, Problem> {
    let kind = caution.kind();
    let variant = match caution {
        Caution::DrugsLate { needed_by: None, .. } => "never",
        _ => "text",
    };
    desk.say(&format!("cautions.{kind}.{variant}"), &facts(desk, caution)?)
}

/// What a caution's sentence may say.
fn facts(desk: &Desk<'_>, caution: &Caution) -> Result<Value, Problem> {
    let visits = caution.visits();
    let chairs: Vec<&str> = visits.iter().map(|&visit| desk.visit(visit).chair.as_str()).collect();
    let seats = visits.iter().map(|&visit| desk.seat(visit)).collect::<Result<Vec<_>, _>>()?;
    let mut data = json!({
        "chair": chairs.first(),
        "other_chair": chairs.get(1),
        "seat": seats.first(),
        "seats": seats.join(", "),
        "count": chairs.len(),
        "opens": desk.unit.opens,
        "closes": desk.unit.closes,
    });
    let more = match caution {
        Caution::HeldBack { row } => held_back(desk, *row)?,
        Caution::CardLanguage { .. } => json!({ "language": desk.text("meta.name")? }),
        Caution::OtherDays { rows } => json!({ "rows": rows }),
        Caution::OutletShort { visit } | Caution::CapShort { visit } => no_outlet(desk, *visit)?,
        Caution::BeforeOpening { visit } => json!({ "arrive": desk.visit(*visit).arrive }),
        Caution::ClosingPassed { leave, .. } => json!({ "leave": leave }),
        Caution::LeaveByMissed { leave, leave_by, .. } => json!({ "leave": leave, "leave_by": leave_by }),
        Caution::DrugsLate { ready, needed_by, visit } => {
            json!({ "ready": ready, "needed_by": needed_by, "leave": desk.planned(*visit).leave })
        }
        Caution::ChairDoubleBooked { both, .. } => json!({ "when": range(desk, *both)? }),
        Caution::NursesShort { bay, when, needed, nurses } => {
            json!({ "bay": desk.bay_name(*bay), "when": range(desk, *when)?, "needed": needed, "nurses": nurses })
        }
        Caution::MachineBeforeOpening { machine, switch_on } => {
            json!({ "machine": desk.unit.machine(*machine).name, "switch_on": switch_on })
        }
        Caution::HandOverTight { from, slack, .. } => {
            let outlet = desk.outlet_or_none(*from)?;
            json!({ "outlet": outlet, "slack": desk.words.duration(*slack)? })
        }
        Caution::MachineMoves { machine, from, to, .. } => {
            let name = &desk.unit.machine(*machine).name;
            let by = in_place_by(desk, caution);
            json!({ "machine": name, "from": desk.bay_name(*from), "to": desk.bay_name(*to), "by": by })
        }
        _ => json!({}),
    };
    if let (Value::Object(all), Value::Object(more)) = (&mut data, more) {
        all.extend(more);
    }
    Ok(data)
}

fn range(desk: &Desk<'_>, span: Span) -> Result<String, Problem> {
    desk.words.range(span.from, span.until)
}

/// By when a machine that moves is in place, as the machine sheet says it.
fn in_place_by(desk: &Desk<'_>, caution: &Caution) -> Option<Moment> {
    let Caution::MachineMoves { machine, within, .. } = caution else { return None };
    let is_it = |change: &&Move| change.machine == *machine && change.within == *within;
    desk.allocation.moves.iter().find(is_it).map(|change| desk.in_place_by(change))
}

fn held_back(desk: &Desk<'_>, row: usize) -> Result<Value, Problem> {
    let held = &desk.list.held_back[row];
    let faults = held.faults.iter().map(|fault| row_fault(desk, &fault.kind));
    let faults = faults.collect::<Result<Vec<_>, _>>()?;
    Ok(json!({ "line": held.line, "faults": faults.join("; ") }))
}

/// A fault of a row in the unit's words.
fn row_fault(desk: &Desk<'_>, kind: &RowFaultKind) -> Result<String, Problem> {
    let data = match kind {
        RowFaultKind::Cells | RowFaultKind::MostMissing => json!({}),
        RowFaultKind::Cell(column, CellFault::Exchanged(other)) => {
            json!({ "column": column, "other": other })
        }
        RowFaultKind::Cell(column, CellFault::Twice(line)) => json!({ "column": column, "other": line }),
        RowFaultKind::Cell(column, _) => json!({ "column": column }),
    };
    desk.say(&format!("front.faults.{}", kind.name()), &data)
}

fn no_outlet(desk: &Desk<'_>, visit: usize) -> Result<Value, Problem> {
    let Some(stages) = &desk.planned(visit).cooling else { return Ok(json!({})) };
    let hold = stages.outlet_hold(desk.unit);
    let size = desk.visit(visit).cap.map(|size| desk.unit.cap(size).size.clone());
    Ok(json!({ "when": range(desk, hold)?, "size": size, "bay": desk.bay_name(desk.visit(visit).bay) }))
}

/// By when somebody must act; empty where any time before the first patient will do.
fn by(desk: &Desk<'_>, caution: &Caution) -> String {
    let arrive = |visit: &usize| desk.visit(*visit).arrive;
    let prepare =
        |visit: &usize| desk.planned(*visit).cooling.as_ref().map_or(arrive(visit), |stages| stages.prepare);
    let start = |visit: &usize| prepare(visit).min(desk.planned(*visit).premed);
    let by: Option<Moment> = match caution {
        Caution::HeldBack { row } => return desk.list.held_back[*row].arrive.clone().unwrap_or_default(),
        Caution::OtherDays { .. } => None,
        Caution::NamesAlike { visits } => visits.iter().map(arrive).min(),
        Caution::OutletShort { visit }
        | Caution::CapShort { visit }
        | Caution::HairNotRecorded { visit }
        | Caution::CapNotRecorded { visit } => Some(prepare(visit)),
        Caution::GoAheadWaiting { visit } => Some(start(visit)),
        Caution::GoAheadNotRecorded { visits } => visits.iter().map(start).min(),
        // These are agreed by telephone before anybody sets out.
        Caution::ClosingPassed { visit, .. } | Caution::DrugsLate { visit, .. } => {
            Some(desk.unit.opens.min(arrive(visit)))
        }
        Caution::Isolated { visit }
        | Caution::BeforeOpening { visit }
        | Caution::LeaveByMissed { visit, .. }
        | Caution::Alert { visit } => Some(arrive(visit)),
        Caution::CardLanguage { visit } => Some(desk.planned(*visit).leave),
        Caution::ChairDoubleBooked { both, .. } => Some(both.from),
        Caution::NursesShort { when, .. } => Some(when.from),
        Caution::MachineBeforeOpening { switch_on, .. } => Some(*switch_on),
        Caution::HandOverTight { to, .. } => Some(prepare(to)),
        Caution::MachineMoves { .. } => in_place_by(desk, caution),
    };
    by.map(|moment| moment.to_string()).unwrap_or_default()
}

/// What the clerk counts when sorting the paper: a bay's number is that of the patients on its sheet.
fn counts(desk: &Desk<'_>) -> Result<Vec<CountLine>, Problem> {
    let mut counts = Vec::new();
    let mut count =
        |label: String, number: usize| counts.push(CountLine { label, value: number.to_string() });
    let visits = &desk.list.visits;
    count(desk.text("front.counts.rows")?, visits.len() + desk.list.held_back.len());
    for (place, bay) in desk.unit.bays.iter().enumerate() {
        let here = visits.iter().filter(|visit| visit.bay.0 == place && !visit.isolate).count();
        count(desk.say("front.counts.bay", &json!({ "bay": bay.name }))?, here);
    }
    let isolated = visits.iter().filter(|visit| visit.isolate).count();
    if isolated > 0 {
        count(desk.text("front.counts.isolated")?, isolated);
    }
    count(desk.text("front.counts.cards")?, visits.len());
    let large = visits.iter().filter(|visit| visit.large_print).count();
    count(desk.text("front.counts.large")?, large);
    if !desk.list.held_back.is_empty() {
        count(desk.text("front.counts.held_back")?, desk.list.held_back.len());
    }
    Ok(counts)
}
