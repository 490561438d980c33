//! Reads a unit's own layouts and fonts from their folders.
//!
//! Nothing outside a folder is read: links are refused, and so is what is neither file nor folder.

use std::fs::{self, DirEntry, File};
use std::io::{self, Read};
use std::path::Path;

use super::arguments::LayoutArguments;
use super::outside::Failure;
use crate::layouts::{OwnFile, check_own, limits};
use crate::problem::{Place, Problem};

/// Files that systems leave in folders by themselves.
const LITTER: [&str; 2] = ["Thumbs.db", "desktop.ini"];

/// The unit's own files that the command line names; none, if it names no folder.
pub(super) fn read_own_files(arguments: &LayoutArguments) -> Result<Vec<OwnFile>, Failure> {
    let mut found = Reading::default();
    if let Some(folder) = &arguments.layouts {
        found.folder(folder, "", &|_| true)?;
    }
    if let Some(folder) = &arguments.fonts {
        // A folder of fonts holds their licences too, and whatever else they were sent with.
        found.folder(folder, "fonts/own/", &is_font)?;
    }
    let Reading { files, mut problems, .. } = found;
    problems.extend(check_own(&files));
    if problems.is_empty() { Ok(files) } else { Err(Failure::Problems(problems)) }
}

fn is_font(name: &str) -> bool {
    let ending = name.rsplit_once('.').map(|(_, ending)| ending.to_ascii_lowercase());
    matches!(ending.as_deref(), Some("ttf" | "otf" | "ttc"))
}

/// What was read so far.
#[derive(Default)]
struct Reading {
    files: Vec<OwnFile>,
    problems: Vec<Problem>,
    bytes: u64,
}

impl Reading {
    /// Reads the files of a folder that are `wanted`, by their names, as files below `under`.
    fn folder(&mut self, folder: &Path, under: &str, wanted: &dyn Fn(&str) -> bool) -> Result<(), Failure> {
        let name = folder.file_name().unwrap_or(folder.as_os_str()).to_string_lossy().into_owned();
        self.below(folder, &name, under, 1, wanted)
    }

    /// One folder, its files in the order of their names, then the folders in it. `shown` is what
    /// messages call it.
    fn below(
        &mut self,
        folder: &Path,
        shown: &str,
        under: &str,
        depth: usize,
        wanted: &dyn Fn(&str) -> bool,
    ) -> Result<(), Failure> {
        let failed = |error: io::Error| Failure::outside("read the folder", folder, error);
        let entries = fs::read_dir(folder).map_err(failed)?;
        let mut entries = entries.collect::<Result<Vec<_>, _>>().map_err(failed)?;
        entries.sort_by_key(DirEntry::file_name);
        for entry in entries {
            let Ok(name) = entry.file_name().into_string() else {
                self.refuse(shown, "the name of a file in this folder is not text", "rename it");
                continue;
            };
            if name.starts_with('.') || LITTER.contains(&name.as_str()) {
                continue;
            }
            let kind = entry.file_type().map_err(failed)?;
            let (shown, path) = (format!("{shown}/{name}"), format!("{under}{name}"));
            if kind.is_dir() && depth < limits::DEPTH {
                self.below(&entry.path(), &shown, &format!("{path}/"), depth + 1, wanted)?;
            } else if kind.is_dir() {
                let what = format!("folders stand in one another more than {} deep", limits::DEPTH);
                self.refuse(&shown, &what, "put the files further up");
            } else if kind.is_symlink() {
                let what = "a link leads out of the folder or to another place in it";
                self.refuse(&shown, what, "put the file itself there");
            } else if !kind.is_file() {
                self.refuse(&shown, "this is neither a file nor a folder", "take it away");
            } else if wanted(&name) {
                self.file(&entry.path(), shown, path)?;
            }
        }
        Ok(())
    }

    /// One file, if it is not too large.
    fn file(&mut self, from: &Path, shown: String, path: String) -> Result<(), Failure> {
        let most = if is_font(&path) { limits::FONT_BYTES } else { limits::TEXT_BYTES };
        let bytes = read_at_most(from, most).map_err(|error| Failure::outside("read", from, error))?;
        let Some(bytes) = bytes else {
            self.refuse(&shown, &format!("a file is larger than {most} bytes"), "make it smaller");
            return Ok(());
        };
        self.bytes += bytes.len() as u64;
        if self.bytes > limits::ALL_BYTES {
            let what = format!("the files together are larger than {} bytes", limits::ALL_BYTES);
            return Err(Failure::Problems(vec![problem(
                &shown,
                &what,
                "take fonts away that are not needed",
            )]));
        }
        if self.files.len() >= limits::FILES {
            let what = format!("there are more than {} files", limits::FILES);
            return Err(Failure::Problems(vec![problem(
                &shown,
                &what,
                "name the folder of the layouts alone",
            )]));
        }
        self.files.push(OwnFile { path, shown, bytes });
        Ok(())
    }

    fn refuse(&mut self, shown: &str, what: &str, help: &str) {
        self.problems.push(problem(shown, what, help));
    }
}

/// The bytes of a file; nothing if there are more than `most`.
fn read_at_most(path: &Path, most: u64) -> io::Result<Option<Vec<u8>>> {
    let mut bytes = Vec::new();
    File::open(path)?.take(most + 1).read_to_end(&mut bytes)?;
    Ok((bytes.len() as u64 <= most).then_some(bytes))
}

fn problem(file: &str, what: &str, help: &str) -> Problem {
    let place = Place { file: file.to_owned(), ..Place::default() };
    Problem { what: what.to_owned(), place, found: None, help: help.to_owned() }
}
