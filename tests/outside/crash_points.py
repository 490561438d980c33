"""The program is killed, or a system call of its fails, at every single step of writing a pack.

`strace` lists the system calls with which the release binary writes, then stops it before each of them
in turn, and lets each of them in turn fail as a failing disk does. Each time the folder must hold the old pack or the new
one, whole, and the next run must put everything right. All of it twice: with the step in which two folders
change places, and without it, as on drives that have none.
"""

import re
import shutil
import tempfile
from pathlib import Path

import baypack
import packs

# The calls that open, write, rename or delete.
CALLS = "openat,write,fsync,rename,renameat2,mkdir,unlinkat,rmdir,flock"
# How each may fail in use.
FAILURES = {"openat": "EMFILE", "write": "ENOSPC", "fsync": "EIO", "rename": "EIO", "mkdir": "ENOSPC", "unlinkat": "EACCES", "rmdir": "EIO"}
NO_EXCHANGE = "inject=renameat2:error=EINVAL"
# The short form takes every one of the calls that change names, and one of so many of the others.
SHORT_STEP = 4
NAMING = ("rename", "renameat2", "mkdir", "unlinkat", "rmdir", "flock")
# Those by which a pack that is no longer needed is cleared away.
CLEARING = ("openat", "unlinkat", "rmdir")


class Disturbed:
    """A folder with two packs of before, and runs into it that are disturbed at one call."""

    def __init__(self, lists, place, exchange):
        self.lists, self.place, self.exchange = lists, place, exchange
        self.template, self.out = place / "template", place / "out"
        for number in (1, 0):
            lists.run(number, self.template)
        self.calls = self._calls()

    def _injected(self, *what):
        """The start of a command line under strace; `what` is injected."""
        both = list(what) if self.exchange else [NO_EXCHANGE, *what]
        return ["strace", "-o", self.place / "calls.log", "-e", f"trace={CALLS}", *(word for one in both for word in ("-e", one))]

    def _fresh(self):
        shutil.rmtree(self.out, ignore_errors=True)
        shutil.copytree(self.template, self.out, symlinks=True)

    def _calls(self):
        """The calls from the lock on, each with its number among those of its name."""
        self._fresh()
        done = self.lists.run(1, self.out, before=self._injected())
        if done.returncode != 0:
            raise RuntimeError(f"strace: exit status {done.returncode}: {done.stderr[:400]}")
        seen, found, began = {}, [], False
        for line in (self.place / "calls.log").read_text(encoding="utf-8", errors="replace").splitlines():
            name = re.match(r"\w+", line)
            if not name or "(" not in line:
                continue
            name = name[0]
            seen[name] = seen.get(name, 0) + 1
            began = began or packs.LOCK in line
            if began:
                found.append((name, seen[name]))
        return found

    def chosen(self, full):
        """The calls to disturb."""
        return [call for at, call in enumerate(self.calls) if full or call[0] in NAMING or at % SHORT_STEP == 0]

    def at(self, what):
        """What is wrong after a run that was disturbed so, and after the next one; and how it ended."""
        self._fresh()
        done = self.lists.run(1, self.out, before=self._injected(what))
        found = self.lists.judge(self.out, between_names=not self.exchange) + self.lists.told(done.stderr)
        again = self.lists.run(1, self.out)
        if again.returncode != 0:
            found.append(f"the next run ended with {again.returncode}: {again.stderr[:200]}")
        found += self.lists.judge(self.out)
        if self.lists.whole(self.out / packs.DAY) != 1:
            found.append("the next run's pack is not there")
        found += [f"{name} is left after the next run" for name in packs.scratch_in(self.out)]
        return done, [f"{what}: {one}" for one in found]


def killed(disturbed, full):
    """Killed before each call; a run that lived on is a call that was missed."""
    found, calls = [], disturbed.chosen(full)
    for name, number in calls:
        done, wrong = disturbed.at(f"inject={name}:signal=KILL:when={number}")
        found += wrong
        if done.returncode == 0:
            found.append(f"{name} {number} was not met: nothing was killed")
    return found, len(calls)


def failing(disturbed, full):
    """Each call fails once: the run says so with status 3, or does without it if that is how a pack of before is cleared away."""
    found, calls = [], [call for call in disturbed.chosen(full) if call[0] in FAILURES]
    for name, number in calls:
        what = f"inject={name}:error={FAILURES[name]}:when={number}"
        done, wrong = disturbed.at(what)
        found += wrong
        if done.returncode not in ((0, 3) if name in CLEARING else (3,)):
            found.append(f"{what}: exit status {done.returncode}: {done.stderr[:200]}")
    return found, len(calls)


def main():
    options = baypack.options(__doc__)
    report = baypack.Report("crash points")
    if not baypack.can_trace():
        report.skip("stopped before each system call", "no program may be watched here")
        report.close()
    with tempfile.TemporaryDirectory(prefix="outside-") as folder:
        lists = packs.Lists(options.binary, Path(folder))
        for exchange, how in ((True, "with an exchange of folders"), (False, "by renaming alone")):
            place = Path(folder) / ("exchange" if exchange else "renaming")
            place.mkdir()
            disturbed = Disturbed(lists, place, exchange)
            found, count = killed(disturbed, options.full)
            report.check(f"killed before each of {count} system calls of {len(disturbed.calls)}, {how}", found)
            found, count = failing(disturbed, options.full)
            report.check(f"each of {count} system calls fails, {how}", found)
    report.close()


if __name__ == "__main__":
    main()
