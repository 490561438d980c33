//! Single files, written whole or not at all, readable by their owner only.
//!
//! A file is written under a scratch name beside its own, locked for as long as it is, synced and renamed. Must
//! not replace what is no file: a device or a pipe has no content to keep whole.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

use super::leftovers::{SCRATCH, delete_files};
use super::{folder_of, is_there, stopping, sync_folder};

/// How often a scratch file is made anew that somebody deleted before it was locked.
const ATTEMPTS: usize = 10;

/// Writes one file whole, readable by its owner only, in place of one that may be there.
///
/// # Errors
///
/// If the file cannot be made or written, or something there is no file; what was there is then as it was.
pub fn write_one(path: &Path, content: &[u8]) -> io::Result<()> {
    let path = file_behind(path)?;
    let _writing = stopping::writing();
    beside(&path, content)?.persist(&path)?;
    sync_folder(folder_of(&path))
}

/// Writes one new file whole, readable by its owner only; never over one that is there.
///
/// # Errors
///
/// [`io::ErrorKind::AlreadyExists`] where the name is taken, and whatever else keeps the file from
/// being made or written; nothing is left of it then.
pub fn write_new(path: &Path, content: &[u8]) -> io::Result<()> {
    if is_there(path)? {
        return Err(io::ErrorKind::AlreadyExists.into());
    }
    let _writing = stopping::writing();
    beside(path, content)?.persist_noclobber(path)?;
    sync_folder(folder_of(path))
}

/// The file to replace: what a link leads to, and nothing that is no file.
fn file_behind(path: &Path) -> io::Result<PathBuf> {
    if !is_there(path)? {
        return Ok(path.to_owned());
    }
    let path = fs::canonicalize(path)?;
    if fs::metadata(&path)?.is_file() {
        Ok(path)
    } else {
        Err(io::Error::new(io::ErrorKind::InvalidInput, "something is there that is not a file"))
    }
}

/// The content of a file under a scratch name in its folder, safe from a power cut.
fn beside(path: &Path, content: &[u8]) -> io::Result<NamedTempFile> {
    let folder = folder_of(path);
    delete_files(folder);
    let mut file = locked(folder)?;
    file.write_all(content)?;
    file.as_file().sync_all()?;
    stopping::check()?;
    Ok(file)
}

/// A scratch file with a lock, by which other runs see that it was not left behind. Where the system has no
/// locks, nobody deletes it either.
fn locked(folder: &Path) -> io::Result<NamedTempFile> {
    let mut file = tempfile::Builder::new().prefix(SCRATCH).tempfile_in(folder)?;
    for _ in 0..ATTEMPTS {
        // Whether or not there is a lock, the name must still stand for this file.
        let _ = file.as_file().try_lock();
        if is_there(file.path())? {
            break;
        }
        file = tempfile::Builder::new().prefix(SCRATCH).tempfile_in(folder)?;
    }
    Ok(file)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_new_file_is_written_whole_and_never_over_one_that_is_there() {
        let place = tempfile::tempdir().expect("a folder");
        let path = place.path().join("faults.csv");
        write_new(&path, b"first").expect("written");
        let refused = write_new(&path, b"second").expect_err("the name is taken");
        assert_eq!(refused.kind(), io::ErrorKind::AlreadyExists);
        assert_eq!(fs::read(&path).expect("the file"), b"first");
        assert_eq!(fs::read_dir(place.path()).expect("the folder").count(), 1);
    }

    #[test]
    fn a_half_written_file_is_deleted_by_the_next_run_unless_it_is_still_written() {
        let place = tempfile::tempdir().expect("a folder");
        let left = locked(place.path()).expect("a scratch file");
        let (_, left) = left.keep().expect("a run that was stopped");
        let at_work = locked(place.path()).expect("a scratch file of another run");
        write_one(&place.path().join("plan.json"), b"{}").expect("written");
        assert!(!left.exists());
        assert!(at_work.path().exists());
    }

    #[test]
    fn what_is_no_file_is_not_replaced() {
        let place = tempfile::tempdir().expect("a folder");
        fs::create_dir(place.path().join("plan.json")).expect("a folder of that name");
        write_one(&place.path().join("plan.json"), b"{}").expect_err("it is a folder");
        assert_eq!(fs::read_dir(place.path()).expect("the folder").count(), 1);
    }

    #[cfg(unix)]
    #[test]
    fn a_link_stays_and_what_it_leads_to_is_replaced() {
        let place = tempfile::tempdir().expect("a folder");
        write_one(&place.path().join("real.json"), b"old").expect("written");
        let link = place.path().join("plan.json");
        std::os::unix::fs::symlink("real.json", &link).expect("a link");
        write_one(&link, b"new").expect("written");
        assert!(fs::symlink_metadata(&link).expect("the link").is_symlink());
        assert_eq!(fs::read(place.path().join("real.json")).expect("the file"), b"new");
    }
}
