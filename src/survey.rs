//! Looks over the planned and allocated day for everything that somebody must act on.
//!
//! Facts only: the words for them live in the wording files and are chosen by `compose`.

use unicode_normalization::UnicodeNormalization;

use crate::allocate::{Allocation, Cooling, Reason};
use crate::clock::{Minutes, Moment, Span};
use crate::patient::{GoAhead, Visit};
use crate::plan::{DayPlan, VisitPlan, plan_visit};
use crate::unit_rules::{BayIndex, MachineIndex};
use crate::validate::DayList;

/// A visit's place in [`DayList::visits`].
pub type VisitIndex = usize;

/// One thing that somebody must act on.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Caution {
    /// A row with faults is not in the pack (its place in [`DayList::held_back`]).
    HeldBack { row: usize },
    /// Rows of other days were left out.
    OtherDays { rows: usize },
    /// These patients of the day have the same or nearly the same name: two at least, in the list's order.
    NamesAlike { visits: Vec<VisitIndex> },
    /// A cooled patient has no outlet, because none is free.
    OutletShort { visit: VisitIndex },
    /// A cooled patient has no outlet, because no cap of the size is free.
    CapShort { visit: VisitIndex },
    /// The go-ahead is waited for.
    GoAheadWaiting { visit: VisitIndex },
    /// The list says nothing of a go-ahead for these patients.
    GoAheadNotRecorded { visits: Vec<VisitIndex> },
    /// The patient is isolated.
    Isolated { visit: VisitIndex },
    /// The patient leaves after the unit closes.
    ClosingPassed { visit: VisitIndex, leave: Moment },
    /// The patient arrives before the unit opens.
    BeforeOpening { visit: VisitIndex },
    /// The patient leaves after the time by which they must.
    LeaveByMissed { visit: VisitIndex, leave: Moment, leave_by: Moment },
    /// The drugs come so late that closing or the leaving time is missed by it; `needed_by` is the
    /// latest time at which they would do, if any would.
    DrugsLate { visit: VisitIndex, ready: Moment, needed_by: Option<Moment> },
    /// Two patients are to sit in one chair in `both`; `one` arrives first.
    ChairDoubleBooked { one: VisitIndex, other: VisitIndex, both: Span },
    /// More nurses' hands are needed in a bay than it has nurses.
    NursesShort { bay: BayIndex, when: Span, needed: u32, nurses: u32 },
    /// The hair is not recorded: the longer pre-cooling is planned.
    HairNotRecorded { visit: VisitIndex },
    /// The cap's size is not recorded: no cap is reserved, a fitting set is needed.
    CapNotRecorded { visit: VisitIndex },
    /// The words of the patient's language cannot be printed on a card: it is in the unit's language.
    CardLanguage { visit: VisitIndex },
    /// The list has an alert for staff about the patient.
    Alert { visit: VisitIndex },
    /// A machine must be switched on before the unit opens.
    MachineBeforeOpening { machine: MachineIndex, switch_on: Moment },
    /// An outlet is handed over with less than the wished slack.
    HandOverTight { from: VisitIndex, to: VisitIndex, slack: Minutes },
    /// A machine changes bays.
    MachineMoves { machine: MachineIndex, from: BayIndex, to: BayIndex, within: Span },
}

impl Caution {
    /// The name of its kind in `plan.json` and of its words in a wording file.
    #[must_use]
    pub const fn kind(&self) -> &'static str {
        match self {
            Self::HeldBack { .. } => "held_back",
            Self::OtherDays { .. } => "other_days",
            Self::NamesAlike { .. } => "names_alike",
            Self::OutletShort { .. } => "outlet_short",
            Self::CapShort { .. } => "cap_short",
            Self::GoAheadWaiting { .. } => "go_ahead_waiting",
            Self::GoAheadNotRecorded { .. } => "go_ahead_not_recorded",
            Self::Isolated { .. } => "isolated",
            Self::ClosingPassed { .. } => "closing_passed",
            Self::BeforeOpening { .. } => "before_opening",
            Self::LeaveByMissed { .. } => "leave_by_missed",
            Self::DrugsLate { .. } => "drugs_late",
            Self::ChairDoubleBooked { .. } => "chair_double_booked",
            Self::NursesShort { .. } => "nurses_short",
            Self::HairNotRecorded { .. } => "hair_not_recorded",
            Self::CapNotRecorded { .. } => "cap_not_recorded",
            Self::CardLanguage { .. } => "card_language",
            Self::Alert { .. } => "alert",
            Self::MachineBeforeOpening { .. } => "machine_before_opening",
            Self::HandOverTight { .. } => "hand_over_tight",
            Self::MachineMoves { .. } => "machine_moves",
        }
    }

    /// The visits that it is about, the one whose line it bears first; none for a matter of the unit.
    #[must_use]
    pub fn visits(&self) -> Vec<VisitIndex> {
        match self {
            Self::ChairDoubleBooked { one, other, .. } => vec![*one, *other],
            Self::HandOverTight { from, to, .. } => vec![*from, *to],
            Self::NamesAlike { visits } | Self::GoAheadNotRecorded { visits } => visits.clone(),
            Self::OutletShort { visit }
            | Self::CapShort { visit }
            | Self::GoAheadWaiting { visit }
            | Self::Isolated { visit }
            | Self::ClosingPassed { visit, .. }
            | Self::BeforeOpening { visit }
            | Self::LeaveByMissed { visit, .. }
            | Self::DrugsLate { visit, .. }
            | Self::HairNotRecorded { visit }
            | Self::CapNotRecorded { visit }
            | Self::CardLanguage { visit }
            | Self::Alert { visit } => vec![*visit],
            Self::HeldBack { .. }
            | Self::OtherDays { .. }
            | Self::NursesShort { .. }
            | Self::MachineBeforeOpening { .. }
            | Self::MachineMoves { .. } => Vec::new(),
        }
    }
}

/// Looks the day over. The cautions come in a fixed order: by kind as the front sheet lists them,
/// then in the order of the visits.
#[must_use]
pub fn survey(list: &DayList, plan: &DayPlan, allocation: &Allocation) -> Vec<Caution> {
    let mut cautions = rows_left_out(list);
    cautions.extend(names_alike(list));
    cautions.extend(without_outlet(allocation));
    cautions.extend(go_ahead(list));
    cautions.extend(times(list, plan));
    cautions.extend(chairs(list, plan));
    cautions.extend(nurses(list, plan));
    cautions.extend(not_recorded(list));
    cautions.extend(machines(list, allocation));
    cautions.sort();
    cautions
}

/// Rows of the list that are not in the plan.
fn rows_left_out(list: &DayList) -> Vec<Caution> {
    let held = (0..list.held_back.len()).map(|row| Caution::HeldBack { row });
    let other = (list.other_days > 0).then_some(Caution::OtherDays { rows: list.other_days });
    held.chain(other).collect()
}

/// Patients whose names could be taken for each other, in groups: whoever is like somebody of a group belongs
/// to it, so that each patient is in one group at most.
fn names_alike(list: &DayList) -> Vec<Caution> {
    let names: Vec<_> = list.visits.iter().map(FoldedName::of).collect();
    let mut groups: Vec<Vec<VisitIndex>> = Vec::new();
    for (visit, name) in names.iter().enumerate() {
        let (mut like, others): (Vec<_>, Vec<_>) =
            groups.into_iter().partition(|group| group.iter().any(|&member| name.is_like(&names[member])));
        like.push(vec![visit]);
        groups = others;
        groups.push(like.concat());
    }
    let several = groups.into_iter().filter(|group| group.len() > 1);
    several
        .map(|mut visits| {
            visits.sort_unstable();
            Caution::NamesAlike { visits }
        })
        .collect()
}

/// Who else of the day has the very same names, given and family, but for case, accents and hyphens: paper that
/// bears these names alone cannot tell them apart.
pub(crate) fn namesakes(list: &DayList, visit: VisitIndex) -> Vec<VisitIndex> {
    let name = FoldedName::of(&list.visits[visit]);
    let is_namesake = |other: &VisitIndex| *other != visit && FoldedName::of(&list.visits[*other]) == name;
    (0..list.visits.len()).filter(is_namesake).collect()
}

/// A name without case, accents, hyphens and spaces.
#[derive(PartialEq, Eq)]
struct FoldedName {
    family: String,
    given: String,
}

impl FoldedName {
    fn of(visit: &Visit) -> Self {
        Self { family: fold(&visit.family_name), given: fold(&visit.given_name) }
    }

    /// The same family name, one that differs by a slip of the pen, or the two names exchanged
    /// (common practice, no source).
    fn is_like(&self, other: &Self) -> bool {
        self.family == other.family
            || (self.family == other.given && self.given == other.family)
            || within_one_slip(&self.family, &other.family)
    }
}

/// Whether two family names of five letters or more differ by one letter changed, missing, added or
/// exchanged with its neighbour.
fn within_one_slip(one: &str, other: &str) -> bool {
    let shorter = one.chars().count().min(other.chars().count());
    shorter >= 5 && strsim::damerau_levenshtein(one, other) <= 1
}

/// Lower case, without marks, spaces or punctuation; a sigma at the end of a word (U+03C2) is a sigma.
fn fold(name: &str) -> String {
    let letters = name.nfd().filter(|character| character.is_alphanumeric()).flat_map(char::to_lowercase);
    letters.map(|letter| if letter == 'ς' { 'σ' } else { letter }).collect()
}

/// Cooled patients without an outlet.
fn without_outlet(allocation: &Allocation) -> Vec<Caution> {
    let caution = |(visit, cooling): (VisitIndex, &Cooling)| match cooling {
        Cooling::Without(Reason::NoOutletFree) => Some(Caution::OutletShort { visit }),
        Cooling::Without(Reason::NoCapFree) => Some(Caution::CapShort { visit }),
        Cooling::NotWanted | Cooling::Outlet(_) => None,
    };
    allocation.visits.iter().enumerate().filter_map(caution).collect()
}

/// Who must not be started yet, who is isolated, and who has an alert.
fn go_ahead(list: &DayList) -> Vec<Caution> {
    let mut cautions = Vec::new();
    let mut not_recorded = Vec::new();
    for (visit, row) in list.visits.iter().enumerate() {
        match row.go_ahead {
            GoAhead::Yes => {}
            GoAhead::Waiting => cautions.push(Caution::GoAheadWaiting { visit }),
            GoAhead::NotRecorded => not_recorded.push(visit),
        }
        if row.isolate {
            cautions.push(Caution::Isolated { visit });
        }
        if list.cards_in_unit_language.contains(&visit) {
            cautions.push(Caution::CardLanguage { visit });
        }
        if row.alert.is_some() {
            cautions.push(Caution::Alert { visit });
        }
    }
    if !not_recorded.is_empty() {
        cautions.push(Caution::GoAheadNotRecorded { visits: not_recorded });
    }
    cautions
}

/// Visits that miss opening, closing or the time by which the patient must leave.
fn times(list: &DayList, plan: &DayPlan) -> Vec<Caution> {
    let mut cautions = Vec::new();
    for (visit, (row, planned)) in list.visits.iter().zip(&plan.visits).enumerate() {
        let leave = planned.leave;
        if leave > list.unit.closes {
            cautions.push(Caution::ClosingPassed { visit, leave });
        }
        if row.arrive < list.unit.opens {
            cautions.push(Caution::BeforeOpening { visit });
        }
        if let Some(leave_by) = row.leave_by.filter(|limit| leave > *limit) {
            cautions.push(Caution::LeaveByMissed { visit, leave, leave_by });
        }
        cautions.extend(drugs_late(visit, row, leave, list));
    }
    cautions
}

/// Whether the wait for the drugs is what makes a visit too long.
pub(crate) fn drugs_late(visit: VisitIndex, row: &Visit, leave: Moment, list: &DayList) -> Option<Caution> {
    let ready = row.drugs_ready?;
    let limit = row.leave_by.map_or(list.unit.closes, |by| by.min(list.unit.closes));
    let without_wait = plan_visit(&Visit { drugs_ready: None, ..row.clone() }, list).leave;
    if leave <= limit || without_wait == leave {
        return None;
    }
    let in_time = ready - leave.since(limit);
    let needed_by = (without_wait <= limit).then_some(in_time);
    Some(Caution::DrugsLate { visit, ready, needed_by })
}

/// Chairs promised to two patients at once.
fn chairs(list: &DayList, plan: &DayPlan) -> Vec<Caution> {
    let hold = |visit: VisitIndex| plan.visits[visit].chair_hold(&list.unit);
    let mut cautions = Vec::new();
    for one in 0..list.visits.len() {
        for other in one + 1..list.visits.len() {
            if list.visits[one].chair != list.visits[other].chair || !hold(one).meets(hold(other)) {
                continue;
            }
            let both =
                Span::new(hold(one).from.max(hold(other).from), hold(one).until.min(hold(other).until));
            let (one, other) = if hold(one).from <= hold(other).from { (one, other) } else { (other, one) };
            cautions.push(Caution::ChairDoubleBooked { one, other, both });
        }
    }
    cautions
}

/// Stretches in which a bay needs more pairs of hands than it has.
pub(crate) fn nurses(list: &DayList, plan: &DayPlan) -> Vec<Caution> {
    let mut cautions = Vec::new();
    for (index, bay) in list.unit.bays.iter().enumerate() {
        let bay_index = BayIndex(index);
        for (when, needed) in overloads(&hands_on(bay_index, list, plan), bay.nurses) {
            cautions.push(Caution::NursesShort { bay: bay_index, when, needed, nurses: bay.nurses });
        }
    }
    cautions
}

/// The stretches in which a nurse of the bay is needed, one entry a nurse.
#[must_use]
pub fn hands_on(bay: BayIndex, list: &DayList, plan: &DayPlan) -> Vec<Span> {
    let here = list.visits.iter().zip(&plan.visits).filter(|(row, _)| row.bay == bay);
    here.flat_map(|(row, planned)| hands_on_visit(list, row, planned)).collect()
}

/// The stretches in which one visit needs a nurse of its bay, one entry a nurse.
pub(crate) fn hands_on_visit(list: &DayList, row: &Visit, planned: &VisitPlan) -> Vec<Span> {
    let tasks = &list.unit.hands_on;
    let mut spans = Vec::new();
    if let Some(stages) = &planned.cooling {
        spans.push(Span::new(stages.cooling_on - tasks.connect, stages.cooling_on));
        spans.push(Span::new(stages.cooling_off, stages.cooling_off + tasks.disconnect));
        spans.push(Span::new(stages.cap_off, stages.cap_off + tasks.cap_off));
    }
    for (step, times) in list.regimen(row.regimen).steps.iter().zip(&planned.steps) {
        let started = times.start + tasks.drug_start;
        spans.push(Span::new(times.start, if step.push { started.max(times.end) } else { started }));
        if step.cytotoxic {
            spans.push(Span::new(times.start, started));
        }
    }
    spans.retain(|span| !span.is_empty());
    spans
}

/// The longest stretches in which more than `most` of the spans run at once, each with the largest
/// number that do.
fn overloads(spans: &[Span], most: u32) -> Vec<(Span, u32)> {
    let mut changes: Vec<(Moment, i32)> = Vec::with_capacity(2 * spans.len());
    for span in spans {
        changes.push((span.from, 1));
        changes.push((span.until, -1));
    }
    changes.sort_unstable();
    let mut found: Vec<(Span, u32)> = Vec::new();
    let mut running = 0_i32;
    for (place, (at, change)) in changes.iter().enumerate() {
        running += change;
        let Some((next, _)) = changes.get(place + 1).filter(|(next, _)| next > at) else { continue };
        let needed = u32::try_from(running).unwrap_or(0);
        if needed <= most {
            continue;
        }
        match found.last_mut().filter(|(last, _)| last.until == *at) {
            Some((last, peak)) => {
                last.until = *next;
                *peak = needed.max(*peak);
            }
            None => found.push((Span::new(*at, *next), needed)),
        }
    }
    found
}

/// What the plan of a cooled patient needed and the list does not say.
fn not_recorded(list: &DayList) -> Vec<Caution> {
    let mut cautions = Vec::new();
    for (visit, row) in list.visits.iter().enumerate().filter(|(_, row)| row.cooled) {
        if row.hair.is_none() {
            cautions.push(Caution::HairNotRecorded { visit });
        }
        if row.cap.is_none() && !row.own_cap {
            cautions.push(Caution::CapNotRecorded { visit });
        }
    }
    cautions
}

/// Machines that are on before opening, change bays, or are handed over in a hurry.
fn machines(list: &DayList, allocation: &Allocation) -> Vec<Caution> {
    let unit = &list.unit;
    let mut cautions = Vec::new();
    for index in 0..unit.machines.len() {
        let machine = MachineIndex(index);
        let first_use = allocation.holds_of(machine).map(|(_, hold)| hold.span.from).min();
        if let Some(switch_on) =
            first_use.map(|from| from - unit.minutes.machine_start).filter(|on| *on < unit.opens)
        {
            cautions.push(Caution::MachineBeforeOpening { machine, switch_on });
        }
        for (from, to, slack) in allocation.hand_overs(machine, unit.machine(machine).outlets) {
            if slack < unit.rules.hand_over_slack {
                cautions.push(Caution::HandOverTight { from, to, slack });
            }
        }
    }
    for change in &allocation.moves {
        cautions.push(Caution::MachineMoves {
            machine: change.machine,
            from: change.from,
            to: change.to,
            within: change.within,
        });
    }
    cautions
}
