"""Reads what is drawn on the pages of a finished PDF: letters, rules, boxes, with sizes and shades.

Lengths are in mm from the top left of the page, sizes of type and widths of strokes in points. Knows nothing
of what a sheet ought to hold.
"""

import re
from dataclasses import dataclass, field, replace

import pdfminer.pdfinterp
import pdfplumber
from pdfminer.pdftypes import PDFStream, resolve1

MM = 25.4 / 72
# A line that is no further from upright or level than this, in mm, is.
STRAIGHT = 0.01
# How far letters of the sheets' fonts reach above and below the baseline, in sizes of type (from their outlines).
ASCENDER, DESCENDER = 0.77, 0.24


class GraphicState(pdfminer.pdfinterp.PDFGraphicState):
    """The state at the start of a page, with the line width that it has there: 1 (ISO 32000-1, table 52).

    The library starts with 0 and cannot tell a stroke of one point from one that is too thin to see.
    """

    def __init__(self):
        super().__init__()
        self.linewidth = 1


pdfminer.pdfinterp.PDFGraphicState = GraphicState


@dataclass(frozen=True)
class Area:
    """A rectangle on a page."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def width(self):
        return self.right - self.left

    @property
    def height(self):
        return self.bottom - self.top

    @property
    def middle(self):
        return (self.left + self.right) / 2, (self.top + self.bottom) / 2

    def holds(self, x, y):
        return self.left <= x <= self.right and self.top <= y <= self.bottom

    def grown(self, by):
        return Area(self.left - by, self.top - by, self.right + by, self.bottom + by)

    def __str__(self):
        return f"{self.width:.2f} x {self.height:.2f} mm at {self.left:.0f}, {self.top:.0f}"


@dataclass(frozen=True)
class Letter:
    """A character with the area of its type, its size in points and its shade, 0 black to 1 white."""

    text: str
    area: Area
    size: float
    shade: float


@dataclass(frozen=True)
class Stroke:
    """A straight piece of a drawn line, by its middle, and the line's width in points."""

    area: Area
    width: float
    shade: float

    def ink(self):
        """What it covers: half its width to either side; its ends are cut off square."""
        half = self.width * MM / 2
        if self.is_level:
            return replace(self.area, top=self.area.top - half, bottom=self.area.bottom + half)
        if self.is_upright:
            return replace(self.area, left=self.area.left - half, right=self.area.right + half)
        return self.area.grown(half)

    @property
    def is_level(self):
        return self.area.height < STRAIGHT

    @property
    def is_upright(self):
        return self.area.width < STRAIGHT


@dataclass(frozen=True)
class Word:
    """Letters without a gap between them; `size` is the least of their sizes."""

    text: str
    area: Area
    size: float


@dataclass
class Page:
    """What is drawn on one page."""

    number: int
    width: float
    height: float
    letters: list = field(default_factory=list)
    words: list = field(default_factory=list)
    strokes: list = field(default_factory=list)
    # Closed stroked rectangles, by the middles of their lines, each with the width of its line.
    boxes: list = field(default_factory=list)
    # Filled areas that are not white, each with its shade.
    fills: list = field(default_factory=list)
    # The number of components of each colour that is used.
    components: set = field(default_factory=set)
    # Widths of lines inside tiling patterns, which no other list holds.
    pattern_widths: list = field(default_factory=list)

    def cell(self, x, y):
        """The area between the nearest rules around a point, or None where one is missing."""
        level = [s for s in self.strokes if s.is_level and s.area.left - 0.1 <= x <= s.area.right + 0.1]
        upright = [s for s in self.strokes if s.is_upright and s.area.top - 0.1 <= y <= s.area.bottom + 0.1]
        sides = (
            max((s.area.left for s in upright if s.area.left <= x), default=None),
            max((s.area.top for s in level if s.area.top <= y), default=None),
            min((s.area.left for s in upright if s.area.left > x), default=None),
            min((s.area.top for s in level if s.area.top > y), default=None),
        )
        return None if None in sides else Area(*sides)

    def is_empty(self, area):
        """Whether no letter stands in an area."""
        return not any(letter.text.strip() and area.holds(*letter.area.middle) for letter in self.letters)

    def ink(self):
        """Every area that is not white, with what it is called in messages."""
        yield from (("text", letter.area) for letter in self.letters if letter.text.strip())
        yield from (("line", stroke.ink()) for stroke in self.strokes if stroke.shade < 1)
        yield from (("box", area.grown(line * MM / 2)) for area, line in self.boxes)
        yield from (("area", area) for area, _ in self.fills)


def pages(path):
    """The pages of a file."""
    with pdfplumber.open(path) as pdf:
        for page in pdf.pages:
            yield read_page(page)
            page.close()


def read_page(page):
    found = Page(page.page_number, float(page.width) * MM, float(page.height) * MM)
    found.letters = [letter(char) for char in page.chars]
    found.words = [
        Word(word["text"], around([letter_area(char) for char in word["chars"]]), min(size_of(char) for char in word["chars"]))
        for word in page.extract_words(return_chars=True, x_tolerance=1.5, y_tolerance=2)
    ]
    for char in page.chars:
        found.components.add(len(as_tuple(char["non_stroking_color"])))
    for drawn in (*page.lines, *page.rects, *page.curves):
        add_drawing(found, drawn)
    found.pattern_widths = pattern_widths(page)
    return found


def add_drawing(page, drawn):
    if drawn["stroke"]:
        page.components.add(len(as_tuple(drawn["stroking_color"])))
        page.strokes += strokes(drawn)
        if is_box(drawn):
            page.boxes.append((area_of(drawn), drawn["linewidth"]))
    if drawn["fill"]:
        colour = as_tuple(drawn["non_stroking_color"])
        page.components.add(len(colour))
        if shade(colour) < 1:
            page.fills.append((area_of(drawn), shade(colour)))


def strokes(drawn):
    """The straight pieces of a path, each corner joined to the next."""
    points = [(x * MM, y * MM) for x, y in drawn["pts"]]
    if drawn["object_type"] == "rect" or (drawn.get("path") and drawn["path"][-1][0] == "h"):
        points.append(points[0])
    colour = shade(as_tuple(drawn["stroking_color"]))
    for (x, y), (u, v) in zip(points, points[1:]):
        yield Stroke(Area(min(x, u), min(y, v), max(x, u), max(y, v)), drawn["linewidth"], colour)


def is_box(drawn):
    points = drawn["pts"]
    return drawn["object_type"] == "rect" or (
        len(points) in (4, 5) and len({round(x, 2) for x, _ in points}) == 2 == len({round(y, 2) for _, y in points})
    )


def letter(char):
    colour = as_tuple(char["non_stroking_color"])
    return Letter(char["text"], letter_area(char), size_of(char), shade(colour))


def letter_area(char):
    """What a letter covers: from its feet below the baseline to the top of its ascenders, accents left out.

    The library's own area is one size of type high and hangs too low, by the font's descent.
    """
    a, b, _, _, _, y = char["matrix"]
    area = area_of(char)
    if abs(b) > abs(a):
        return area
    page_height = (char["y0"] + char["top"] + char["height"]) * MM
    baseline, size = page_height - y * MM, char["height"] * MM
    return replace(area, top=baseline - ASCENDER * size, bottom=baseline + DESCENDER * size)


def size_of(char):
    """The size of type; the library measures along the line where the line stands upright."""
    a, b, _, _, _, _ = char["matrix"]
    return char["width"] if abs(b) > abs(a) else char["height"]


def as_tuple(colour):
    """A colour's components; a pattern has a name and no component."""
    if colour is None:
        return (0.0,)
    parts = colour if isinstance(colour, (tuple, list)) else (colour,)
    return tuple(float(part) for part in parts if isinstance(part, (int, float))) or (0.0,)


def shade(colour):
    """0 black to 1 white, of a grey or of red, green and blue."""
    return sum(colour) / len(colour)


def area_of(drawn):
    return Area(*(float(drawn[name]) * MM for name in ("x0", "top", "x1", "bottom")))


def around(areas):
    return Area(
        min(area.left for area in areas), min(area.top for area in areas),
        max(area.right for area in areas), max(area.bottom for area in areas),
    )


def pattern_widths(page):
    """The widths that are set inside the tiling patterns of a page; these hold no text that could look alike."""
    found = []
    waiting, seen = [page.page_obj.resources], set()
    while waiting:
        resources = resolve1(waiting.pop()) or {}
        for kind in ("Pattern", "XObject"):
            for name, reference in (resolve1(resources.get(kind)) or {}).items():
                stream = resolve1(reference)
                if not isinstance(stream, PDFStream) or id(stream) in seen:
                    continue
                seen.add(id(stream))
                waiting.append(stream.attrs.get("Resources"))
                if kind == "Pattern":
                    found += [float(width) for width in re.findall(rb"(?<![\w.])(\d*\.?\d+) w\b", stream.get_data())]
    return found
