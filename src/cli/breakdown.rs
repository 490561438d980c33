//! A fault of the program itself: it says where, and nothing of the data.
//!
//! What a panic says may hold what the program was working on, so it is not printed. Must not try to go on.

use std::io::Write;
use std::panic::{self, Location};

/// Exit status of a run in which the program itself had a fault. Nothing was written, or a pack whole.
pub const BROKEN_DOWN: u8 = 101;

/// Does `work` and returns its exit status; should it panic, the place in the program is said, and the status is
/// [`BROKEN_DOWN`]. What is half written is deleted on the way.
pub fn guarded(work: impl FnOnce() -> u8 + panic::UnwindSafe) -> u8 {
    panic::set_hook(Box::new(|panic| {
        let mut message = message(panic.location());
        message.push('\n');
        // Nobody is left to tell where this fails.
        let _ = std::io::stderr().write_all(message.as_bytes());
    }));
    panic::catch_unwind(work).unwrap_or(BROKEN_DOWN)
}

fn message(place: Option<&Location<'_>>) -> String {
    let place = place.map_or_else(String::new, |place| {
        format!(" (fault at {}:{}:{})", short(place.file()), place.line(), place.column())
    });
    format!(
        "error: the program itself has a fault and has stopped{place}\n\
         help: the pack of before, if there is one, is as it was; plan this day by hand, and tell whoever looks after \
         the program the place of the fault"
    )
}

/// `typst-0.15.1/src/lib.rs`: the path without the folders of the machine that built the program.
fn short(path: &str) -> String {
    let parts: Vec<&str> = path.split(['/', '\\']).collect();
    let source = parts.iter().rposition(|part| *part == "src").unwrap_or(parts.len().saturating_sub(1));
    parts.get(source.saturating_sub(1)..).unwrap_or_default().join("/")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_place_of_a_fault_is_said_without_the_folders_of_the_building_machine() {
        assert_eq!(short("/home/builder/crates/typst-0.15.1/src/lib.rs"), "typst-0.15.1/src/lib.rs");
        assert_eq!(short(r"C:\builder\crates\typst-0.15.1\src\lib.rs"), "typst-0.15.1/src/lib.rs");
        assert_eq!(short("src/write.rs"), "src/write.rs");
        assert!(message(Some(Location::caller())).contains("(fault at src/cli/breakdown.rs:"));
    }
}
