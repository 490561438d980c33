//! Files in, messages out: everything that can fail for a reason outside the program.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use chrono::DateTime;
use chrono_tz::Tz;
use clap::ValueEnum;

use super::arguments::{Arguments, DayArguments};
use crate::clock::short_date;
use crate::problem::{Place, Problem};
use crate::read::{File, Inputs};
use crate::render::RenderFault;
use crate::verify::Breach;
use crate::write::write_one;

/// Exit status of a refusal.
const REFUSED: u8 = 1;
/// Exit status of a wrong command line.
const USAGE: u8 = 2;
/// Exit status where the program could not read or write.
const OUTSIDE: u8 = 3;

/// Why a run did not do what it was asked. In every case nothing was written.
#[derive(Debug)]
pub(super) enum Failure {
    /// The input, or a wording file, has faults.
    Problems(Vec<Problem>),
    /// The plan did not pass its own check: a fault of the program.
    Breaches(Vec<Breach>),
    /// A sheet could not be set as it must be.
    Unprintable(Vec<RenderFault>),
    /// A file could not be read or written.
    Outside { what: String, path: PathBuf, why: String },
}

impl Failure {
    /// A file or folder that could not be used. `what` goes on `could not …`.
    pub fn outside(what: &str, path: &Path, error: &io::Error) -> Self {
        Self::Outside { what: what.to_owned(), path: path.to_owned(), why: error.to_string() }
    }
}

impl From<Problem> for Failure {
    fn from(problem: Problem) -> Self {
        Self::Problems(vec![problem])
    }
}

impl From<Vec<Problem>> for Failure {
    fn from(problems: Vec<Problem>) -> Self {
        Self::Problems(problems)
    }
}

impl From<Vec<Breach>> for Failure {
    fn from(breaches: Vec<Breach>) -> Self {
        Self::Breaches(breaches)
    }
}

impl From<Vec<RenderFault>> for Failure {
    fn from(faults: Vec<RenderFault>) -> Self {
        Self::Unprintable(faults)
    }
}

/// The three files of a run, read whole.
pub(super) struct InputFiles {
    day_list: (String, Vec<u8>),
    unit: (String, Vec<u8>),
    regimens: (String, Vec<u8>),
}

impl InputFiles {
    /// The day list as the reader takes it.
    pub fn day_list_file(&self) -> File<'_> {
        File { name: &self.day_list.0, bytes: &self.day_list.1 }
    }

    /// The files as the reader takes them.
    pub fn as_inputs(&self) -> Inputs<'_> {
        Inputs {
            day_list: File { name: &self.day_list.0, bytes: &self.day_list.1 },
            unit: File { name: &self.unit.0, bytes: &self.unit.1 },
            regimens: File { name: &self.regimens.0, bytes: &self.regimens.1 },
        }
    }
}

/// Reads the day list and, beside it unless they are named, the unit's two files.
pub(super) fn read_inputs(arguments: &DayArguments) -> Result<InputFiles, Failure> {
    let folder = arguments.day_list.parent().unwrap_or(Path::new(""));
    let beside = |named: &Option<PathBuf>, name: &str| named.clone().unwrap_or_else(|| folder.join(name));
    Ok(InputFiles {
        day_list: read_file(&arguments.day_list)?,
        unit: read_file(&beside(&arguments.unit, "unit.toml"))?,
        regimens: read_file(&beside(&arguments.regimens, "regimens.toml"))?,
    })
}

fn read_file(path: &Path) -> Result<(String, Vec<u8>), Failure> {
    let name = path.file_name().unwrap_or(path.as_os_str()).to_string_lossy().into_owned();
    match fs::read(path) {
        Ok(bytes) => Ok((name, bytes)),
        Err(error) => Err(Failure::outside("read", path, &error)),
    }
}

/// `14-Mar-2031 07:02`: when the pack was printed, by the clock of the unit.
pub(super) fn print_stamp(now: i64, zone: Tz) -> String {
    let moment = DateTime::from_timestamp(now, 0).unwrap_or_default().with_timezone(&zone);
    format!("{} {}", short_date(moment.date_naive()), moment.format("%H:%M"))
}

/// Writes the manual page and the shells' completions.
pub(super) fn write_manual(folder: &Path) -> Result<(), Failure> {
    let failed = |error: &io::Error| Failure::outside("write the manual into", folder, error);
    fs::create_dir_all(folder).map_err(|error| failed(&error))?;
    let description = Arguments::description();
    let mut page = Vec::new();
    clap_mangen::Man::new(description.clone()).render(&mut page).map_err(|error| failed(&error))?;
    write_one(&folder.join("baypack.1"), &page).map_err(|error| failed(&error))?;
    for shell in clap_complete::Shell::value_variants() {
        clap_complete::generate_to(*shell, &mut description.clone(), "baypack", folder)
            .map_err(|error| failed(&error))?;
    }
    Ok(())
}

/// A changed list that does not read back as the proposal: a fault of the program.
pub(super) fn not_as_proposed(file: &str) -> Problem {
    Problem {
        what: "changed list does not read back as proposed".to_owned(),
        place: Place { file: file.to_owned(), ..Place::default() },
        found: None,
        help: "change the arrival times by hand, and tell whoever looks after the program".to_owned(),
    }
}

/// Prints what clap has to say; help asked for is no failure.
pub(super) fn print_usage(usage: &clap::Error) -> u8 {
    // A terminal that went away leaves nobody to tell.
    let _ = usage.print();
    if usage.use_stderr() { USAGE } else { 0 }
}

/// Prints why nothing was written.
pub(super) fn print_failure(failure: &Failure) -> u8 {
    match failure {
        Failure::Problems(problems) => {
            for problem in problems {
                eprintln!("{problem}");
            }
            eprintln!("{}; nothing was written.", count(problems.len(), "problem"));
            REFUSED
        }
        Failure::Breaches(breaches) => {
            for breach in breaches {
                eprintln!("error: {breach}");
            }
            eprintln!(
                "The plan did not pass its own check ({}); nothing was written.",
                count(breaches.len(), "breach")
            );
            eprintln!("Plan this day by hand, and tell whoever looks after the program.");
            REFUSED
        }
        Failure::Unprintable(faults) => {
            for fault in faults {
                eprintln!("{fault}");
            }
            eprintln!("{}; nothing was written.", count(faults.len(), "sheet fault"));
            REFUSED
        }
        Failure::Outside { what, path, why } => {
            eprintln!("error: could not {what} {}: {why}", path.display());
            eprintln!("help: check the name, and that the folder is there and yours to use");
            OUTSIDE
        }
    }
}

/// `1 problem`, `3 problems`.
pub(super) fn count(number: usize, word: &str) -> String {
    match (number, word) {
        (1, word) => format!("1 {word}"),
        (number, "breach") => format!("{number} breaches"),
        (number, word) => format!("{number} {word}s"),
    }
}
