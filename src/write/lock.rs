//! The lock of a folder: one run writes into it at a time.
//!
//! It belongs to the operating system and ends with the process that holds it; the file that carries it
//! means nothing by being there. Must not decide what is done without a lock.

use std::fs::{File, OpenOptions, TryLockError};
use std::io;
use std::path::Path;
use std::thread;
use std::time::Duration;

use super::{is_there, owner_only};

/// The file that a run locks while it writes. It is empty, and stays.
pub(super) const LOCK: &str = ".baypack.lock";

/// How often a run asks for the lock before it gives up, and how long it waits each time: a minute in
/// all, far longer than any pack takes to write.
const ATTEMPTS: u32 = 600;
const PAUSE: Duration = Duration::from_millis(100);

/// How long to wait for a lock that another run holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Wait {
    /// Not at all.
    No,
    /// Long enough for any run to end.
    Minute,
}

/// Waits until no other run writes into `out`. `None` where there are no locks (some network drives) or
/// where the lock is another user's: that user's folders are safe from this one in any case.
///
/// # Errors
///
/// [`io::ErrorKind::WouldBlock`] where the lock is held for longer than is waited, and whatever else keeps
/// the file from being made.
pub(super) fn lock(out: &Path, wait: Wait) -> io::Result<Option<File>> {
    let path = out.join(LOCK);
    let file = match lock_file(&path) {
        Ok(file) => file,
        Err(error) if error.kind() == io::ErrorKind::PermissionDenied && is_there(&path)? => return Ok(None),
        Err(error) => return Err(error),
    };
    for _ in 0..if wait == Wait::No { 1 } else { ATTEMPTS } {
        match file.try_lock() {
            Ok(()) => return Ok(Some(file)),
            Err(TryLockError::WouldBlock) if wait == Wait::No => break,
            Err(TryLockError::WouldBlock) => thread::sleep(PAUSE),
            Err(TryLockError::Error(_)) => return Ok(None),
        }
    }
    Err(io::Error::new(io::ErrorKind::WouldBlock, "another run is writing into this folder"))
}

/// Opens the file, and never waits for what only looks like one.
fn lock_file(path: &Path) -> io::Result<File> {
    let mut options = OpenOptions::new();
    options.create(true).truncate(false).write(true);
    owner_only(&mut options);
    #[cfg(unix)]
    {
        let flags = rustix::fs::OFlags::NOFOLLOW | rustix::fs::OFlags::NONBLOCK;
        std::os::unix::fs::OpenOptionsExt::custom_flags(&mut options, flags.bits().cast_signed());
    }
    options.open(path)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lock_that_is_held_is_not_given_twice_and_ends_with_its_holder() {
        let out = tempfile::tempdir().expect("a folder");
        let held = lock(out.path(), Wait::No).expect("nobody has it").expect("the system has locks");
        let refused = lock(out.path(), Wait::No).expect_err("it is held");
        assert_eq!(refused.kind(), io::ErrorKind::WouldBlock);
        drop(held);
        assert!(lock(out.path(), Wait::Minute).expect("it is free").is_some());
    }

    #[test]
    fn a_lock_file_that_a_dead_run_left_is_no_lock() {
        let out = tempfile::tempdir().expect("a folder");
        #[expect(clippy::disallowed_methods, reason = "what is left is not written by this program")]
        std::fs::write(out.path().join(LOCK), "4711").expect("left behind");
        assert!(lock(out.path(), Wait::No).expect("nobody holds it").is_some());
    }

    #[cfg(unix)]
    #[test]
    fn a_link_or_a_pipe_in_place_of_the_lock_is_refused_at_once() {
        let out = tempfile::tempdir().expect("a folder");
        std::os::unix::fs::symlink("elsewhere", out.path().join(LOCK)).expect("a link");
        lock(out.path(), Wait::Minute).expect_err("a link is not followed");
        assert!(!out.path().join("elsewhere").exists());
        std::fs::remove_file(out.path().join(LOCK)).expect("deleted");
        std::process::Command::new("mkfifo").arg(out.path().join(LOCK)).status().expect("a pipe");
        lock(out.path(), Wait::Minute).expect_err("nobody reads the pipe");
    }
}
