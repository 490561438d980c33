//! Sets sheets in a process of its own, with limits, where a unit's own files shape them.
//!
//! The process is this program once more. It gets everything over a pipe, has no environment, opens no file,
//! and answers over a pipe; if it takes too much memory or time it is stopped, and nothing is written.

use std::io::{self, Read, Write};
use std::num::NonZeroUsize;
use std::path::Path;
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::mpsc::{RecvTimeoutError, channel};
use std::thread;
use std::time::Duration;

use super::outside::Failure;
use crate::layouts::{Layouts, OwnFile};
use crate::render::RenderFault;
use crate::render::errand::{Answer, Errand, Task};

/// The hidden command by which the program starts itself.
pub(super) const COMMAND: &str = "set-apart";

/// Bytes of memory that the process may have: the largest day that was measured takes a quarter of it.
#[cfg(unix)]
const MEMORY: u64 = 2 << 30;

/// Bytes of its answer: packs of hundreds of patients have some dozen megabytes.
const ANSWER: u64 = 1 << 30;

/// Bytes of its complaints that are looked at.
const COMPLAINT: u64 = 64 * 1024;

/// The layouts with a unit's own files over them; fonts of its own are read apart.
pub(super) fn layouts(own: &[OwnFile], seconds: u16) -> Result<Layouts, Failure> {
    if own.is_empty() {
        return Ok(Layouts::with_own(own)?);
    }
    match run(own.to_vec(), Task::Cover, seconds)? {
        Answer::Covered(ranges) => Ok(Layouts::with_own_covering(own, ranges)),
        answer => Err(refused(answer)),
    }
}

/// Runs an errand in a process of its own, for at most so many seconds.
pub(super) fn run(own: Vec<OwnFile>, task: Task, seconds: u16) -> Result<Answer, Failure> {
    let workers = thread::available_parallelism().unwrap_or(NonZeroUsize::MIN);
    let program = std::env::current_exe()
        .map_err(|error| Failure::outside("find the program", Path::new(COMMAND), error))?;
    let failed = |error: io::Error| Failure::outside("start again", &program, error);
    let errand = Errand { own, workers, task }.to_bytes().map_err(|error| failed(error.into()))?;
    let processor_seconds = u64::from(seconds) * workers.get() as u64 + 1;
    let child = Command::new(&program)
        .args([COMMAND, &processor_seconds.to_string()])
        .env_clear()
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .map_err(failed)?;
    let ended = watch(child, errand, Duration::from_secs(u64::from(seconds))).map_err(failed)?;
    Answer::from_bytes(&ended.answer).ok_or_else(|| vec![ended.fault(seconds)].into())
}

/// An answer that is no success, as a failure.
pub(super) fn refused(answer: Answer) -> Failure {
    match answer {
        Answer::Problems(problems) => problems.into(),
        Answer::Faults(faults) => faults.into(),
        Answer::Covered(_) | Answer::Fit(_) | Answer::Files(..) => {
            vec![fault("the process gave another answer", "try again")].into()
        }
    }
}

/// How a process ended.
struct Ended {
    answer: Vec<u8>,
    complaint: Vec<u8>,
    status: ExitStatus,
    in_time: bool,
}

impl Ended {
    /// Why there is no answer. What the process complained of is not repeated: it may quote the data.
    fn fault(&self, seconds: u16) -> RenderFault {
        let complaint = String::from_utf8_lossy(&self.complaint);
        if !self.in_time || is_out_of_processor_time(self.status) {
            let what = format!("setting the sheets took more than {seconds} seconds and was stopped");
            return fault(
                &what,
                "a layout may go on for ever; if yours only needs longer, say so with --set-within",
            );
        }
        if complaint.contains("memory allocation of") {
            let what = "setting the sheets took more memory than it may have and was stopped";
            return fault(
                what,
                "a layout may make something endless; take your last change back and try again",
            );
        }
        if complaint.contains("stack") {
            return fault("a layout calls itself too deep", "take your last change back and try again");
        }
        fault(
            "setting the sheets broke off",
            "take your last change back; report it if the program's own layouts do it",
        )
    }
}

fn fault(what: &str, help: &str) -> RenderFault {
    RenderFault {
        what: what.to_owned(),
        document: "the unit's own layouts".to_owned(),
        place: None,
        help: help.to_owned(),
    }
}

/// Whether the system stopped the process because it had used up its processor's time.
#[cfg(unix)]
fn is_out_of_processor_time(status: ExitStatus) -> bool {
    use std::os::unix::process::ExitStatusExt;
    status.signal() == Some(rustix::process::Signal::XCPU.as_raw())
}

#[cfg(not(unix))]
const fn is_out_of_processor_time(_: ExitStatus) -> bool {
    false
}

/// Feeds the process, listens to it, and stops it when its time is up.
fn watch(mut child: Child, errand: Vec<u8>, time: Duration) -> io::Result<Ended> {
    let (stdin, stdout, stderr) = (child.stdin.take(), child.stdout.take(), child.stderr.take());
    // A process that has ended reads no more: it says why itself.
    let feeding = thread::spawn(move || stdin.map(|mut pipe| pipe.write_all(&errand)));
    let complaining = thread::spawn(move || listen(stderr, COMPLAINT));
    let (said, heard) = channel();
    thread::spawn(move || said.send(listen(stdout, ANSWER)));
    let answer = heard.recv_timeout(time);
    let in_time = !matches!(answer, Err(RecvTimeoutError::Timeout));
    if !in_time {
        child.kill()?;
    }
    let status = child.wait()?;
    let complaint = complaining.join().unwrap_or_default();
    drop(feeding.join());
    Ok(Ended { answer: answer.unwrap_or_default(), complaint, status, in_time })
}

/// What comes out of a pipe until it is closed; the first `most` bytes of it.
fn listen(pipe: Option<impl Read>, most: u64) -> Vec<u8> {
    let mut bytes = Vec::new();
    if let Some(mut pipe) = pipe {
        // A pipe that breaks has said what it had to say.
        let _ = pipe.by_ref().take(most).read_to_end(&mut bytes);
        let _ = io::copy(&mut pipe, &mut io::sink());
    }
    bytes
}

/// What the process itself does: limits itself, reads its errand, answers.
pub(super) fn serve(processor_seconds: u64) -> Result<(), Failure> {
    let failed =
        |error: io::Error| Failure::outside("set sheets in", Path::new("a process of its own"), error);
    limit(processor_seconds).map_err(failed)?;
    let mut bytes = Vec::new();
    io::stdin().lock().read_to_end(&mut bytes).map_err(failed)?;
    let errand = Errand::from_bytes(&bytes).ok_or_else(|| failed(io::ErrorKind::InvalidData.into()))?;
    drop(bytes);
    let answer = errand.run().to_bytes().map_err(|error| failed(error.into()))?;
    let mut out = io::stdout().lock();
    out.write_all(&answer).and_then(|()| out.flush()).map_err(failed)
}

/// Limits of memory, processor time and files; none of them can be raised again.
#[cfg(unix)]
fn limit(processor_seconds: u64) -> io::Result<()> {
    use rustix::process::{Resource, Rlimit, setrlimit};
    // The three pipes are open; nothing more can be opened, nothing written to a file, and what the memory
    // holds does not go to the disk if the process breaks off.
    let limits = [
        (Resource::As, MEMORY),
        (Resource::Cpu, processor_seconds),
        (Resource::Nofile, 3),
        (Resource::Fsize, 0),
        (Resource::Core, 0),
    ];
    for (resource, most) in limits {
        setrlimit(resource, Rlimit { current: Some(most), maximum: Some(most) })?;
    }
    Ok(())
}

/// Only time is limited here, by the process that waits.
#[cfg(not(unix))]
fn limit(_: u64) -> io::Result<()> {
    Ok(())
}
