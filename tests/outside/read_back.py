"""Reads clock times and hospital numbers back from pictures of the finished sheets, as a scanner would see them.

Cells are cut out at the places that the PDF itself gives, from clean renderings and from noisy ones: Gaussian noise,
specks, a skewed page. What `tesseract` makes of a cell is compared with what stands there.
"""

import os
import random
import re
import subprocess
from collections import namedtuple
from dataclasses import replace
from multiprocessing import Pool
from pathlib import Path

import baypack
import drawn
import numpy
from day_files import DayFiles
from days import random_day
from languages import STAFF, spoken
from PIL import Image, ImageFilter

# Cells that are read from each rendering: times and numbers, without and with `--full`.
SHORT_CELLS, FULL_CELLS = {"time": 600, "number": 300}, {"time": 6000, "number": 2000}
# The share that must be read right.
READ_AT_LEAST = 0.995
CLEAN_DOTS, NOISY_DOTS = 200, 150
# A copier's noise: standard deviation in shades of 255, share of specks, degrees.
SIGMA, SPECKS, SKEW = 12.0, 0.002, 1.0
# White that is cut out before and behind a text, in mm; above and below it the line of type has enough.
AROUND = 1.0
# A cell is read at these heights in dots: two that must agree, and one that decides; with white around.
READ_HEIGHTS, READ_EDGE = (56, 48, 64), 20
# A skewed cell is cut out with this much around it, in mm, before it is turned back.
TURNED_EDGE = 2.0
# How a noisy cell is smoothed: by how many shades a speck stands out, how far dots are blurred, what becomes black and white.
SPECK_STANDS_OUT, BLUR, DARK, LIGHT = 60, 0.8, 60, 200
UNREAD = "unread"
# Cells that one call reads.
BATCH = 100
CLOCK = re.compile(r"\d{2}:\d{2}")

Cell = namedtuple("Cell", "path page area text kind")


def cells_of(folder, plan):
    """Every clock time and every hospital number on staff sheets and cards, with its place."""
    numbers = {visit["hospital_no"] for visit in plan["visits"]}
    found = []
    for document in plan["documents"]:
        path = folder / f"{document['file']}.pdf"
        for page in drawn.pages(path):
            for word in page.words:
                kind = "time" if CLOCK.fullmatch(word.text) else "number" if word.text in numbers else None
                if kind and word.area.width > word.area.height * 0.8:
                    found.append(Cell(path, page.number, room_around(page, word), word.text, kind))
    return found


def room_around(page, word):
    """The text with some white, but without the lines and words beside it."""
    area = word.area
    rules = [s.area for s in page.strokes if s.is_upright and s.area.top <= area.middle[1] <= s.area.bottom]
    words = [w.area for w in page.words if abs(w.area.middle[1] - area.middle[1]) < area.height / 2]
    before = max((other.right for other in (*rules, *words) if other.right <= area.left), default=0.0)
    behind = min((other.left for other in (*rules, *words) if other.left >= area.right), default=page.width)
    return replace(area, left=max(area.left - AROUND, (before + area.left) / 2), right=min(area.right + AROUND, (behind + area.right) / 2))


# Pictures.


def rendered(path, page, dots):
    done = subprocess.run(
        ["pdftoppm", "-r", str(dots), "-gray", "-f", str(page), "-l", str(page), str(path)], capture_output=True, check=True
    ).stdout
    head = re.match(rb"P5\s+(\d+)\s+(\d+)\s+255\s", done)
    width, height = int(head[1]), int(head[2])
    return numpy.frombuffer(done, numpy.uint8, width * height, head.end()).reshape(height, width)


def copied(shades, seed):
    """A page as a copier gives it: skewed, noisy, with black and white specks."""
    rng = numpy.random.default_rng(seed)
    turned = Image.fromarray(shades).rotate(SKEW, resample=Image.Resampling.BICUBIC, fillcolor=255)
    noisy = numpy.asarray(turned, float) + rng.normal(0, SIGMA, shades.shape)
    specks = rng.random(shades.shape)
    noisy[specks < SPECKS / 2] = 0
    noisy[specks > 1 - SPECKS / 2] = 255
    return noisy.clip(0, 255).astype(numpy.uint8)


def cut(shades, area, dots, skew):
    """A cell's picture, cut out at its place. On a skewed page the place is turned with the page, and the
    cell turned back, as a scanner's program does once it has found how a page lies."""
    scale = dots / 25.4
    height, width = shades.shape
    left, top, right, bottom = (value * scale for value in (area.left, area.top, area.right, area.bottom))
    if not skew:
        return Image.fromarray(shades[round(top):round(bottom), round(left):round(right)])
    x, y = (left + right) / 2 - width / 2, (top + bottom) / 2 - height / 2
    angle = numpy.radians(skew)
    # The page is turned against the clock, and rows are counted downwards.
    x, y = x * numpy.cos(angle) + y * numpy.sin(angle) + width / 2, y * numpy.cos(angle) - x * numpy.sin(angle) + height / 2
    across, down, edge = (right - left) / 2, (bottom - top) / 2, TURNED_EDGE * scale
    part = shades[max(0, round(y - down - edge)):round(y + down + edge), max(0, round(x - across - edge)):round(x + across + edge)]
    turned = Image.fromarray(without_specks(part)).rotate(-skew, resample=Image.Resampling.BICUBIC, fillcolor=255)
    kept = turned.crop((round(edge), round(edge), round(turned.width - edge), round(turned.height - edge)))
    return kept.filter(ImageFilter.GaussianBlur(BLUR)).point(contrasted)


def without_specks(shades):
    """A dot that is much darker or lighter than all around it becomes what is around it."""
    padded = numpy.pad(shades.astype(int), 1, mode="edge")
    rows, columns = shades.shape
    around = numpy.stack([
        padded[1 + down:1 + down + rows, 1 + across:1 + across + columns]
        for down in (-1, 0, 1) for across in (-1, 0, 1) if down or across
    ])
    odd = (shades < around.min(axis=0) - SPECK_STANDS_OUT) | (shades > around.max(axis=0) + SPECK_STANDS_OUT)
    return numpy.where(odd, numpy.median(around, axis=0), shades).astype(numpy.uint8)


def contrasted(shade):
    return max(0, min(255, (shade - DARK) * 255 // (LIGHT - DARK)))


def enlarged(part, height):
    """A picture of a line of type that is `height` dots high, with white around."""
    part = part.resize((max(1, round(part.width * height / part.height)), height), Image.Resampling.BICUBIC)
    edged = Image.new("L", (part.width + 2 * READ_EDGE, part.height + 2 * READ_EDGE), 255)
    edged.paste(part, (READ_EDGE, READ_EDGE))
    return edged


def cut_page(job):
    """The pictures of some cells of one page, as files in a folder, one for each height."""
    cells, dots, skew, seed, folder = job
    shades = rendered(cells[0][1].path, cells[0][1].page, dots)
    if skew:
        shades = copied(shades, seed)
    for number, cell in cells:
        part = cut(shades, cell.area, dots, skew)
        for height in READ_HEIGHTS:
            enlarged(part, height).save(picture(folder, number, height), compress_level=1)


def day_of(cell):
    """The folder of a cell's day; cards stand one deeper."""
    return next(parent for parent in cell.path.parents if parent.name not in ("cards",))


def picture(folder, number, height):
    return Path(folder) / f"{number}-{height}.png"


def read(job):
    """What is read in some pictures, in their order, where only some letters can stand."""
    names, letters = job
    list_file = Path(names[0]).with_suffix(".txt")
    list_file.write_text("".join(f"{name}\n" for name in names), encoding="utf-8")
    command = ["tesseract", str(list_file), "stdout", "--psm", "7", "--dpi", "300", "-c", f"tessedit_char_whitelist={letters}"]
    done = subprocess.run(command, capture_output=True, text=True, check=True, env={**os.environ, "OMP_THREAD_LIMIT": "1"})
    return ["".join(page.split()) for page in done.stdout.split("\f")][:len(names)]


def read_all(folder, numbers, height, cells, pool):
    """What is read in the cells of these numbers at one height. A reader knows which letters the numbers of a
    day are made of, and no more."""
    by_day = {}
    for number in numbers:
        by_day.setdefault(day_of(cells[number]), []).append(number)
    batches = [day[at:at + BATCH] for day in by_day.values() for at in range(0, len(day), BATCH)]
    letters = {day: "".join(sorted({letter for number in of_day for letter in cells[number].text})) for day, of_day in by_day.items()}
    jobs = [([str(picture(folder, number, height)) for number in batch], letters[day_of(cells[batch[0]])]) for batch in batches]
    results = pool.map(read, jobs, chunksize=1)
    return {number: text for batch, texts in zip(batches, results) for number, text in zip(batch, texts)}


def readings(cells, dots, skew, seed, pool):
    """What is read in each cell: twice, and where the two differ a third time, which decides. A cell that is read
    in three ways is not read."""
    with baypack.scratch() as folder:
        by_page = {}
        for number, cell in enumerate(cells):
            by_page.setdefault((str(cell.path), cell.page), []).append((number, cell))
        pool.map(cut_page, [(group, dots, skew, seed + at, folder) for at, group in enumerate(by_page.values())], chunksize=1)
        told = {}
        for kind in ("time", "number"):
            numbers = [number for number, cell in enumerate(cells) if cell.kind == kind]
            first, second = (read_all(folder, numbers, height, cells, pool) for height in READ_HEIGHTS[:2])
            unsure = [number for number in numbers if first[number] != second[number]]
            third = read_all(folder, unsure, READ_HEIGHTS[2], cells, pool)
            for number in numbers:
                ways = (first[number], second[number], third.get(number, first[number]))
                told[number] = max(ways, key=ways.count) if len(set(ways)) < 3 else UNREAD
    return [told[number] for number in range(len(cells))]


def differences(cells, told, valid):
    """What is read wrong beyond the share that may be, and all that is read as another valid one."""
    wrong = [(cell, text) for cell, text in zip(cells, told) if text != cell.text]
    taken = [(cell, text) for cell, text in wrong if text in valid[cell.kind]]
    found = [f"{place(cell)}: a valid {cell.kind}, but another, is read" for cell, _ in taken]
    if not cells or len(wrong) > (1 - READ_AT_LEAST) * len(cells):
        found += [f"{len(cells) - len(wrong)} of {len(cells)} are read right"]
        found += [f"{place(cell)}: {cell.text} is read as `{text}`" for cell, text in wrong]
    return found


def unnoticed(cells, valid):
    """Wrong readings, put in by hand, that pass: too many of them, and one that is another valid time."""
    times = [cell for cell in cells if cell.kind == "time"]
    right = [cell.text for cell in times]
    other = next(text for text in sorted(valid["time"]) if text != right[0])
    worse = {
        "one in a hundred": [UNREAD if at % 100 == 0 else text for at, text in enumerate(right)],
        "another valid time": [other, *right[1:]],
    }
    found = [] if not differences(times, right, valid) else ["right readings are refused"]
    return found + [f"{name} passes" for name, told in worse.items() if not differences(times, told, valid)]


def place(cell):
    return f"{cell.path.name} page {cell.page}, {cell.area.left:.0f} mm from the left, {cell.area.top:.0f} mm from the top"


def sample(cells, kind, most, seed):
    """Some cells of a kind, of every document in turn."""
    chosen = [cell for cell in cells if cell.kind == kind]
    random.Random(f"cells {seed}").shuffle(chosen)
    return sorted(chosen[:most], key=lambda cell: (str(cell.path), cell.page))


def made(binary, days, out):
    """Packs of the demo and, in Polish and Spanish by turns, of random days, in folders of `out`, each with its plan."""
    for number, seed in enumerate([None, *days]):
        with baypack.scratch() as inputs:
            arguments = [baypack.DEMO / "day-list.csv"]
            if seed is not None:
                day = spoken(random_day(seed, most_visits=8), STAFF[1:][number % 2])
                arguments = DayFiles.write(day, Path(inputs)).arguments()
            folder = Path(out) / str(number)
            done = baypack.run(binary, "make", *arguments, "--out", folder)
            if done.returncode != 0:
                raise RuntimeError(f"exit status {done.returncode}: {done.stderr[:400]}")
            day = next(path for path in folder.iterdir() if path.is_dir())
            yield day, baypack.plan_in(day)


def main():
    options = baypack.options(__doc__, seed=8_000)
    most = FULL_CELLS if options.full else SHORT_CELLS
    days = range(options.seed, options.seed + (12 if options.full else 2))
    report = baypack.Report("read back")
    with baypack.scratch() as out, Pool(baypack.WORKERS) as pool:
        cells = []
        for folder, plan in made(options.binary, days, out):
            cells += cells_of(folder, plan)
        valid = {kind: {cell.text for cell in cells if cell.kind == kind} for kind in ("time", "number")}
        chosen = [cell for kind in most for cell in sample(cells, kind, most[kind], options.seed)]
        for name, dots, skew in (("clean", CLEAN_DOTS, 0.0), ("copied", NOISY_DOTS, SKEW)):
            told = readings(chosen, dots, skew, options.seed, pool)
            for kind in ("time", "number"):
                of_kind = [(cell, text) for cell, text in zip(chosen, told) if cell.kind == kind]
                right = sum(cell.text == text for cell, text in of_kind)
                report.check(
                    f"{kind}s on {name} pages at {dots} dots an inch: {right} of {len(of_kind)} read right",
                    differences([cell for cell, _ in of_kind], [text for _, text in of_kind], valid),
                )
        report.check("a wrong reading is noticed", unnoticed(chosen, valid))
    report.close()


if __name__ == "__main__":
    main()
