"""Random days on which machines, outlets, caps and bays are scarce, from a seed.

Uses the same form of a day as `days`, so that `day_files` writes them and `definitions` times them. What
a seed is about and how large its day is both go round, in circles of different lengths. Every visit,
patient, unit and number is invented.

    python machine_days.py SEED FOLDER     writes that day's files, to look at a counter-example
"""

import random
import sys
from datetime import date, timedelta
from pathlib import Path

from days import Day, Row, clock

KINDS = ("plain", "moves", "reach", "outages", "caps", "everything", "one bay", "slack")
# Visits of a day, from one that can be followed by hand to a large unit's.
SIZES = (5, 9, 14, 20, 28, 40, 60)
OPENS, CLOSES = 8 * 60, 20 * 60
DAY = date(2031, 3, 14)
# From a day with machines to spare to one that cannot fit.
VISITS_A_MACHINE = (1.8, 2.1, 2.4, 2.4, 2.7, 3.5)


def machine_day(seed, visits=None, machines=None):
    """The day of a seed; `visits` and `machines` fix its size."""
    rng = random.Random(f"machines {seed}")
    kind = KINDS[seed % len(KINDS)]
    visits = visits or SIZES[seed % len(SIZES)]
    machines = machines or max(1, round(visits / rng.choice(VISITS_A_MACHINE)))
    bays = 1 if kind == "one bay" else max(1, min(round(machines / rng.choice((2, 3, 4))), 20))
    unit = random_unit(rng, kind, bays, machines, visits)
    return Day(seed, DAY, unit, random_regimens(rng), random_rows(rng, unit, visits), western=True)


def has(rng, kind, *kinds):
    """Whether a trait belongs to this kind of day: always to its own kinds, now and then to others."""
    return kind in kinds or kind == "everything" or rng.random() < 0.1


def random_unit(rng, kind, bays, machines, visits):
    """A unit with a few machines and chairs in each bay."""
    wards = [random_bay(rng, kind, number, max(3, visits // bays)) for number in range(bays)]
    movable = rng.choice((0.3, 0.7, 1.0)) if has(rng, kind, "moves") else rng.choice((0.0, 0.2))
    fleet = [random_machine(rng, kind, wards, number, movable) for number in range(machines)]
    scarce = has(rng, kind, "caps")
    return {
        "name": "Invented unit", "time_zone": "Europe/London", "opens": clock(OPENS), "closes": clock(CLOSES),
        "phone_day": "01632 960001", "phone_night": "01632 960002", "engineer_phone": "07700 900001",
        "fever_from": "38.0", "language": "en",
        "shifts": [{"name": "Day", "from": clock(OPENS), "to": clock(CLOSES)}],
        "bays": wards,
        "machines": fleet,
        "caps": {size: random_stock(rng, visits, scarce) for size in ("S", "M", "L")},
        "minutes": {
            "settle": 10, "prepare_first": 30, "prepare_return": 15, "chair_turnaround": 10,
            "outlet_clean": rng.choice((0, 5, 10)), "cap_clean": rng.choice((10, 20, 40)),
            "machine_start": 30, "machine_move": rng.choice((5, 10, 15, 20)),
        },
        "rules": {
            "hand_over_slack": rng.choice((20, 30, 45)) if kind == "slack" else rng.choice((0, 5, 10)),
            "cooling_start": rng.choice(("in time", "at once")),
        },
        "hands_on": {"connect": 5, "drug_start": 5, "disconnect": 5, "cap_off": 5},
    }


def random_stock(rng, visits, scarce):
    return rng.randint(visits // 12, 1 + visits // 4) if scarce else visits


def random_bay(rng, kind, number, chairs):
    name = chr(ord("A") + number)
    seats = [f"{name}{seat}" for seat in range(1, max(2, min(chairs, 9)) + 1)]
    bay = {"name": name, "nurses": 3, "chairs": seats}
    if has(rng, kind, "reach"):
        bay["reach"] = random_reach(rng, seats)
    return bay


def random_reach(rng, seats):
    """Neighbours in twos to fours; the first chair may be in none."""
    groups, place = [], rng.randint(0, 1)
    while place < len(seats):
        size = rng.choice((2, 2, 3, 4))
        groups.append(seats[place : place + size])
        place += size
    return groups


def random_machine(rng, kind, bays, number, movable):
    bay = bays[number % len(bays)] if rng.random() < 0.7 else rng.choice(bays)
    machine = {
        "name": f"M{number + 1}", "bay": bay["name"],
        "outlets": rng.choice((1, 2)) if has(rng, kind, "moves", "slack") else 2,
        "movable": rng.random() < movable,
    }
    if has(rng, kind, "outages") and rng.random() < 0.5:
        machine["out_of_service"] = [random_outage(rng, machine) for _ in range(rng.choice((1, 1, 2)))]
    return machine


def random_outage(rng, machine):
    start = rng.randrange(OPENS, CLOSES - 60, 5)
    outage = {"from": clock(start), "to": clock(start + rng.randrange(15, 180, 5)), "reason": "hose"}
    return outage | ({"outlet": rng.randint(1, machine["outlets"])} if rng.random() < 0.6 else {})


def random_regimens(rng):
    """Short to long visits, with and without drugs before the hair-loss ones."""
    def step(drug, minutes, hair_loss, flush=0):
        return {"drug": drug, "minutes": minutes, "flush": flush, "hair_loss": hair_loss}

    return [
        {"code": "SHORT", "name": "Short", "premed_lead": 0, "post_cooling": 45, "steps": [step("Docetaxel", 60, True)]},
        {"code": "WEEK", "name": "Weekly", "premed_lead": 30, "steps": [step("Paclitaxel", 60, True, 5)]},
        {"code": "PAIR", "name": "Pair", "premed_lead": 30, "steps": [
            step("Trastuzumab", rng.choice((30, 60)), False), step("Epirubicin", 15, True), step("Cyclophosphamide", 35, True)]},
        {"code": "LONG", "name": "Long", "premed_lead": 45, "steps": [step("Paclitaxel", 180, True, 10), step("Carboplatin", 60, False)]},
    ]


def random_rows(rng, unit, visits):
    """The visits: bays are about as full as they have machines, and mornings fuller than afternoons."""
    homes = [machine["bay"] for machine in unit["machines"]]
    weights = [homes.count(bay["name"]) + rng.choice((0.2, 0.5, 1)) for bay in unit["bays"]]
    return [random_row(rng, unit, weights, number) for number in range(visits)]


def random_row(rng, unit, weights, number):
    bay = rng.choices(unit["bays"], weights)[0]
    return Row(
        date=DAY, arrive=OPENS + 5 * round(rng.betavariate(1, 1.3) * 90), bay=bay["name"],
        chair=rng.choice(bay["chairs"]),
        hospital_no=f"T{number:04}", family_name=f"Invented{number}", given_name="Person",
        born=DAY - timedelta(days=365 * rng.randint(20, 80)),
        regimen=rng.choices(("SHORT", "WEEK", "PAIR", "LONG"), (3, 4, 3, 1))[0],
        cycle=rng.choice((1, 2, 3, 4)), cooled=rng.random() < 0.93,
        hair=rng.choice(("fine", "medium", "thick", None)),
        cap=rng.choice(("S", "M", "M", "L", None)), own_cap=rng.random() < 0.1, go_ahead="yes",
    )


if __name__ == "__main__":
    from day_files import DayFiles

    target = Path(sys.argv[2])
    target.mkdir(parents=True, exist_ok=True)
    print("baypack check", *DayFiles.write(machine_day(int(sys.argv[1])), target).arguments())
