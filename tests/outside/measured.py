"""Measures the finished PDFs: sizes of type, boxes to write in, tick boxes, slip cells, margins, strokes, greys.

The least values are those of README.md in `layouts/`. A box is measured between the middles of its lines, the
white between two tick boxes from ink to ink.
"""

import copy
import dataclasses
import re
import subprocess
from multiprocessing import Pool
from pathlib import Path

import baypack
import drawn
import numpy
from day_files import DayFiles
from days import random_day
from drawn import MM, Area
from languages import STAFF, demo_in, spoken, words_in

SHORT_DAYS, FULL_DAYS = 3, 60
DEMO_LISTS = ("day-list.csv", "day-list-overloaded.csv")
# Sheets and cards of the random days: as they are made, in English; in Polish and Spanish, with cards in every language.
LANGUAGES = (None, "pl", "es")
CLOCK = re.compile(r"\d{2}:\d{2}")
# What is measured may be short of its limit by this, in mm and in points: numbers in a file are rounded.
ROUNDED = 0.02
# Least sizes of type, in points.
STAFF_TYPE, STAGE_TYPE, SLIP_TYPE, CARD_TYPE, LARGE_TYPE = 9.0, 11.0, 9.0, 12.0, 18.0
# Least widths and heights of boxes, in mm.
TIME_BOX, INITIALS_BOX, SLIP_CELL, TICK_BOX = (16.0, 8.0), (10.0, 8.0), (12.0, 5.0), (5.0, 5.0)
# A page has room for so many columns with boxes of these sizes; the boxes of a wider grid are as narrow as its cells.
COLUMNS_AT_MOST = 11
TICK_GAP, MARGIN, STROKE = 2.0, 10.0, 0.5
# Labels begin where their sheet has them; every printer reaches this far (common practice, no source).
LABELS_MARGIN = 5.0
# The lightest shade of text: 60 % black.
LIGHTEST = 0.4
# An empty box no wider and no higher than this is one to tick.
TICK_AT_MOST = 7.5
SUBJECTS = {
    "made": "days make their packs",
    "type": "type: staff sheets 9 pt, stage times 11, slip cells 9, cards 12, large print 18",
    "boxes": "boxes to write in: times 16 x 8 mm, initials 10 x 8, slip cells 12 x 5",
    "ticks": "tick boxes: 5 mm, with 2 mm of white between them",
    "margins": "10 mm of white at every edge",
    "strokes": "no stroke is thinner than 0.5 pt, in hatchings too",
    "greys": "no colour, and no text lighter than 60 % black",
    "found": "what must be measured is found on the pages",
}


class Findings:
    """Differences by subject, and how many of each thing were measured on sheets of a language."""

    def __init__(self, language="en"):
        words = words_in(language)
        self.common, self.bay, self.machine, self.strip = (
            words["common"]["labels"], words["bay"]["labels"], words["machine"]["labels"], words["strip"],
        )
        self.differences = {subject: [] for subject in SUBJECTS}
        self.counted = {}

    def add(self, subject, place, text):
        self.differences[subject].append(f"{place}: {text}")

    def count(self, kind, number=1):
        self.counted[kind] = self.counted.get(kind, 0) + number

    def box(self, place, area, least, kind, subject="boxes"):
        """Measures one box, which may be missing."""
        self.count(kind)
        if area is None:
            self.add(subject, place, f"a {kind} has no lines around it")
        elif area.width < least[0] - ROUNDED or area.height < least[1] - ROUNDED:
            self.add(subject, place, f"a {kind} is {area}")


# Any page.


def measure_page(found, place, page, least_type, margin=MARGIN, within=None):
    """What holds on every page; `within` is the part of the page that has the margin, else all of it."""
    found.count("pages")
    for letter in page.letters:
        if letter.text.strip():
            if letter.size < least_type - ROUNDED:
                found.add("type", place, f"{letter.size:.2f} pt at {letter.area.left:.0f}, {letter.area.top:.0f}")
            if letter.shade > LIGHTEST + 0.005:
                found.add("greys", place, f"text in {100 - 100 * letter.shade:.0f} % black")
    widths = {stroke.width for stroke in page.strokes} | set(page.pattern_widths)
    widths |= {min(area.width, area.height) / MM for area, _ in page.fills}
    found.differences["strokes"] += [f"{place}: {width:.2f} pt" for width in widths if width < STROKE - ROUNDED]
    if page.components - {1}:
        found.add("greys", place, f"colours of {sorted(page.components)} components")
    measure_margin(found, place, page, margin, within or Area(0, 0, page.width, page.height))
    measure_ticks(found, place, page)


def measure_margin(found, place, page, margin, paper):
    """All ink keeps away from the edges of the paper."""
    inner = paper.grown(-margin + ROUNDED)
    outside = [
        (kind, area) for kind, area in page.ink()
        if area.left < inner.left or area.top < inner.top or area.right > inner.right or area.bottom > inner.bottom
    ]
    for kind, area in outside[:3]:
        found.add("margins", place, f"{kind} from {area.left:.2f}, {area.top:.2f} to {area.right:.2f}, {area.bottom:.2f}")


def empty_boxes(page):
    return [(area, line) for area, line in page.boxes if page.is_empty(area)]


def measure_ticks(found, place, page):
    """Each small empty box is at least one to tick, and has white around it."""
    ticks = [(a, line) for a, line in empty_boxes(page) if a.width <= TICK_AT_MOST and a.height <= TICK_AT_MOST]
    for area, _ in ticks:
        found.box(place, area, TICK_BOX, "tick box", "ticks")
    inked = sorted((area.grown(line * MM / 2) for area, line in ticks), key=lambda area: area.top)
    for at, one in enumerate(inked):
        for other in inked[at + 1:]:
            if other.top > one.bottom + TICK_GAP:
                break
            apart = max(other.left - one.right, one.left - other.right, other.top - one.bottom)
            if apart < TICK_GAP - ROUNDED:
                found.add("ticks", place, f"{apart:.2f} mm between two, at {one.left:.0f}, {one.top:.0f}")


def colour_differences(path):
    """Pages on which a dot is not grey when the page is printed in colours."""
    done = subprocess.run(["pdftoppm", "-r", "50", str(path)], capture_output=True, check=True).stdout
    found, at, number = [], 0, 0
    while at < len(done):
        head = re.compile(rb"P6\s+(\d+)\s+(\d+)\s+255\s").match(done, at)
        size = int(head[1]) * int(head[2]) * 3
        dots = numpy.frombuffer(done, numpy.uint8, size, head.end()).reshape(-1, 3)
        number += 1
        if (dots.max(axis=1) - dots.min(axis=1)).any():
            found.append(f"{path.name} page {number} is printed in colours")
        at = head.end() + size
    return found


# The bay sheet.


def words_on_a_line(page, y):
    """The words whose middles lie within a millimetre of a line."""
    return sorted((w for w in page.words if abs(w.area.middle[1] - y) < 1.0), key=lambda word: word.area.left)


def find_label(page, label):
    """The places of a label's first word where all its words follow, in the order of the page."""
    wanted, found = label.split(), []
    for at, word in enumerate(page.words):
        if [other.text for other in page.words[at:at + len(wanted)]] == wanted:
            found.append(word)
    return found


def measure_strip(found, place, page, strip):
    """The face of a cooled patient: stage times, slip grid, boxes."""
    found.count("faces")
    stages = [stage["time"] for stage in strip["stages"]]
    lines = {round(word.area.middle[1], 1): None for word in page.words if word.text == stages[0]}
    rows = [[w for w in words_on_a_line(page, y) if CLOCK.fullmatch(w.text)] for y in lines]
    row = max((row for row in rows if [w.text for w in row] == stages), key=lambda row: row[0].size, default=[])
    if not row:
        found.add("found", place, "no line holds the stage times")
    found.count("stage time", len(row))
    for word in row:
        if word.size < STAGE_TYPE - ROUNDED:
            found.add("type", place, f"stage time {word.text} in {word.size:.2f} pt")
    cells = measure_grid(found, place, page, strip["cooling"]["grid"])
    if cells:
        columns = strip["cooling"]["grid"]["columns"]
        measure_grid_heads(found, place, page, [cell for cell, column in zip(cells, columns) if not column["only_read"]], len(cells))
    measure_break_log(found, place, page, strip["cooling"]["break_lines"])


def measure_grid(found, place, page, grid):
    """Each cell of the slip grid; returns the words of its line `on plan`."""
    on_plan = None
    for line in grid["lines"]:
        first = line["cells"][0]
        rows = (words_on_a_line(page, w.area.middle[1]) for w in page.words if w.text == first)
        cells = next((c for c in map(clock_cells, rows) if [w.text for w in c] == line["cells"]), None)
        if cells is None:
            found.add("found", place, f"no line of the grid holds {' '.join(line['cells'])}")
            continue
        if line["on_plan"]:
            on_plan = cells
        for word in cells:
            found.box(place, page.cell(*word.area.middle), SLIP_CELL, "slip cell")
            if word.size < SLIP_TYPE - ROUNDED:
                found.add("type", place, f"slip cell {word.text} in {word.size:.2f} pt")
    return on_plan


def clock_cells(row):
    return [word for word in row if CLOCK.fullmatch(word.text)]


def measure_grid_heads(found, place, page, cells, columns):
    """The boxes for the real time and the initials at the head of each column in which something is written."""
    wide = columns > COLUMNS_AT_MOST
    found.count("wide grids", int(wide))
    for label, least, kind in ((found.bay["real_time"], TIME_BOX, "real time box"), (found.common["initials"], INITIALS_BOX, "initials box")):
        left = min(word.area.left for word in cells)
        # A label may take two lines; both stand in its row.
        heads = [word for word in find_label(page, label.split()[0]) if word.area.right < left]
        if not heads:
            found.add("found", place, f"no `{label}` beside the grid")
            continue
        row = page.cell(*heads[0].area.middle)
        for word in cells:
            least = (SLIP_CELL[0], least[1]) if wide else least
            found.box(place, row and page.cell(word.area.middle[0], row.middle[1]), least, kind)


def measure_break_log(found, place, page, lines):
    """The boxes of the log of breaks, below their heads."""
    heads = [word for word in find_label(page, found.bay["back_by"]) if not on_ladder(page, word)]
    if not heads:
        found.add("found", place, "no log of breaks")
        return
    head = max(heads, key=lambda word: word.area.top)
    columns = [w for w in words_on_a_line(page, head.area.middle[1]) if w.area.left < head.area.left + 60]
    first_words = [found.bay[name].split()[0] for name in ("left", "remind", "back_by", "back")]
    times = [w for w in columns if w.text in first_words]
    initials = [w for w in columns if w.text == found.common["initials"]]
    if len(times) != 4 or len(initials) != 1:
        found.add("found", place, f"{len(times)} columns of times and {len(initials)} of initials in the log of breaks")
    below = head.area.bottom + 2
    for number in range(lines):
        y = below + number * TIME_BOX[1]
        for word in times:
            found.box(place, page.cell(word.area.middle[0], y), TIME_BOX, "break time box")
        for word in initials:
            found.box(place, page.cell(word.area.middle[0], y), INITIALS_BOX, "break initials box")


def on_ladder(page, word):
    """Whether a word is a head of the break ladder: below it stands a minute of the hour."""
    x, y = word.area.middle
    return any(w.text.startswith(":") and abs(w.area.middle[0] - x) < 6 and 0 < w.area.top - y < 12 for w in page.words)


def measure_labelled(found, place, page):
    """Boxes with the label of a time before them on their line; every other box to write in is at least one for initials."""
    labels = {found.bay["left_unit"], found.bay["cleaned_at"], *found.strip["guards"], *found.strip["guards_observed"]}
    empty = [area for area, _ in empty_boxes(page) if area.width > TICK_AT_MOST]
    for label in sorted(labels):
        for word in find_label(page, label):
            y = word.area.middle[1]
            behind = [a for a in empty if a.left > word.area.left and a.top - 2 <= y <= a.bottom + 2]
            nearest = min(behind, key=lambda area: area.left, default=None)
            if nearest is not None:
                found.box(place, nearest, TIME_BOX, "labelled time box")
    for area in empty:
        found.box(place, area, INITIALS_BOX, "writing box")


def measure_bay(found, path, document):
    """A bay's sheet."""
    strips = [strip for strip in document["data"]["strips"] if strip["cooling"]]
    sheet = list(drawn.pages(path))
    for page in sheet:
        place = f"{path.name} page {page.number}"
        measure_page(found, place, page, STAFF_TYPE)
        measure_labelled(found, place, page)
    for strip in strips:
        number = strip["banner"]["hospital_no"]
        faces = [page for page in sheet if find_label(page, found.strip["on_plan"]) and any(word.text == number for word in page.words)]
        if len(faces) != 1:
            found.add("found", path.name, f"a patient's slip grid is on {len(faces)} pages")
        for page in faces[:1]:
            measure_strip(found, f"{path.name} page {page.number}", page, strip)


# The other files.


def measure_machine(found, path):
    """The machine sheet; the boxes of the chart and its key are no boxes to write in."""
    for page in drawn.pages(path):
        place = f"{path.name} page {page.number}"
        key = is_charted(found, page)
        measure_page(found, place, without_chart(page) if key else page, STAFF_TYPE)
        if not key:
            for area, _ in empty_boxes(page):
                if area.width > TICK_AT_MOST:
                    found.box(place, area, TIME_BOX, "writing box of the machine sheet")


def is_charted(found, page):
    """Whether a page has bars: the machines' chart, or the small charts of the day."""
    return find_label(page, found.machine["key_clean"]) or find_label(page, found.machine["day_curves"])


def without_chart(page):
    """A page whose bars are no boxes."""
    bare = copy.copy(page)
    bare.boxes = []
    return bare


def measure_card(found, path, large):
    for page in drawn.pages(path):
        found.count("large print sides" if large else "card sides")
        measure_page(found, f"cards page {page.number}", page, LARGE_TYPE if large else CARD_TYPE)


def measure_labels(found, path):
    """Labels: the type of staff paper; their place on the sheet is the form's."""
    for page in drawn.pages(path):
        measure_page(found, f"labels page {page.number}", page, STAFF_TYPE, LABELS_MARGIN)


def measure_pack(found, path):
    """The pack: the stamp too keeps to the sizes and the margin; a cut line runs from edge to edge."""
    for page in drawn.pages(path):
        if not page.letters:
            continue
        page.strokes = [stroke for stroke in page.strokes if not is_cut(page, stroke)]
        # Only labels have no lines: their place on the sheet is the form's.
        margin = MARGIN if page.strokes else LABELS_MARGIN
        measure_page(found, f"pack page {page.number}", without_chart(page) if is_charted(found, page) else page, STAFF_TYPE, margin)


def is_cut(page, stroke):
    return stroke.is_upright and stroke.area.height > page.height - 1 and abs(stroke.area.left - page.width / 2) < 0.5


def measure_folder(folder, plan, language):
    found = Findings(language)
    for document in plan["documents"]:
        path = folder / f"{document['file']}.pdf"
        if document["kind"] == "bay-sheet":
            measure_bay(found, path, document)
        elif document["kind"] == "machine-sheet":
            measure_machine(found, path)
        elif document["kind"] == "care-card":
            measure_card(found, path, document["data"]["large"])
        else:
            for page in drawn.pages(path):
                measure_page(found, f"{path.name} page {page.number}", page, STAFF_TYPE)
    if (folder / "labels.pdf").exists():
        measure_labels(found, folder / "labels.pdf")
    measure_pack(found, folder / "pack.pdf")
    found.differences["greys"] += colour_differences(folder / "pack.pdf")
    return found


def arguments_of(seed, language, folder):
    """A list of the demo, or a random day, with its sheets in a language; none: as it is."""
    if isinstance(seed, str):
        return [(demo_in(language, folder) if language else baypack.DEMO) / seed]
    day = random_day(seed, most_visits=8)
    return DayFiles.write(spoken(day, language) if language else day, folder).arguments()


def try_day(job):
    """One day: made, and every file of it measured."""
    binary, seed, language, options = job
    with baypack.scratch() as inputs, baypack.scratch() as out:
        arguments = arguments_of(seed, language, Path(inputs))
        done = baypack.run(binary, "make", *arguments, *options, "--out", out)
        found = Findings()
        if done.returncode != 0:
            found.add("made", seed, f"exit status {done.returncode}: {' '.join(done.stderr.split())[:240]}")
            return found.differences, found.counted
        folder = next(path for path in Path(out).iterdir() if path.is_dir())
        found = measure_folder(folder, baypack.plan_in(folder), language or "en")
        about = " ".join(map(str, filter(None, (seed, language, *options))))
        return {name: [f"{about}: {text}" for text in texts] for name, texts in found.differences.items()}, found.counted


def blindness():
    """Breaches, each put into a page that is right, that go unnoticed."""
    fine = drawn.Page(1, 210.0, 297.0)
    fine.letters = [drawn.Letter("a", Area(50, 50, 52, 53), 9.0, 0.0)]
    fine.strokes = [drawn.Stroke(Area(20, 60, 40, 60), 0.5, 0.0)]
    fine.boxes = [(Area(20, 80, 25.2, 85.2), 1.0), (Area(20, 88, 25.2, 93.2), 1.0)]
    fine.components = {1}
    breaches = {
        "type": {"letters": [dataclasses.replace(fine.letters[0], size=8.9)]},
        "greys": {"letters": [dataclasses.replace(fine.letters[0], shade=0.45)]},
        "strokes": {"pattern_widths": [0.4]},
        "margins": {"strokes": [drawn.Stroke(Area(9.5, 60, 40, 60), 0.5, 0.0)]},
        "ticks": {"boxes": [fine.boxes[0], (Area(20, 87, 25.2, 92.2), 1.0)]},
    }
    missed = [] if not any(noticed(fine).values()) else ["a page that is right is refused"]
    return missed + [f"{subject} goes unnoticed" for subject, change in breaches.items() if not noticed(dataclasses.replace(fine, **change))[subject]]


def noticed(page):
    found = Findings()
    measure_page(found, "a page", page, STAFF_TYPE)
    return found.differences


def main():
    options = baypack.options(__doc__, days=0, seed=7_000)
    days = options.days or (FULL_DAYS if options.full else SHORT_DAYS)
    letter = ("--paper", "us-letter")
    jobs = [("day-list.csv", None, ()), ("day-list.csv", "pl", letter), ("day-list-overloaded.csv", "es", ())]
    if options.full:
        jobs = [(name, language, paper) for name in DEMO_LISTS for language in STAFF for paper in ((), letter)]
    jobs += [(seed, LANGUAGES[seed % len(LANGUAGES)], ()) for seed in range(options.seed, options.seed + days)]
    with Pool(baypack.WORKERS) as pool:
        results = list(pool.imap(try_day, [(options.binary, *job) for job in jobs]))
    counted = {}
    for _, numbers in results:
        for kind, number in numbers.items():
            counted[kind] = counted.get(kind, 0) + number
    report = baypack.Report("measured")
    report.check("a breach is noticed", blindness())
    for subject, name in SUBJECTS.items():
        report.check(name, [text for differences, _ in results for text in differences[subject]])
    wanted = ("faces", "stage time", "slip cell", "real time box", "initials box", "break time box", "break initials box",
              "tick box", "labelled time box", "writing box", "card sides", "large print sides")
    report.check(
        "measured were " + ", ".join(f"{counted.get(kind, 0)} of {kind}" for kind in ("pages", *wanted)),
        [f"nothing of the kind `{kind}` was measured" for kind in wanted if not counted.get(kind)],
    )
    report.close()


if __name__ == "__main__":
    main()
