//! The change of names that puts a new pack in the place of the old one.
//!
//! Where the system can, two folders change places in one step, so that the day's name always stands for a
//! complete pack. Elsewhere it takes two, and between them the old pack has the name `<date>.previous`. Must
//! not write or delete anything: what is to be deleted stands under a scratch name in the end.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use super::{folder_of, is_there, sync_folder};

/// Lets two folders change places in one step.
///
/// # Errors
///
/// Where the system or the drive has no such step, or one of the two is not there; nothing has changed then.
pub(super) fn exchange(one: &Path, other: &Path) -> io::Result<()> {
    #[cfg(any(target_os = "linux", target_os = "android", target_vendor = "apple"))]
    {
        use rustix::fs::{CWD, RenameFlags, renameat_with};
        Ok(renameat_with(CWD, one, CWD, other, RenameFlags::EXCHANGE)?)
    }
    #[cfg(not(any(target_os = "linux", target_os = "android", target_vendor = "apple")))]
    {
        let _ = (one, other);
        Err(io::ErrorKind::Unsupported.into())
    }
}

/// Gives the complete folder `new` the name `folder`; what stood there becomes `previous`, and what stood
/// there gets a scratch name: that of `new`, or [`aside`].
///
/// # Errors
///
/// If a name cannot be changed, or the change cannot be made to last; all names are then as they were.
pub(super) fn install(
    new: &Path,
    folder: &Path,
    previous: &Path,
    exchange: fn(&Path, &Path) -> io::Result<()>,
) -> io::Result<()> {
    let mut changes = Changes { exchange, done: Vec::new() };
    let outcome = changes.install(new, folder, previous);
    if outcome.is_err() {
        changes.undo();
    }
    outcome
}

/// Where the oldest pack stands in the end if no two folders could change places.
pub(super) fn aside(new: &Path) -> PathBuf {
    let mut aside = new.as_os_str().to_owned();
    aside.push("-aside");
    aside.into()
}

/// The changes of names so far, each with its two names.
struct Changes {
    exchange: fn(&Path, &Path) -> io::Result<()>,
    done: Vec<(Change, PathBuf, PathBuf)>,
}

#[derive(Clone, Copy)]
enum Change {
    Renamed,
    Exchanged,
}

impl Changes {
    fn install(&mut self, new: &Path, folder: &Path, previous: &Path) -> io::Result<()> {
        if !is_there(folder)? {
            self.rename(new, folder)?;
        } else if self.exchange(new, folder).is_ok() {
            // The new pack must last under its name before the old one loses the scratch name.
            sync_folder(folder_of(folder))?;
            self.keep_as(new, previous)?;
        } else {
            self.install_by_renaming(new, folder, previous)?;
        }
        sync_folder(folder_of(folder))
    }

    /// The old pack, now under the name of the new one, becomes the previous one.
    fn keep_as(&mut self, old: &Path, previous: &Path) -> io::Result<()> {
        if is_there(previous)? { self.exchange(old, previous) } else { self.rename(old, previous) }
    }

    fn install_by_renaming(&mut self, new: &Path, folder: &Path, previous: &Path) -> io::Result<()> {
        if is_there(previous)? {
            self.rename(previous, &aside(new))?;
        }
        self.rename(folder, previous)?;
        self.rename(new, folder)
    }

    fn rename(&mut self, from: &Path, to: &Path) -> io::Result<()> {
        fs::rename(from, to)?;
        self.done.push((Change::Renamed, from.to_owned(), to.to_owned()));
        Ok(())
    }

    fn exchange(&mut self, one: &Path, other: &Path) -> io::Result<()> {
        (self.exchange)(one, other)?;
        self.done.push((Change::Exchanged, one.to_owned(), other.to_owned()));
        Ok(())
    }

    /// Takes all changes back, the last one first.
    fn undo(self) {
        for (change, from, to) in self.done.into_iter().rev() {
            // What cannot be taken back stays: a complete pack has one of the two names in any case.
            let _ = match change {
                Change::Renamed => fs::rename(&to, &from),
                Change::Exchanged => (self.exchange)(&from, &to),
            };
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refused(_: &Path, _: &Path) -> io::Result<()> {
        Err(io::ErrorKind::Unsupported.into())
    }

    /// A folder with packs `new`, `day` and `day.previous`, each with a file that says which it is.
    fn packs() -> tempfile::TempDir {
        let place = tempfile::tempdir().expect("a folder");
        for name in ["new", "day", "day.previous"] {
            fs::create_dir(place.path().join(name)).expect("a pack");
            fs::create_dir(place.path().join(name).join(format!("was-{name}"))).expect("its content");
        }
        place
    }

    /// What is in the folder: each name, and what it was.
    fn told(place: &Path) -> Vec<String> {
        let mut told: Vec<String> = fs::read_dir(place)
            .expect("the folder")
            .map(|entry| {
                let path = entry.expect("an entry").path();
                let inside = fs::read_dir(&path).expect("a pack").next().expect("content").expect("an entry");
                let name = path.file_name().expect("a name").to_string_lossy().into_owned();
                format!("{name} {}", inside.file_name().to_string_lossy())
            })
            .collect();
        told.sort();
        told
    }

    fn install_in(place: &Path, exchange: fn(&Path, &Path) -> io::Result<()>) -> io::Result<()> {
        install(&place.join("new"), &place.join("day"), &place.join("day.previous"), exchange)
    }

    #[test]
    fn with_and_without_a_step_that_exchanges_the_names_end_up_the_same() {
        for (exchange, aside) in
            [(exchange as fn(&Path, &Path) -> io::Result<()>, "new"), (refused, "new-aside")]
        {
            let place = packs();
            install_in(place.path(), exchange).expect("installed");
            let expected = [
                "day was-new".to_owned(),
                "day.previous was-day".to_owned(),
                format!("{aside} was-day.previous"),
            ];
            assert_eq!(told(place.path()), expected);
        }
    }

    #[test]
    fn a_name_that_cannot_be_changed_leaves_all_names_as_they_were() {
        // The second exchange fails: the first one must be taken back.
        fn only_the_day(one: &Path, other: &Path) -> io::Result<()> {
            if other.ends_with("day.previous") { refused(one, other) } else { exchange(one, other) }
        }
        let place = packs();
        let before = told(place.path());
        install_in(place.path(), only_the_day).expect_err("the previous pack cannot be exchanged");
        assert_eq!(told(place.path()), before);

        // By renaming: the new pack is not there, so that the third of three changes fails.
        fs::remove_dir_all(place.path().join("new")).expect("deleted");
        let before = told(place.path());
        install_in(place.path(), refused).expect_err("there is nothing to install");
        assert_eq!(told(place.path()), before);
    }

    #[test]
    fn a_first_pack_takes_its_name_and_an_old_previous_one_stays() {
        let place = packs();
        fs::remove_dir_all(place.path().join("day")).expect("deleted");
        install_in(place.path(), exchange).expect("installed");
        assert_eq!(told(place.path()), ["day was-new", "day.previous was-day.previous"]);
    }
}
