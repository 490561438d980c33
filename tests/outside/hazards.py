"""Who must be warned of what on a day, computed anew and compared with a plan's cautions both ways.

A hazard without its caution is a person whom nobody looks after; a caution without its hazard teaches the
staff to read past the others. Knows the kinds of caution by name, and of their words only where a bay stands.
"""

import unicodedata
from itertools import combinations

from days import clock, minutes_of
from definitions import meet, minutes_in, stages_of, timed_steps

# Both mean that a patient has no outlet: one for want of a cap, the other for want of an outlet.
WITHOUT_OUTLET = {"outlet_short", "cap_short"}


def caution_differences(day, plan, planned):
    """Hazards without a caution of their kind, and cautions without their hazard."""
    found = [
        f"a caution without a kind or a text: {caution}"
        for caution in plan["cautions"] if not (caution.get("kind") and caution.get("text"))
    ]
    named = named_lines(plan)
    for kind, expected in lines_to_warn(day, planned).items():
        lines = sorted(named.get(kind, []))
        if lines != sorted(expected):
            found.append(f"{kind}: expected lines {sorted(expected)}, found {lines}")
    blank = any(row.go_ahead is None for row, _ in planned.values())
    if blank != ("go_ahead_not_recorded" in named):
        found.append(f"go-ahead not recorded: {blank}, and the cautions say the opposite")
    found += chair_differences(day, planned, set(named.get("chair_double_booked", [])))
    found += name_differences(plan, planned)
    return found + nurse_differences(day, plan, planned)


def named_lines(plan):
    """The lines that the cautions of each kind name."""
    named = {}
    for caution in plan["cautions"]:
        kind = "without outlet" if caution["kind"] in WITHOUT_OUTLET else caution["kind"]
        named.setdefault(kind, []).append(caution["line"])
    return named


def leaves_of(day, planned):
    """When each visit may leave, by line."""
    return {line: stages_of(day.unit, day.regimen(row), row, day.date)[0]["leave"] for line, (row, _) in planned.items()}


def lines_to_warn(day, planned):
    """The lines that each kind of caution must name, and no others."""
    opens, closes = minutes_of(day.unit["opens"]), minutes_of(day.unit["closes"])
    conditions = {
        "hair_not_recorded": lambda row, visit, leave: row.cooled and row.hair is None,
        "cap_not_recorded": lambda row, visit, leave: row.cooled and row.cap is None and not row.own_cap,
        "before_opening": lambda row, visit, leave: row.arrive < opens,
        "closing_passed": lambda row, visit, leave: leave > closes,
        "leave_by_missed": lambda row, visit, leave: row.leave_by is not None and leave > row.leave_by,
        "go_ahead_waiting": lambda row, visit, leave: row.go_ahead == "waiting",
        "isolated": lambda row, visit, leave: bool(row.isolate),
        "card_language": lambda row, visit, leave: False,  # no list here names a language
        "alert": lambda row, visit, leave: bool(row.alert),
        "without outlet": lambda row, visit, leave: row.cooled and visit["outlet"] is None,
    }
    leaves = leaves_of(day, planned)
    return {
        kind: {line for line, (row, visit) in planned.items() if holds(row, visit, leaves[line])}
        for kind, holds in conditions.items()
    }


def chair_differences(day, planned, named):
    """Pairs in one chair at once of which neither is named, and lines named that share their chair with nobody."""
    leaves, turnaround = leaves_of(day, planned), minutes_in(day.unit).chair_turnaround
    taken = [(line, row.chair, (row.arrive, leaves[line] + turnaround)) for line, (row, _) in planned.items()]
    clashes = [
        {one[0], other[0]} for one, other in combinations(taken, 2) if one[1] == other[1] and meet(one[2], other[2])
    ]
    found = [
        f"lines {sorted(clash)}: in one chair at once, and no caution names either"
        for clash in clashes if not clash & named
    ]
    alone = sorted(named - set().union(*clashes))
    return found + [f"line {line}: called double-booked, and is not" for line in alone]


def name_differences(plan, planned):
    """Family names that several patients have, and that no one caution tells with all their chairs; more than one a name is a flood."""
    told = [caution["text"] for caution in plan["cautions"] if caution["kind"] == "names_alike"]
    found = []
    for name, rows in by_family_name(planned).items():
        seats = [f"{row.chair} ({clock(row.arrive)})" for row in rows]
        if len(rows) > 1 and not any(all(seat in text for seat in seats) for text in told):
            found.append(f"{seats} have one family name, and no caution says so")
    most = len(planned) // 2
    return found + ([f"{len(told)} cautions about names of {len(planned)} patients"] if len(told) > most else [])


def by_family_name(planned):
    """The rows of each family name, without case and the accents of European scripts."""
    named = {}
    for row, _ in planned.values():
        plain = "".join(mark for mark in unicodedata.normalize("NFD", row.family_name) if not "\u0300" <= mark <= "\u036f")
        named.setdefault(plain.lower(), []).append(row)
    return named


def nurse_differences(day, plan, planned):
    """Bays whose work at one moment passes its nurses without a caution, and the other way round."""
    told = [caution["text"] for caution in plan["cautions"] if caution["kind"] == "nurses_short"]
    found = []
    for bay in day.unit["bays"]:
        spans = hands_on(day, planned, bay["name"])
        peak = max((sum(start <= moment < end for start, end in spans) for moment, _ in spans), default=0)
        warned = any(f"{bay['name']}:" in text for text in told)
        if warned != (peak > bay["nurses"]):
            found.append(f"bay {bay['name']}: {peak} nurses needed at once of {bay['nurses']}, warned: {warned}")
    return found


def hands_on(day, planned, bay):
    """The stretches in which the bay's visits take a nurse, one for each nurse.

    A push takes the whole of it, or the minutes of a drug's start if these are more. A patient without an
    outlet counts as if there were one: it may yet be found.
    """
    minutes = day.unit["hands_on"]
    spans = []
    for row, _ in planned.values():
        if row.bay != bay:
            continue
        regimen = day.regimen(row)
        stages, times = stages_of(day.unit, regimen, row, day.date)
        for (_, start, end, _), step, told in zip(times, timed_steps(regimen, row.cycle), regimen["steps"]):
            started = start + minutes["drug_start"]
            spans.append((start, max(end, started) if told.get("push") else started))
            if step.cytotoxic:
                spans.append((start, started))
        if row.cooled:
            spans.append((stages["cooling_on"] - minutes["connect"], stages["cooling_on"]))
            spans.append((stages["cooling_off"], stages["cooling_off"] + minutes["disconnect"]))
            spans.append((stages["cap_off"], stages["cap_off"] + minutes["cap_off"]))
    return [span for span in spans if span[0] < span[1]]
