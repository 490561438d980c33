"""Compares which NHS numbers the program accepts with `python-stdnum`, on random ten-digit numbers.

Also the published examples, and that a refusal never repeats the number.
"""

import csv
import random
import re
from pathlib import Path

from stdnum.gb import nhs

import baypack

ROWS = 200
SHORT_LISTS, FULL_LISTS = 20, 200
HEADER = "date,arrive,bay,chair,hospital_no,nhs_no,family_name,given_name,born,regimen,cycle,cooled\n"
# Number, whether it is valid, where it stands. Sums and remainders by the arithmetic of the NHS Data Dictionary.
PUBLISHED = (
    ("943 476 5919", True, "public example"),
    ("401 023 2137", True, "public example"),
    ("654 100 3238", True, "published sample"),
    ("671 668 9966", True, "published sample"),
    ("987 654 3210", True, "remainder 0: the check digit 11 is written 0"),
    ("987 654 3214", False, "the same nine digits with another check digit"),
    ("987 654 4321", False, "a documentation page's example of the layout"),
    ("123 456 7890", False, "check digit 10 is never given"),
    ("123 456 1234", False, "sample in a package"),
    ("129 728 7652", False, "sample on a banner picture"),
    *((f"999 000 {last}", True, "test range") for last in ("0018", "0026", "0034", "0042", "0050", "0069")),
    *((f"{nine[:3]} {nine[3:6]} {nine[6:]}{last}", False, "test range, check digit 10")
      for nine in ("999000000", "999000014", "999000028", "999000031") for last in range(10)),
)


def refused_rows(binary, numbers):
    """The places of the numbers that the program refuses, and all that it says."""
    rows = [
        f"2031-03-14,09:00,A,A1,N{place},{number},Test,Person,1970-01-01,TRAS,2,no\n"
        for place, number in enumerate(numbers)
    ]
    with baypack.scratch() as folder:
        path = Path(folder) / "numbers.csv"
        path.write_text(HEADER + "".join(rows), encoding="utf-8")
        faults = Path(folder) / "faults.csv"
        done = baypack.run(
            binary, "check", path, "--unit", baypack.DEMO / "unit.toml", "--regimens", baypack.DEMO / "regimens.toml",
            "--faults", faults,
        )
        refused = set()
        if faults.exists():
            with faults.open(encoding="utf-8-sig", newline="") as written:
                told = [row["to_mend"] for row in csv.DictReader(written)]
            refused = {place for place, text in enumerate(told) if "nhs_no" in text}
    if done.returncode != (1 if refused else 0):
        raise RuntimeError(f"exit status {done.returncode}: {done.stderr[:400]}")
    return refused, done.stdout + done.stderr


def random_numbers(rng):
    """Ten-digit numbers, half of them with the right check digit where there is one, some with spaces."""
    numbers = set()
    while len(numbers) < ROWS:
        number = f"{rng.randrange(1, 10**10):010}"
        check = (11 - sum(int(digit) * weight for digit, weight in zip(number, range(10, 1, -1))) % 11) % 11
        if rng.random() < 0.5 and check != 10:
            number = number[:9] + str(check)
        numbers.add(number)
    ordered = sorted(numbers)
    rng.shuffle(ordered)
    return [f"{number[:3]} {number[3:6]} {number[6:]}" if rng.random() < 0.5 else number for number in ordered]


def list_differences(binary, rng):
    """Where the two disagree on one list, and numbers that a message repeats."""
    numbers = random_numbers(rng)
    refused, told = refused_rows(binary, numbers)
    digits = re.sub(r"(?<=\d) (?=\d)", "", told)
    found = []
    for place, number in enumerate(numbers):
        valid = nhs.is_valid(number)
        if valid == (place in refused):
            found.append(f"{number}: expected {'accepted' if valid else 'refused'}")
        if nhs.compact(number) in digits:
            found.append(f"{number}: repeated in a message")
    return found


def published_differences(binary):
    """Published examples on which the program or the library is wrong."""
    refused, _ = refused_rows(binary, [number for number, _, _ in PUBLISHED])
    found = [
        f"{number} ({source}): expected {'accepted' if valid else 'refused'}"
        for place, (number, valid, source) in enumerate(PUBLISHED) if valid == (place in refused)
    ]
    return found + [f"{number}: the library disagrees" for number, valid, _ in PUBLISHED if nhs.is_valid(number) != valid]


def form_differences(binary):
    """Cells that are no NHS number at all, zeros among them: they pass the arithmetic and are nobody's."""
    cells = ["0000000000", "000 000 0000", "943476591", "94347659190", "94347659l9", "943-4765-919x", "NHS 9434765919"]
    refused, _ = refused_rows(binary, cells)
    return [f"{cell}: expected refused" for place, cell in enumerate(cells) if place not in refused]


def main():
    options = baypack.options(__doc__, seed=1)
    report = baypack.Report("nhs numbers")
    rng = random.Random(options.seed)
    lists = FULL_LISTS if options.full else SHORT_LISTS
    report.check("published examples", published_differences(options.binary))
    found = [text for _ in range(lists) for text in list_differences(options.binary, rng)]
    report.check(f"{lists * ROWS} random numbers as python-stdnum judges them", found)
    report.check("other forms and zeros are refused", form_differences(options.binary))
    report.close()


if __name__ == "__main__":
    main()
