//! What the command line accepts, in words for a ward clerk.

use std::ffi::OsString;
use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use clap::{Args, CommandFactory, Parser, Subcommand, ValueEnum};

use crate::allocate::Effort;
use crate::characters::on_a_terminal;
use crate::compose::paperwork::Paper;
use crate::patient::Hair;
use crate::validate::Options;
use crate::validate::nearest::nearest;

/// Plans a chemotherapy day unit's scalp-cooling day from one list and prints the paper for it.
///
/// Give it the day list (a CSV file), and it writes one folder with everything to print: a front
/// sheet, a sheet for each bay, a machine sheet, and a care card for each patient. Print `pack.pdf`;
/// the other files are the same sheets one by one.
///
/// `baypack DAY_LIST` alone means `baypack make DAY_LIST`, so the list can be dropped on the program.
#[derive(Debug, Parser)]
#[command(name = "baypack", version, max_term_width = 100)]
#[command(
    after_help = "The program plans and prints; it decides nothing clinical. Prescription, local protocol and the \
    nurse's judgement come first.\n\nExit status: 0 done; 1 the input has problems (all of them are listed, nothing is \
    written); 2 wrong usage; 3 could not read or write; 130 told to stop while it wrote; 101 a fault of the program."
)]
pub(super) struct Arguments {
    #[command(subcommand)]
    pub command: Command,
}

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Make the day's pack: plan the day, check it, and write everything to print
    Make(Make),
    /// Do the same without writing it: says what is wrong with the list, or that it is right
    Check(Check),
    /// Say who could come at which other time when somebody has no outlet
    Propose(Propose),
    /// Say when one patient more could arrive, in each bay
    Fit(Fit),
    /// Write out the layouts of the paper to edit them, or set their samples
    Layouts(LayoutsCommand),
    /// Begin a translation of the words, or check one
    Words(WordsCommand),
    /// Set sheets for another run of the program, over pipes
    #[command(hide = true)]
    SetApart {
        /// Seconds of processor time that it may take
        processor_seconds: u64,
    },
    /// Write the manual page and the completions for the usual shells into a folder
    Manual {
        /// The folder to write into
        #[arg(value_name = "DIR")]
        folder: PathBuf,
    },
}

#[derive(Debug, Args)]
pub(super) struct Make {
    #[command(flatten)]
    pub day: DayArguments,
    #[command(flatten)]
    pub print: PrintArguments,
    /// Write into DIR: the pack goes to DIR/<date>/
    #[arg(long, value_name = "DIR", default_value = "out")]
    pub out: PathBuf,
}

#[derive(Debug, Args)]
pub(super) struct Check {
    #[command(flatten)]
    pub day: DayArguments,
    #[command(flatten)]
    pub print: PrintArguments,
    /// Write the plan, and only the plan, to FILE
    #[arg(long, value_name = "FILE")]
    pub plan: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub(super) struct Propose {
    #[command(flatten)]
    pub day: DayArguments,
    /// Write the day list with the proposed arrival times to FILE, which must not be there yet
    #[arg(long, value_name = "FILE")]
    pub out_list: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub(super) struct Fit {
    #[command(flatten)]
    pub day: DayArguments,
    /// The patient's regimen, a code of the regimens' file; with a hair-loss drug, the patient is cooled
    #[arg(long, value_name = "CODE")]
    pub regimen: String,
    /// The patient's hair; without it, the longer pre-cooling is planned
    #[arg(long, value_enum)]
    pub hair: Option<HairName>,
    /// The size of the patient's cap; without it, caps are not counted
    #[arg(long, value_name = "SIZE", conflicts_with = "own_cap")]
    pub cap: Option<String>,
    /// The patient brings a cap
    #[arg(long)]
    pub own_cap: bool,
    /// It is the first visit of the course
    #[arg(long)]
    pub first_visit: bool,
}

/// The kinds of hair on the command line.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub(super) enum HairName {
    /// Fine hair
    Fine,
    /// Medium hair
    Medium,
    /// Thick hair
    Thick,
}

impl From<HairName> for Hair {
    fn from(name: HairName) -> Self {
        match name {
            HairName::Fine => Self::Fine,
            HairName::Medium => Self::Medium,
            HairName::Thick => Self::Thick,
        }
    }
}

/// The day that a command is about, and how its list is read.
#[derive(Debug, Args)]
pub(super) struct DayArguments {
    /// The day list, as the booking system exports it (CSV)
    #[arg(value_name = "DAY_LIST")]
    pub day_list: PathBuf,
    /// The unit's file; otherwise `unit.toml` beside the day list
    #[arg(long, value_name = "FILE")]
    pub unit: Option<PathBuf>,
    /// The unit's regimens; otherwise `regimens.toml` beside the day list
    #[arg(long, value_name = "FILE")]
    pub regimens: Option<PathBuf>,
    /// The day, as 2031-03-14; needed where the list has no date or several
    #[arg(long, value_name = "DATE", value_parser = date)]
    pub date: Option<NaiveDate>,
    /// Leave out the rows that have faults; the front sheet names each of them
    #[arg(long)]
    pub hold_bad_rows: bool,
    /// Where rows have faults, write the list to FILE with a last column that says what to mend
    #[arg(long, value_name = "FILE")]
    pub faults: Option<PathBuf>,
    /// How much work goes into the machine plan; the work is counted, so each gives the same plan every time
    #[arg(long, value_enum, default_value_t = EffortName::Usual)]
    pub effort: EffortName,
    #[command(flatten)]
    pub own: LayoutArguments,
    /// Say nothing unless something is wrong
    #[arg(long, short)]
    pub quiet: bool,
}

/// What is in the printer, and how it prints.
#[derive(Debug, Args)]
pub(super) struct PrintArguments {
    /// The paper in the printer
    #[arg(long, value_enum, default_value_t = PaperName::A4)]
    pub paper: PaperName,
    /// The sheet of labels in the printer: a file of `layouts/forms/` without its ending
    #[arg(long, value_name = "FORM")]
    pub labels: Option<String>,
    /// The first label that is still on the first sheet of labels, counted along the rows
    #[arg(long, value_name = "NUMBER", default_value_t = 1, value_parser = clap::value_parser!(u16).range(1..=200))]
    pub first_label: u16,
    /// Make `printer-check.pdf` too: a page that shows whether the printer shrinks or shifts
    #[arg(long)]
    pub printer_check: bool,
}

/// The unit's own files that shape the paper.
#[derive(Debug, Args)]
pub(super) struct LayoutArguments {
    /// The unit's own layouts: a file in DIR takes the place of the program's file of that name
    #[arg(long, value_name = "DIR")]
    pub layouts: Option<PathBuf>,
    /// More fonts, for scripts that the program's fonts lack
    #[arg(long, value_name = "DIR")]
    pub fonts: Option<PathBuf>,
    /// With own layouts or fonts: the longest that setting the sheets may take
    #[arg(long, value_name = "SECONDS", default_value_t = 120, value_parser = clap::value_parser!(u16).range(1..=3600))]
    pub set_within: u16,
}

#[derive(Debug, Args)]
#[command(group = clap::ArgGroup::new("do").required(true).args(["start", "check"]))]
pub(super) struct WordsCommand {
    /// The language's code, such as uk or pt-BR
    #[arg(value_name = "LANGUAGE", requires = "start", value_parser = language)]
    pub language: Option<String>,
    /// Write a file to translate as FILE, never over a file that is there
    #[arg(long, value_name = "FILE", requires = "language")]
    pub start: Option<PathBuf>,
    /// Say what FILE lacks, and whether a care card can be printed with its words
    #[arg(long, value_name = "FILE")]
    pub check: Option<PathBuf>,
    #[command(flatten)]
    pub own: LayoutArguments,
}

#[derive(Debug, Args)]
#[command(group = clap::ArgGroup::new("what").required(true).args(["copy", "preview"]))]
pub(super) struct LayoutsCommand {
    /// Write all layouts, words, forms, fonts and samples into DIR, never over a file that is there
    #[arg(long, value_name = "DIR")]
    pub copy: Option<PathBuf>,
    /// Set every sample and write the sheets into DIR
    #[arg(long, value_name = "DIR")]
    pub preview: Option<PathBuf>,
    #[command(flatten)]
    pub own: LayoutArguments,
}

impl DayArguments {
    /// Which rows of the list are the day's, and what becomes of bad ones.
    pub fn options(&self) -> Options {
        Options { date: self.date, hold_bad_rows: self.hold_bad_rows }
    }
}

/// The names of paper sizes on the command line.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub(super) enum PaperName {
    /// A4, with A5 cards two on a sheet
    A4,
    /// US Letter, with half-letter cards two on a sheet
    UsLetter,
}

/// The names of efforts on the command line.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub(super) enum EffortName {
    /// A tenth of the usual work
    Quick,
    /// Enough for a unit's day
    Usual,
    /// Ten times the usual work, for a day that is not proven best otherwise
    Long,
}

impl From<EffortName> for Effort {
    fn from(name: EffortName) -> Self {
        match name {
            EffortName::Quick => Self::QUICK,
            EffortName::Usual => Self::USUAL,
            EffortName::Long => Self::LONG,
        }
    }
}

impl From<PaperName> for Paper {
    fn from(name: PaperName) -> Self {
        match name {
            PaperName::A4 => Self::A4,
            PaperName::UsLetter => Self::UsLetter,
        }
    }
}

impl PaperName {
    /// The sheet of labels that is usual on the paper.
    pub const fn usual_labels(self) -> &'static str {
        match self {
            Self::A4 => "labels-a4-21",
            Self::UsLetter => "labels-letter-30",
        }
    }
}

fn date(text: &str) -> Result<NaiveDate, String> {
    NaiveDate::parse_from_str(text, "%Y-%m-%d").map_err(|_| "write the date as 2031-03-14".to_owned())
}

fn language(text: &str) -> Result<String, String> {
    let is_code = crate::layouts::is_language(text);
    is_code
        .then(|| text.to_owned())
        .ok_or_else(|| "write the language's code, such as uk or pt-BR".to_owned())
}

impl Arguments {
    /// Reads the arguments; a first one that is no command is taken as the day list of `make`.
    pub fn read(mut arguments: Vec<OsString>) -> Result<Self, clap::Error> {
        if arguments.get(1).is_some_and(|first| !is_command_or_option(first) && !is_misspelt_command(first)) {
            arguments.insert(1, "make".into());
        }
        Self::try_parse_from(&arguments).map_err(|refusal| safe_to_print(&arguments, &refusal))
    }

    /// The command line as clap knows it, for the manual page and the completions.
    pub fn description() -> clap::Command {
        Self::command()
    }
}

/// A refusal that can be printed: it repeats arguments, so it is made once more of arguments as a terminal
/// may show them.
fn safe_to_print(arguments: &[OsString], refusal: &clap::Error) -> clap::Error {
    let shown = arguments.iter().map(|argument| on_a_terminal(&argument.to_string_lossy()));
    match Arguments::try_parse_from(shown) {
        Err(error) => error,
        // What was wrong were bytes that are no text, and those are now replaced.
        Ok(_) => Arguments::command().error(refusal.kind(), "an option's value is not text; write it again"),
    }
}

/// Whether a first argument is nearly a command, and no file: what follows it would be blamed otherwise.
fn is_misspelt_command(argument: &OsString) -> bool {
    let description = Arguments::command();
    let commands = description.get_subcommands().map(clap::Command::get_name);
    !Path::new(argument).exists() && nearest(&argument.to_string_lossy(), commands).is_some()
}

fn is_command_or_option(argument: &OsString) -> bool {
    let text = argument.to_string_lossy();
    text.starts_with('-') || text == "help" || Arguments::command().find_subcommand(&*text).is_some()
}
