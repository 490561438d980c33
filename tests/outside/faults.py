"""What happens to a hospital PC happens to the release binary here, for real; each time the folder is checked whole.

Killed at random moments, told to stop, a full disk, a read-only drive, limits of the system, other runs at once, a
clock set back, a drive that vanishes, readers that go away, things in place of files. Whatever the end of the run, the
folder holds all files of the old pack or all of the new one, for their owner only, and no message or name tells of
a patient; after the next run nothing is left over.
"""

import fcntl
import os
import random
import resource
import shutil
import signal
import stat
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import baypack
import packs

KILLS = 200
# How many times over a check is tried on a machine that is too quick or too busy for its moment.
PATIENCE = 6
STOPS, STOPS_FULL = 24, 200
# A command that waits for ever is one that has not ended by then.
SECONDS_TO_REFUSE = 20
MIB = 1 << 20


class Faults:
    """The lists, a place for folders, and the report."""

    def __init__(self, lists, place, options, report):
        self.lists, self.place, self.options, self.report = lists, place, options, report
        self.random = random.Random(options.seed)

    def folder(self, name, number=0):
        """A new folder with the pack of a list in it."""
        out = self.place / name
        done = self.lists.run(number, out)
        if done.returncode != 0:
            raise RuntimeError(f"exit status {done.returncode}: {done.stderr[:400]}")
        return out

    def ended(self, done, statuses, subject=""):
        """Whether a run ended as it may, and told nothing private; a failure must be explained."""
        found = self.lists.told(done.stderr)
        if done.returncode not in statuses:
            found.append(f"{subject}exit status {done.returncode}, expected {statuses}: {done.stderr[:300]}")
        if done.returncode in (1, 2, 3, 130) and not ("error: " in done.stderr and "help: " in done.stderr):
            found.append(f"{subject}status {done.returncode} without a reason and a help: {done.stderr[:300]!r}")
        return found

    def settled(self, out, number):
        """What is wrong after one more run, which nothing disturbs."""
        found = self.ended(self.lists.run(number, out), (0,), "the next run: ")
        found += self.lists.judge(out)
        if self.lists.whole(out / packs.DAY) != number:
            found.append("the next run's pack is not there")
        return found + [f"{name} is left after the next run" for name in packs.scratch_in(out)]

    def undisturbed(self, out, number):
        """What is wrong in a folder in which a run could do nothing: the old pack alone must stand there."""
        found = self.lists.judge(out)
        if self.lists.whole(out / packs.DAY) != number:
            found.append("the old pack is not there")
        return found + [f"{name} is left" for name in packs.scratch_in(out)]

    # Ends of the process.

    def interrupt(self, process, out, aim):
        """Waits for a random moment: of the whole run, or (`aim`) of the time in which it writes."""
        if aim:
            limit = time.monotonic() + self.run_seconds * 10
            while not packs.scratch_in(out) and process.poll() is None and time.monotonic() < limit:
                time.sleep(0.0002)
            time.sleep(self.random.uniform(0, self.write_seconds * 1.2))
        else:
            time.sleep(self.random.uniform(0, self.run_seconds * 1.1))

    def measure(self):
        """How long a run takes, and how long it writes."""
        out = self.folder("measured")
        began = time.monotonic()
        process = self.lists.start(1, out)
        while not packs.scratch_in(out) and process.poll() is None:
            time.sleep(0.0002)
        wrote = time.monotonic()
        process.communicate()
        self.run_seconds = time.monotonic() - began
        self.write_seconds = max(0.005, time.monotonic() - wrote)

    def kills(self):
        """SIGKILL at random moments; what is left is sometimes left to the run that is killed next."""
        self.measure()
        out, found, writing, kept = self.folder("killed"), [], 0, 0
        for turn in range(KILLS):
            number = turn % 2
            process = self.lists.start(number, out)
            self.interrupt(process, out, aim=turn % 4 != 0)
            process.kill()
            _, errors = process.communicate()
            found += self.lists.told(errors.decode("utf-8", "replace"))
            found += [f"kill {turn}: {one}" for one in self.lists.judge(out)]
            writing += bool(packs.scratch_in(out))
            if self.random.random() < 0.25:
                found += [f"kill {turn}: {one}" for one in self.settled(out, number)]
                kept += 1
        if writing < KILLS // 20:
            found.append(f"only {writing} of {KILLS} kills met a run that was writing")
        self.report.check(f"killed at {KILLS} random moments, {writing} of them with a pack half written, {kept} times followed by a whole run", found)

    def stops(self):
        """Ctrl-C, the system's request to end, and a closed terminal: nothing is left, already before the next run."""
        out, found, stopped = self.folder("stopped"), [], 0
        turns = STOPS_FULL if self.options.full else STOPS
        for turn in range(PATIENCE * turns):
            if turn >= turns and stopped >= turns // 4:
                break
            number, sign = turn % 2, (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)[turn % 3]
            process = self.lists.start(number, out)
            self.interrupt(process, out, aim=turn % 4 != 0)
            process.send_signal(sign)
            _, errors = process.communicate(timeout=SECONDS_TO_REFUSE)
            done = subprocess.CompletedProcess([], process.returncode, "", errors.decode("utf-8", "replace"))
            found += self.ended(done, (0, 130, -sign), f"{sign.name}: ")
            found += [f"{sign.name}: {one}" for one in self.lists.judge(out)]
            found += [f"{sign.name}: {name} is left" for name in packs.scratch_in(out)]
            stopped += process.returncode != 0
        if stopped < turns // 4:
            found.append(f"only {stopped} of {turns} runs were stopped")
        self.report.check(f"told to stop at {turns} random moments, {stopped} runs stopped", found)

    def single_files(self):
        """`--plan` is killed while it writes: the file is the old one or the new one."""
        folder, found = self.place / "single", []
        folder.mkdir()
        plan = folder / "plan.json"
        command = [str(self.lists.binary), "check", "--plan", str(plan)]
        for turn in range(KILLS // 10):
            process = subprocess.Popen([*command, str(self.lists.lists[turn % 2])], stderr=subprocess.DEVNULL)
            time.sleep(self.random.uniform(0, self.run_seconds))
            process.kill()
            process.wait()
            if plan.exists() and plan.read_bytes() not in [pack["plan.json"] for pack in self.lists.packs]:
                found.append("the plan is neither of the two")
        (folder / f"{packs.SCRATCH}left").write_bytes(b"half a pl")
        subprocess.run([*command, str(self.lists.lists[0])], check=True)
        found += [f"{name} is left" for name in os.listdir(folder) if name != "plan.json"]
        if plan.stat().st_mode & 0o077:
            found.append("others may read the plan")
        self.report.check("a single file is whole, and nothing is left beside it", found)

    # Room and limits.

    def small_disk(self):
        """A file system of 1 MiB, on which one pack fits and not two."""
        drive = self.place / "small"
        with mounted(drive, "size=1m"):
            out = drive / "out"
            demo = [str(self.lists.binary), "make", str(baypack.DEMO / "day-list.csv"), "--quiet", "--out", str(out)]
            done = subprocess.run(demo, capture_output=True, text=True, timeout=baypack.SECONDS_AT_MOST)
            found = self.ended(done, (3,), "a large day: ")
            found += [f"{name} is left of a large day" for name in os.listdir(out) if name != packs.LOCK]
            found += self.ended(self.lists.run(0, out), (0,), "a small day: ")
            found += self.ended(self.lists.run(1, out), (3,), "another pack: ") + self.undisturbed(out, 0)
            shutil.rmtree(out / packs.DAY)
            found += self.settled(out, 1)
        self.report.check("on a drive of 1 MiB the pack that does not fit leaves the old one", found)

    def leftovers_on_a_full_disk(self):
        """What a killed run left fills the drive: the next run must make room for itself."""
        drive = self.place / "filled"
        with mounted(drive, "size=2m"):
            out = self.folder("filled/out")
            left = out / f"{packs.SCRATCH}left"
            left.mkdir(mode=0o700)
            try:
                (left / "pack.pdf").write_bytes(bytes(2 * MIB))
            except OSError:
                pass
            (left / "pack.pdf").chmod(0o600)
            found = self.settled(out, 1)
        self.report.check("what a stopped run left on a full drive makes room for the next", found)

    def read_only(self):
        """A drive that cannot be written."""
        drive = self.place / "read-only"
        with mounted(drive, "size=8m"):
            out = self.folder("read-only/out")
            subprocess.run(["mount", "-o", "remount,ro", str(drive)], check=True)
            found = self.ended(self.lists.run(1, out), (3,)) + self.undisturbed(out, 0)
            found += self.ended(self.lists.run(1, drive / "new"), (3,), "a new folder: ")
        self.report.check("on a read-only drive the old pack stays", found)

    def other_drive(self):
        """The folder for temporary files is on another drive, or is not there: neither is used."""
        drive = self.place / "other"
        with mounted(drive, "size=8m"):
            out = self.folder("other/out")
            found = []
            for number, temporary in ((1, str(self.place)), (0, "/nowhere")):
                before = set(os.listdir(self.place))
                found += self.ended(self.lists.run(number, out, env={"TMPDIR": temporary}), (0,))
                found += self.lists.judge(out)
                found += [f"{name} is in the folder for temporary files" for name in set(os.listdir(self.place)) - before]
        self.report.check("the folder for temporary files is never used", found)

    def limits(self):
        """Limits of the system on the size of files, on open files, on memory and on pictures of the memory."""
        out, found, refused = self.folder("limited"), [], 0
        for size in (1, 4096, 65536, 200_000):
            done = self.lists.run(1, out, preexec_fn=limit(resource.RLIMIT_FSIZE, size))
            found += self.ended(done, (3,), f"files of {size} bytes: ") + self.undisturbed(out, 0)
        for files in range(3, 16):
            done = self.lists.run(0, out, preexec_fn=limit(resource.RLIMIT_NOFILE, files))
            # With fewer than five not even the system's own libraries can be loaded.
            found += self.ended(done, (0, 3) if files > 4 else (0, 3, 127), f"{files} open files: ")
            found += self.undisturbed(out, 0)
            refused += done.returncode == 3
        if not refused:
            found.append("no limit on open files was met")
        for mebibytes in (64, 100, 150, 200, 300):
            done = self.lists.run(0, out, preexec_fn=limit(resource.RLIMIT_AS, mebibytes * MIB))
            found += self.lists.told(done.stderr) + self.undisturbed(out, 0)
        self.report.check("limits on files, open files and memory leave the old pack", found)

    def pictures_of_memory(self):
        """No core file, with all the patients in it, is written when the program breaks down."""
        folder, found = self.place / "core", []
        folder.mkdir()
        unlimited = limit(resource.RLIMIT_CORE, resource.RLIM_INFINITY)
        for turn in range(1, 3 * PATIENCE):
            process = self.lists.start(0, folder / "out", cwd=folder, preexec_fn=unlimited)
            time.sleep(self.run_seconds / (2 + turn))
            limits = Path(f"/proc/{process.pid}/limits").read_text(encoding="utf-8")
            process.send_signal(signal.SIGABRT)
            process.communicate()
            if process.returncode == -signal.SIGABRT and "Max core file size" in limits:
                break
        line = next(line for line in limits.splitlines() if line.startswith("Max core file size"))
        if line.split()[4:6] != ["0", "0"]:
            found.append(f"the limit is {line!r}")
        if process.returncode != -signal.SIGABRT:
            found.append(f"exit status {process.returncode}: it was not stopped in time")
        found += [f"{path.name} was written" for path in folder.iterdir() if path.name != "out"]
        self.report.check("no picture of the memory is written", found)

    # Others at the same time.

    def at_once(self):
        """Two runs, and ten, into one folder: each ends well, and the packs are whole."""
        found = []
        for count in (2, 10):
            out = self.folder(f"at-once-{count}")
            processes = [self.lists.start(turn % 2, out) for turn in range(count)]
            for process in processes:
                _, errors = process.communicate(timeout=baypack.SECONDS_AT_MOST)
                done = subprocess.CompletedProcess([], process.returncode, "", errors.decode("utf-8", "replace"))
                found += self.ended(done, (0,), f"{count} at once: ")
            found += self.lists.judge(out) + [f"{name} is left" for name in packs.scratch_in(out)]
            if not (out / f"{packs.DAY}.previous").exists():
                found.append("the pack of before is not there")
        self.report.check("two runs and ten at once", found)

    def another_user(self):
        """A folder of another user: refused where it is closed, and shared where it is open, lock and all."""
        found, nobody = [], {"user": 65534, "group": 65534, "extra_groups": []}
        self.place.chmod(0o755)
        for name, mode in (("closed", 0o700), ("readable", 0o755)):
            out = self.folder(name)
            out.chmod(mode)
            found += self.ended(self.lists.run(1, out, **nobody), (3,), f"{name}: ") + self.undisturbed(out, 0)
        out = self.folder("shared")
        out.chmod(0o777)
        left = out / f"{packs.SCRATCH}left"
        left.mkdir(mode=0o700)
        for number in (1, 0, 1):
            found += self.ended(self.lists.run(number, out, **nobody), (0,), "shared: ") + self.lists.judge(out)
            if self.lists.whole(out / packs.DAY) != number:
                found.append("the new pack is not there")
        found += self.settled(out, 0)
        self.report.check("a folder of another user, closed, readable or shared", found)

    def stale_locks(self):
        """A lock file without a holder is no lock; a holder that dies frees it; things in its place do not block."""
        out = self.folder("locked")
        lock, found = out / packs.LOCK, []
        for content in (b"", b"4711\n", bytes(4096)):
            lock.write_bytes(content)
            began = time.monotonic()
            found += self.settled(out, 1)
            if time.monotonic() - began > SECONDS_TO_REFUSE:
                found.append("a lock file without a holder was waited for")
        with open(lock, "r+b") as held:
            fcntl.flock(held, fcntl.LOCK_EX)
            process = self.lists.start(0, out)
            time.sleep(self.run_seconds * 2)
            found += [] if process.poll() is None else ["a held lock was not waited for"]
            if self.lists.whole(out / packs.DAY) != 1:
                found.append("something was written under a held lock")
        process.communicate(timeout=SECONDS_TO_REFUSE)
        found += [] if process.returncode == 0 else ["the run that waited did not end well"]
        lock.unlink()
        for make in (lock.mkdir, lambda: os.mkfifo(lock, 0o600), lambda: lock.symlink_to("/dev/full")):
            make()
            done = quickly(self.lists.command(1, out))
            found += self.ended(done, (3,), "something in place of the lock: ") + self.undisturbed_but(out, 0, lock)
            lock.rmdir() if lock.is_dir() and not lock.is_symlink() else lock.unlink()
        self.report.check("a stale lock blocks nobody", found)

    def undisturbed_but(self, out, number, but):
        """As `undisturbed`, leaving out what this check has put there itself."""
        return [one for one in self.undisturbed(out, number) if but.name not in one]

    # The clock.

    def clock(self):
        """A clock set back or wild, and files from the future: only the stamp of the pack differs."""
        out, found = self.folder("clock"), []
        for path in [out, *out.rglob("*")]:
            os.utime(path, (4_000_000_000, 4_000_000_000))
        moments = ["0", "-1", "1", "253402300799", "253402300800", "8210266876799", "-8334601228800", str(2**63 - 1), str(-(2**63))]
        clocks = [{"SOURCE_DATE_EPOCH": moment} for moment in moments]
        faketime = fake_clock()
        if faketime is None:
            found.append("the library that sets the clock is missing")
        for set_to in ("1970-01-02 00:00:00", "2001-09-09 01:46:40", "2038-01-19 03:14:08", "2199-01-01 00:00:00", "-20y"):
            clocks.append({"SOURCE_DATE_EPOCH": None, "LD_PRELOAD": faketime or "", "FAKETIME": set_to})
        for at, setting in enumerate(clocks):
            subject = f"{setting}: "
            found += self.ended(self.lists.run(at % 2, out, env=setting), (0,), subject)
            expected, pack = self.lists.packs[at % 2], packs.tree(out / packs.DAY)
            different = {name for name in expected.keys() | pack.keys() if expected.get(name) != pack.get(name)}
            found += [f"{subject}{name} differs" for name in sorted(different - {"pack.pdf"})]
            found += self.lists.judge_names(out) + [f"{subject}{name} is left" for name in packs.scratch_in(out)]
        self.report.check(f"{len(clocks)} clocks, set back and wild, change the stamp alone", found)

    # What vanishes.

    def vanishing(self):
        """The folder is renamed or deleted while the run writes, as when a network drive goes away."""
        found, met = [], 0
        for turn in range(12):
            out = self.folder(f"vanishing-{turn}")
            away = self.place / f"away-{turn}"
            process = self.lists.start(1, out)
            self.interrupt(process, out, aim=True)
            out.rename(away)
            _, errors = process.communicate(timeout=SECONDS_TO_REFUSE)
            done = subprocess.CompletedProcess([], process.returncode, "", errors.decode("utf-8", "replace"))
            found += self.ended(done, (0, 3)) + self.lists.judge(away) + self.settled(away, 1)
            met += done.returncode == 3
            process = self.lists.start(0, away)
            self.interrupt(process, away, aim=True)
            shutil.rmtree(away, ignore_errors=True)
            _, errors = process.communicate(timeout=SECONDS_TO_REFUSE)
            done = subprocess.CompletedProcess([], process.returncode, "", errors.decode("utf-8", "replace"))
            found += self.ended(done, (0, 3), "deleted: ")
        if not met:
            found.append("the folder never vanished in time")
        self.report.check(f"a folder that vanishes while it is written ({met} times of 12 in time)", found)

    def readers(self):
        """Nobody reads what the run says, or it cannot be said: the pack is what counts."""
        out, found = self.folder("unheard"), []
        for number, streams in enumerate(({"stdout"}, {"stderr"}, {"stdout", "stderr"})):
            for how in ("closed pipe", "full device", "closed"):
                command = [word for word in self.lists.command(number % 2, out) if word != "--quiet"]
                for line, statuses in ((command, (0,)), ([*command[:2], str(self.faulty), *command[3:]], (1,))):
                    status = unheard(line, streams, how)
                    if status not in statuses:
                        found.append(f"{' and '.join(sorted(streams))}, {how}: exit status {status}, expected {statuses}")
                found += self.lists.judge(out)
        for help_line in (["--help"], ["make", "--help"], ["--version"], ["make"]):
            status = unheard([str(self.lists.binary), *help_line], {"stdout", "stderr"}, "closed pipe")
            if status not in (0, 2):
                found.append(f"{help_line}: exit status {status}")
        self.report.check("readers that went away, full and closed streams change no exit status", found)

    @property
    def faulty(self):
        """A list that is refused, beside the unit's files."""
        path = self.lists.place / "faulty.csv"
        path.write_text(self.lists.lists[0].read_text(encoding="utf-8").replace("08:15", "8 o'clock"), encoding="utf-8")
        return path

    # What stands in place of files and folders.

    def things(self):
        """Pipes, devices and folders in place of files are refused at once; links to folders are followed."""
        out, found = self.folder("things"), []
        pipe, folder, line = self.place / "pipe", self.place / "a-folder", self.place / "line"
        os.mkfifo(pipe)
        folder.mkdir()
        line.write_text("", encoding="utf-8")
        for thing in (pipe, folder, Path("/dev/zero"), Path("/dev/null"), Path("/dev/full"), Path("/proc/self/mem"), self.place / "nothing", line / "below"):
            for option in (None, "--unit", "--regimens"):
                command = self.lists.command(1, out)
                if option:
                    command += [option, str(thing)]
                else:
                    command[2] = str(thing)
                found += self.ended(quickly(command), (3,), f"{thing.name} {option or ''}: ") + self.undisturbed(out, 0)
        plan = [str(self.lists.binary), "check", str(self.lists.lists[0]), "--plan"]
        # A device of the check's own: a program that replaced it must not take the machine's away.
        device = self.place / "device"
        os.mknod(device, stat.S_IFCHR | 0o600, os.makedev(1, 3))
        for thing in (pipe, folder, device, self.place / "no-folder" / "plan.json"):
            found += self.ended(quickly([*plan, str(thing)]), (3,), f"--plan {thing.name}: ")
        if not pipe.is_fifo() or not device.is_char_device():
            found.append("something that is no file was replaced")
        for thing in (line, self.place / "dangling"):
            if thing.name == "dangling":
                thing.symlink_to("nowhere")
            found += self.ended(quickly(self.lists.command(1, thing)), (3,), f"--out {thing.name}: ")
        link = self.place / "a-link"
        link.symlink_to(out)
        found += self.settled(link, 1)
        if not link.is_symlink():
            found.append("the link was replaced")
        os.umask(0)
        found += self.settled(self.place / "umask", 0)
        os.umask(0o022)
        self.report.check("pipes, devices, folders and links in place of files and folders", found)

    def refused_lists_repair(self):
        """Also a run whose list is refused puts right what a stopped run left."""
        out, found = self.folder("refused"), []
        (out / packs.DAY).rename(out / f"{packs.DAY}.previous")
        left = out / f"{packs.SCRATCH}{packs.DAY}-left"
        left.mkdir(mode=0o700)
        command = self.lists.command(0, out)
        command[2] = str(self.faulty)
        found += self.ended(quickly(command), (1,)) + self.undisturbed(out, 0)
        self.report.check("a refused list still puts right what a stopped run left", found)


def quickly(command):
    """A command that must not wait for anything."""
    try:
        return subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=SECONDS_TO_REFUSE)
    except subprocess.TimeoutExpired:
        return subprocess.CompletedProcess(command, None, "", "it waited and was killed")


def unheard(command, streams, how):
    """The exit status of a command whose streams cannot be written to."""
    files = {}
    for stream in ("stdout", "stderr"):
        if stream not in streams:
            files[stream] = subprocess.DEVNULL
        elif how == "full device":
            files[stream] = open("/dev/full", "wb")
        else:
            reading, writing = os.pipe()
            os.close(reading)
            files[stream] = os.fdopen(writing, "wb")
    numbers = [{"stdout": 1, "stderr": 2}[stream] for stream in streams]
    close = (lambda: [os.close(number) for number in numbers]) if how == "closed" else None
    environment = {"PATH": os.environ.get("PATH", ""), "SOURCE_DATE_EPOCH": str(packs.EPOCH)}
    process = subprocess.Popen(command, stdin=subprocess.DEVNULL, env=environment, preexec_fn=close, **files)
    for file in files.values():
        if file is not subprocess.DEVNULL:
            file.close()
    return process.wait(timeout=baypack.SECONDS_AT_MOST)


def limit(what, value):
    """Sets a limit in the process that is about to run the program."""
    return lambda: resource.setrlimit(what, (value, value))


def fake_clock():
    """The library that gives a process another clock."""
    found = [path for folder in sys.path for path in Path(folder).glob("libfaketime/**/libfaketime.so.1")]
    return str(found[0]) if found else None


class mounted:
    """A small file system of its own, as long as the `with` block lasts."""

    def __init__(self, place, options):
        self.place, self.options = place, options

    def __enter__(self):
        self.place.mkdir()
        subprocess.run(["mount", "-t", "tmpfs", "-o", self.options, "none", str(self.place)], check=True, capture_output=True)

    def __exit__(self, *_):
        subprocess.run(["umount", "-l", str(self.place)], check=True)


def can_mount(place):
    """Whether this machine allows file systems of one's own."""
    try:
        with mounted(place, "size=1m"):
            return True
    except (OSError, subprocess.SubprocessError):
        return False


def in_own_namespace():
    """Starts this script anew where its mounts are seen by nobody else, and it may mount at all."""
    if os.environ.get("OUTSIDE_OWN_MOUNTS"):
        return
    unshare = ["unshare", "--mount"] if os.geteuid() == 0 else ["unshare", "--mount", "--map-root-user"]
    if shutil.which("unshare") and subprocess.run([*unshare, "true"], capture_output=True).returncode == 0:
        os.environ["OUTSIDE_OWN_MOUNTS"] = "yes"
        os.execvp(unshare[0], [*unshare, sys.executable, *sys.argv])


def main():
    options = baypack.options(__doc__, seed=700)
    in_own_namespace()
    report = baypack.Report("faults")
    with tempfile.TemporaryDirectory(prefix="outside-") as folder:
        (Path(folder) / "lists").mkdir()
        # A copy, where another user may run it too.
        binary = Path(shutil.copy2(options.binary, folder))
        binary.chmod(0o755)
        faults = Faults(packs.Lists(binary, Path(folder) / "lists"), Path(folder), options, report)
        drives = (faults.small_disk, faults.leftovers_on_a_full_disk, faults.read_only, faults.other_drive)
        mounts = can_mount(Path(folder) / "trial")
        for check in (
            faults.kills, faults.stops, faults.single_files, faults.small_disk, faults.leftovers_on_a_full_disk, faults.read_only,
            faults.other_drive, faults.limits, faults.pictures_of_memory, faults.at_once, faults.another_user, faults.stale_locks, faults.clock, faults.vanishing,
            faults.readers, faults.things, faults.refused_lists_repair,
        ):
            if check in drives and not mounts:
                report.skip(check.__name__, "nothing may be mounted here")
                continue
            if check == faults.another_user and os.geteuid() != 0:
                report.skip(check.__name__, "no other user may be tried here")
                continue
            try:
                check()
            except (OSError, RuntimeError, subprocess.SubprocessError) as error:
                report.check(check.__name__, [f"it could not be done: {error}"])
    report.close()


if __name__ == "__main__":
    main()
