"""Runs the program under test, and reports what a check found.

Knows the command line and nothing of what the program computes.
"""

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

PROJECT = Path(__file__).resolve().parent.parent.parent
DEMO = PROJECT / "demo-input"
FINDINGS = PROJECT / "target" / "outside-findings"
# Two cores are what the checks are sized for; more are used if there are any.
WORKERS = max(2, os.cpu_count() or 2)
# A run that takes longer than this hangs.
SECONDS_AT_MOST = 300


def options(description, **extra):
    """The options that every check takes; `extra` adds numbers with their defaults."""
    parser = argparse.ArgumentParser(description=description)
    parser.add_argument("--binary", type=Path, default=PROJECT / "target" / "release" / "baypack")
    parser.add_argument("--full", action="store_true", help="the long form")
    for name, value in extra.items():
        parser.add_argument(f"--{name}", type=int, default=value)
    return parser.parse_args()


def run(binary, *arguments, epoch=None, folder=None, more=None, one_core=False):
    """One run of the program in `folder`; of the environment only the path and what `more` adds reach it."""
    environment = {"PATH": os.environ.get("PATH", ""), "LANG": "C.UTF-8", **(more or {})}
    if epoch is not None:
        environment["SOURCE_DATE_EPOCH"] = str(epoch)
    core = {min(os.sched_getaffinity(0))}
    return subprocess.run(
        [str(binary), *map(str, arguments)],
        env=environment,
        cwd=folder,
        preexec_fn=(lambda: os.sched_setaffinity(0, core)) if one_core else None,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        timeout=SECONDS_AT_MOST,
        text=True,
        encoding="utf-8",
        errors="replace",
    )


def plan_of(binary, files, folder):
    """`plan.json` of a day's files as the program writes it, or the reason why there is none."""
    out = Path(folder) / "plan.json"
    done = run(binary, "check", *files.arguments(), "--plan", out)
    if done.returncode != 0:
        return None, f"exit status {done.returncode}, expected 0\n{done.stderr}"
    return json.loads(out.read_text(encoding="utf-8")), None


def plan_in(folder):
    """`plan.json` of a pack's folder."""
    return json.loads((folder / "plan.json").read_text(encoding="utf-8"))


def scratch():
    """A new folder that goes away with the `with` block."""
    return tempfile.TemporaryDirectory(prefix="outside-")


def keep(name, folder, files, differences):
    """Keeps a counter-example: its files, how to call the program, what was expected and found. Returns where."""
    place = FINDINGS / name
    shutil.rmtree(place, ignore_errors=True)
    shutil.copytree(folder, place)
    call = " ".join(str(argument).replace(str(folder), ".") for argument in files.arguments())
    (place / "arguments.txt").write_text(call + "\n", encoding="utf-8")
    (place / "differences.txt").write_text("\n".join(differences) + "\n", encoding="utf-8")
    return place.relative_to(PROJECT)


def can_trace():
    """Whether this machine lets one program watch the system calls of another."""
    try:
        return subprocess.run(["strace", "-o", os.devnull, "true"], capture_output=True).returncode == 0
    except OSError:
        return False


class Report:
    """Prints one line a check and remembers whether any failed."""

    def __init__(self, title):
        self.title = title
        self.failed = 0

    def check(self, name, differences, shown=8):
        """A check that passes when there are no differences."""
        differences = list(differences)
        if not differences:
            print(f"passed  {self.title}: {name}", flush=True)
            return
        self.failed += 1
        print(f"failed  {self.title}: {name} ({len(differences)} differences)", flush=True)
        for line in differences[:shown]:
            print(f"        {line}", flush=True)

    def skip(self, name, why):
        """A check that this machine does not allow; it counts as neither passed nor failed."""
        print(f"skipped {self.title}: {name} ({why})", flush=True)

    def close(self):
        """Ends the script with the status that the runner expects."""
        sys.exit(1 if self.failed else 0)
