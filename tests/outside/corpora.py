"""Prints published naughty strings and confusable characters as patients' names and reads them back from the PDF.

Each name stands on a staff sheet as it was given, or its row is held back by its line. Knows where the
names stand in a list and nothing of what the program does with them.
"""

import csv
import json
import subprocess
import unicodedata
from pathlib import Path

import baypack

CORPORA = baypack.PROJECT / "tests" / "corpora"
HEADER = "date,arrive,bay,chair,hospital_no,family_name,given_name,born,regimen,cycle,cooled".split(",")
# Fewer patients than the demonstration has chairs: no crowd on any sheet.
BATCH = 12
CHAIRS = [f"{bay}{number}" for bay, chairs in (("A", 6), ("B", 6), ("C", 5)) for number in range(1, chairs + 1)]
# Without --full, one of so many strings and one of so many characters is tried.
EACH_STRING, EACH_CHARACTER = 4, 20


def naughty(full):
    """The strings of the list that are not blank, and not longer than a name may be, or some of them."""
    strings = json.loads((CORPORA / "blns" / "blns.json").read_text(encoding="utf-8"))
    names = [text for text in strings if text.strip() and len(text) <= 100 and "\n" not in text]
    return names if full else names[::EACH_STRING]


def confusable(full):
    """A name for each character that can be taken for a Latin letter, or for some of them."""
    lines = (CORPORA / "unicode" / "confusables.txt").read_text(encoding="utf-8").splitlines()
    characters = [chr(int(line.split(";")[1], 16)) for line in lines if not line.startswith("#")]
    return [f"Z{character}e" for character in (characters if full else characters[::EACH_CHARACTER])]


def plain(text):
    """A text without white space, marks of direction and ways to write one letter."""
    kept = (one for one in unicodedata.normalize("NFKC", text) if not one.isspace())
    return "".join(one for one in kept if unicodedata.category(one) not in ("Cf", "Cc"))


def printed(text, page):
    """Whether a page has a name; of one that runs from right to left, its letters on one line in any order."""
    if plain(text) in plain(page):
        return True
    if not any(unicodedata.bidirectional(one) in ("R", "AL", "AN") for one in text):
        return False
    return any(all(plain(line).count(one) >= plain(text).count(one) for one in plain(text)) for line in page.splitlines())


def text_of(path):
    """The text of a PDF in reading order, where a name on two lines stays together, and as it stands on the page."""
    orders = (["-raw"], ["-layout"])
    told = (subprocess.run(["pdftotext", *order, path, "-"], capture_output=True, check=True).stdout for order in orders)
    return "\n".join(text.decode("utf-8") for text in told)


def write_list(path, names):
    """A list with a row for each name; the patients are not cooled, which makes the shortest paper."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, quoting=csv.QUOTE_ALL)
        writer.writerow(HEADER)
        for number, name in enumerate(names):
            chair, arrive = CHAIRS[number % len(CHAIRS)], 8 * 60 + 15 * number
            clock = f"{arrive // 60:02}:{arrive % 60:02}"
            writer.writerow(
                ["2031-03-14", clock, chair[0], chair, f"T-{number}", "Testcase", name, "1961-03-14", "TRAS", "2", "no"]
            )


def differences(binary, names):
    """What became of none of the names: neither on the sheet nor held back."""
    found = []
    with baypack.scratch() as folder:
        folder = Path(folder)
        write_list(folder / "list.csv", names)
        done = baypack.run(
            binary, "make", folder / "list.csv", "--out", folder / "out", "--hold-bad-rows", "--quiet",
            "--unit", baypack.DEMO / "unit.toml", "--regimens", baypack.DEMO / "regimens.toml",
        )
        if done.returncode != 0:
            return [f"exit status {done.returncode}: {done.stderr[:300]}"], 0
        pack = folder / "out" / "2031-03-14"
        plan = baypack.plan_in(pack)
        taken = {int(visit["hospital_no"][2:]) for visit in plan["visits"]}
        held = len([caution for caution in plan["cautions"] if caution["kind"] == "held_back"])
        if len(taken) + held != len(names):
            found.append(f"{len(names)} rows, {len(taken)} planned, {held} held back")
        page = "\n".join(text_of(path) for path in sorted(pack.glob("bay-*.pdf")))
        for number in sorted(taken):
            name = names[number]
            # An apostrophe that only keeps a formula from running is none of the name.
            inert = name[1:] if name[0] == "'" and name[1:2] in ("=", "+", "-", "@") else name
            if not printed(inert, page):
                found.append(f"not on the sheet: {name!r}")
    return found, len(taken)


def main():
    options = baypack.options(__doc__)
    report = baypack.Report("corpora")
    for title, names in (("naughty strings", naughty(options.full)), ("confusable characters", confusable(options.full))):
        found, taken = [], 0
        for start in range(0, len(names), BATCH):
            more, count = differences(options.binary, names[start : start + BATCH])
            found += more
            taken += count
        if not 0 < taken < len(names):
            found.append(f"{taken} of {len(names)} taken: nothing was compared, or nothing refused")
        report.check(f"{len(names)} {title} as names: {taken} printed as they stand, the others held back", found)
    report.close()


if __name__ == "__main__":
    main()
