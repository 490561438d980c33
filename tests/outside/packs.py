"""Packs to compare with, and the judgement of a folder: all files of one pack, or all of the other.

Used by the checks that disturb the program while it writes; knows nothing of how it writes.
"""

import csv
import os
import re
import shutil
import stat
import subprocess
from pathlib import Path

import baypack

EPOCH = 1_900_000_000
DAY = "2031-03-14"
LOCK = ".baypack.lock"
SCRATCH = ".baypack-"
# What tells who a patient is.
PRIVATE = ("family_name", "given_name", "hospital_no", "nhs_no", "born")


def tree(folder):
    """Every file below a folder, by its path, with what it holds."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


class Lists:
    """Two short lists of one day, the packs that they must give, and what in them is private."""

    def __init__(self, binary, place):
        self.binary, self.place = binary, place
        with open(baypack.DEMO / "day-list.csv", encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        self.lists = [self._write("one", rows[:1]), self._write("two", rows[1:2])]
        shutil.copy(baypack.DEMO / "unit.toml", place)
        shutil.copy(baypack.DEMO / "regimens.toml", place)
        cells = {row[column].strip() for row in rows[:2] for column in PRIVATE}
        self.private = re.compile("|".join(re.escape(cell) for cell in cells if len(cell) > 2), re.IGNORECASE)
        self.packs = []
        for number in range(2):
            out = place / f"reference-{number}"
            done = self.run(number, out)
            if done.returncode != 0:
                raise RuntimeError(f"exit status {done.returncode}: {done.stderr[:400]}")
            self.packs.append(tree(out / DAY))
        if self.packs[0] == self.packs[1]:
            raise RuntimeError("the two lists give the same pack")

    def _write(self, name, rows):
        path = self.place / f"{name}.csv"
        with open(path, "w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, rows[0].keys())
            writer.writeheader()
            writer.writerows(rows)
        return path

    def command(self, number, out):
        """The command line that makes the pack of a list."""
        return [str(self.binary), "make", str(self.lists[number]), "--out", str(out), "--quiet"]

    def start(self, number, out, before=(), **more):
        """Starts a run; `before` goes before the command, `more` to the process."""
        environment = {"PATH": os.environ.get("PATH", ""), "LANG": "C.UTF-8", "SOURCE_DATE_EPOCH": str(EPOCH)}
        environment.update(more.pop("env", {}))
        environment = {name: value for name, value in environment.items() if value is not None}
        more = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE, **more}
        return subprocess.Popen([*map(str, before), *self.command(number, out)], env=environment, **more)

    def run(self, number, out, before=(), **more):
        """A run to its end."""
        process = self.start(number, out, before, **more)
        output, errors = process.communicate(timeout=baypack.SECONDS_AT_MOST)
        decoded = [(text or b"").decode("utf-8", "replace") for text in (output, errors)]
        return subprocess.CompletedProcess(process.args, process.returncode, *decoded)

    def whole(self, folder):
        """Which of the packs a folder is, file by file and byte by byte; none if it is neither."""
        found = tree(folder)
        return next((number for number, pack in enumerate(self.packs) if pack == found), None)

    def judge(self, out, between_names=False):
        """What is wrong in a folder, whatever happened: no whole pack, files that others may read, names that tell
        of a patient. `between_names` allows the day's pack to stand as the previous one alone."""
        found = []
        day, previous = out / DAY, out / f"{DAY}.previous"
        if day.exists():
            if self.whole(day) is None:
                found.append(f"{DAY} is neither of the two packs: {difference(self.packs, tree(day))}")
        elif not (between_names and previous.exists()):
            found.append(f"there is no {DAY}: {sorted(os.listdir(out))}")
        if previous.exists() and self.whole(previous) is None:
            found.append(f"{DAY}.previous is neither of the two packs: {difference(self.packs, tree(previous))}")
        return found + self.judge_names(out)

    def judge_names(self, out):
        """Names and permissions of all that lies in a folder."""
        found = []
        for path in out.rglob("*"):
            name = str(path.relative_to(out))
            first = name.split("/")[0]
            if first not in (DAY, f"{DAY}.previous", LOCK) and not first.startswith(SCRATCH):
                found.append(f"{name} does not belong here")
            if self.private.search(name):
                found.append("a name tells of a patient")
            mode = stat.S_IMODE(path.lstat().st_mode)
            if mode & 0o077:
                found.append(f"{name} has the permissions {mode:o}")
        return found

    def told(self, text):
        """Whether a message tells of a patient."""
        return ["a message tells of a patient"] if self.private.search(text) else []


def difference(packs, found):
    """How a folder differs from each of the packs."""
    told = []
    for pack in packs:
        missing, extra = sorted(pack.keys() - found.keys()), sorted(found.keys() - pack.keys())
        other = [name for name in pack.keys() & found.keys() if pack[name] != found[name]]
        told.append(f"{len(missing)} missing, {len(extra)} too many, {len(other)} differ")
    return "; ".join(told)


def scratch_in(out):
    """The scratch names in a folder."""
    try:
        return [name for name in os.listdir(out) if name.startswith(SCRATCH)]
    except FileNotFoundError:
        return []
