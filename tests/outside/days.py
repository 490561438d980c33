"""Random days of a day unit, from a seed: the unit, its regimens and the visits, all valid.

Says what stands in the files and what it means, as plain values; `day_files` says how it is written
down. Nothing here computes a stage of a visit. A key or cell that is left out is absent or None, so
that defaults are tried too. People, units and numbers are invented; telephone numbers come from the
ranges that the United Kingdom keeps for fiction, NHS numbers from the range kept for tests.

    python days.py SEED FOLDER     writes that day's files, to look at a counter-example
"""

import random
import sys
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

ZONES = {
    "Europe/London": 8, "America/New_York": 3, "America/Los_Angeles": 2, "America/Chicago": 1,
    "Europe/Amsterdam": 1, "Pacific/Auckland": 1, "Australia/Lord_Howe": 1, "Asia/Kolkata": 1,
}
# The days before the clock changes of 2026 (tz database), on which `rinse_by` falls on the change itself.
FIXED_DATES = {
    "Europe/London": (date(2026, 3, 28), date(2026, 10, 24)),
    "America/New_York": (date(2026, 3, 7), date(2026, 10, 31)),
}
# Visits of a day, and how often: most days are small, so that many can be tried; units are small too.
COUNTS = {1: 10, 2: 15, 3: 15, 4: 15, 5: 10, 6: 15, 8: 10, 12: 5, 20: 3, 40: 2}
WESTERN_FAMILIES = (
    "Abernathy Bassett Castellanos Drummond Fairweather Halloran Lindqvist Marsh Öberg Penhaligon "
    "Rosenthal Thorne Müller O'Shaughnessy Nuñez-Ibáñez Françoise Ström Whitcombe Ashdown Ørsted"
).split() + ["van der Meer", "Okonkwo-Featherstonehaugh", "de la Cruz", "Smith", "Smyth"]
WESTERN_GIVEN = (
    "Joan Chidinma Bridget Morwenna Anne Anna Åsa Folasade Éloïse Gwendoline Inés Margaret Miriam "
    "Isla Dilys Zoë Sinéad Björk Siân"
).split() + ["Mary Ann", "Jean-Luc"]
OTHER_FAMILIES = "Öztürk Wróblewska Kowalczyk Nguyễn Šimůnková Papadopoulou Παπαδοπούλου Иванова Țepeș Ağaoğlu".split()
OTHER_GIVEN = "Şule Małgorzata Ewa Jiří Ελένη Ольга Ștefania İrem Thị".split() + ["Thị Hương", "Zoe\u0308"]
ALERTS = (
    "Latex allergy: latex-free gloves.",
    'Says "no needles" in the left arm; ask first, please',
    "Hearing aid, left ear",
    "Needs a chair near the door, and a blanket",
    "Two lines:\nwalks with a frame",
    "=not a formula",
)
DRUGS = (
    "Paclitaxel Docetaxel Cabazitaxel Doxorubicin Epirubicin Cyclophosphamide Carboplatin Gemcitabine "
    "Trastuzumab Pertuzumab Irinotecan Etoposide Fluorouracil Bevacizumab Zoledronate"
).split() + ["Folinic acid", "Nab-paclitaxel"]
LENGTHS = (3, 5, 10, 15, 15, 20, 30, 30, 30, 37, 45, 60, 60, 60, 90, 120, 180)
# Longer visits would pass the second midnight, which no day unit sees.
LONGEST_STEPS = 10 * 60


@dataclass
class Row:
    """One visit of the day list; None is a blank cell."""

    date: date
    arrive: int
    bay: str
    chair: str
    hospital_no: str
    family_name: str
    given_name: str
    born: date
    regimen: str
    cycle: int
    cooled: bool
    nhs_no: str | None = None
    hair: str | None = None
    cap: str | None = None
    own_cap: bool | None = None
    drugs_ready: int | None = None
    leave_by: int | None = None
    language: str | None = None
    large_print: bool | None = None
    alert: str | None = None
    next_visit: tuple | None = None
    go_ahead: str | None = None
    isolate: bool | None = None


@dataclass
class Day:
    """A day: `unit` and `regimens` as the TOML files hold them, the rows in the list's order."""

    seed: int
    date: date
    unit: dict
    regimens: list
    rows: list
    western: bool
    lines: dict = field(default_factory=dict)

    def visits(self):
        """The rows of the day itself."""
        return [row for row in self.rows if row.date == self.date]

    def regimen(self, row):
        """The regimen of a visit."""
        return next(regimen for regimen in self.regimens if regimen["code"] == row.regimen)


def random_day(seed, most_visits=40):
    """The day of a seed: always the same one."""
    rng = random.Random(f"day {seed}")
    zone = rng.choices(list(ZONES), ZONES.values())[0]
    night = rng.random() < 0.15
    western = rng.random() < 0.6
    unit = random_unit(rng, zone, night, western)
    regimens = random_regimens(rng, unit)
    day = random_date(rng, zone)
    if zone in FIXED_DATES and seed % 10 == 0:
        day = FIXED_DATES[zone][seed // 10 % 2]
    count = min(most_visits, rng.choices(list(COUNTS), COUNTS.values())[0])
    numbers = iter(rng.sample(range(10_000, 100_000), 2 * count))
    rows = [random_row(rng, unit, regimens, day, western, next(numbers)) for _ in range(count)]
    if rng.random() < 0.1:
        rows += other_days(rng, rows, numbers)
    rng.shuffle(rows)
    return Day(seed, day, unit, regimens, rows, western)


def random_date(rng, zone):
    """A day of 2025 to 2032; often the eve of a clock change, or the day of one."""
    year = rng.randint(2025, 2032)
    plain = date(year, 1, 1) + timedelta(days=rng.randrange(365))
    changes = clock_changes(zone, year)
    if not changes or rng.random() < 0.5:
        return plain
    return rng.choice(changes) - timedelta(days=rng.choice((0, 1, 1, 1, 2)))


def clock_changes(zone, year):
    """The days of a year on which a zone changes its clocks."""
    days = [date(year, 1, 2) + timedelta(days=number) for number in range(363)]
    offset = lambda day: datetime(day.year, day.month, day.day, 12, tzinfo=ZoneInfo(zone)).utcoffset()
    return [day for day in days if offset(day) != offset(day - timedelta(days=1))]


# The unit.


def random_unit(rng, zone, night, western):
    opens = rng.choice((12, 14, 18)) * 60 if night else rng.choice((7 * 60, 7 * 60 + 30, 8 * 60, 9 * 60))
    closes = rng.choice((24, 26, 28)) * 60 if night else rng.choice((17, 18, 19, 20, 22)) * 60
    bays = random_bays(rng, western)
    unit = {
        "name": rng.choice(("Larkfield Day Unit", "Ward 7", "Tagesklinik Süd", 'The "Quiet" Room')),
        "time_zone": zone,
        "opens": clock(opens),
        "closes": clock(closes),
        "phone_day": f"01632 960{rng.randrange(1000):03}",
        "phone_night": f"020 7946 0{rng.randrange(1000):03}",
        "engineer_phone": f"07700 900{rng.randrange(1000):03}",
        "fever_from": rng.choice(("38.0 °C", "37.5 °C", "100.4 °F")),
        "language": "en",
        "rinse_within_hours": rng.choice((24, 24, 24, 24, 24, 12, 36, 48)),
        "shifts": random_shifts(rng, opens, closes),
        "bays": bays,
        "machines": random_machines(rng, bays, opens, closes),
        "caps": random_caps(rng),
        "minutes": random_minutes(rng),
        "rules": random_rules(rng),
        "hands_on": {name: rng.choice((0, 3, 5, 10)) for name in ("connect", "drug_start", "disconnect", "cap_off")},
    }
    return leave_out(rng, unit, ("rinse_within_hours",), when=lambda value: value == 24)


def leave_out(rng, table, names, when):
    """The table without some of the keys whose value is the documented default."""
    gone = {name for name in names if when(table[name]) and rng.random() < 0.5}
    return {name: value for name, value in table.items() if name not in gone}


def random_bays(rng, western):
    names = rng.choice((["A", "B", "C", "D"], ["Bay 1", "Bay 2", "Bay 3", "Bay 4"], ["Nord", "Süd", "Öst", "West"]))
    if not western and rng.random() < 0.3:
        names = ["Główna", "Ogród", "Θάλασσα", "Сад"]
    bays = []
    for name in names[: rng.randint(1, 4)]:
        chairs = [f"{name}{number}" for number in range(1, rng.randint(2, 8) + 1)]
        bay = {"name": name, "nurses": rng.randint(1, 4), "chairs": chairs}
        if rng.random() < 0.4:
            bay["reach"] = random_reach(rng, chairs)
        bays.append(bay)
    return bays


def random_reach(rng, chairs):
    """Groups of neighbours; now and then one chair belongs to none."""
    cut = rng.randint(1, len(chairs))
    groups = [chairs[:cut], chairs[cut:]]
    if rng.random() < 0.2:
        groups[0] = groups[0][1:]
    return [group for group in groups if group] or [chairs]


def random_machines(rng, bays, opens, closes):
    machines = []
    for bay in bays:
        for _ in range(rng.choice((0, 1, 1, 2, 2, 3))):
            machines.append(random_machine(rng, bay["name"], f"M{len(machines) + 1}", opens, closes))
    return machines or [random_machine(rng, bays[0]["name"], "M1", opens, closes)]


def random_machine(rng, bay, name, opens, closes):
    machine = {"name": name, "bay": bay, "outlets": rng.choice((1, 2, 2, 2))}
    if rng.random() < 0.5:
        machine["movable"] = rng.random() < 0.5
    if rng.random() < 0.5:
        machine["pause"] = rng.choice(("outlet", "machine"))
    if rng.random() < 0.25:
        start = rng.randrange(opens, closes - 60, 5)
        outage = {"from": clock(start), "to": clock(rng.randrange(start + 15, closes + 1, 5)), "reason": "hose"}
        if rng.random() < 0.5:
            outage["outlet"] = rng.randint(1, machine["outlets"])
        machine["out_of_service"] = [outage]
    return machine


def random_shifts(rng, opens, closes):
    if rng.random() < 0.3:
        return [{"name": "Day", "from": clock(opens), "to": clock(closes)}]
    middle = (opens + closes) // 2
    shifts = [
        {"name": "Early", "from": clock(opens), "to": clock(middle)},
        {"name": "Late", "from": clock(middle), "to": clock(closes)},
    ]
    beside = {"name": "Long", "from": clock(opens), "to": clock(closes - 60)}
    return shifts + [beside] if rng.random() < 0.3 and closes - 60 > opens else shifts


def random_caps(rng):
    sizes = rng.choice((["S", "M", "L"], ["XS", "S", "M", "L", "XL"], ["small", "extra large"], ["1", "2"]))
    return {size: rng.choice((0, 1, 2, 3, 4, 6)) for size in sizes}


DEFAULT_MINUTES = {
    "pre_cooling": 30, "pre_cooling_thick": 45, "post_cooling": 90, "warm_up": 10, "seated": 10,
    "break_longest": 10, "break_reminder": 8, "first_check": 15,
}


def random_minutes(rng):
    pre_cooling = rng.choice((30, 30, 30, 15, 20, 40))
    longest = rng.choice((10, 10, 7, 15))
    minutes = {
        "settle": rng.choice((0, 5, 10, 15)),
        "prepare_first": rng.choice((20, 30, 40)),
        "prepare_return": rng.choice((10, 15, 20)),
        "pre_cooling": pre_cooling,
        "pre_cooling_thick": rng.choice((45, pre_cooling + 15)),
        "post_cooling": rng.choice((90, 90, 90, 60, 75, 120)),
        "warm_up": rng.choice((10, 10, 5, 15)),
        "seated": rng.choice((10, 10, 5, 0)),
        "break_longest": longest,
        "break_reminder": longest - 2,
        "first_check": rng.choice((15, 15, 10)),
        "chair_turnaround": rng.choice((0, 5, 10, 15)),
        "outlet_clean": rng.choice((0, 5, 10, 15, 7)),
        "cap_clean": rng.choice((0, 10, 20, 30)),
        "machine_start": rng.choice((0, 30, 60, 90)),
        "machine_move": rng.choice((5, 10, 15, 30)),
    }
    absent = [name for name, value in DEFAULT_MINUTES.items() if minutes[name] == value and rng.random() < 0.4]
    return {name: value for name, value in minutes.items() if name not in absent}


def random_rules(rng):
    rules = {
        "cooling_start": rng.choice(("in time", "in time", "at once")),
        "post_cooling_from": rng.choice(("last hair-loss drug", "last cytotoxic drug")),
        "flush_counts": rng.random() < 0.6,
        "hand_over_slack": rng.choice((0, 5, 10, 15)),
        "retime_earlier": rng.choice((0, 15, 30)),
        "retime_later": rng.choice((0, 30, 60)),
    }
    defaults = {"cooling_start": "in time", "post_cooling_from": "last hair-loss drug", "flush_counts": True}
    absent = [name for name, value in defaults.items() if rules[name] == value and rng.random() < 0.4]
    return {name: value for name, value in rules.items() if name not in absent}


# The regimens.


def random_regimens(rng, unit):
    codes = rng.sample(("PAC-W", "DOC", "TC", "AC", "EC", "PC 3", "PTD", "NG", "CAB", "FÖ"), rng.randint(1, 6))
    regimens = [random_regimen(rng, code, unit, cooled=True) for code in codes]
    return regimens + [random_regimen(rng, "TRAS", unit, cooled=False)]


def random_regimen(rng, code, unit, cooled):
    regimen = {"code": code, "name": f"Regimen {code}", "premed_lead": rng.choice((0, 15, 30, 30, 45, 60))}
    steps = random_steps(rng, cooled)
    least = unit["minutes"].get("post_cooling", DEFAULT_MINUTES["post_cooling"])
    if rng.random() < 0.5:
        regimen["post_cooling"] = rng.choice((20, 45, 60, 90, 90, 120))
        several = sum(step["hair_loss"] for step in steps) > 1
        if several and regimen["post_cooling"] < least:
            regimen["post_cooling_exception"] = "agreed for the test"
    if rng.random() < 0.5:
        regimen["source"] = "demonstration"
    regimen["steps"] = steps
    return regimen


def random_steps(rng, cooled):
    """Drugs before, between and after the hair-loss ones, in every mixture that is short enough."""
    while True:
        kinds = [False] * rng.choice((0, 0, 0, 1, 2))
        if cooled:
            kinds += [True] + rng.choice(([], [], [True], [False, True], [True, True])) + [False] * rng.choice((0, 0, 1, 2))
        else:
            kinds = kinds or [False]
        steps = [random_step(rng, hair_loss) for hair_loss in kinds]
        if sum(longest(step) for step in steps) <= LONGEST_STEPS:
            return steps


def random_step(rng, hair_loss):
    step = {"drug": rng.choice(DRUGS), "minutes": rng.choice(LENGTHS)}
    if rng.random() < 0.25:
        step["first_minutes"] = rng.choice((step["minutes"], step["minutes"] + 30, 90))
    if rng.random() < 0.5:
        step["flush"] = rng.choice((0, 5, 10))
    if rng.random() < 0.25:
        step["observe"] = rng.choice((0, 15, 30, 60))
    if rng.random() < 0.2:
        step["first_observe"] = rng.choice((0, 30, 60))
    step["hair_loss"] = hair_loss
    if hair_loss and rng.random() < 0.3:
        step["cytotoxic"] = True
    if not hair_loss and rng.random() < 0.6:
        step["cytotoxic"] = rng.random() < 0.6
    if step["minutes"] <= 15 and rng.random() < 0.4:
        step["push"] = True
    return step


def longest(step):
    """The most minutes that a step can take on any cycle."""
    observed = max(step.get("observe", 0), step.get("first_observe", 0))
    return max(step["minutes"], step.get("first_minutes", 0)) + step.get("flush", 0) + observed


# The visits.


def random_row(rng, unit, regimens, day, western, number):
    bay = rng.choice(unit["bays"])
    regimen = rng.choice(regimens)
    can_cool = any(step["hair_loss"] for step in regimen["steps"])
    families = WESTERN_FAMILIES if western else WESTERN_FAMILIES + OTHER_FAMILIES
    given = WESTERN_GIVEN if western else WESTERN_GIVEN + OTHER_GIVEN
    row = Row(
        date=day,
        arrive=random_arrival(rng, unit),
        bay=bay["name"],
        chair=rng.choice(bay["chairs"]),
        hospital_no=rng.choice((f"LD-{number}", f"{number:08}", f"{number}/K")),
        family_name=rng.choice(families),
        given_name=rng.choice(given),
        born=day - timedelta(days=rng.choice((0, rng.randrange(365 * 100), rng.randrange(365 * 100)))),
        regimen=regimen["code"],
        cycle=rng.choice((1, 1, 1, 2, 3, 7, 12)),
        cooled=can_cool and rng.random() < 0.85,
    )
    fill_optional(rng, row, unit, number)
    return row


def random_arrival(rng, unit):
    opens, closes = minutes_of(unit["opens"]), minutes_of(unit["closes"])
    latest = min(closes - 30, 23 * 60 + 55)
    grid = rng.choice((5, 15, 15, 30, 1))
    return rng.randrange(opens - 15, latest, grid)


def fill_optional(rng, row, unit, number):
    """The cells that may be blank, each blank now and then."""
    maybe = lambda chance, value: value if rng.random() < chance else None
    row.nhs_no = maybe(0.7, test_nhs_number(number))
    row.hair = maybe(0.8, rng.choice(("fine", "medium", "thick")))
    row.cap = maybe(0.85, rng.choice(list(unit["caps"])))
    row.own_cap = maybe(0.7, rng.random() < 0.15)
    row.drugs_ready = maybe(0.3, max(0, min(row.arrive + rng.randrange(-60, 240), 23 * 60 + 59)))
    row.leave_by = maybe(0.15, min(row.arrive + rng.randrange(60, 600, 5), 23 * 60 + 59))
    row.language = maybe(0.2, "en")
    row.large_print = maybe(0.6, rng.random() < 0.2)
    row.alert = maybe(0.2, rng.choice(ALERTS))
    row.next_visit = maybe(0.7, (row.date + timedelta(days=rng.randint(7, 28)), maybe(0.6, rng.randrange(480, 1080, 15))))
    row.go_ahead = maybe(0.8, rng.choice(("yes", "yes", "yes", "waiting")))
    row.isolate = maybe(0.7, rng.random() < 0.1)


def test_nhs_number(number):
    """A number of the test range, 999 and six digits more with their check digit; None if that would be 10."""
    nine = f"999{number:06}"
    check = 11 - sum(int(digit) * weight for digit, weight in zip(nine, range(10, 1, -1))) % 11
    return None if check == 10 else nine + str(check % 11)


def other_days(rng, rows, numbers):
    """Rows of the day before or after: some of the same patients, some others."""
    copies = [Row(**vars(row)) for row in rng.sample(rows, max(1, len(rows) // 4))]
    shift = rng.choice((-1, 1))
    for row in copies:
        row.date += timedelta(days=shift)
        row.born = min(row.born, row.date)
        if rng.random() < 0.5:
            row.hospital_no = f"LD-{next(numbers)}"
    return copies


# Times as text.


def clock(minutes):
    """`08:30` for 510; hours go on counting past midnight."""
    return f"{minutes // 60:02}:{minutes % 60:02}"


def minutes_of(text):
    """510 for `08:30`."""
    hours, minutes = text.split(":")
    return int(hours) * 60 + int(minutes)


if __name__ == "__main__":
    from day_files import DayFiles

    seed, folder = int(sys.argv[1]), Path(sys.argv[2])
    folder.mkdir(parents=True, exist_ok=True)
    print("baypack check", *DayFiles.write(random_day(seed), folder).arguments())
