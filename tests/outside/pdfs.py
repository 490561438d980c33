"""Checks the files as PDF: their structure, PDF/A-2a and PDF/UA-1, and how hard the care card is to read.

The single files are held to both standards; what is made for a printer only (`PAPER_ONLY`) is not.
"""

import re
import subprocess
from pathlib import Path

import textstat
from page import ValidationProfile, validate_pdf

import baypack
from day_files import DayFiles
from days import random_day

PAPER_ONLY = {"pack.pdf", "care-cards.pdf", "labels.pdf", "printer-check.pdf"}
# The validator reports this rule falsely on sound files now and then; qpdf checks the same lengths.
FALSE_ALARMS = {"STREAM-LENGTH-001"}
SHORT_DAYS, FULL_DAYS = 6, 60
# The highest United States school grade of the card's text (reading age 9 to 11 is grade 4 to 6).
GRADE_AT_MOST = 6.0


def pdfs_of(binary, arguments, folder):
    """The PDF files of a pack made in `folder`."""
    done = baypack.run(binary, "make", *arguments, "--out", folder)
    if done.returncode != 0:
        raise RuntimeError(f"exit status {done.returncode}: {done.stderr[:400]}")
    return sorted(Path(folder).rglob("*.pdf"))


def structure_faults(path):
    """What qpdf has to say of a file."""
    done = subprocess.run(["qpdf", "--check", str(path)], capture_output=True, text=True)
    return [] if done.returncode == 0 else [f"{path.name}: {line}" for line in (done.stdout + done.stderr).splitlines()[-4:]]


def standard_faults(path, profile):
    """The rules of a standard that a file breaks."""
    failures = validate_pdf(path, profile=profile).failures
    return sorted({
        f"{path.name}: {failure.rule_id} {failure.message}"
        for failure in failures if not any(alarm in failure.rule_id for alarm in FALSE_ALARMS)
    })


def flesch_kincaid(words, sentences, syllables):
    """The grade by its published formula."""
    return 0.39 * words / sentences + 11.8 * syllables / words - 15.59


def formula_differences():
    """The formula on counts worked out by hand: 6 words, 1 sentence, 6 syllables; 11, 1, 24."""
    worked = (((6, 1, 6), -1.45), ((11, 1, 24), 14.4455))
    return [f"{counts}: expected {grade}" for counts, grade in worked if abs(flesch_kincaid(*counts) - grade) > 1e-4]


def card_text(path):
    """A care card's text as printed, without what is no sentence: page lines, telephone numbers, lone names."""
    text = subprocess.run(["pdftotext", str(path), "-"], capture_output=True, text=True, check=True).stdout
    blocks = [" ".join(block.split()) for block in re.split(r"\n\s*\n|\f", text)]
    sentences = [part for block in blocks for part in re.split(r"(?<=[.?!])\s+", block)]
    return [part for part in sentences if len(re.findall(r"[A-Za-z]+", part)) >= 3 and not re.search(r"\d{5}|·", part)]


def grades(path):
    """The card's grade by the library and by the formula, each with list entries apart and with a list as one sentence.

    Entries apart is how the card looks; the other is how the grade comes out at its worst, since a heading and a list
    without full stops then make one long sentence.
    """
    found = []
    for text in (". ".join(part.rstrip(".") for part in card_text(path)) + ".", " ".join(card_text(path))):
        words, syllables, sentences = textstat.lexicon_count(text), textstat.syllable_count(text), textstat.sentence_count(text)
        found += [textstat.flesch_kincaid_grade(text), flesch_kincaid(words, sentences, syllables)]
    return found


def is_english(path):
    """Whether a card is in English: the formula counts English syllables."""
    told = subprocess.run(["qpdf", "--json", "--json-key=qpdf", str(path)], capture_output=True, text=True, check=True)
    return '"/Lang": "u:en"' in told.stdout


def card_faults(path):
    """A card that is too hard to read, or whose text was not found."""
    found = [f"{path.name}: grade {grade:.1f}" for grade in grades(path) if grade > GRADE_AT_MOST]
    return found + ([f"{path.name}: only {len(card_text(path))} sentences found"] if len(card_text(path)) < 8 else [])


def unnoticed(pack):
    """The pack is for paper and not tagged: a validator that passes it sees nothing."""
    return [] if standard_faults(pack, ValidationProfile.PDF_UA_1) else ["the validator passes a pack without tags"]


def main():
    options = baypack.options(__doc__, seed=900)
    report = baypack.Report("pdf")
    days = FULL_DAYS if options.full else SHORT_DAYS
    faults = {"structure": [], "2a": [], "ua1": [], "grade": [], "blind": []}
    counted, singles, cards = 0, 0, 0
    for seed in [None, *range(options.seed, options.seed + days)]:
        with baypack.scratch() as inputs, baypack.scratch() as folder:
            arguments = [baypack.DEMO / "day-list.csv"]
            if seed is not None:
                arguments = DayFiles.write(random_day(seed, most_visits=12), Path(inputs)).arguments()
            for path in pdfs_of(options.binary, arguments, folder):
                counted += 1
                faults["structure"] += structure_faults(path)
                if path.name == "pack.pdf":
                    faults["blind"] += unnoticed(path)
                if path.name in PAPER_ONLY:
                    continue
                singles += 1
                faults["2a"] += standard_faults(path, ValidationProfile.PDF_A_2A)
                faults["ua1"] += standard_faults(path, ValidationProfile.PDF_UA_1)
                if path.parent.name == "cards" and is_english(path):
                    cards += 1
                    faults["grade"] += card_faults(path)
    report.check(f"qpdf finds {counted} files sound", faults["structure"])
    report.check(f"{singles} single files are PDF/A-2a", faults["2a"])
    report.check(f"{singles} single files are PDF/UA-1", faults["ua1"])
    report.check("the validator refuses a pack, which is for paper only", faults["blind"])
    report.check("the formula of Flesch and Kincaid on worked counts", formula_differences())
    none = [] if cards else ["no card was found"]
    report.check(f"{cards} English care cards at grade {GRADE_AT_MOST:.0f} or lower", faults["grade"] + none)
    report.close()


if __name__ == "__main__":
    main()
