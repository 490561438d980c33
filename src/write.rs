//! Writes a finished pack: whole or not at all, readable by its owner only.
//!
//! Everything is written into a new folder beside the day's one and synced; then the folders change
//! names. At every moment, also if the program or the machine stops there, a complete pack stands in
//! `<date>` or, between two changes of names, in `<date>.previous`; the next run puts that right.
//!
//! One run writes into a folder at a time. The lock is the operating system's, which ends with the
//! process that holds it, so that a run that was killed blocks nobody. Must not look into a pack: it
//! writes bytes under the names that it is given.

mod leftovers;
mod lock;
mod names;
mod single;
pub mod stopping;

use std::fs::{self, DirBuilder, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use self::lock::Wait;
pub use self::single::{write_new, write_one};

/// Where a pack was written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Written {
    /// The day's folder.
    pub folder: PathBuf,
    /// How many files are in it.
    pub files: usize,
    /// What runs that were stopped have left behind and nobody can delete but a person.
    pub not_deleted: Vec<PathBuf>,
}

/// Writes `files` (path below the day's folder, content) to `out/<date>/`. A pack that is already
/// there becomes `<date>.previous`, in place of an older one.
///
/// # Errors
///
/// If a folder or file cannot be made, or another run holds the lock for a minute; the day's folder
/// and the one before are then as they were. [`io::ErrorKind::Interrupted`] where the run was told to stop.
pub fn write(out: &Path, date: &str, files: &[(String, Vec<u8>)]) -> io::Result<Written> {
    private_folders(out)?;
    let lock = lock::lock(out, Wait::Minute)?;
    let _writing = stopping::writing();
    // Without a lock, what looks left behind may be another run's work.
    let not_deleted = if lock.is_some() { leftovers::put_right(out)? } else { Vec::new() };
    let new = scratch_folder(out, date)?;
    fill(new.path(), files)?;
    stopping::check()?;
    let folder = out.join(date);
    names::install(new.path(), &folder, &out.join(format!("{date}.previous")), names::exchange)?;
    // Where this fails, the next run deletes it.
    let _ = fs::remove_dir_all(names::aside(new.path()));
    Ok(Written { folder, files: files.len(), not_deleted })
}

/// Puts right what a run that was stopped has left in `out`: a complete pack gets its name back, and
/// what is no pack is deleted. Does nothing where nothing was left, where there is no such folder, or
/// where another run is at work; what it cannot do, the next [`write()`] tries again and tells.
pub fn repair(out: &Path) {
    if leftovers::any(out) && matches!(lock::lock(out, Wait::No), Ok(Some(_))) {
        let _ = leftovers::put_right(out);
    }
}

/// Writes all files into a new folder, and makes them and their names last.
fn fill(folder: &Path, files: &[(String, Vec<u8>)]) -> io::Result<()> {
    let mut folders = vec![folder.to_owned()];
    for (path, content) in files {
        stopping::check()?;
        let path = folder.join(path);
        if let Some(parent) = path.parent().filter(|parent| !folders.iter().any(|made| made == parent)) {
            private_folders(parent)?;
            folders.push(parent.to_owned());
        }
        write_file(&path, content)?;
    }
    folders.iter().try_for_each(|made| sync_folder(made))
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

/// A new folder for a day's pack with a name of its own, which goes away again with all that is then in it.
fn scratch_folder(out: &Path, date: &str) -> io::Result<tempfile::TempDir> {
    let prefix = leftovers::scratch_of(date);
    let mut builder = tempfile::Builder::new();
    builder.prefix(&prefix);
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o700));
    builder.tempdir_in(out)
}

/// Makes the folders of a path that are not there, each for its owner only, and their names last.
fn private_folders(path: &Path) -> io::Result<()> {
    let missing: Vec<&Path> = path.ancestors().take_while(|folder| !folder.exists()).collect();
    let mut builder = DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.create(path)?;
    missing.into_iter().try_for_each(|made| sync_folder(folder_of(made)))
}

/// Makes changes of names in a folder last through a power cut, where the system can: some network
/// drives cannot, and a folder above the unit's own may be closed to us.
fn sync_folder(path: &Path) -> io::Result<()> {
    if !cfg!(unix) {
        return Ok(());
    }
    match File::open(path).and_then(|folder| folder.sync_all()) {
        Err(error) if is_beyond_us(&error) => Ok(()),
        done => done,
    }
}

fn is_beyond_us(error: &io::Error) -> bool {
    use io::ErrorKind::{InvalidInput, PermissionDenied, Unsupported};
    matches!(error.kind(), InvalidInput | PermissionDenied | Unsupported)
}

/// The folder that a name stands in.
fn folder_of(path: &Path) -> &Path {
    path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// Whether something has this name, also a link that leads nowhere.
fn is_there(path: &Path) -> io::Result<bool> {
    match fs::symlink_metadata(path) {
        Ok(_) => Ok(true),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(false),
        Err(error) => Err(error),
    }
}

#[cfg(test)]
mod tests {
    use super::lock::LOCK;
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
        fs::create_dir(out.path().join(".baypack-2031-03-14-left")).expect("scratch of the stopped run");
        write(out.path(), "2031-03-14", &files("new")).expect("written");
        assert_eq!(names(out.path()), ["2031-03-14", "2031-03-14.previous"]);
        let read =
            |folder: &str| fs::read_to_string(out.path().join(folder).join("pack.pdf")).expect("a pack");
        assert_eq!((read("2031-03-14").as_str(), read("2031-03-14.previous").as_str()), ("new", "old"));
    }

    #[test]
    fn a_pack_that_a_person_deleted_stays_deleted_whatever_another_day_left_behind() {
        let out = tempfile::tempdir().expect("a folder");
        for content in ["one", "two"] {
            write(out.path(), "2031-03-14", &files(content)).expect("written");
        }
        fs::remove_dir_all(out.path().join("2031-03-14")).expect("deleted");
        fs::create_dir(out.path().join(".baypack-2031-03-17-left")).expect("scratch of a stopped run");
        repair(out.path());
        assert_eq!(names(out.path()), ["2031-03-14.previous"]);
    }

    #[test]
    fn runs_at_the_same_time_leave_one_complete_pack_of_one_of_them() {
        let out = tempfile::tempdir().expect("a folder");
        std::thread::scope(|scope| {
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
        write_new(&out.join("faults.csv"), b"line").expect("written");
        assert_eq!(mode(&out.join("faults.csv")), 0o600);
    }
}
