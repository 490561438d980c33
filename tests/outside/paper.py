"""Reads the text of a PDF back by position, with poppler's `pdftotext`.

Knows words, lines and clock times, and nothing of what they ought to say.
"""

import re
import subprocess
import unicodedata
import xml.etree.ElementTree as ElementTree
from dataclasses import dataclass

CLOCK = re.compile(r"(?<![\d:])(\d{2}):(\d{2})(?![\d:])")
XHTML = "{http://www.w3.org/1999/xhtml}"
# Characters that XML cannot hold; a font's odd mapping could bring one.
UNFIT = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f]")
# Words whose middles are this close, in points, stand on one line.
ONE_LINE = 3.0


@dataclass
class Word:
    """A word and its box on the page, in points from the top left."""

    page: int
    left: float
    right: float
    top: float
    bottom: float
    text: str

    @property
    def middle(self):
        return (self.top + self.bottom) / 2


def words_of(path):
    """The words of a PDF in its own order, with their places."""
    told = subprocess.run(["pdftotext", "-bbox", str(path), "-"], capture_output=True, check=True).stdout
    root = ElementTree.fromstring(UNFIT.sub(" ", told.decode("utf-8")))
    words = []
    for number, page in enumerate(root.iter(f"{XHTML}page"), start=1):
        for word in page.iter(f"{XHTML}word"):
            left, right, top, bottom = (float(word.get(name)) for name in ("xMin", "xMax", "yMin", "yMax"))
            words.append(Word(number, left, right, top, bottom, unicodedata.normalize("NFC", word.text or "")))
    return words


def text_of(path):
    """The text in reading order, each stretch of white space a single space."""
    told = subprocess.run(["pdftotext", str(path), "-"], capture_output=True, check=True).stdout
    return " ".join(unicodedata.normalize("NFC", told.decode("utf-8")).split())


def information_of(path):
    """Title and other entries of the document's information, as one text."""
    return subprocess.run(["pdfinfo", str(path)], capture_output=True, text=True, check=True).stdout


def pages(words):
    """The words by page, in the order of the pages."""
    numbers = sorted({word.page for word in words})
    return [[word for word in words if word.page == number] for number in numbers]


def lines(words):
    """The words by line, page after page from top to bottom, each line from left to right."""
    found = []
    for word in sorted(words, key=lambda word: (word.page, word.middle)):
        last = found[-1][-1] if found else None
        if last and last.page == word.page and abs(last.middle - word.middle) <= ONE_LINE:
            found[-1].append(word)
        else:
            found.append([word])
    return [sorted(line, key=lambda word: word.left) for line in found]


def joined(words):
    """The words of a line or a page as text."""
    return " ".join(word.text for word in words)


def times(words):
    """The clock times among some words, as minutes, in their order."""
    return [int(hours) * 60 + int(minutes) for word in words for hours, minutes in CLOCK.findall(word.text)]
