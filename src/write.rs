//! Writes a finished pack: whole or not at all, readable by its owner only.
//!
//! Everything is written into a new folder beside the day's one and synced; then the folders change
//! names. At every moment, also if the program or the machine stops there, a complete pack stands in
//! `<date>` or, between two changes of names, in `<date>.previous`; the next run puts that right.
//!
//! One run writes into a folder at a time. The lock is the operating system's, which ends with the
//! process that holds it, so that a run that was killed blocks nobody.

use std::fs::{self, DirBuilder, File, OpenOptions, TryLockError};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::thread;
use std::time::Duration;

/// Begins the names of everything that is not a pack and may be deleted.
const SCRATCH: &str = ".baypack-";

/// The file that a run locks while it writes.
const LOCK: &str = ".baypack.lock";

/// How often a run asks for the lock before it gives up, and how long it waits each time: a minute in
/// all, far longer than any pack takes to write.
const ATTEMPTS: u32 = 600;
const WAIT: Duration = Duration::from_millis(100);

/// Where a pack was written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Written {
    /// The day's folder.
    pub folder: PathBuf,
    /// How many files are in it.
    pub files: usize,
}

/// Writes `files` (path below the day's folder, content) to `out/<date>/`. A pack that is already
/// there becomes `<date>.previous`, in place of an older one.
///
/// # Errors
///
/// If a folder or file cannot be made, or another run holds the lock for a minute; the day's folder
/// is then as it was.
pub fn write(out: &Path, date: &str, files: &[(String, Vec<u8>)]) -> io::Result<Written> {
    private_folders(out)?;
    let _lock = lock(out)?;
    let (folder, previous) = (out.join(date), out.join(format!("{date}.previous")));
    clear_scratch(out)?;
    if previous.exists() && !folder.exists() {
        fs::rename(&previous, &folder)?;
    }
    let new = scratch_folder(out)?;
    fill(new.path(), files)?;
    exchange(out, new, &folder, &previous)?;
    sync_folder(out)?;
    Ok(Written { folder, files: files.len() })
}

/// Waits until no other run writes into `out`. Where the system has no locks (some network drives),
/// there is none: the names of the new folders differ in any case.
fn lock(out: &Path) -> io::Result<Option<File>> {
    let mut options = OpenOptions::new();
    options.create(true).truncate(false).write(true);
    owner_only(&mut options);
    let file = options.open(out.join(LOCK))?;
    for _ in 0..ATTEMPTS {
        match file.try_lock() {
            Ok(()) => return Ok(Some(file)),
            Err(TryLockError::WouldBlock) => thread::sleep(WAIT),
            Err(TryLockError::Error(error)) if error.kind() == io::ErrorKind::Unsupported => return Ok(None),
            Err(TryLockError::Error(error)) => return Err(error),
        }
    }
    Err(io::Error::new(io::ErrorKind::WouldBlock, "another run is writing into this folder"))
}

/// Deletes what a run that was stopped has left behind.
fn clear_scratch(out: &Path) -> io::Result<()> {
    for entry in fs::read_dir(out)? {
        let entry = entry?;
        if entry.file_name().to_string_lossy().starts_with(SCRATCH) {
            fs::remove_dir_all(entry.path())?;
        }
    }
    Ok(())
}

/// Writes all files into a new folder, and makes them and their names last.
fn fill(folder: &Path, files: &[(String, Vec<u8>)]) -> io::Result<()> {
    let mut folders = vec![folder.to_owned()];
    for (path, content) in files {
        let path = folder.join(path);
        if let Some(parent) = path.parent().filter(|parent| !folders.iter().any(|made| made == parent)) {
            private_folders(parent)?;
            folders.push(parent.to_owned());
        }
        write_file(&path, content)?;
    }
    folders.iter().try_for_each(|made| sync_folder(made))
}

/// The new folder takes the day's name, the day's folder that of the previous one, and what was there
/// before that is deleted last.
fn exchange(out: &Path, new: tempfile::TempDir, folder: &Path, previous: &Path) -> io::Result<()> {
    let oldest = scratch_folder(out)?;
    if previous.exists() && folder.exists() {
        fs::rename(previous, oldest.path().join("pack"))?;
    }
    if folder.exists() {
        fs::rename(folder, previous)?;
    }
    if let Err(error) = fs::rename(new.path(), folder) {
        if previous.exists() {
            fs::rename(previous, folder)?;
        }
        return Err(error);
    }
    // It has another name now: there is nothing to delete.
    let _ = new.keep();
    oldest.close()
}

/// Writes one file, readable by its owner only, in place of one that may be there.
///
/// # Errors
///
/// If the file cannot be made or written.
pub fn write_one(path: &Path, content: &[u8]) -> io::Result<()> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut beside = tempfile::NamedTempFile::new_in(folder)?;
    beside.write_all(content)?;
    beside.as_file().sync_all()?;
    beside.persist(path)?;
    Ok(())
}

/// Writes one new file, readable by its owner only, whole or not at all and never over another.
///
/// # Errors
///
/// If there is a file of that name, or it cannot be made or written.
pub fn write_new(path: &Path, content: &[u8]) -> io::Result<()> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut beside = tempfile::NamedTempFile::new_in(folder)?;
    beside.write_all(content)?;
    beside.as_file().sync_all()?;
    beside.persist_noclobber(path)?;
    sync_folder(folder)
}

fn write_file(path: &Path, content: &[u8]) -> io::Result<()> {
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    owner_only(&mut options);
    let mut file = options.open(path)?;
    file.write_all(content)?;
    file.sync_all()
}

/// Lets a new file be read by its owner alone, where the system has owners.
fn owner_only(options: &mut OpenOptions) {
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(options, 0o600);
    #[cfg(not(unix))]
    let _ = options;
}

/// A new folder with a name of its own, which goes away again unless it is kept.
fn scratch_folder(out: &Path) -> io::Result<tempfile::TempDir> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(SCRATCH);
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o700));
    builder.tempdir_in(out)
}

/// Makes the folders of a path that are not there, each for its owner only.
fn private_folders(path: &Path) -> io::Result<()> {
    let mut builder = DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.create(path)
}

/// Makes the change of names last through a power cut, where the system can.
fn sync_folder(path: &Path) -> io::Result<()> {
    if cfg!(unix) { File::open(path)?.sync_all() } else { Ok(()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn files(content: &str) -> Vec<(String, Vec<u8>)> {
        vec![
            ("pack.pdf".to_owned(), content.as_bytes().to_vec()),
            ("cards/K7M4QX.pdf".to_owned(), content.as_bytes().to_vec()),
        ]
    }

    fn names(folder: &Path) -> Vec<String> {
        let entries = fs::read_dir(folder).expect("the folder is there");
        let mut names: Vec<_> = entries
            .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
            .collect();
        names.retain(|name| name != LOCK);
        names.sort();
        names
    }

    #[test]
    fn a_second_pack_takes_the_place_of_the_first_and_the_first_is_kept() {
        let out = tempfile::tempdir().expect("a folder");
        for content in ["one", "two", "three"] {
            write(out.path(), "2031-03-14", &files(content)).expect("written");
        }
        assert_eq!(names(out.path()), ["2031-03-14", "2031-03-14.previous"]);
        let read = |folder: &str| {
            fs::read_to_string(out.path().join(folder).join("cards/K7M4QX.pdf")).expect("a card")
        };
        assert_eq!((read("2031-03-14").as_str(), read("2031-03-14.previous").as_str()), ("three", "two"));
    }

    #[test]
    fn a_pack_that_cannot_be_written_leaves_the_old_one_and_nothing_else() {
        let out = tempfile::tempdir().expect("a folder");
        write(out.path(), "2031-03-14", &files("old")).expect("written");
        let clash = vec![("cards".to_owned(), Vec::new()), ("cards/K7M4QX.pdf".to_owned(), Vec::new())];
        write(out.path(), "2031-03-14", &clash).expect_err("a file cannot be a folder too");
        assert_eq!(names(out.path()), ["2031-03-14"]);
        assert_eq!(fs::read(out.path().join("2031-03-14/pack.pdf")).expect("the old pack"), b"old");
    }

    #[test]
    fn a_run_that_was_stopped_between_two_names_is_put_right_by_the_next() {
        let out = tempfile::tempdir().expect("a folder");
        write(out.path(), "2031-03-14", &files("old")).expect("written");
        fs::rename(out.path().join("2031-03-14"), out.path().join("2031-03-14.previous"))
            .expect("stopped here");
        fs::create_dir(out.path().join(".baypack-left")).expect("scratch of the stopped run");
        write(out.path(), "2031-03-14", &files("new")).expect("written");
        assert_eq!(names(out.path()), ["2031-03-14", "2031-03-14.previous"]);
        let read =
            |folder: &str| fs::read_to_string(out.path().join(folder).join("pack.pdf")).expect("a pack");
        assert_eq!((read("2031-03-14").as_str(), read("2031-03-14.previous").as_str()), ("new", "old"));
    }

    #[test]
    fn runs_at_the_same_time_leave_one_complete_pack_of_one_of_them() {
        let out = tempfile::tempdir().expect("a folder");
        thread::scope(|scope| {
            for content in ["one", "two", "three", "four"] {
                let out = out.path();
                scope.spawn(move || write(out, "2031-03-14", &files(content)).expect("written"));
            }
        });
        assert_eq!(names(out.path()), ["2031-03-14", "2031-03-14.previous"]);
        let read = |file: &str| fs::read(out.path().join("2031-03-14").join(file)).expect("a file");
        assert_eq!(read("pack.pdf"), read("cards/K7M4QX.pdf"), "both files are of one run");
    }

    #[cfg(unix)]
    #[test]
    fn only_the_owner_may_read_what_is_written() {
        use std::os::unix::fs::PermissionsExt;
        let place = tempfile::tempdir().expect("a folder");
        let out = place.path().join("new/out");
        let written = write(&out, "2031-03-14", &files("private")).expect("written");
        let mode = |path: &Path| fs::metadata(path).expect("it is there").permissions().mode() & 0o777;
        assert_eq!(mode(&out), 0o700);
        assert_eq!(mode(&written.folder), 0o700);
        assert_eq!(mode(&written.folder.join("cards")), 0o700);
        assert_eq!(mode(&written.folder.join("cards/K7M4QX.pdf")), 0o600);
        write_one(&out.join("plan.json"), b"{}").expect("written");
        assert_eq!(mode(&out.join("plan.json")), 0o600);
    }
}
