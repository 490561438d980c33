//! A fault of the program itself is told by its place alone, and ends with a status of its own.

use std::process::{Command, Output};

use baypack::cli::{BROKEN_DOWN, guarded};

/// Tells this test program, started by itself, to break down.
const BREAK: &str = "BAYPACK_TEST_BREAKS_DOWN";
/// What the program was working on when it broke down.
const PATIENT: &str = "Okonkwo-Featherstonehaugh";

/// Runs one of the tests below in a process of its own, where it breaks down.
fn broken(test: &str) -> Output {
    Command::new(std::env::current_exe().expect("this program"))
        .args(["--exact", test, "--nocapture", "--test-threads=1"])
        .env(BREAK, "yes")
        .output()
        .expect("it runs")
}

fn is_to_break() -> bool {
    std::env::var_os(BREAK).is_some()
}

/// What the broken process told, which must not be of the patient.
fn told(output: &Output) -> String {
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(!told.contains(PATIENT) && !said.contains(PATIENT), "a patient is named:\n{told}{said}");
    told
}

#[test]
fn a_fault_of_the_program_says_its_place_and_nothing_of_the_data() {
    if is_to_break() {
        let status = guarded(|| panic!("no bed for {PATIENT}"));
        assert_eq!(status, BROKEN_DOWN);
        return;
    }
    let output = broken("a_fault_of_the_program_says_its_place_and_nothing_of_the_data");
    let told = told(&output);
    assert!(output.status.success(), "{told}");
    assert!(told.contains("fault at tests/breakdown.rs:"), "{told}");
}

#[test]
fn so_does_a_fault_on_another_thread_and_what_is_half_written_is_deleted() {
    if is_to_break() {
        let place = tempfile::tempdir().expect("a folder");
        let status = guarded(|| {
            let _half_written = tempfile::tempdir_in(place.path()).expect("a folder");
            let on_a_thread = || -> u8 { panic!("no bed for {PATIENT}") };
            std::thread::scope(|scope| {
                scope.spawn(on_a_thread).join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))
            })
        });
        assert_eq!(status, BROKEN_DOWN);
        assert_eq!(std::fs::read_dir(place.path()).expect("the folder").count(), 0, "half a pack is left");
        return;
    }
    let output = broken("so_does_a_fault_on_another_thread_and_what_is_half_written_is_deleted");
    let told = told(&output);
    assert!(output.status.success(), "{told}");
    assert_eq!(told.matches("fault at tests/breakdown.rs:").count(), 1, "{told}");
}

#[test]
fn work_that_goes_well_keeps_its_status() {
    if is_to_break() {
        return;
    }
    assert_eq!(guarded(|| 3), 3);
    // The hook of the tests comes back.
    let _ = std::panic::take_hook();
}

#[test]
fn code_that_the_compiler_cannot_check_is_forbidden() {
    for root in ["src/lib.rs", "src/main.rs"] {
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(root);
        let text = std::fs::read_to_string(path).expect("a root of the program");
        assert!(text.lines().any(|line| line == "#![forbid(unsafe_code)]"), "{root} allows unsafe code");
    }
    let manifest = include_str!("../Cargo.toml").parse::<toml::Table>().expect("the manifest");
    assert_eq!(manifest["lints"]["rust"]["unsafe_code"].as_str(), Some("forbid"));
}
