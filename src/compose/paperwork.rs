//! What each sheet says: the data that a layout places, every word and every time already a text.
//!
//! Layouts never compute. What is missing here cannot be printed, and what is here is printed.

use serde::{Deserialize, Serialize};
use serde_json::Value;

/// Everything that is printed for a day, and the record of it.
#[derive(Clone, Debug)]
pub struct Paperwork {
    /// The day, `2031-03-14`: names the folder.
    pub date: String,
    /// The paper of the sheets.
    pub paper: Paper,
    /// The documents in print order.
    pub documents: Vec<Document>,
    /// The labels for caps.
    pub labels: Labels,
    /// `plan.json`, whole.
    pub record: Value,
    /// The words that stand on the pack alone.
    pub pack: PackWords,
    /// The counts of the closing summary.
    pub counts: Counts,
}

/// The paper that the sheets are set for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Paper {
    /// ISO A4, 210 x 297 mm; care cards on A5.
    #[default]
    A4,
    /// US Letter, 215.9 x 279.4 mm; care cards on half of it.
    UsLetter,
}

/// Labels, one for each cooled patient.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Labels {
    /// The title of their file and of their part of the pack.
    pub title: String,
    /// What stands on each: `name`, `identity`, and `facts`, a list of `label` and `value`.
    pub labels: Vec<Value>,
}

/// The words of the pack: nothing of them is on a single sheet.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PackWords {
    /// The title of the pack: `Pack for Fri 14-Mar-2031`.
    pub title: String,
    /// The title of the cards' part: `Care cards`.
    pub cards: String,
    /// What is stamped on each sheet, with `{sheet}`, `{sheets}` and `{printed}` still to be filled.
    pub stamp: String,
    /// The language of these words, as a BCP 47 code.
    pub language: String,
    /// The title of the printer check.
    pub check_title: String,
    /// What to do with the printer check, a line of the page each.
    pub check_lines: Vec<String>,
}

/// What a run did, for the summary on the terminal.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Visits in the pack.
    pub visits: usize,
    /// Of them, cooled.
    pub cooled: usize,
    /// Rows held back.
    pub held_back: usize,
    /// Cautions on the front sheet.
    pub cautions: usize,
}

/// One document: the same data always gives the same file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Document {
    /// What it is.
    pub kind: Kind,
    /// The file's path in the day's folder without `.pdf`: `front-sheet`, `bay-A`, `cards/K7M4QX`.
    pub file: String,
    /// The title in the file's metadata and in the pack's outline; no patient in it.
    pub title: String,
    /// The language of its words, as a BCP 47 code.
    pub language: String,
    /// The short code that every page carries; no patient data in it.
    pub page_code: String,
    /// The data of its layout: one of the structures below.
    pub data: Value,
}

/// The kinds of document, in print order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// For the clerk and the nurse in charge.
    FrontSheet,
    /// For the nurses of a bay.
    BaySheet,
    /// For the nurse in charge.
    MachineSheet,
    /// For a patient to take home.
    CareCard,
}

impl Kind {
    /// The kind's layout: `layouts/sheets/<name>.typ`.
    #[must_use]
    pub const fn layout(self) -> &'static str {
        match self {
            Self::FrontSheet => "front-sheet",
            Self::BaySheet => "bay-sheet",
            Self::MachineSheet => "machine-sheet",
            Self::CareCard => "care-card",
        }
    }
}

/// What every page carries, and the fixed words of the sheet.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Head {
    /// The document's title: `Bay A`.
    pub title: String,
    /// The unit's name.
    pub unit: String,
    /// The day: staff `Fri 14-Mar-2031`, patient `Friday 14 March 2031`.
    pub day: String,
    /// The page code.
    pub page_code: String,
    /// The language's BCP 47 code.
    pub language: String,
    /// Right to left or left to right.
    pub direction: Direction,
    /// The paper.
    pub paper: Paper,
    /// The fixed words of this kind of sheet: the tables `common.labels` and `<sheet>.labels` of the
    /// wording file as one dictionary, placeholders filled in.
    pub words: Value,
}

/// The direction of a language's script.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Direction {
    /// Left to right.
    Ltr,
    /// Right to left.
    Rtl,
}

/// The front sheet.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FrontSheet {
    /// What every page carries.
    pub head: Head,
    /// The clerk's counts to tick: `Bay A: 6 patients, 5 cooled`.
    pub counts: Vec<CountLine>,
    /// What somebody must act on, most urgent kind first. A kind without a row stays, with `none`.
    pub sections: Vec<FrontSection>,
    /// What is good to know and needs nobody to act: words that no clinician has checked, columns
    /// that were not read.
    pub notes: Vec<String>,
    /// How to read a slip grid, on an invented example.
    pub example: GridExample,
}

/// One count that the clerk ticks when the paper is sorted.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CountLine {
    /// What is counted.
    pub label: String,
    /// How many.
    pub value: String,
}

/// One kind of thing to act on.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FrontSection {
    /// The heading.
    pub title: String,
    /// What stands here if there is nothing: `None today`.
    pub none: String,
    /// What to act on.
    pub rows: Vec<FrontRow>,
    /// Other arrival times that are proposed, below the section that they are about.
    pub proposal: Option<ProposalBlock>,
}

/// Other arrival times, as a proposal.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ProposalBlock {
    /// What it would come to.
    pub title: String,
    /// That it is not applied, what is proven of it, and who would still be without an outlet.
    pub notes: Vec<String>,
    /// Who would come when, by the time by which they must be rung; none if nothing is proposed.
    pub rows: Vec<ProposalRow>,
}

/// One person's proposed arrival.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ProposalRow {
    /// Who.
    pub patient: PatientLine,
    /// The listed arrival.
    pub listed: String,
    /// The proposed arrival.
    pub proposed: String,
    /// `30min later`.
    pub change: String,
    /// Who rings.
    pub who: String,
    /// Before when: the earlier of the two arrivals.
    pub by: String,
}

/// One thing to act on.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FrontRow {
    /// The patient with two identifiers, where the row is about one: `FAMILYNAME, Given` and
    /// `Born 02-Apr-1979 · L10234`. All of them for names alike; empty for a matter of the unit.
    pub patients: Vec<PatientLine>,
    /// The sentence that says what to do.
    pub text: String,
    /// Why it is so, where that is a count; may be empty.
    pub why: String,
    /// Who acts: `Nurse in charge`.
    pub who: String,
    /// By when: `08:30`, or empty where any time will do.
    pub by: String,
}

/// A patient in a list: two identifiers and the place.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PatientLine {
    /// `FAMILYNAME, Given`.
    pub name: String,
    /// `Born 02-Apr-1979 · L10234`.
    pub identity: String,
    /// The chair.
    pub chair: String,
}

/// A worked slip grid with marks, and its story.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GridExample {
    /// The steps of the story, in order.
    pub steps: Vec<String>,
    /// The grid.
    pub grid: SlipGrid,
    /// The marked cells, and the times written in the boxes above.
    pub marks: Vec<GridMark>,
}

/// One mark of the worked example.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GridMark {
    /// The column, from 0.
    pub column: usize,
    /// The line, from 0.
    pub line: usize,
    /// The real time written in the column's box.
    pub time: String,
    /// The invented nurse's initials.
    pub initials: String,
}

/// The sheets of one bay (or of one isolated patient).
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BaySheet {
    /// What every page carries.
    pub head: Head,
    /// Who of the bay stands on a sheet of their own: `Isolated, on a sheet of their own: C4 (08:45)`; may be empty.
    pub elsewhere: String,
    /// The day in time order, to tick.
    pub ticks: Vec<TickLine>,
    /// One strip a patient, by arrival; each on one face.
    pub strips: Vec<Strip>,
    /// `drug ended -> stop cooling not before`, past the last line of the grids; absent where nobody
    /// in the bay is cooled.
    pub late: Option<LateTable>,
    /// The 60-minute ladder of breaks: left, remind, back.
    pub ladder: Vec<LadderStep>,
}

/// A line of the tick list.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "type", rename_all = "kebab-case")]
pub enum TickLine {
    /// Something to do.
    Event {
        /// When by the plan.
        time: String,
        /// The chair.
        chair: String,
        /// `FAMILYNAME, Given`.
        name: String,
        /// The second identifier.
        identity: String,
        /// What to do: `Connect cap`.
        what: String,
        /// A detail: the drug, the outlet, `see alert`; may be empty.
        detail: String,
        /// Whether it is one of the three times that nobody may miss: connect, start drug, stop cooling.
        key: bool,
    },
    /// A change of shift.
    HandOver {
        /// When.
        time: String,
        /// `Hand-over: Early to Late`.
        title: String,
        /// Who is at which stage by the plan.
        rows: Vec<HandOverRow>,
        /// Who is there too, on a sheet of their own; may be empty.
        elsewhere: String,
    },
}

/// One patient at a change of shift.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HandOverRow {
    /// The patient.
    pub patient: PatientLine,
    /// The stage by the plan: `Post-cooling`, or `Post-cooling, see alert`.
    pub stage: String,
    /// What comes next, and when: `Stop cooling 14:10`.
    pub next: String,
}

/// All that belongs to one patient.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Strip {
    /// Who.
    pub banner: Banner,
    /// Warnings: isolation, names alike, no outlet, the list's alert; each with a symbol's name.
    pub alerts: Vec<Alert>,
    /// Regimen, cycle, hair, cap, machine and outlet, drugs ready, leave by.
    pub facts: Vec<Fact>,
    /// The stage times by the plan, large; labels short.
    pub stages: Vec<StageTime>,
    /// The drugs in order.
    pub steps: Vec<DrugLine>,
    /// Ticks before cooling or the first drug, in order: identity, go-ahead, cannula, ...
    pub before: Vec<String>,
    /// For a cooled patient: grid, guards, breaks.
    pub cooling: Option<CoolingStrip>,
}

/// The identity of a strip's patient.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Banner {
    /// `FAMILYNAME, Given`; never cut.
    pub name: String,
    /// `02-Apr-1979`.
    pub born: String,
    /// The hospital number.
    pub hospital_no: String,
    /// `943 476 5919`, or `Not recorded`.
    pub nhs_no: String,
    /// The chair: a place, not an identifier.
    pub chair: String,
    /// When the patient arrives.
    pub arrive: String,
}

/// A warning on a strip.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Alert {
    /// A word that names the kind, printed bold before the text: `ALERT`, `ISOLATE`, `NAME ALIKE`.
    pub word: String,
    /// The text.
    pub text: String,
}

/// A fact with its label.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Fact {
    /// The label.
    pub label: String,
    /// The value, `Not recorded` where unknown.
    pub value: String,
}

/// A stage by the plan.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StageTime {
    /// What the nurse does.
    pub label: String,
    /// When.
    pub time: String,
    /// Whether it is one of the three times that nobody may miss: connect, start drug, stop cooling.
    pub key: bool,
}

/// A drug by the plan.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DrugLine {
    /// The drug's generic name.
    pub drug: String,
    /// How long: `1hr`, with `+ 10min flush`, `+ 30min observation`.
    pub length: String,
    /// When it starts.
    pub start: String,
    /// When its infusion ends.
    pub end: String,
    /// When its flush and observation are over.
    pub free: String,
    /// `hair loss`, `push`, `first dose`; may be empty.
    pub note: String,
    /// Whether its real start is written here, because no column of a slip grid has room for it.
    pub write: bool,
}

/// What a cooled patient's strip has more.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CoolingStrip {
    /// The slip grid.
    pub grid: SlipGrid,
    /// The ticks before the first hair-loss drug, each with a time box: premed lead over, go-ahead, observation
    /// over, check by two nurses.
    pub guards: Vec<String>,
    /// `First check 09:25 (15min after connecting)`.
    pub first_check: String,
    /// The sizes of caps that the unit owns, to tick the one that was used.
    pub cap_sizes: Vec<String>,
    /// Breaks: how long, when not, whom else they stop.
    pub breaks: Vec<String>,
    /// How many lines the break log has.
    pub break_lines: u8,
    /// When to rinse, from when cooling really stopped.
    pub rinse: String,
    /// Whether there is so much to say that rows are set closer, to keep the patient on one face.
    pub dense: bool,
}

/// The slip grid: a paper computer. A cell is an earliest time.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SlipGrid {
    /// The events, left to right.
    pub columns: Vec<SlipColumn>,
    /// The slips, earliest first.
    pub lines: Vec<SlipLine>,
}

/// An event of the grid.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SlipColumn {
    /// What the nurse does, one to three short words: `start drug`.
    pub label: String,
    /// The drug, where the event is a drug's and the visit has several; may be empty.
    pub drug: String,
    /// Whether the column is only read: nothing waits for the event, so nothing is written or marked in it.
    pub only_read: bool,
}

/// A line of the grid.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SlipLine {
    /// `on plan`, `10 late`, `5 early`.
    pub label: String,
    /// The heavy line.
    pub on_plan: bool,
    /// Whether a rule stands above this line: every 15 minutes.
    pub rule: bool,
    /// The times, one a column.
    pub cells: Vec<String>,
    /// What it costs others from this line on: a heavy line across the grid above it, with this text.
    pub cost: Option<String>,
}

/// The table past the last line of the grids.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LateTable {
    /// The post-cooling lengths in use, the longest first.
    pub lengths: Vec<LateLength>,
    /// Whether the clock counts from the end of a flush for somebody.
    pub with_flush: bool,
    /// One row for every five minutes until closing.
    pub rows: Vec<LateRow>,
}

/// A post-cooling length in use.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LateLength {
    /// The length: `1hr 30min`.
    pub length: String,
    /// Whose it is: `A1, A2, A3 (12:15)`.
    pub chairs: String,
}

/// One row of the late table.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LateRow {
    /// When the drug ended, at the latest.
    pub ended: String,
    /// Stop cooling not before, one a length.
    pub stop: Vec<String>,
    /// Whether a rule stands above this row: every 15 minutes.
    pub rule: bool,
}

/// One minute of the hour in which a break may begin.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LadderStep {
    /// `:53`.
    pub left: String,
    /// `:01`.
    pub remind: String,
    /// `:03`.
    pub back: String,
}

/// The machine sheet.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MachineSheet {
    /// What every page carries.
    pub head: Head,
    /// The time chart.
    pub chart: Chart,
    /// When each machine is switched on, by time; anew after an outage of the whole of it.
    pub switch_on: Vec<SwitchOn>,
    /// Outlets that pass from one patient to the next, by time.
    pub hand_overs: Vec<OutletHandOver>,
    /// Machines that change bays, by time.
    pub moves: Vec<MoveLine>,
    /// Cooled patients without an outlet.
    pub without: Vec<WithoutLine>,
    /// What is out of service, by time: in the chart a short stretch has no room for words.
    pub outages: Vec<OutageLine>,
    /// Caps to lay out, by time.
    pub caps: Vec<CapLine>,
    /// Spare outlets over the day: one row a bay.
    pub spare: Spare,
    /// One sentence on how good the plan is: `No better plan exists`, or how far it is from proven.
    pub worth: String,
    /// Where each patient can go if a machine fails: one entry a machine that cools somebody.
    pub fall_backs: Vec<FallBackMachine>,
    /// The day as a whole, in small charts.
    pub curves: Curves,
}

/// What to do if one machine fails.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FallBackMachine {
    /// The machine.
    pub machine: String,
    /// Whom it cools, in the order of their starts.
    pub patients: Vec<FallBackPatient>,
}

/// Where one patient can go.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FallBackPatient {
    /// Who.
    pub patient: PatientLine,
    /// By time; together they last as long as the patient is cooled.
    pub answers: Vec<FallBackLine>,
}

/// The answer if the machine fails within a stretch of time.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FallBackLine {
    /// `09:40 to 11:05`.
    pub fails: String,
    /// The outlet to take, `Ask` in pre-cooling, or `None`.
    pub go: String,
    /// Until when, and who needs it then; or who decides.
    pub until: String,
    /// Whether cooling cannot go on there to its planned end.
    pub short: bool,
}

/// Small charts of the day, one below the other, all on the hours of one scale.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Curves {
    /// How many minutes they span.
    pub span: u32,
    /// The ruled hours.
    pub hours: Vec<ChartHour>,
    /// The charts.
    pub rows: Vec<Curve>,
}

/// How many of something there are at every minute of the day.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Curve {
    /// `Bay A: outlets free`.
    pub label: String,
    /// The peak: `Fewest 1: 10:20 to 11:05`.
    pub peak: String,
    /// The top of its scale; at least 1.
    pub top: u32,
    /// Where a line is drawn across: how many there are in all.
    pub line: u32,
    /// The stretches, by time, without a gap.
    pub steps: Vec<CurveStep>,
}

/// A stretch in which the number stays the same.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CurveStep {
    /// Minutes from the left edge.
    pub from: u32,
    /// Minutes from the left edge.
    pub until: u32,
    /// How many.
    pub count: u32,
    /// Whether none is left, or more are needed than there are.
    pub short: bool,
}

/// A time chart. Positions are whole minutes from its left edge.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Chart {
    /// How many minutes it spans.
    pub span: u32,
    /// The ruled hours.
    pub hours: Vec<ChartHour>,
    /// One row an outlet.
    pub rows: Vec<ChartRow>,
}

/// A ruled hour.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ChartHour {
    /// Minutes from the left edge.
    pub at: u32,
    /// `09:00`.
    pub label: String,
}

/// An outlet's day.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ChartRow {
    /// The machine.
    pub machine: String,
    /// The outlet.
    pub outlet: String,
    /// The bay in which it stands in the morning, and those to which it moves: `A → C`.
    pub bay: String,
    /// What fills it, by time; bars of one row never overlap.
    pub bars: Vec<ChartBar>,
}

/// A stretch of an outlet's day.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ChartBar {
    /// Minutes from the left edge.
    pub from: u32,
    /// Minutes from the left edge.
    pub until: u32,
    /// What it is.
    pub fill: Fill,
    /// First line of the label: the chair, `out of service`; may be empty.
    pub label: String,
    /// Second line: the family name, or why it is out of service.
    pub name: String,
    /// The patient's second identifier; empty where no patient is meant.
    pub identity: String,
    /// Third line: `09:10 to 12:20`; may be empty.
    pub times: String,
}

/// What fills a bar.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Fill {
    /// A patient is cooled.
    Cooling,
    /// The outlet is cleaned.
    Clean,
    /// Out of service.
    Out,
    /// The machine is moved.
    Move,
}

/// A machine's switching on, in the morning or after an outage of the whole of it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SwitchOn {
    /// The machine.
    pub machine: String,
    /// The bay of its first use then.
    pub bay: String,
    /// When to switch it on; `Not needed` if nobody is cooled by it.
    pub at: String,
    /// Its first use then; may be empty.
    pub first_use: String,
}

/// An outlet passing from one patient to the next.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OutletHandOver {
    /// `M1 · 2`.
    pub outlet: String,
    /// Who has it first.
    pub from: PatientLine,
    /// When cooling stops by the plan.
    pub stops: String,
    /// When it is clean.
    pub clean: String,
    /// Who has it next.
    pub to: PatientLine,
    /// When that patient is connected.
    pub needed: String,
    /// The time between: `15min`.
    pub slack: String,
    /// Whether that is less than wished.
    pub tight: bool,
}

/// A machine's change of bay.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MoveLine {
    /// The machine.
    pub machine: String,
    /// The bay it leaves.
    pub from: String,
    /// The bay it goes to.
    pub to: String,
    /// From when it may be moved; `Any time` where it cools nobody before.
    pub after: String,
    /// When it must be in place and switched on.
    pub before: String,
    /// Its first use there.
    pub first_use: String,
}

/// A cooled patient without an outlet.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct WithoutLine {
    /// Who.
    pub patient: PatientLine,
    /// When an outlet would be needed: `09:10 to 12:20`.
    pub when: String,
    /// Why, and who acts.
    pub why: String,
}

/// A stretch in which an outlet, or a machine, cannot be used.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OutageLine {
    /// `M1 · 2`, or `M1` for the whole machine.
    pub outlet: String,
    /// `08:00 to 10:30`.
    pub when: String,
    /// Why; `Not recorded` where the unit gave no reason.
    pub reason: String,
}

/// A cap to lay out.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CapLine {
    /// When preparation starts.
    pub time: String,
    /// The size, `own cap`, or `fitting set`.
    pub size: String,
    /// For whom.
    pub patient: PatientLine,
    /// Where it is connected: `M1 · 2`, or `No outlet`.
    pub outlet: String,
}

/// Spare outlets over the day.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Spare {
    /// The stretches: `08:00`, `08:30`, ...
    pub times: Vec<String>,
    /// One row a bay.
    pub rows: Vec<SpareRow>,
    /// That hose reach is not counted, and which chairs one machine reaches together; may be empty.
    pub reach: String,
}

/// A bay's spare outlets.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SpareRow {
    /// The bay.
    pub bay: String,
    /// The fewest that are free in each stretch.
    pub free: Vec<String>,
}

/// A care card.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CareCard {
    /// What every page carries.
    pub head: Head,
    /// Whether it is set large on A4.
    pub large: bool,
    /// `Given Familyname`.
    pub patient: String,
    /// What tells the card from that of another patient of the day with the very same name: `Chair A1, 08:30`.
    pub seat: Option<String>,
    /// When to ring and whom: fever first.
    pub ring: RingBlock,
    /// When to rinse; absent for a patient who is not cooled.
    pub rinse: Option<RinseBlock>,
    /// What to do now, tonight, this week.
    pub sections: Vec<CardSection>,
    /// The next visit.
    pub next: NextBlock,
}

/// When to ring and whom.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RingBlock {
    /// The heading.
    pub title: String,
    /// The reasons to ring, most urgent first.
    pub reasons: Vec<String>,
    /// The numbers.
    pub phones: Vec<Phone>,
    /// What to know besides: painkillers can hide a fever.
    pub note: String,
}

/// A telephone number.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Phone {
    /// `By day`.
    pub label: String,
    /// The number.
    pub number: String,
}

/// When to rinse the hair.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RinseBlock {
    /// The heading.
    pub title: String,
    /// The time, or `None` where the nurse writes it: the patient had no outlet when this was printed.
    pub by: Option<RinseTime>,
    /// What stands beside the space for a later time.
    pub later: String,
    /// The sentence below.
    pub note: String,
}

/// A weekday, a date and a time.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RinseTime {
    /// `Saturday`.
    pub weekday: String,
    /// `15 March 2031`.
    pub date: String,
    /// `12:10`.
    pub time: String,
}

/// A part of the card.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CardSection {
    /// The heading.
    pub title: String,
    /// Short sentences, one instruction each.
    pub lines: Vec<String>,
}

/// The next visit.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NextBlock {
    /// The heading.
    pub title: String,
    /// When it is, or `None` where the nurse writes the day and the time.
    pub when: Option<NextTime>,
    /// What to know and what to bring: short sentences, one instruction each.
    pub lines: Vec<String>,
    /// What is filled in by hand: `Blood test before it`, `Plan to stay for about`.
    pub write_in: Vec<String>,
}

/// The day of the next visit, and its time if that is known.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NextTime {
    /// `Friday`.
    pub weekday: String,
    /// `4 April 2031`.
    pub date: String,
    /// `09:00`, or `None` where the nurse writes it.
    pub time: Option<String>,
}
