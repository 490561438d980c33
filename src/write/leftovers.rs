//! What runs that were stopped have left behind: put right and deleted by the next one.
//!
//! Everything here has a scratch name, by which it is known to be no pack. Must not touch what another run is
//! still at work on: folders are deleted under the lock of their folder, files under their own.

use std::ffi::OsStr;
use std::fs::{self, DirEntry, File};
use std::io;
use std::path::{Path, PathBuf};

use super::{is_there, sync_folder};

/// Begins the names of everything that is not a pack and may be deleted.
pub(super) const SCRATCH: &str = ".baypack-";
/// Ends the name of a scratch folder that is being deleted.
const GONE: &str = "-gone";
/// Ends the name of the pack that a day had before.
const PREVIOUS: &str = ".previous";

/// Begins the names of the folders in which a day's pack is written.
pub(super) fn scratch_of(day: &str) -> String {
    format!("{SCRATCH}{day}-")
}

/// Whether anything was left behind in a folder.
pub(super) fn any(out: &Path) -> bool {
    scratch(out).is_ok_and(|left| !left.is_empty())
}

/// Gives a pack its day's name back that was between two names, and deletes what was left behind. Needs the
/// folder's lock. Returns what could not be deleted.
///
/// # Errors
///
/// If the folder cannot be read.
pub(super) fn put_right(out: &Path) -> io::Result<Vec<PathBuf>> {
    let left = scratch(out)?;
    if left.is_empty() {
        return Ok(Vec::new());
    }
    name_again(out, &left)?;
    Ok(left.iter().filter(|entry| delete(entry).is_err()).map(DirEntry::path).collect())
}

/// Deletes the single files in a folder that a run has left half written.
pub(super) fn delete_files(folder: &Path) {
    for entry in scratch(folder).unwrap_or_default() {
        if entry.file_type().is_ok_and(|kind| kind.is_file()) {
            // It is tried again by the next run, and is nobody's but the owner's to read.
            let _ = delete(&entry);
        }
    }
}

fn scratch(folder: &Path) -> io::Result<Vec<DirEntry>> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        if entry.file_name().as_encoded_bytes().starts_with(SCRATCH.as_bytes()) {
            found.push(entry);
        }
    }
    Ok(found)
}

/// A run that was stopped between two names has left its new folder behind, which bears the day, and the day's pack as
/// the previous one. A pack of another day that is missing is missing because a person deleted it.
fn name_again(out: &Path, left: &[DirEntry]) -> io::Result<()> {
    let was_at_work = |day: &str| {
        let scratch = scratch_of(day);
        left.iter().any(|entry| entry.file_name().as_encoded_bytes().starts_with(scratch.as_bytes()))
    };
    for entry in fs::read_dir(out)? {
        let path = entry?.path();
        let day = path.file_name().and_then(OsStr::to_str).and_then(|name| name.strip_suffix(PREVIOUS));
        if let Some(day) = day.filter(|day| was_at_work(day)).map(|day| out.join(day))
            && !is_there(&day)?
        {
            fs::rename(&path, &day)?;
            sync_folder(out)?;
        }
    }
    Ok(())
}

fn delete(entry: &DirEntry) -> io::Result<()> {
    let (path, kind) = (entry.path(), entry.file_type()?);
    if kind.is_dir() {
        delete_folder(&path)
    } else if kind.is_file() {
        delete_file(&path)
    } else {
        fs::remove_file(path)
    }
}

/// A folder loses its name first: should a run be at work in it after all, on a drive whose locks do not
/// hold, that run finds no folder any more, and never gives half of one a day's name.
fn delete_folder(path: &Path) -> io::Result<()> {
    if path.as_os_str().as_encoded_bytes().ends_with(GONE.as_bytes()) {
        return fs::remove_dir_all(path);
    }
    let mut gone = path.as_os_str().to_owned();
    gone.push(GONE);
    fs::rename(path, &gone)?;
    fs::remove_dir_all(gone)
}

/// A file that another run is writing is locked by it.
fn delete_file(path: &Path) -> io::Result<()> {
    let file = File::open(path)?;
    match file.try_lock() {
        Ok(()) => fs::remove_file(path),
        Err(fs::TryLockError::WouldBlock) => Ok(()),
        Err(fs::TryLockError::Error(error)) => Err(error),
    }
}
