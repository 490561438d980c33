"""Times the machine plan against OR-Tools CP-SAT on the same days, in one run. A benchmark, not a test.

    target/outside-venv/bin/python tests/benchmarks/machines.py [--binary FILE] [--days N] [--large N]

Prints a line a day: its size, seconds of processor time until the program had its whole plan written and
until CP-SAT had proven the same two objectives or used up its work, and the ratio. Then a line for all of them:
the slowest, how many were proven, how many took us less than a second and less than CP-SAT. Unit days have up to 60
visits and 20 machines, large ones 300 visits and 100 machines.
"""

import resource
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "outside"))

import baypack
from day_files import DayFiles
from machine_days import machine_day
from machine_model import OBJECTIVES, MachineModel

# Deterministic work of CP-SAT for each objective.
WORK = 30.0
# A clerk does not notice a plan that takes less than this, in seconds.
FAST = 1.0


def ours(binary, day):
    """The plan of a day and the processor time that it took, files included."""
    with baypack.scratch() as folder:
        files = DayFiles.write(day, Path(folder))
        before = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime
        plan, refused = baypack.plan_of(binary, files, folder)
        seconds = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime - before
    if refused:
        sys.exit(refused)
    return plan["machines"], seconds


def theirs(day):
    """What CP-SAT found of the first two objectives, without being told of our plan, and its processor time."""
    started, levels = time.process_time(), []
    model = MachineModel(day)
    for name in OBJECTIVES[:2]:
        level = model.smallest(name, WORK)
        levels.append(level)
        if level is None or not level.proven:
            break
        model.hold(name, level.value)
    return levels, time.process_time() - started


def line(binary, seed, visits, machines):
    """One day, both ways."""
    day = machine_day(seed, visits, machines)
    told, seconds = ours(binary, day)
    levels, other = theirs(day)
    found = ", ".join("nothing" if level is None else f"{level.value} (at least {level.bound})" for level in levels)
    proven = "proven" if told["proven"] else f"at least {told['bound']['without_outlet']}, {told['bound']['moves']}"
    print(
        f"seed {seed}, {visits} visits, {machines} machines: {seconds:.2f} s, {told['without_outlet']} without, "
        f"{told['moves']} moves, {proven}; CP-SAT {other:.2f} s, {found}; ratio {other / max(seconds, 0.01):.1f}",
        flush=True,
    )
    return seconds, other, told["proven"]


def main():
    options = baypack.options(__doc__, days=8, large=2, seed=1)
    for title, count, visits, machines in (("unit", options.days, 60, 20), ("large", options.large, 300, 100)):
        runs = [line(options.binary, seed, visits, machines) for seed in range(options.seed, options.seed + count)]
        if runs:
            fast = sum(run[0] < FAST for run in runs)
            faster = sum(run[0] < run[1] for run in runs)
            print(
                f"{title} days: slowest {max(run[0] for run in runs):.2f} s, {sum(run[2] for run in runs)} of {len(runs)} "
                f"proven, CP-SAT took {sum(run[1] for run in runs) / sum(max(run[0], 0.01) for run in runs):.1f} times as long; "
                f"{fast} of {len(runs)} below {FAST:g} s, {faster} below CP-SAT's time"
            )


if __name__ == "__main__":
    main()
