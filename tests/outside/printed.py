"""Reads packs back from paper and compares every clock time on bay sheets and care cards with the plan.

Each stage of each visit must stand in the tick list and on the patient's strip, each cell of a slip grid must
be its event's time plus its line's slip, and a time that nothing justifies may not be printed. Also what
may not be on a card or in a file's name, who may read the files, and what is written when the list has faults.
"""

import copy
import csv
import random
import re
import stat
import tomllib
import unicodedata
from collections import Counter, namedtuple
from datetime import date, datetime
from multiprocessing import Pool
from pathlib import Path
from types import SimpleNamespace

import baypack
import oracle
import paper
from day_files import DayFiles, line_of
from days import Day, Row, clock, minutes_of, random_day
from definitions import minutes_in, pre_cooling_of, timed_steps
from languages import STAFF, card_language, date_of, demo_in, name_differences, pattern_of, spoken, words_in

SHORT_DAYS, FULL_DAYS = 42, 420
# The languages of the random days' sheets by turns; none: as the days are made, all in English.
LANGUAGES = (None, "pl", None, "es", None, "en")
MOST_VISITS = 24
EPOCH = 1_900_000_000
SLIPS = range(-15, 95, 5)
# How a difference begins that is about paper and not about times.
FACES = "all of a patient on one face:"
# Drugs, warnings and heavy lines that one face holds, whatever else stands on it.
ROWS_ON_ONE_FACE = 6


# A pack with what its visits must show.


def facts_of(day, plan):
    """The visits of a plan, each with its row, its regimen and every time that its paper may show."""
    visits = []
    rows = {line_of(day, row): row for row in day.visits()}
    # A card whose words do not fit is in the unit's language, with a caution.
    fallen_back = {caution["line"] for caution in plan["cautions"] if caution["kind"] == "card_language"}
    for planned in plan["visits"]:
        row = rows[planned["line"]]
        stages = {name: minutes_of(time) for name, time in planned["stages"].items() if name != "rinse_by"}
        steps = [tuple(minutes_of(step[name]) for name in ("start", "end", "free")) for step in planned["steps"]]
        visits.append(SimpleNamespace(
            row=row, plan=planned, stages=stages, steps=steps, regimen=day.regimen(row),
            timed=timed_steps(day.regimen(row), row.cycle), number=row.hospital_no,
            language=day.unit["language"] if planned["line"] in fallen_back else card_language(day, row),
            chair=row.chair, bay=row.bay, name=unicodedata.normalize("NFC", f"{row.given_name} {row.family_name}"),
        ))
    return visits


def tick_times(visit, unit):
    """The times at which a nurse has something to do for a visit."""
    drugs_from = visit.steps[0][0]
    first = first_hair_loss(visit)
    if first == 0:
        drugs_from = max(visit.stages["arrive"] + minutes_in(unit).settle + visit.regimen["premed_lead"], visit.row.drugs_ready or 0)
    without = visit.row.cooled and not visit.plan["outlet"]
    # Without an outlet there is nothing to connect, to stop or to take off.
    stages = ("arrive", "prepare", "leave") if without else visit.stages
    events = {*(visit.stages[name] for name in stages), *(start for start, _, _ in visit.steps)}
    if visit.regimen["premed_lead"]:
        events.add(drugs_from - visit.regimen["premed_lead"])
    if visit.row.cooled and not without:
        events.add(visit.stages["cooling_on"] + minutes_in(unit).first_check)
    return events


def first_hair_loss(visit):
    """The place of the first hair-loss drug of a cooled visit; None if it is not cooled."""
    return next(place for place, step in enumerate(visit.timed) if step.hair_loss) if visit.row.cooled else None


# The slip grid.


def grid_lines(page, unit):
    """The lines of a slip grid on a page: `(slip, times)`."""
    told = words_in(unit["language"])["strip"]
    names = [(pattern_of(told[name]) + r"\b", sign) for name, sign in (("on_plan", 0), ("late", 1), ("early", -1))]
    found = []
    for line in lines_beside_ladder(page):
        labels = [(re.match(pattern, paper.joined(line)), sign) for pattern, sign in names]
        label, sign = next((pair for pair in labels if pair[0]), (None, 0))
        if label and paper.times(line):
            found.append((sign * int(label[1]) if sign else 0, paper.times(line)))
    return found


def lines_beside_ladder(words):
    """The lines of a face without the ladder of breaks, whose lines stand between those of the grid."""
    return paper.lines([word for word in words if not re.fullmatch(r":\d{2}", word.text)])


def grid_bases(visit, unit):
    """The events that every grid must show, in order, and the further ones that it may show."""
    first, start = first_hair_loss(visit), visit.stages["hair_loss_drug_start"]
    earlier = sum(step.whole for step in visit.timed[:first])
    pre_cooling = pre_cooling_of(minutes_in(unit), visit.row.hair)
    # A lead of no minutes is no pre-medication.
    premed = [start - earlier - visit.regimen["premed_lead"]] if visit.regimen["premed_lead"] else []
    must = [
        *premed, start - pre_cooling, start - pre_cooling + minutes_in(unit).first_check, start,
        *(visit.stages[name] for name in ("hair_loss_drug_end", "cooling_off", "cap_off", "leave")),
    ]
    begins = [start - sum(step.whole for step in visit.timed[place:first]) for place in range(first)]
    begins += [begin for begin, _, _ in visit.steps[first:]]
    given = [begin + step.infusion + step.flush for begin, step in zip(begins, visit.timed)]
    return must, {*begins, *given}


def grid_differences(visit, page, unit):
    """Where a printed grid is not base plus slip."""
    printed = dict(grid_lines(page, unit))
    if sorted(printed) != list(SLIPS):
        return [f"{visit.number}: lines {sorted(printed)}"]
    must, may = grid_bases(visit, unit)
    found = [
        f"{visit.number}, line {slip}: expected {texts(expected)}, found {texts(cells)}"
        for slip, cells in printed.items() if cells != (expected := [base + slip for base in printed[0]])
    ]
    rest = list(printed[0])
    for base in must:
        if base not in rest:
            return found + [f"{visit.number}: no column for {clock(base)} among {texts(printed[0])}"]
        rest.remove(base)
    if not is_subsequence(must, printed[0]):
        found.append(f"{visit.number}: columns {texts(printed[0])} are not in the order {texts(must)}")
    first = first_hair_loss(visit)
    if first and visit.stages["hair_loss_drug_start"] - sum(step.whole for step in visit.timed[:first]) not in printed[0]:
        found.append(f"{visit.number}: no column for the first drug, which precedes the cap")
    return found + [f"{visit.number}: nothing justifies the column {clock(base)}" for base in rest if base not in may]


def texts(moments):
    """Times as they are printed."""
    return " ".join(map(clock, moments))


def is_subsequence(wanted, among):
    """Whether all that is wanted comes in its order."""
    rest = iter(among)
    return all(one in rest for one in wanted)


# The bay sheet.


def sheet_visits(path, visits, bays):
    """The visits that a bay's sheet is for: those of the bay but the isolated ones, or one of these."""
    name = path.stem.removeprefix("bay-")
    isolated = re.fullmatch(r"(.*)-isolated-([0-9A-Z]+)", name)
    bay = next(bay for bay in bays if file_part(bay) == (isolated[1] if isolated else name))
    here = [visit for visit in visits if visit.bay == bay]
    if not isolated:
        return [visit for visit in here if not visit.row.isolate]
    words = {word.text for word in paper.words_of(path)}
    return [visit for visit in here if visit.row.isolate and visit.number in words]


def file_part(bay):
    """A bay's name as a file's name has it: letters and digits, `-` between them."""
    return "-".join(re.findall(r"[^\W_]+", bay))


def bay_differences(path, visits, day):
    """Everything on a bay's sheet that the plan does not justify, and everything of the plan that is not there."""
    mine = sheet_visits(path, visits, [bay["name"] for bay in day.unit["bays"]])
    sheet = paper.pages(paper.words_of(path))
    ticks, strips, late = parts(sheet, words_in(day.unit["language"]))
    bay = {visit.bay for visit in visits if file_part(visit.bay) == path.stem.removeprefix("bay-")}
    alone = {visit.stages["arrive"] for visit in visits if visit.bay in bay and visit.row.isolate}
    found = tick_differences(ticks, mine, day.unit, alone) + strip_differences(strips, mine, visits, day.unit)
    found += late_differences(late, mine, day.unit) + ladder_differences(sheet, mine, day.unit)
    others = {visit.number for visit in visits} - {visit.number for visit in mine}
    strangers = [word.text for page in sheet for word in page if word.text in others]
    found += [f"{number} is on a sheet of others" for number in strangers]
    return [f"{path.name}: {text}" for text in found]


def parts(sheet, words):
    """The pages of a sheet by what they hold: tick list, strips, late table.

    Who is not cooled stands below the tick list: such a page is two, above and below the title between them."""
    sheet = [part for page in sheet for part in parted(page, words)]
    is_strip = [words["common"]["labels"]["hospital_no"] in paper.joined(page) for page in sheet]
    is_late = [words["bay"]["labels"]["late"] in paper.joined(page) for page in sheet]
    last = is_late.index(True) if True in is_late else len(sheet)
    first = is_strip.index(True) if True in is_strip else last
    return sheet[:first], sheet[first:last], sheet[last:]


def parted(page, words):
    """A page, or what stands on it above and below the title of the patients who are not cooled."""
    title = next((line for line in paper.lines(page) if paper.joined(line) == words["bay"]["labels"]["plain"]), None)
    if title is None:
        return [page]
    at = title[0].middle
    return [[word for word in page if word.middle < at], [word for word in page if word.middle >= at]]


def tick_differences(ticks, mine, unit, alone=frozenset()):
    """Each event of each visit stands in the tick list beside the patient's number, and nothing else does.

    `alone` are the arrivals of those who have a sheet of their own, which the list names."""
    by_number = {visit.number: visit for visit in mine}
    printed = {number: set() for number in by_number}
    shifts = {minutes_of(shift[end]) for shift in unit["shifts"] for end in ("from", "to")}
    found = []
    for page in ticks:
        numbers = [word for word in page if word.text in by_number]
        for word in page:
            for time in paper.times([word]):
                near = min(numbers, key=lambda number: abs(number.middle - word.middle), default=None)
                if near is not None and abs(near.middle - word.middle) < 30:
                    if time in allowed_on_ticks(by_number[near.text], unit):
                        printed[near.text].add(time)
                        continue
                if time not in shifts and time not in alone:
                    found.append(f"tick list: nothing justifies {clock(time)}")
    for number, visit in by_number.items():
        for time in sorted(tick_times(visit, unit) - printed[number]):
            found.append(f"tick list: {clock(time)} of {number} is missing")
    return found


def allowed_on_ticks(visit, unit):
    """What may stand beside a patient in the tick list."""
    return tick_times(visit, unit) | {time for time in (visit.row.leave_by, visit.row.drugs_ready) if time is not None}


def strip_differences(strips, mine, visits, unit):
    """Each patient's strip stands on one face and shows the stages, drugs and grid as planned, and no other time."""
    by_number = {visit.number: visit for visit in mine}
    faces, found = {number: [] for number in by_number}, []
    for page in strips:
        for number, words in split_by_patient(page, by_number).items():
            faces[number].append(words)
    for number, visit in by_number.items():
        if len(faces[number]) != 1:
            found.append(f"{FACES} {number} has {len(faces[number])}")
        found += one_strip(visit, [word for words in faces[number] for word in words], visits, unit)
    return found


def split_by_patient(page, by_number):
    """The words of a page by the patient whose banner stands above them."""
    banners = sorted((word for word in page if word.text in by_number), key=lambda word: word.top)
    first = {banner.text: banner for banner in reversed(banners)}
    ordered = sorted(first.values(), key=lambda banner: banner.top)
    found = {}
    for banner, following in zip(ordered, [*ordered[1:], None]):
        bottom = following.top - 1 if following else float("inf")
        above = banner.top - 12 if banner is not ordered[0] else 0
        found[banner.text] = [word for word in page if above <= word.top < bottom]
    return found


def one_strip(visit, words, visits, unit):
    """What is missing on a strip, and what nothing justifies."""
    found = grid_differences(visit, words, unit) if visit.row.cooled else []
    in_lines = [(paper.joined(line), paper.times(line)) for line in lines_beside_ladder(words)]
    order = ("arrive", "prepare", "cooling_on", "hair_loss_drug_start", "hair_loss_drug_end", "cooling_off", "cap_off", "leave")
    stages = [visit.stages[name] for name in order if name in visit.stages]
    if not any(times == stages for _, times in in_lines):
        found.append(f"{visit.number}: no line shows the stages {texts(stages)}")
    for step, planned in zip(visit.steps, visit.plan["steps"]):
        word = re.split(r"[\s-]", planned["drug"])[0]
        if not any(times == list(step) and word in text for text, times in in_lines):
            found.append(f"{visit.number}: no line shows {planned['drug']} {texts(step)}")
    allowed = allowed_on_strip(visit, visits, unit)
    on_grid = Counter(time for _, times in grid_lines(words, unit) for time in times)
    others = Counter(paper.times(words)) - on_grid
    return found + [f"{visit.number}: nothing justifies {clock(time)}" for time in others if time not in allowed]


def allowed_on_strip(visit, visits, unit):
    """The times besides the grid's: stages, drugs, limits, first check, closing; who is alike; whose outlet stops with a break."""
    allowed = tick_times(visit, unit) | set(visit.stages.values()) | {time for step in visit.steps for time in step}
    if visit.row.cooled:
        allowed.add(visit.stages["cooling_on"] + minutes_in(unit).first_check)
        # Where the clock time at which cooling stops does not say it, the strip names the time by which to rinse.
        rinse = datetime.fromisoformat(visit.plan["stages"]["rinse_by"])
        allowed.add(60 * rinse.hour + rinse.minute)
    allowed |= {time for time in (visit.row.drugs_ready, visit.row.leave_by) if time is not None}
    allowed.add(minutes_of(unit["closes"]))
    outlet = visit.plan["outlet"]
    for other in visits:
        if other is visit:
            continue
        allowed.add(other.stages["arrive"])
        if outlet and other.plan["outlet"] and other.plan["outlet"]["machine"] == outlet["machine"]:
            allowed |= {other.stages["cooling_on"], other.stages["hair_loss_drug_start"]}
    return allowed


def late_differences(late, mine, unit):
    """The table past the grids: every five minutes to closing, each length of post-cooling in use added, the longest first."""
    cooled = [visit for visit in mine if visit.row.cooled]
    lengths = sorted({visit.stages["cooling_off"] - visit.stages["hair_loss_drug_end"] for visit in cooled}, reverse=True)
    if not cooled:
        return [] if not late else ["a late table for nobody"]
    found, ended = [], []
    for page in late:
        for line in paper.lines(page):
            # Times in brackets tell two patients of a chair apart, in the heads.
            times = paper.times([word for word in line if "(" not in word.text])
            for place in range(0, len(times), 1 + len(lengths)):
                row = times[place:place + 1 + len(lengths)]
                ended.append(row[0])
                if row[1:] != [row[0] + length for length in lengths]:
                    found.append(f"late table: {texts(row)} for lengths {lengths}")
    ends = [visit.stages["hair_loss_drug_end"] for visit in cooled]
    # To closing; and an hour past the last line of every grid, where the unit closes before that.
    last, first = max(minutes_of(unit["closes"]), max(ends) + SLIPS[-1] + 60), min(ends) + SLIPS[-1]
    missing = [time for time in range(-(-first // 5) * 5, last + 1, 5) if time not in ended]
    return found + [f"late table: no row for {clock(time)}" for time in missing]


def ladder_differences(sheet, mine, unit):
    """The ladder of breaks: for each minute of the hour when to remind and when to be back; whole wherever it stands."""
    minutes = minutes_in(unit)
    expected = [(left, (left + minutes.break_reminder) % 60, (left + minutes.break_longest) % 60) for left in range(60)]
    found, ladders = [], 0
    for page in sheet:
        steps = []
        for line in paper.lines(page):
            told = [int(word.text[1:]) for word in line if re.fullmatch(r":\d{2}", word.text)]
            steps += [tuple(told[place:place + 3]) for place in range(0, len(told), 3)]
        ladders += bool(steps)
        if steps and sorted(steps) != expected:
            wrong = sorted(set(expected) ^ set(steps))[:6]
            found.append(f"page {page[0].page}: the ladder of breaks is wrong at {wrong}")
    if not ladders and any(visit.row.cooled for visit in mine):
        found.append("there is no ladder of breaks")
    return found


# The care card.


def card_differences(folder, visits, day):
    """Each visit has one card, with its own name, rinse-by and next visit, and nothing that a card may not carry."""
    found, printed = [], Counter()
    expected = Counter(expected_card(visit, visits) for visit in visits)
    for path in sorted((folder / "cards").glob("*.pdf")):
        text = paper.text_of(path)
        matching = [card for card in expected if shows(text, card)]
        best = max(matching, key=lambda card: (len(card.name), bool(card.rinse), bool(card.following)), default=None)
        if best is None:
            found.append(f"cards/{path.name}: is no visit's card: times {paper.CLOCK.findall(text)}")
            continue
        printed[best] += 1
        found += [f"cards/{path.name}: {text}" for text in forbidden(text, best, visits, day)]
    return found + [f"expected {expected[card]} cards {card}, found {printed[card]}" for card in expected if expected[card] != printed[card]]


def folded(name):
    """A name without case, accents and hyphens."""
    return "".join(letter for letter in unicodedata.normalize("NFD", name) if letter.isalnum()).lower()


def seat_of(visit, visits):
    """Chair and arrival, which stand on the cards of patients of the very same name; otherwise nothing."""
    same = [other for other in visits if all(folded(getattr(other.row, part)) == folded(getattr(visit.row, part)) for part in ("given_name", "family_name"))]
    return f"{visit.chair} ({clock(visit.stages['arrive'])})" if len(same) > 1 else ""


Card = namedtuple("Card", "language name rinse following seat")


def expected_card(visit, visits):
    """What a card shows: the name, the rinse-by and the next visit as they are printed in its language; the seat where
    names are the same."""
    rinse, following = (), ()
    if visit.plan["outlet"]:
        moment = datetime.fromisoformat(visit.plan["stages"]["rinse_by"])
        rinse = (*date_of(visit.language, moment), f"{moment:%H:%M}")
    if visit.row.next_visit:
        following_day, time = visit.row.next_visit
        following = (*date_of(visit.language, following_day), *([] if time is None else [clock(time)]))
    return Card(visit.language, visit.name, rinse, following, seat_of(visit, visits))


def shows(text, card):
    """Whether a card's text holds all the words of its visit's name, seat, rinse-by and next visit, and no other time."""
    times = {f"{hours}:{minutes}" for hours, minutes in paper.CLOCK.findall(text)}
    wanted = {part for part in (*card.rinse, *card.following) if paper.CLOCK.fullmatch(part)} | {card.seat[-6:-1]} - {""}
    parts = [words_in(card.language)["card"]["ring"]["title"], card.name, card.seat, *card.rinse, *card.following]
    if card.language == "ar":
        return times == wanted and all(reads_arabic(text, word) for part in parts for word in part.split())
    return times == wanted and all(part in text for part in parts)


def reads_arabic(text, word):
    """Whether a word is in a text that a reader took from a page that runs from the right: it puts marks of direction
    between letters and figures, and the two letters of a ligature of lam and alef in the order of their places."""
    plain = re.sub(r"[\u200e\u200f\u202a-\u202e\u2066-\u2069]", "", text)
    if word.isdecimal():
        return re.search(rf"(?<!\d){word}(?!\d)", plain) is not None
    return word in plain or re.sub("\u0644([\u0622\u0623\u0625\u0627])", "\\1\u0644", word) in plain


def forbidden(text, card, visits, day):
    """What a card may not carry: other people, numbers, regimens, drugs."""
    words = set(re.findall(r"[\w/-]+", text))
    found = [f"names somebody else" for visit in visits if visit.name not in card.name and visit.name in text]
    digits = re.sub(r"\s", "", text)
    for visit in visits:
        if visit.number in words:
            found.append(f"carries the hospital number {visit.number}")
        if visit.row.nhs_no and visit.row.nhs_no in digits:
            found.append("carries an NHS number")
    for regimen in day.regimens:
        if regimen["name"].lower() in text.lower() or regimen["code"] in words:
            found.append(f"carries the regimen {regimen['code']}")
        for step in regimen["steps"]:
            if re.search(rf"\b{re.escape(step['drug'])}\b", text, re.IGNORECASE):
                found.append(f"carries the drug {step['drug']}")
    return found


# The folder.

FILES = re.compile(
    r"(pack|front-sheet|machine-sheet|care-cards|labels|printer-check|bay-[\w-]+|cards/[A-Z0-9]+)\.pdf|plan\.json"
)


def folder_differences(folder, visits):
    """Names without patient data, and nobody but the owner may read."""
    found = []
    private = {part.lower() for visit in visits for part in (visit.number, visit.row.family_name, visit.row.nhs_no or visit.number)}
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        mode = stat.S_IMODE(path.stat().st_mode)
        if mode != (0o700 if path.is_dir() else 0o600):
            found.append(f"{name}: mode {mode:o}")
        if path.is_file() and not FILES.fullmatch(name):
            found.append(f"{name}: not a name of a pack's file")
        if any(part in name.lower() for part in private if len(part) > 3):
            found.append(f"{name}: holds patient data")
        if path.suffix == ".pdf":
            told = paper.information_of(path).lower()
            found += [f"{name}: its information holds patient data" for part in private if len(part) > 4 and part in told]
    if stat.S_IMODE(folder.stat().st_mode) != 0o700:
        found.append(f"the day's folder: mode {stat.S_IMODE(folder.stat().st_mode):o}")
    return found


def crowded(plan):
    """The patients with so many drugs, warnings and heavy lines that a second face is allowed."""
    strips = [strip for document in plan["documents"] for strip in document["data"].get("strips", []) if strip["cooling"]]
    rows = {
        strip["banner"]["hospital_no"]: len(strip["steps"]) + len(strip["alerts"])
        + sum(1 for line in strip["cooling"]["grid"]["lines"] if line["cost"])
        for strip in strips
    }
    return {number for number, count in rows.items() if count > ROWS_ON_ONE_FACE}


def pack_differences(folder, day, plan):
    """All that is wrong with a pack, by subject."""
    visits = facts_of(day, plan)
    bays = [text for path in sorted(folder.glob("bay-*.pdf")) for text in bay_differences(path, visits, day)]
    return {
        "bays": [text for text in bays if FACES not in text],
        "faces": [text for text in bays if FACES in text and text.split()[-3] not in crowded(plan)],
        "cards": card_differences(folder, visits, day),
        "files": folder_differences(folder, visits),
    }


def try_day(job):
    """One random day: its pack made and read back. Half of the days are in English with English cards, the others in
    all languages."""
    binary, seed = job
    day = random_day(seed, most_visits=MOST_VISITS)
    if language := LANGUAGES[seed % len(LANGUAGES)]:
        spoken(day, language)
    with baypack.scratch() as inputs, baypack.scratch() as out:
        files = DayFiles.write(day, Path(inputs))
        done = baypack.run(binary, "make", *files.arguments(), "--out", out, epoch=EPOCH)
        if done.returncode != 0:
            kept = baypack.keep(f"pack-{seed}", inputs, files, [done.stderr])
            return {"made": [f"{kept}: exit status {done.returncode}: {' '.join(done.stderr.split())[:240]}"]}
        folder = Path(out) / day.date.isoformat()
        found = pack_differences(folder, day, baypack.plan_in(folder))
        lines = [text for texts in found.values() for text in texts]
        if lines:
            kept = baypack.keep(f"pack-{seed}", inputs, files, lines)
            found = {subject: [f"{kept}: {text}" for text in texts] for subject, texts in found.items()}
        return found


# The lists that come with the program.


def demo_day(listed):
    """A list of the demo as a day: its own reader, since it is written in the plainest form."""
    unit = tomllib.loads((listed.parent / "unit.toml").read_text(encoding="utf-8"))
    regimens = tomllib.loads((listed.parent / "regimens.toml").read_text(encoding="utf-8"))["regimens"]
    with open(listed, encoding="utf-8", newline="") as file:
        reader = csv.DictReader(file)
        rows, lines, start = [], {}, 2
        for cells in reader:
            lines[len(rows)] = start
            rows.append(cells)
            start = reader.line_num + 1
    return unit, regimens, rows, lines


def demo_visits(listed):
    """The demo's list as the generator would have made it."""
    unit, regimens, records, lines = demo_day(listed)
    rows = [demo_row(cells) for cells in records]
    return Day(0, rows[0].date, unit, regimens, rows, western=False, lines=lines)


def demo_row(cells):
    """A row of the demo; blank cells are None."""
    yes = {"yes": True, "no": False, "": None}
    time = lambda text: minutes_of(text) if text else None
    following = cells["next_visit"].split(" ")
    return Row(
        date=date.fromisoformat(cells["date"]), arrive=minutes_of(cells["arrive"]), bay=cells["bay"], chair=cells["chair"],
        hospital_no=cells["hospital_no"], family_name=cells["family_name"], given_name=cells["given_name"],
        born=date.fromisoformat(cells["born"]), regimen=cells["regimen"], cycle=int(cells["cycle"]),
        cooled=yes[cells["cooled"]], nhs_no=cells["nhs_no"].replace(" ", "") or None, hair=cells["hair"] or None,
        cap=cells["cap"] or None, own_cap=yes[cells["own_cap"]], drugs_ready=time(cells["drugs_ready"]),
        leave_by=time(cells["leave_by"]), language=cells["language"] or None, large_print=yes[cells["large_print"]],
        alert=cells["alert"] or None,
        next_visit=(date.fromisoformat(following[0]), time("".join(following[1:]))) if following[0] else None,
        go_ahead=cells["go_ahead"] or None, isolate=yes[cells["isolate"]],
    )


def demo_differences(binary, listed):
    """A list of the demo made and read back: its paper, its times, and that every row is there."""
    day, name = demo_visits(listed), listed.name
    with baypack.scratch() as out:
        done = baypack.run(binary, "make", listed, "--out", out, epoch=EPOCH)
        if done.returncode != 0:
            return [f"{name}: exit status {done.returncode}, expected 0: {done.stderr[:300]}"]
        folder = Path(out) / day.date.isoformat()
        plan = baypack.plan_in(folder)
        found = [text for texts in oracle.differences(day, plan).values() for text in texts]
        found += [text for texts in pack_differences(folder, day, plan).values() for text in texts]
        found += without_outlet_differences(folder, day, plan)
    return [f"{name}: {text}" for text in found]


def spoken_demo(binary, language):
    """The demo's list with its sheets and cards in another language."""
    with baypack.scratch() as folder:
        return [f"{language}: {text}" for text in demo_differences(binary, demo_in(language, folder) / "day-list.csv")]


def blindness(binary, changes):
    """Stages or lengths changed by a minute that the demo's paper, read back, does not contradict."""
    day, rng, found = demo_visits(baypack.DEMO / "day-list.csv"), random.Random(1), []
    with baypack.scratch() as out:
        baypack.run(binary, "make", baypack.DEMO / "day-list.csv", "--out", out, epoch=EPOCH)
        folder = Path(out) / day.date.isoformat()
        for _ in range(changes):
            plan = baypack.plan_in(folder)
            visit = rng.choice(plan["visits"])
            name = rng.choice(sorted(set(visit["stages"]) - {"arrive"}))
            visit["stages"][name] = visit["stages"][name][:-1] + str((int(visit["stages"][name][-1]) + 1) % 10)
            if name == "rinse_by" and visit["outlet"] is None:
                continue
            if not any(pack_differences(folder, day, plan).values()):
                found.append(f"line {visit['line']}: {name} moved by a minute goes unnoticed")
        for name in ("break_longest", "break_reminder", "first_check"):
            other = copy.deepcopy(day)
            other.unit["minutes"][name] = getattr(minutes_in(day.unit), name) + 1
            if not any(pack_differences(folder, other, baypack.plan_in(folder)).values()):
                found.append(f"{name} longer by a minute goes unnoticed")
    return found


def without_outlet_differences(folder, day, plan):
    """Cooled patients without an outlet whom the front sheet does not name."""
    front = paper.text_of(folder / "front-sheet.pdf")
    return [
        f"the front sheet does not name {visit.number}, who has no outlet"
        for visit in facts_of(day, plan) if visit.row.cooled and visit.plan["outlet"] is None and visit.number not in front
    ]


def fault_differences(binary):
    """A list with faults: status 1, nothing written, nobody's data in the messages."""
    _, _, records, _ = demo_day(baypack.DEMO / "day-list-faults.csv")
    with baypack.scratch() as out:
        done = baypack.run(binary, "make", baypack.DEMO / "day-list-faults.csv", "--out", out)
        written = [str(path) for path in Path(out).rglob("*")]
    found = [] if done.returncode == 1 else [f"exit status {done.returncode}, expected 1"]
    found += [f"written: {path}" for path in written]
    told = done.stdout + done.stderr
    for cells in records:
        for name in ("family_name", "hospital_no", "nhs_no", "born"):
            if len(cells[name] or "") > 4 and re.search(rf"\b{re.escape(cells[name])}\b", told):
                found.append(f"a message repeats a {name}")
    return found


def named_lines(told):
    """The lines that messages name: `line 7`, `lines 2 to 9, 11 and 14`."""
    named = set()
    for stretch in re.findall(r"lines? ((?:\d+(?: to \d+)?(?:, | and )?)+)", told):
        for first, last in re.findall(r"(\d+)(?: to (\d+))?", stretch):
            named |= set(range(int(first), int(last or first) + 1))
    return named


def held_differences(binary):
    """`--hold-bad-rows`: every row is in the plan or held, and the front sheet names each held row's line."""
    listed = baypack.DEMO / "day-list-faults.csv"
    _, _, records, lines = demo_day(listed)
    faulty = named_lines(baypack.run(binary, "check", listed).stderr) & set(lines.values())
    with baypack.scratch() as out:
        done = baypack.run(binary, "make", listed, "--hold-bad-rows", "--out", out)
        if done.returncode != 0:
            return [f"exit status {done.returncode}, expected 0: {done.stderr[:300]}"]
        folder = next(path for path in Path(out).iterdir() if path.is_dir())
        planned = {visit["line"] for visit in baypack.plan_in(folder)["visits"]}
        front = paper.text_of(folder / "front-sheet.pdf")
    found = [f"line {line}: neither in the plan nor among the faults" for line in set(lines.values()) - planned - faulty]
    found += [f"line {line}: has a fault and is in the plan" for line in sorted(planned & faulty)]
    found += [f"line {line}: not on the front sheet" for line in sorted(faulty) if not re.search(rf"\bline {line}\b", front, re.IGNORECASE)]
    return found + ([] if faulty else ["the list has no faults"])


def main():
    options = baypack.options(__doc__, days=0, seed=5_000)
    days = options.days or (FULL_DAYS if options.full else SHORT_DAYS)
    report = baypack.Report("paper")
    report.check("names of days and months are those of CLDR", name_differences())
    report.check("the demo's list", demo_differences(options.binary, baypack.DEMO / "day-list.csv"))
    report.check("the demo's list in Polish and in Spanish", [text for language in STAFF[1:] for text in spoken_demo(options.binary, language)])
    report.check("the overloaded list is printed, shortages and all", demo_differences(options.binary, baypack.DEMO / "day-list-overloaded.csv"))
    report.check("the faulty list is refused and nothing is written", fault_differences(options.binary))
    report.check("held rows are named on the front sheet by line", held_differences(options.binary))
    report.check("a stage or length changed by one minute is always noticed", blindness(options.binary, 12))
    with Pool(baypack.WORKERS) as pool:
        results = list(pool.imap_unordered(try_day, [(options.binary, seed) for seed in range(options.seed, options.seed + days)]))
    for subject, name in (
        ("made", f"{days} random days make a pack"),
        ("bays", "bay sheets: each time is planned, each planned time is there"),
        ("faces", "bay sheets: all that belongs to one patient is on one face"),
        ("cards", "care cards: own times, nobody else's data, no numbers, no regimen, no drug"),
        ("files", "no patient in names of files, and nobody but the owner may read them"),
    ):
        report.check(name, [text for found in results for text in found.get(subject, [])])
    report.close()


if __name__ == "__main__":
    main()
