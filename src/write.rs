//! Writes a finished pack: whole or not at all, readable by its owner only.
//!
//! Everything is written into a new folder beside the day's one and synced; then the folders change
//! names. Until that moment the day's folder holds what it held before.

use std::fs::{self, DirBuilder, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

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
/// If a folder or file cannot be made; the day's folder is then as it was.
pub fn write(out: &Path, date: &str, files: &[(String, Vec<u8>)]) -> io::Result<Written> {
    private_folders(out)?;
    let beside = private_folder_beside(out, date)?;
    for (path, content) in files {
        let path = beside.path().join(path);
        if let Some(parent) = path.parent() {
            private_folders(parent)?;
        }
        write_file(&path, content)?;
    }
    let folder = out.join(date);
    let previous = out.join(format!("{date}.previous"));
    if folder.exists() {
        if previous.exists() {
            fs::remove_dir_all(&previous)?;
        }
        fs::rename(&folder, &previous)?;
    }
    if let Err(error) = fs::rename(beside.keep(), &folder) {
        if previous.exists() {
            fs::rename(&previous, &folder)?;
        }
        return Err(error);
    }
    sync_folder(out)?;
    Ok(Written { folder, files: files.len() })
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

fn write_file(path: &Path, content: &[u8]) -> io::Result<()> {
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let mut file = options.open(path)?;
    file.write_all(content)?;
    file.sync_all()
}

/// A new folder with a name of its own, which goes away again unless it is kept.
fn private_folder_beside(out: &Path, date: &str) -> io::Result<tempfile::TempDir> {
    let prefix = format!(".{date}.");
    let mut builder = tempfile::Builder::new();
    builder.prefix(&prefix);
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
