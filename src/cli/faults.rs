//! The file of `--faults`: whether there is something to write into it, and writing it.

use std::path::{Path, PathBuf};

use super::outside::{Failure, shown};
use crate::faults::written_back;
use crate::problem::Problem;
use crate::read::RawInputs;
use crate::write::write_new;

/// What became of the file.
#[derive(Debug)]
pub(super) enum FaultsFile {
    /// It was written.
    Written(PathBuf),
    /// Nothing would stand in it: the list could not be read into rows, or its rows have no fault.
    NotNeeded(PathBuf),
    /// It could not be written.
    Failed(Box<Failure>),
}

/// Writes the list with what to mend in each row, if any of the problems are the list's.
pub(super) fn write_faults(path: &Path, raw: &RawInputs, problems: &[Problem]) -> FaultsFile {
    let Ok(list) = &raw.day_list.content else { return FaultsFile::NotNeeded(path.to_owned()) };
    let of_list: Vec<&Problem> =
        problems.iter().filter(|problem| problem.place.file == raw.day_list.name).collect();
    let written =
        written_back(list, &of_list).and_then(|bytes| bytes.map(|bytes| write_new(path, &bytes)).transpose());
    match written {
        Ok(Some(())) => FaultsFile::Written(path.to_owned()),
        Ok(None) => FaultsFile::NotNeeded(path.to_owned()),
        Err(error) => FaultsFile::Failed(Box::new(Failure::outside("write", path, error))),
    }
}

/// What a run says of the file, but for a failure.
pub(super) fn told(file: &FaultsFile) -> Option<String> {
    match file {
        FaultsFile::Written(path) => {
            Some(format!("{} has the list with what to mend in each row.", shown(path)))
        }
        FaultsFile::NotNeeded(path) => {
            Some(format!("{} was not written: no fault is in a row of the list.", shown(path)))
        }
        FaultsFile::Failed(_) => None,
    }
}
