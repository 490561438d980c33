//! The demo's pack, made once for all tests of a file.
#![allow(dead_code, reason = "each test file uses a part of this")]

use std::fs;
use std::path::PathBuf;
use std::sync::OnceLock;

use assert_cmd::Command;
use serde_json::Value;

/// The pack: where its files are, and its record.
pub struct Demo {
    pub folder: PathBuf,
    pub plan: Value,
    _kept: tempfile::TempDir,
}

/// Makes the pack at the first call.
pub fn demo() -> &'static Demo {
    static DEMO: OnceLock<Demo> = OnceLock::new();
    DEMO.get_or_init(|| {
        let out = tempfile::tempdir().expect("a folder");
        Command::cargo_bin("baypack")
            .expect("the program is built for the test")
            .current_dir(env!("CARGO_MANIFEST_DIR"))
            .args(["make", "demo-input/day-list.csv", "--out"])
            .arg(out.path())
            .assert()
            .success();
        let folder = out.path().join("2031-03-14");
        let plan = fs::read_to_string(folder.join("plan.json")).expect("the plan");
        Demo { plan: serde_json::from_str(&plan).expect("the plan is JSON"), folder, _kept: out }
    })
}
