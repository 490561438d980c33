//! Files in, messages out: everything that can fail for a reason outside the program.

use std::fs;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use chrono::DateTime;
use chrono_tz::Tz;
use clap::ValueEnum;

use super::arguments::{Arguments, DayArguments};
use super::faults::{FaultsFile, told};
use super::report::tell;
use crate::characters::on_a_terminal;
use crate::clock::short_date;
use crate::problem::{Place, Problem, messages};
use crate::read::limits::DAY_LIST_BYTES;
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

/// Exit status of a run that was told to stop while it wrote, as shells have it for Ctrl-C.
const STOPPED: u8 = 130;

/// Bytes that are read of any file: one more than the largest that is accepted.
const READ_AT_MOST: u64 = DAY_LIST_BYTES as u64 + 1;

/// The names of the unit's files, where the command line gives no others.
pub(super) const UNIT: &str = "unit.toml";
pub(super) const REGIMENS: &str = "regimens.toml";

/// The last second of the year 9998, in seconds since 1970.
const LAST_STAMP: i64 = 253_370_764_799;

/// Why a run did not do what it was asked. In every case nothing was written.
#[derive(Debug)]
pub(super) enum Failure {
    /// The input, or a wording file, has faults.
    Problems(Vec<Problem>),
    /// Rows of the day list have faults, and nothing else has.
    Rows(Vec<Problem>),
    /// The same as problems, with what became of the file that says what to mend.
    Noted(FaultsFile, Vec<Problem>),
    /// The plan did not pass its own check: a fault of the program.
    Breaches(Vec<Breach>),
    /// A sheet could not be set as it must be.
    Unprintable(Vec<RenderFault>),
    /// A file could not be read or written.
    Outside { what: String, path: PathBuf, why: io::Error },
}

impl Failure {
    /// A file or folder that could not be used. `what` goes on `could not …`.
    pub fn outside(what: &str, path: &Path, why: io::Error) -> Self {
        Self::Outside { what: what.to_owned(), path: path.to_owned(), why }
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

/// A path as a terminal may show it: a file's name can hold what would move the cursor.
pub(super) fn shown(path: &Path) -> String {
    on_a_terminal(&path.to_string_lossy())
}

/// Reads the day list and, beside it unless they are named, the unit's two files.
pub(super) fn read_inputs(arguments: &DayArguments) -> Result<InputFiles, Failure> {
    let folder = arguments.day_list.parent().unwrap_or(Path::new(""));
    let beside = |named: &Option<PathBuf>, name: &str| named.clone().unwrap_or_else(|| folder.join(name));
    Ok(InputFiles {
        day_list: read_file(&arguments.day_list)?,
        unit: read_file(&beside(&arguments.unit, UNIT))?,
        regimens: read_file(&beside(&arguments.regimens, REGIMENS))?,
    })
}

fn read_file(path: &Path) -> Result<(String, Vec<u8>), Failure> {
    let name = path.file_name().unwrap_or(path.as_os_str()).to_string_lossy().into_owned();
    match read_whole(path) {
        Ok(bytes) => Ok((name, bytes)),
        Err(error) => Err(Failure::outside("read", path, error)),
    }
}

/// Reads a file, at most a little more than the largest that is accepted, so that the reader can refuse it. What
/// is no file is not opened: a pipe that nobody writes to would be waited for without end.
pub(super) fn read_whole(path: &Path) -> io::Result<Vec<u8>> {
    if !fs::metadata(path)?.is_file() {
        return Err(io::Error::new(io::ErrorKind::InvalidInput, "it is not a file"));
    }
    let mut bytes = Vec::new();
    fs::File::open(path)?.take(READ_AT_MOST).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// `14-Mar-2031 07:02`: when the pack was printed, by the clock of the unit. A clock that is set to a time before
/// 1970 or after 9998 counts as that: the calendar ends not far beyond.
pub(super) fn print_stamp(now: i64, zone: Tz) -> String {
    let moment =
        DateTime::from_timestamp(now.clamp(0, LAST_STAMP), 0).unwrap_or_default().with_timezone(&zone);
    format!("{} {}", short_date(moment.date_naive()), moment.format("%H:%M"))
}

/// Writes the manual page and the shells' completions.
pub(super) fn write_manual(folder: &Path) -> Result<(), Failure> {
    let failed = |error: io::Error| Failure::outside("write the manual into", folder, error);
    fs::create_dir_all(folder).map_err(failed)?;
    let description = Arguments::description();
    let mut page = Vec::new();
    clap_mangen::Man::new(description.clone()).render(&mut page).map_err(failed)?;
    write_one(&folder.join("baypack.1"), &page).map_err(failed)?;
    for shell in clap_complete::Shell::value_variants() {
        clap_complete::generate_to(*shell, &mut description.clone(), "baypack", folder).map_err(failed)?;
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
            tell!("{}; nothing was written.", print_problems(problems));
            REFUSED
        }
        Failure::Rows(problems) => {
            tell!("{}; nothing was written.", print_problems(problems));
            tell!(
                "Mend these cells and run again. To have the list with what to mend in each row, add --faults FILE."
            );
            tell!(
                "To make the pack without these rows, add --hold-bad-rows: the front sheet then names them."
            );
            REFUSED
        }
        Failure::Noted(file, problems) => {
            tell!("{}; no pack was written.", print_problems(problems));
            if let FaultsFile::Failed(failure) = file {
                print_failure(failure);
            }
            told(file).into_iter().for_each(|told| tell!("{told}"));
            REFUSED
        }
        Failure::Breaches(breaches) => {
            for breach in breaches {
                tell!("error: {breach}");
            }
            tell!(
                "The plan did not pass its own check ({}); nothing was written.",
                count(breaches.len(), "breach")
            );
            tell!("Plan this day by hand, and tell whoever looks after the program.");
            REFUSED
        }
        Failure::Unprintable(faults) => {
            for fault in faults {
                tell!("{fault}");
            }
            tell!("{}; nothing was written.", count(faults.len(), "sheet fault"));
            REFUSED
        }
        Failure::Outside { what, path, why } => {
            tell!("error: could not {what} {}: {why}", shown(path));
            tell!("help: {}", what_to_do(path, why.kind()));
            if why.kind() == io::ErrorKind::Interrupted { STOPPED } else { OUTSIDE }
        }
    }
}

/// What a clerk can do about a file or folder that could not be used.
fn what_to_do(path: &Path, kind: io::ErrorKind) -> &'static str {
    use io::ErrorKind as Kind;
    let is_of_the_unit = path.ends_with(UNIT) || path.ends_with(REGIMENS);
    match kind {
        Kind::NotFound if is_of_the_unit => {
            "put the unit's `unit.toml` and `regimens.toml` into the folder of the day list, or name them with --unit and \
             --regimens; to begin, copy those in `demo-input` and write your unit's own values"
        }
        Kind::Interrupted => "nothing of this run was written; run it again when you are ready",
        Kind::WouldBlock => {
            "wait until the other run has ended and try again, or write to another folder with --out"
        }
        Kind::StorageFull | Kind::QuotaExceeded | Kind::FileTooLarge => {
            "there is no room: delete what is not needed any more, or write to another folder with --out"
        }
        Kind::ReadOnlyFilesystem => "nothing can be written there: write to another folder with --out",
        Kind::InvalidInput => "name a file that holds the data, not a folder, a device or a pipe",
        Kind::AlreadyExists => {
            "something of this name is there already and is never written over: give another name"
        }
        Kind::NotADirectory => "a part of the name is a file and no folder: give another name",
        _ => "check the name, and that the folder is there and yours to use",
    }
}

/// Prints the messages of some problems, and says how many there are.
fn print_problems(problems: &[Problem]) -> String {
    let messages = messages(problems);
    for message in &messages {
        tell!("{message}");
    }
    counted(messages.len(), problems.len())
}

/// `3 problems`, or `3 problems in 41 places` where one problem stands in several.
fn counted(messages: usize, places: usize) -> String {
    let problems = count(messages, "problem");
    if places == messages { problems } else { format!("{problems} in {}", count(places, "place")) }
}

/// `1 problem`, `3 problems`.
pub(super) fn count(number: usize, word: &str) -> String {
    match (number, word) {
        (1, word) => format!("1 {word}"),
        (number, "breach") => format!("{number} breaches"),
        (number, word) => format!("{number} {word}s"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_clock_gives_a_stamp() {
        let stamp = |now| print_stamp(now, Tz::Europe__London);
        assert_eq!(stamp(1_931_238_120), "14-Mar-2031 07:02");
        for before in [i64::MIN, -8_334_601_228_800, -1] {
            assert_eq!(stamp(before), stamp(0));
        }
        for after in [LAST_STAMP, 8_210_266_876_799, i64::MAX] {
            assert_eq!(stamp(after), "31-Dec-9998 23:59");
        }
    }
}
