//! `baypack layouts`: writes the carried layouts out to be edited, and sets samples to be looked at.

use std::fs::{self, OpenOptions};
use std::io::{self, Write};
use std::path::Path;

use super::apart;
use super::arguments::LayoutsCommand;
use super::outside::{Failure, count, shown};
use super::own_files::read_own_files;
use super::report::say;
use crate::layouts::Layouts;
use crate::problem::{Found, Place, Problem};
use crate::render::errand::{Answer, Task};
use crate::write::write_one;

/// Does what the command line asks of the layouts.
pub(super) fn run(command: &LayoutsCommand) -> Result<(), Failure> {
    if let Some(folder) = &command.copy {
        copy(folder)?;
    }
    let Some(folder) = &command.preview else { return Ok(()) };
    let own = read_own_files(&command.own)?;
    let files = match apart::run(own, Task::Preview, command.own.set_within)? {
        Answer::Files(files, _) => files,
        answer => return Err(apart::refused(answer)),
    };
    let failed = |error: io::Error| Failure::outside("write the previews into", folder, error);
    fs::create_dir_all(folder).map_err(failed)?;
    for file in &files {
        write_one(&folder.join(&file.name), &file.bytes).map_err(failed)?;
    }
    say!("{} in {}", count(files.len(), "sheet"), shown(folder));
    Ok(())
}

/// Writes every carried file below a folder, if none of them is there yet.
fn copy(folder: &Path) -> Result<(), Failure> {
    let files = Layouts::carried_files();
    // A link that leads nowhere counts as there: what is written must be new.
    let is_there = |(path, _): &&(String, _)| folder.join(path).symlink_metadata().is_ok();
    let there: Vec<_> = files.iter().filter(is_there).collect();
    if let Some((first, _)) = there.first() {
        return Err(already(first, there.len()).into());
    }
    for (path, bytes) in &files {
        let path = folder.join(path);
        write_new(&path, bytes).map_err(|error| Failure::outside("write", &path, error))?;
    }
    say!("{} in {}", count(files.len(), "file"), shown(folder));
    say!("Edit what you want otherwise, delete the rest, and name the folder with --layouts.");
    Ok(())
}

/// Writes a file that must not be there yet, and the folders above it.
pub(super) fn write_new(path: &Path, bytes: &[u8]) -> io::Result<()> {
    if let Some(above) = path.parent() {
        fs::create_dir_all(above)?;
    }
    OpenOptions::new().write(true).create_new(true).open(path)?.write_all(bytes)
}

fn already(first: &str, files: usize) -> Problem {
    Problem {
        what: "files of these names are there already".to_owned(),
        place: Place { file: first.to_owned(), ..Place::default() },
        found: Some(Found::Described(format!("{} that would be written over", count(files, "file")))),
        help: "name a new folder; what you have is never written over".to_owned(),
    }
}
