//! What happens when the run is told to stop, by Ctrl-C, by the system, or by a limit of the system.
//!
//! While nothing is half written the run simply ends. While it writes, it stops before the next file and deletes
//! what it has written; once the names change, it finishes. Must not be asked for outside the program: tests
//! that call the library leave signals alone.

use std::io;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, OnceLock};

/// The marks that signals read and set, once they are watched.
static MARKS: OnceLock<Marks> = OnceLock::new();

struct Marks {
    /// Nothing is half written: the run may end at once.
    idle: Arc<AtomicBool>,
    /// The run was told to stop.
    stop: Arc<AtomicBool>,
}

/// Watches for signals from now on, and forbids the system to write a picture of the memory, with all the
/// patients in it, should the program break down.
///
/// # Errors
///
/// If the system refuses; the program works without, and only leaves more to be put right by the next run.
pub fn watch() -> io::Result<()> {
    let marks = MARKS.get_or_init(|| Marks { idle: Arc::new(true.into()), stop: Arc::default() });
    #[cfg(unix)]
    {
        use rustix::process::{Resource, Rlimit, setrlimit};
        use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM, SIGXFSZ};
        use signal_hook::flag::{register, register_conditional_default};
        for signal in [SIGHUP, SIGINT, SIGTERM] {
            register_conditional_default(signal, Arc::clone(&marks.idle))?;
            register(signal, Arc::clone(&marks.stop))?;
        }
        // A file that grows past a limit would end the program; caught, it is an error of that file.
        register(SIGXFSZ, Arc::default())?;
        setrlimit(Resource::Core, Rlimit { current: Some(0), maximum: Some(0) })?;
    }
    let _ = marks;
    Ok(())
}

/// From now until the returned mark goes away, something is half written.
#[must_use]
pub(super) fn writing() -> Writing {
    set_idle(false);
    Writing
}

/// Something is half written while this is there.
pub(super) struct Writing;

impl Drop for Writing {
    fn drop(&mut self) {
        set_idle(true);
    }
}

fn set_idle(idle: bool) {
    if let Some(marks) = MARKS.get() {
        marks.idle.store(idle, Ordering::SeqCst);
    }
}

/// Goes on unless the run was told to stop.
///
/// # Errors
///
/// [`io::ErrorKind::Interrupted`] if it was.
pub(super) fn check() -> io::Result<()> {
    match MARKS.get() {
        Some(marks) if marks.stop.load(Ordering::SeqCst) => {
            Err(io::Error::new(io::ErrorKind::Interrupted, "the run was told to stop"))
        }
        _ => Ok(()),
    }
}
