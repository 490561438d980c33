//! What verification found broken, where, and what it should have been.
//!
//! A breach names rows by their line and places by their names; it never holds patient data.

use std::fmt;

/// One promise that the day does not keep.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Breach {
    /// The promise.
    pub promise: Promise,
    /// Whom or what it concerns.
    pub subject: Subject,
    /// What the day has.
    pub found: String,
    /// What the recomputation asks for.
    pub expected: String,
}

/// Whom or what a breach concerns.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Subject {
    /// The day as a whole.
    Day,
    /// The row that starts on this physical line of the day list.
    Line(u32),
    /// The bay of this name.
    Bay(String),
    /// The machine of this name.
    Machine(String),
    /// The caps of this size.
    Caps(String),
}

/// The promises that every verified day keeps.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Promise {
    /// Each row has one plan and one answer about its outlet.
    OneEntryAVisit,
    /// A cooled patient's regimen has a hair-loss drug.
    CooledForAHairLossDrug,
    /// Cooling stages stand exactly where the list asks for cooling.
    CooledAsListed,
    /// Each drug of the regimen is planned once, in the order of giving.
    EveryDrugIsPlanned,
    /// The named stage is at its time.
    StageTime(&'static str),
    /// The drug of this place in the order of giving, from 1, has its named time.
    DrugTime(usize, &'static str),
    /// The stretch of the visit is at least as long as it must be.
    Minimum(&'static str),
    /// Several hair-loss drugs never get less post-cooling than the unit's without a stated reason.
    PostCoolingOfSeveralDrugs,
    /// Who is not cooled takes no outlet; who is cooled is answered.
    OutletAsListed,
    /// An outlet is held from the start of cooling until it is clean again.
    OutletHold,
    /// The machine and its outlet exist.
    OutletExists,
    /// An outlet serves one patient at a time.
    OnePatientAnOutlet,
    /// The machine stands in the patient's bay for the whole of the hold.
    MachineInTheBay,
    /// Only a movable machine changes bay.
    OnlyMovableMachinesMove,
    /// A move has all outlets free for as long as a move takes.
    TimeToMove,
    /// The listed moves are those that the holds imply.
    MovesAsHeld,
    /// Patients on one machine at once sit within its reach.
    WithinReach,
    /// Nobody is cooled by what is out of service.
    InService,
    /// A machine whose whole was out of service is cold again before it cools anybody.
    ColdAgain,
    /// Caps of a size in use never exceed the stock.
    CapsInStock,
    /// Who has no outlet has none for the reason given.
    LeftOutForTheReasonGiven,
    /// The named figure of what the allocation is worth is right.
    Worth(&'static str),
    /// A bound is not above the value that it bounds.
    BoundBelowValue(&'static str),
    /// What is called proven has bounds equal to its values.
    ProvenMeansBound,
    /// What moves are worth leads from no move to the plan.
    PricesOfMoves,
    /// What is called proven cannot be bettered by one more outlet given.
    ProvenMeansFewest,
    /// What somebody must act on has its caution.
    Cautioned(&'static str),
    /// A caution says what is so.
    CautionIsTrue(&'static str),
    /// A caution is given once.
    CautionOnce(&'static str),
}

impl fmt::Display for Promise {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let plain = match self {
            Self::StageTime(stage) => return write!(out, "the stage `{stage}` is at its time"),
            Self::DrugTime(number, point) => return write!(out, "drug {number} has its time of {point}"),
            Self::Minimum(stretch) => return write!(out, "{stretch} is never cut short"),
            Self::Worth(figure) => return write!(out, "the figure `{figure}` of the machine plan is right"),
            Self::BoundBelowValue(figure) => return write!(out, "the bound of `{figure}` is not above it"),
            Self::Cautioned(kind) => return write!(out, "the caution `{kind}` is given where it is due"),
            Self::CautionIsTrue(kind) => return write!(out, "the caution `{kind}` says what is so"),
            Self::CautionOnce(kind) => return write!(out, "the caution `{kind}` is given once"),
            Self::OneEntryAVisit => "every row has one plan and one answer about its outlet",
            Self::CooledForAHairLossDrug => "a cooled patient's regimen has a hair-loss drug",
            Self::CooledAsListed => "cooling is planned exactly where the list asks for it",
            Self::EveryDrugIsPlanned => "every drug of the regimen is planned once",
            Self::PostCoolingOfSeveralDrugs => {
                "several hair-loss drugs never get less post-cooling than the unit's without a stated reason"
            }
            Self::OutletAsListed => "who is not cooled takes no outlet, and who is cooled is answered",
            Self::OutletHold => "an outlet is held from the start of cooling until it is clean",
            Self::OutletExists => "the machine and its outlet exist",
            Self::OnePatientAnOutlet => "an outlet serves one patient at a time",
            Self::MachineInTheBay => "the machine stands in the patient's bay for the whole hold",
            Self::OnlyMovableMachinesMove => "only a movable machine changes bay",
            Self::TimeToMove => "a move has all outlets free for as long as it takes",
            Self::MovesAsHeld => "the listed moves are those that the holds imply",
            Self::WithinReach => "patients on one machine at once sit within its reach",
            Self::InService => "nobody is cooled by what is out of service",
            Self::ColdAgain => "a machine that was out of service is cold again before it cools anybody",
            Self::CapsInStock => "caps of a size in use never exceed the stock",
            Self::LeftOutForTheReasonGiven => "who has no outlet has none for the reason given",
            Self::ProvenMeansBound => "what is called proven has bounds equal to its values",
            Self::PricesOfMoves => "what moves are worth leads from no move to the plan",
            Self::ProvenMeansFewest => "what is called proven leaves nobody out who could have an outlet",
        };
        out.write_str(plain)
    }
}

impl fmt::Display for Subject {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Day => out.write_str("the day"),
            Self::Line(line) => write!(out, "line {line} of the day list"),
            Self::Bay(name) => write!(out, "bay `{name}`"),
            Self::Machine(name) => write!(out, "machine `{name}`"),
            Self::Caps(size) => write!(out, "caps of size `{size}`"),
        }
    }
}

/// Prints `broken promise: caps of a size in use never exceed the stock; caps of size `M`: found 3
/// at 10:20, expected at most 2`.
impl fmt::Display for Breach {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { promise, subject, found, expected } = self;
        write!(out, "broken promise: {promise}; {subject}: found {found}, expected {expected}")
    }
}

impl std::error::Error for Breach {}

impl Breach {
    /// A breach of `promise` about `subject`.
    pub(super) fn new(
        promise: Promise,
        subject: Subject,
        found: impl fmt::Display,
        expected: impl fmt::Display,
    ) -> Self {
        Self { promise, subject, found: found.to_string(), expected: expected.to_string() }
    }
}
