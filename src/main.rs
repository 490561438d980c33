//! The program's edge: hands the arguments, the time and the environment to [`baypack::cli`].
#![forbid(unsafe_code)]

use std::process::ExitCode;
use std::time::{SystemTime, UNIX_EPOCH};

use baypack::cli;
use baypack::write::stopping;

fn main() -> ExitCode {
    // Where signals cannot be watched, a run that is stopped leaves more for the next one to put right.
    let _ = stopping::watch();
    let status = cli::guarded(|| cli::run(std::env::args_os().collect(), printing_time()));
    ExitCode::from(status)
}

/// Seconds since 1970 at which the pack counts as printed: `SOURCE_DATE_EPOCH` where it is set, so
/// that a pack can be made again byte for byte.
fn printing_time() -> i64 {
    let given = std::env::var("SOURCE_DATE_EPOCH").ok().and_then(|seconds| seconds.trim().parse().ok());
    given.unwrap_or_else(now)
}

#[expect(clippy::disallowed_methods, reason = "the one place that asks for the time")]
fn now() -> i64 {
    let elapsed = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    i64::try_from(elapsed.as_secs()).unwrap_or(i64::MAX)
}
