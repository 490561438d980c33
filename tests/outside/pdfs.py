"""Checks the files as PDF: their structure, PDF/A-2a and PDF/UA-1, and how hard the care card is to read.

The single files are held to both standards; what is made for a printer only (`PAPER_ONLY`) is not. Each single file
says in which language it is, so that a screen reader pronounces it.
"""

import re
import subprocess
from collections import Counter, defaultdict
from multiprocessing import Pool
from pathlib import Path

import textstat
from page import ValidationProfile, validate_pdf
from pdfminer.pdfdocument import PDFDocument
from pdfminer.pdfparser import PDFParser

import baypack
from day_files import DayFiles
from days import random_day
from languages import CARDS, demo_in, spoken

PAPER_ONLY = {"pack.pdf", "care-cards.pdf", "labels.pdf", "printer-check.pdf"}
# The validator reports this rule falsely on sound files now and then; qpdf checks the same lengths.
FALSE_ALARMS = {"STREAM-LENGTH-001"}
SHORT_DAYS, FULL_DAYS = 6, 60
# The languages of the packs' sheets by turns, the demo's among them; none: as they are made, all in English.
LANGUAGES = (None, "pl", "es")
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


def languages_of(plan):
    """The language of each single file, as the record has it."""
    return {f"{document['file']}.pdf": document["data"]["head"]["language"] for document in plan["documents"]}


def language_faults(path, language):
    """A file that names another language than that of its words."""
    with open(path, "rb") as file:
        told = PDFDocument(PDFParser(file)).catalog.get("Lang", b"")
    told = told.decode("utf-16") if told.startswith(b"\xfe\xff") else told.decode("latin-1")
    return [] if told == language else [f"{path.name}: is in {language}, and says `{told}`"]


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


def try_pack(job):
    """A pack, the demo's where there is no seed: its faults by subject, and how many files of each kind it has."""
    binary, seed, language = job
    faults, counted = defaultdict(list), Counter()
    with baypack.scratch() as inputs, baypack.scratch() as folder:
        if seed is None:
            arguments = [(demo_in(language, inputs) if language else baypack.DEMO) / "day-list.csv"]
        else:
            day = random_day(seed, most_visits=12)
            arguments = DayFiles.write(spoken(day, language) if language else day, Path(inputs)).arguments()
        paths = pdfs_of(binary, arguments, folder)
        spoken_in = languages_of(baypack.plan_in(next(path.parent for path in paths if path.name == "pack.pdf")))
        for path in paths:
            counted["files"] += 1
            faults["structure"] += structure_faults(path)
            if path.name == "pack.pdf":
                faults["blind"] += unnoticed(path)
            if path.name in PAPER_ONLY:
                continue
            is_card = path.parent.name == "cards"
            own = spoken_in[f"cards/{path.name}" if is_card else path.name]
            counted.update(["single files", f"in {own}", *(["English cards"] if is_card and own == "en" else [])])
            faults["2a"] += standard_faults(path, ValidationProfile.PDF_A_2A)
            faults["ua1"] += standard_faults(path, ValidationProfile.PDF_UA_1)
            faults["language"] += language_faults(path, own if is_card else language or "en")
            if is_card and own == "en":
                faults["grade"] += card_faults(path)
    return faults, counted


def main():
    options = baypack.options(__doc__, seed=900)
    report = baypack.Report("pdf")
    days = FULL_DAYS if options.full else SHORT_DAYS
    jobs = [(options.binary, None, language) for language in LANGUAGES]
    jobs += [(options.binary, options.seed + number, LANGUAGES[number % len(LANGUAGES)]) for number in range(days)]
    with Pool(baypack.WORKERS) as pool:
        results = pool.map(try_pack, jobs, chunksize=1)
    counted = sum((numbers for _, numbers in results), Counter())
    faults = lambda subject: [text for found, _ in results for text in found[subject]]
    none = lambda *kinds: [f"there was none {kind}" for kind in kinds if not counted[kind]]
    report.check(f"qpdf finds {counted['files']} files sound", faults("structure"))
    singles, tried = counted["single files"], ", ".join(f"{counted[f'in {language}']} in {language}" for language in CARDS)
    report.check(f"{singles} single files are PDF/A-2a", faults("2a"))
    report.check(f"{singles} single files are PDF/UA-1", faults("ua1"))
    report.check(f"each says in which language it is: {tried}", faults("language") + none(*(f"in {language}" for language in CARDS)))
    report.check("the validator refuses a pack, which is for paper only", faults("blind"))
    report.check("the formula of Flesch and Kincaid on worked counts", formula_differences())
    cards = counted["English cards"]
    report.check(f"{cards} English care cards at grade {GRADE_AT_MOST:.0f} or lower", faults("grade") + none("English cards"))
    report.close()


if __name__ == "__main__":
    main()
