"""Compares `plan.json` with the definitions of a visit, over thousands of random days.

Every stage, step and outlet of every visit, every conflict over a resource, and that each row of the
list is in the plan. A difference is kept as a folder with the day's files and what was expected.
"""

import copy
import csv
import io
import random
import tomllib
from collections import Counter
from multiprocessing import Pool
from pathlib import Path

import baypack
from day_files import ENCODINGS, DayFiles, line_of
from days import FIXED_DATES, clock, minutes_of, random_day
from definitions import (
    changes_of_bay, minutes_in, resource_conflicts, rules_in, stages_as_text, stages_of, timed_steps,
)
from hazards import caution_differences
from timelines import clock_change_differences, timeline_differences

SHORT_DAYS, FULL_DAYS = 2_000, 20_000


def differences(day, plan):
    """Everything in which a plan is not what the definitions say, as sentences by subject."""
    planned = pair(day, plan)
    return {
        "rows": missing_rows(day, plan),
        "times": [text for line, (row, visit) in planned.items() for text in visit_differences(day, line, row, visit)],
        "resources": resource_conflicts(day, planned) + claims(day, plan, planned),
        "cautions": caution_differences(day, plan, planned),
    }


def pair(day, plan):
    """The visits of the list with what the plan says of them, by line; those on both sides only."""
    by_line = {visit["line"]: visit for visit in plan["visits"]}
    rows = {line_of(day, row): row for row in day.visits()}
    return {line: (row, by_line[line]) for line, row in sorted(rows.items()) if line in by_line}


def missing_rows(day, plan):
    """Rows that are not in the plan, and visits that are not in the list."""
    listed = Counter((line_of(day, row), row.hospital_no) for row in day.visits())
    found = Counter((visit["line"], visit["hospital_no"]) for visit in plan["visits"])
    missing = [f"line {line}: in the list, not in the plan" for line, _ in listed - found]
    extra = [f"line {line}: in the plan, not in the list" for line, _ in found - listed]
    head = [] if plan["date"] == day.date.isoformat() else [f"date: expected {day.date}, found {plan['date']}"]
    form = [] if plan["format"] == 1 and plan["revision"] >= 1 else ["format or revision is not a known one"]
    return head + form + missing + extra


def visit_differences(day, line, row, visit):
    """What a visit's entry gets wrong."""
    stages, times = stages_of(day.unit, day.regimen(row), row, day.date)
    stages = stages_as_text(stages)
    steps = [dict(zip(("drug", "start", "end", "free"), (drug, *map(clock, times)))) for drug, *times in times]
    found_steps = [{name: step.get(name) for name in ("drug", "start", "end", "free")} for step in visit["steps"]]
    expected = {"bay": row.bay, "chair": row.chair, "cooled": row.cooled, "stages": stages, "steps": steps}
    found = {**{name: visit.get(name) for name in expected}, "steps": found_steps}
    if row.cooled:
        expected["cap"], found["cap"] = row.cap, visit.get("cap")
    if visit["outlet"] is not None:
        until = clock_after(stages.get("cooling_off", "00:00"), minutes_in(day.unit).outlet_clean)
        expected["outlet"] = (stages.get("cooling_on", "no outlet"), until)
        found["outlet"] = (visit["outlet"]["from"], visit["outlet"]["until"])
    return [
        f"line {line}, {name}: expected {expected[name]}, found {found[name]}"
        for name in expected if expected[name] != found[name]
    ]


def clock_after(text, minutes):
    """A time some minutes after another."""
    return clock(minutes_of(text) + minutes)


def claims(day, plan, planned):
    """What the plan claims of its machines against what its visits show."""
    told, found = plan["machines"], []
    without = sum(row.cooled and visit["outlet"] is None for row, visit in planned.values())
    if told["without_outlet"] != without:
        found.append(f"without_outlet: expected {without}, found {told['without_outlet']}")
    fewest, most = changes_of_bay(day, planned)
    if not fewest <= told["moves"] <= most:
        found.append(f"moves: expected {fewest} to {most}, found {told['moves']}")
    bound = told["bound"]
    values, bounds = (told["without_outlet"], told["moves"]), (bound["without_outlet"], bound["moves"])
    if bounds > values or (told["proven"] and bounds != values):
        found.append(f"proven {told['proven']}, but values {values} and bounds {bounds}")
    return found + overlooked(day, plan, planned)


def overlooked(day, plan, planned):
    """Patients without an outlet for whom one that stands in their bay is plainly free, in a plan called best."""
    if not plan["machines"]["proven"]:
        return []
    found = []
    for line, (row, visit) in planned.items():
        if not row.cooled or visit["outlet"] is not None:
            continue
        for machine in day.unit["machines"]:
            for number in range(1, machine["outlets"] + 1):
                given = copy.deepcopy(planned)
                given[line][1]["outlet"] = {"machine": machine["name"], "number": number}
                if changes_of_bay(day, given) == changes_of_bay(day, planned) and not resource_conflicts(day, given):
                    found.append(f"line {line}: {machine['name']} {number} is free, and the plan is called best")
    return found


# Days in processes.


def kinds_of(day, form):
    """What a day contains, so that the run can say that it tried everything."""
    kinds = {form.encoding, f"delimiter {form.delimiter!r}", f"on {day.date}"}
    rules = rules_in(day.unit)
    kinds |= {rules.cooling_start, rules.post_cooling_from, f"flush counts {rules.flush_counts}"}
    for row in day.visits():
        steps = timed_steps(day.regimen(row), row.cycle)
        first = next((place for place, step in enumerate(steps) if step.hair_loss), 0)
        last = max((place for place, step in enumerate(steps) if step.hair_loss), default=0)
        kinds |= {"cooled" if row.cooled else "not cooled", f"hair {row.hair}", f"cap own {row.own_cap}"}
        kinds.add("first visit" if row.cycle == 1 else "return visit")
        kinds.add("drug before" if first > 0 else "none before")
        kinds.add("drug after" if last + 1 < len(steps) else "none after")
        kinds.add("drug between" if any(not step.hair_loss for step in steps[first:last]) else "none between")
        kinds.add("drugs late" if (row.drugs_ready or 0) > row.arrive + 60 else "drugs there")
    return kinds


WANTED = {
    *ENCODINGS, "delimiter ','", "delimiter ';'", "delimiter '\\t'", "in time", "at once",
    "last hair-loss drug", "last cytotoxic drug", "flush counts True", "flush counts False", "cooled",
    "not cooled", "hair thick", "hair None", "cap own True", "first visit", "return visit", "drug before",
    "drug after", "drug between", "drugs late", "another offset at rinse_by", "past midnight", "without outlet", "moved",
}


# Clock changes on which a zone's random days often fall, so that they are tried for certain.
WANTED |= {f"on {day}" for days in FIXED_DATES.values() for day in days}
# Kinds of caution of which every one is needed.
NEEDED_EACH = {"hair_not_recorded", "closing_passed", "go_ahead_waiting", "isolated", "outlet_short", "cap_short"}


def try_day(job):
    """One day through the program: what it contained, and what was wrong with it."""
    binary, seed = job
    day = random_day(seed)
    with baypack.scratch() as folder:
        files = DayFiles.write(day, Path(folder))
        plan, refused = baypack.plan_of(binary, files, folder)
        if refused:
            found = {"rows": [refused.strip().splitlines()[0] + " " + " / ".join(refused.splitlines()[1:4])]}
        else:
            found = differences(day, plan)
        lines = [f"{subject}: {text}" for subject, texts in found.items() for text in texts]
        if lines:
            kept = baypack.keep(f"day-{seed}", folder, files, lines)
            found = {subject: [f"{kept}: {text}" for text in texts] for subject, texts in found.items()}
    return kinds_of(day, files.form) | plan_kinds(day, plan), len(day.visits()), found


def plan_kinds(day, plan):
    """What a plan contains that only planning shows."""
    kinds = set()
    if plan is None:
        return kinds
    for visit in plan["visits"]:
        stages = visit["stages"]
        if "rinse_by" in stages and day.unit.get("rinse_within_hours", 24) == 24:
            if int(stages["rinse_by"][11:13]) != int(stages["cooling_off"][:2]) % 24:
                kinds.add("another offset at rinse_by")
        if stages["leave"] >= "24:00":
            kinds.add("past midnight")
    if plan["machines"]["without_outlet"]:
        kinds.add("without outlet")
    if plan["machines"]["moves"]:
        kinds.add("moved")
    return kinds


# Whether the comparison itself can be trusted.


def file_differences(seeds):
    """Where the files of a day, read by Python's own TOML and CSV readers, do not say what the day says."""
    found = []
    for seed in seeds:
        day = random_day(seed)
        with baypack.scratch() as folder:
            files = DayFiles.write(day, Path(folder))
            unit = tomllib.loads(files.unit.read_text(encoding="utf-8"))
            regimens = tomllib.loads(files.regimens.read_text(encoding="utf-8"))
            content = files.list.read_bytes()
        unit.pop("day_list", None)
        if unit != day.unit or regimens["regimens"] != day.regimens:
            found.append(f"seed {seed}: the TOML files say something else")
        mark, codec = ENCODINGS[files.form.encoding]
        text = io.StringIO(content[len(mark):].decode(codec), newline="")
        records = [record for record in csv.reader(text, delimiter=files.form.delimiter) if record]
        cells = [[files.form.cell(row, name) for name in files.form.columns] for row in day.rows]
        if records[1:] != cells:
            found.append(f"seed {seed}: the day list says something else")
    return found


def blindness(binary, seeds):
    """Changes of one value in a right plan that the comparison does not notice."""
    found = []
    for seed in seeds:
        day, rng = random_day(seed), random.Random(seed)
        with baypack.scratch() as folder:
            plan, refused = baypack.plan_of(binary, DayFiles.write(day, Path(folder)), folder)
        if refused or any(differences(day, plan).values()):
            continue
        for change in (move_a_stage, move_a_step, drop_a_visit, exchange_an_outlet, drop_a_caution):
            changed = copy.deepcopy(plan)
            if change(rng, changed) and not any(differences(day, changed).values()):
                found.append(f"seed {seed}: {change.__name__} goes unnoticed")
    return found


def move_a_stage(rng, plan):
    stages = rng.choice(plan["visits"])["stages"]
    name = rng.choice(sorted(set(stages) - {"rinse_by"}))
    stages[name] = clock_after(stages[name], 1)
    return True


def move_a_step(rng, plan):
    step = rng.choice(rng.choice(plan["visits"])["steps"])
    name = rng.choice(("start", "end", "free"))
    step[name] = clock_after(step[name], 1)
    return True


def drop_a_visit(rng, plan):
    plan["visits"].pop(rng.randrange(len(plan["visits"])))
    return True


def exchange_an_outlet(rng, plan):
    """Gives a patient the outlet that another one holds at the same time, if there are two such."""
    held = [visit["outlet"] for visit in plan["visits"] if visit["outlet"]]
    pairs = [
        (one, other) for one in held for other in held
        if (one["machine"], one["number"]) != (other["machine"], other["number"])
        and max(one["from"], other["from"]) < min(one["until"], other["until"])
    ]
    if pairs:
        one, other = rng.choice(pairs)
        one["machine"], one["number"] = other["machine"], other["number"]
    return bool(pairs)


def drop_a_caution(rng, plan):
    """Takes away a caution of a kind of which each is needed, if there is one."""
    needed = [caution for caution in plan["cautions"] if caution["kind"] in NEEDED_EACH]
    if needed:
        plan["cautions"].remove(rng.choice(needed))
    return bool(needed)


def main():
    options = baypack.options(__doc__, days=0, seed=1)
    days = options.days or (FULL_DAYS if options.full else SHORT_DAYS)
    report = baypack.Report("plan")
    report.check("the definitions give the published timelines", timeline_differences())
    report.check("24 elapsed hours across clock changes", clock_change_differences())
    report.check("the random files say what the random day says", file_differences(range(300)))
    with Pool(baypack.WORKERS) as pool:
        jobs = ((options.binary, seed) for seed in range(options.seed, options.seed + days))
        results = list(pool.imap_unordered(try_day, jobs, chunksize=8))
    visits = sum(count for _, count, _ in results)
    for subject, name in (
        ("rows", f"each row is in the plan once: {visits} visits on {days} random days"),
        ("times", "every stage, step and outlet hold is as defined"),
        ("resources", "no outlet, cap or machine is used against its rules"),
        ("cautions", "each hazard has its caution, and each caution its hazard"),
    ):
        report.check(name, [text for _, _, found in results for text in found.get(subject, [])])
    tried = set().union(*(kinds for kinds, _, _ in results))
    report.check("the random days held every kind of visit and file", sorted(WANTED - tried))
    report.check("one changed value is always noticed", blindness(options.binary, range(40)))
    report.close()


if __name__ == "__main__":
    main()
