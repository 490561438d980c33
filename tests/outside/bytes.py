"""The same input gives the same bytes: every file of a pack, run after run.

With another time of printing, or with none given, only the pack's stamp differs. The zone and the
language of the machine, the folder and the number of cores change nothing.
"""

import hashlib
from pathlib import Path

import baypack
from day_files import DayFiles
from days import random_day

EPOCH = 1_900_000_000
SHORT_DAYS, FULL_DAYS = 4, 40
# What is stamped with the time of printing.
STAMPED = {"pack.pdf"}


def hashes(binary, arguments, epoch, **surroundings):
    """The files that a run writes into an empty folder, by name, with what they hold."""
    with baypack.scratch() as folder:
        done = baypack.run(binary, "make", *arguments, "--out", folder, epoch=epoch, **surroundings)
        if done.returncode != 0:
            raise RuntimeError(f"exit status {done.returncode}: {done.stderr[:400]}")
        root = Path(folder)
        files = [path for path in root.rglob("*") if path.is_file()]
        return {str(path.relative_to(root)): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


def changed(one, other, subject, may_differ=frozenset()):
    """Files that differ between two runs, or are in one of them only."""
    found = [f"{subject}: {name} is in one run only" for name in sorted(one.keys() ^ other.keys())]
    for name in sorted(one.keys() & other.keys()):
        if one[name] != other[name] and Path(name).name not in may_differ:
            found.append(f"{subject}: {name} differs")
    return found


def unstamped(one, other, subject):
    """Stamped files that do not show another time of printing."""
    names = [name for name in one if Path(name).name in STAMPED]
    if not names:
        return [f"{subject}: there is no pack"]
    return [f"{subject}: {name} has the same stamp" for name in names if one[name] == other.get(name)]


def main():
    options = baypack.options(__doc__, seed=500)
    binary, report = options.binary, baypack.Report("bytes")
    demo = [baypack.DEMO / "day-list.csv"]
    first = hashes(binary, demo, EPOCH)
    report.check("the demo twice", changed(first, hashes(binary, demo, EPOCH), "demo"))

    elsewhere = {"TZ": "Pacific/Auckland", "LANG": "de_DE.UTF-8", "LC_ALL": "de_DE.UTF-8"}
    with baypack.scratch() as folder:
        again = hashes(binary, demo, EPOCH, folder=folder, more=elsewhere, one_core=True)
    report.check("in another zone, language and folder, on one core", changed(first, again, "demo"))

    later = hashes(binary, demo, EPOCH + 3600)
    report.check("an hour later only the pack differs", changed(first, later, "demo", STAMPED) + unstamped(first, later, "demo"))
    now = hashes(binary, demo, None)
    report.check("by the machine's clock only the pack differs", changed(first, now, "demo", STAMPED) + unstamped(first, now, "demo"))

    found, days = [], FULL_DAYS if options.full else SHORT_DAYS
    for seed in range(options.seed, options.seed + days):
        with baypack.scratch() as folder:
            arguments = DayFiles.write(random_day(seed, most_visits=16), Path(folder)).arguments()
            found += changed(hashes(binary, arguments, EPOCH), hashes(binary, arguments, EPOCH), f"day {seed}")
    report.check(f"{days} random days twice", found)
    report.close()


if __name__ == "__main__":
    main()
