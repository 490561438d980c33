"""Proves with a constraint solver that no smaller change of arrival times makes random days fit.

The model is written from the definitions alone: who comes when, who gets which outlet, and what a change
may not harm. What the program calls least must be the solver's optimum; nothing that it proposes may be
better than that; and the list that it writes must make the plan that it promises.
"""

import json
import random
from itertools import combinations
from multiprocessing import Pool
from pathlib import Path
from types import SimpleNamespace

from ortools.sat.python import cp_model

import baypack
from day_files import DayFiles, line_of
from days import Day, clock, minutes_of, random_day, random_row
from definitions import meet, minutes_in, stages_of, warm_in, within_reach
from hazards import hands_on

SHORT_DAYS, FULL_DAYS = 150, 1_500
# No proof takes as long as this; one that does counts as none.
SECONDS = 60


def crowded_day(seed):
    """A day with its visits close together, and hands, caps and machines that often just do not suffice."""
    day, rng = random_day(seed), random.Random(f"crowded {seed}")
    unit = day.unit
    unit["opens"], unit["closes"] = "08:00", "22:00"
    unit["shifts"] = [{"name": "Day", "from": "08:00", "to": "22:00"}]
    unit["rules"] |= {"retime_earlier": rng.choice((0, 10, 20)), "retime_later": rng.choice((15, 30, 40))}
    unit["minutes"]["machine_start"] = rng.choice((0, 10, 30))
    unit["bays"] = unit["bays"][:2]
    names = [bay["name"] for bay in unit["bays"]]
    for bay in unit["bays"]:
        bay["nurses"] = rng.randint(2, 6)
    unit["machines"] = [machine for machine in unit["machines"] if machine["bay"] in names][:3]
    for machine in unit["machines"]:
        machine.pop("out_of_service", None)
        if rng.random() < 0.2:
            start = rng.randrange(480, 720, 5)
            machine["out_of_service"] = [{"from": clock(start), "to": clock(start + 60), "outlet": 1}]
    if not unit["machines"]:
        unit["machines"] = [{"name": "M1", "bay": names[0], "outlets": 2}]
    unit["caps"] = {size: rng.randint(2, 4) for size in unit["caps"]}
    regimens = [short(rng, regimen) for regimen in day.regimens]
    count = rng.randint(3, 8)
    numbers = rng.sample(range(10_000, 100_000), count)
    rows = [random_row(rng, unit, regimens, day.date, day.western, number) for number in numbers]
    for row in rows:
        row.arrive = 485 + 5 * rng.randrange(8 * count)
        row.drugs_ready = row.arrive + rng.randrange(0, 90) if rng.random() < 0.2 else None
        row.leave_by = row.arrive + rng.randrange(150, 400, 5) if rng.random() < 0.15 else None
    return Day(seed, day.date, unit, regimens, rows, day.western)


def short(rng, regimen):
    """A regimen with at most two drugs of half an hour at the most: people then hand over to each other."""
    steps = [step for step in regimen["steps"] if step["hair_loss"]][:1] or regimen["steps"][:1]
    steps = [{"drug": step["drug"], "minutes": rng.choice((15, 20, 30)), "hair_loss": step["hair_loss"]} for step in steps]
    return {**regimen, "premed_lead": rng.choice((0, 15, 30)), "post_cooling": rng.choice((20, 30, 45)), "steps": steps}


# What each visit would be at each change.


def options_of(day, row):
    """Every change of a visit's arrival that harms nobody by itself, the listed time among them."""
    rules = day.unit["rules"]
    steps = range(-(rules["retime_earlier"] // 5), rules["retime_later"] // 5 + 1)
    listed = option(day, row, 0)
    changed = [option(day, row, 5 * step) for step in steps if step and 0 <= row.arrive + 5 * step < 24 * 60]
    return [listed, *(one for one in changed if not is_harmed(day, row, listed, one))]


def option(day, row, change):
    """A visit with another arrival: its stages and its needs."""
    minutes = minutes_in(day.unit)
    moved = type(row)(**{**vars(row), "arrive": row.arrive + change})
    stages, _ = stages_of(day.unit, day.regimen(row), moved, day.date)
    eager, _ = stages_of(day.unit, day.regimen(row), type(row)(**{**vars(moved), "drugs_ready": None}), day.date)
    spans = hands_on(SimpleNamespace(unit=day.unit, regimen=day.regimen, date=day.date), {0: (moved, None)}, row.bay)
    found = SimpleNamespace(
        change=change, arrive=moved.arrive, leave=stages["leave"], eager=eager["leave"], cooling=None, hands=spans,
        chair=(moved.arrive, stages["leave"] + minutes.chair_turnaround),
    )
    if row.cooled:
        found.cooling = (stages["cooling_on"], stages["cooling_off"])
        found.hold = (stages["cooling_on"], stages["cooling_off"] + minutes.outlet_clean)
        found.cap = (stages["prepare"], stages["cap_off"] + minutes.cap_clean)
    return found


def is_harmed(day, row, listed, one):
    """Whether a limit is missed by more than as listed: opening, closing, leaving time, late drugs."""
    opens, closes = minutes_of(day.unit["opens"]), minutes_of(day.unit["closes"])
    cold = opens + minutes_in(day.unit).machine_start
    limits = [closes] + ([row.leave_by] if row.leave_by is not None else [])
    early = one.cooling and one.cooling[0] < cold and one.cooling[0] < listed.cooling[0]
    return bool(
        early
        or (one.arrive < opens and one.arrive < listed.arrive)
        or any(one.leave > limit and one.leave > listed.leave for limit in limits)
        or needed_by(row, one, min(limits)) < needed_by(row, listed, min(limits))
    )


def needed_by(row, one, limit):
    """When late drugs would be needed: infinitely late where they are not late, never where no time would do."""
    if row.drugs_ready is None or one.leave <= limit or one.eager == one.leave:
        return float("inf")
    return row.drugs_ready - (one.leave - limit) if one.eager <= limit else float("-inf")


# The model.


def least(day, rows, without):
    """The optimum: people without an outlet, minutes of change, people asked; None without a proof in time.

    `without` are the places of those who have no outlet as listed; everybody else keeps one.
    """
    model = cp_model.CpModel()
    options = [options_of(day, row) for row in rows]
    chosen = [[model.new_bool_var("") for _ in each] for each in options]
    for each in chosen:
        model.add_exactly_one(each)
    outlets = [
        (place, number) for place, machine in enumerate(day.unit["machines"]) for number in range(1, machine["outlets"] + 1)
    ]
    given = {}
    left_out = []
    for visit, row in enumerate(rows):
        if not row.cooled:
            continue
        for place, one in enumerate(options[visit]):
            for outlet in outlets:
                if may_serve(day, row, one, outlet):
                    given[visit, place, outlet] = model.new_bool_var("")
            own = [given[visit, place, outlet] for outlet in outlets if (visit, place, outlet) in given]
            model.add(sum(own) <= chosen[visit][place])
        served = sum(variable for (who, _, _), variable in given.items() if who == visit)
        if visit in without:
            left_out.append(1 - served)
        else:
            model.add(served == 1)
    machines_apart(day, rows, options, given, model)
    caps_suffice(day, rows, options, given, model)
    chairs_apart(rows, options, chosen, model)
    hands_suffice(day, rows, options, chosen, model)
    minutes = sum(abs(one.change) * chosen[visit][place] for visit, each in enumerate(options) for place, one in enumerate(each))
    asked = sum(chosen[visit][place] for visit, each in enumerate(options) for place, one in enumerate(each) if one.change)
    model.minimize(1_000_000 * sum(left_out) + 100 * minutes + asked)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_time_in_seconds = SECONDS
    status = solver.solve(model)
    if status == cp_model.INFEASIBLE:
        return "infeasible"
    if status != cp_model.OPTIMAL:
        return None
    value = round(solver.objective_value)
    return value // 1_000_000, value % 1_000_000 // 100, value % 100


def may_serve(day, row, one, outlet):
    """Whether an outlet, taken alone, may serve a visit."""
    machine = day.unit["machines"][outlet[0]]
    outages = [
        warm_in(outage, minutes_in(day.unit).machine_start) for outage in machine.get("out_of_service", [])
        if outage.get("outlet", outlet[1]) == outlet[1]
    ]
    stands_there = machine.get("movable", False) or machine["bay"] == row.bay
    return stands_there and not any(meet(span, one.hold) for span in outages)


def machines_apart(day, rows, options, given, model):
    """Two people of one machine: not one outlet at once, within reach at once, time for a move between bays."""
    bays = {bay["name"]: bay for bay in day.unit["bays"]}
    move = minutes_in(day.unit).machine_move
    for (key, first), (other_key, second) in combinations(given.items(), 2):
        (visit, place, outlet), (other, other_place, other_outlet) = key, other_key
        if visit == other or outlet[0] != other_outlet[0]:
            continue
        one, two = options[visit][place], options[other][other_place]
        if rows[visit].bay != rows[other].bay:
            apart = one.hold[1] + move <= two.hold[0] or two.hold[1] + move <= one.hold[0]
        else:
            reached = within_reach(bays[rows[visit].bay], rows[visit].chair, rows[other].chair)
            apart = (outlet != other_outlet or not meet(one.hold, two.hold)) and (reached or not meet(one.cooling, two.cooling))
        if not apart:
            model.add_bool_or([first.Not(), second.Not()])


def caps_suffice(day, rows, options, given, model):
    """At each start of a cap's use, no more of its size are taken than there are."""
    for size, count in day.unit["caps"].items():
        users = [
            (options[visit][place].cap, variable) for (visit, place, _), variable in given.items()
            if rows[visit].cap == size and not rows[visit].own_cap
        ]
        for at in sorted({span[0] for span, _ in users}):
            model.add(sum(variable for span, variable in users if span[0] <= at < span[1]) <= count)


def chairs_apart(rows, options, chosen, model):
    """No two people share a chair at a minute at which they do not as listed."""
    for visit, other in combinations(range(len(rows)), 2):
        if (rows[visit].bay, rows[visit].chair) != (rows[other].bay, rows[other].chair):
            continue
        listed = common(options[visit][0].chair, options[other][0].chair)
        for place, one in enumerate(options[visit]):
            for other_place, two in enumerate(options[other]):
                now = common(one.chair, two.chair)
                if now[0] < now[1] and not (listed[0] <= now[0] and now[1] <= listed[1]):
                    model.add_bool_or([chosen[visit][place].Not(), chosen[other][other_place].Not()])


def common(one, other):
    return max(one[0], other[0]), min(one[1], other[1])


def hands_suffice(day, rows, options, chosen, model):
    """At no minute does a bay lack more hands than as listed."""
    for bay in day.unit["bays"]:
        here = [visit for visit, row in enumerate(rows) if row.bay == bay["name"]]
        minutes = {minute for visit in here for one in options[visit] for span in one.hands for minute in range(*span)}
        at = lambda one, minute: sum(start <= minute < end for start, end in one.hands)
        for minute in sorted(minutes):
            listed = sum(at(options[visit][0], minute) for visit in here)
            parts = [
                at(one, minute) * chosen[visit][place] for visit in here for place, one in enumerate(options[visit]) if at(one, minute)
            ]
            model.add(sum(parts) <= max(listed, bay["nurses"]))


# The comparison.


def claim_differences(claim, proven, best):
    """What a claim (people without, minutes, people asked) gets wrong against the solver's optimum."""
    if best == "infeasible":
        return ["the solver finds not even the listed day"]
    if claim < best:
        return [f"proposed {claim}, better than the solver's optimum {best}"]
    return [f"called least: {claim}, the solver finds {best}"] if proven and claim != best else []


def try_day(job):
    """What is wrong with the proposal for one day, and what kind of day it is."""
    binary, seed = job
    day = crowded_day(seed)
    with baypack.scratch() as folder:
        files = DayFiles.write(day, Path(folder))
        plan, refused = baypack.plan_of(binary, files, folder)
        if refused:
            return seed, "refused", [f"seed {seed}: {refused}"], None
        told = plan["proposal"]
        if told is None:
            return seed, "fits", [], None
        lines = [line_of(day, row) for row in day.visits()]
        no_outlet = {visit["line"] for visit in plan["visits"] if visit["cooled"] and visit["outlet"] is None}
        without = {place for place, line in enumerate(lines) if line in no_outlet}
        claim = (told["without_after"], told["total_minutes"], len(told["changes"]))
        best = least(day, day.visits(), without) if told["allowed"] else (len(without), 0, 0)
        if best is None:
            return seed, "no proof", [], None
        wrong = claim_differences(claim, told["proven"], best)
        if told["changes"]:
            wrong += list_differences(binary, files, Path(folder), told)
        found = [f"seed {seed}: {text}" for text in wrong]
        if found:
            baypack.keep(f"proposals-{seed}", folder, files, found)
    kind = "nothing helps" if not told["changes"] else "everyone" if not told["still_without"] else "some"
    return seed, kind + (", proven" if told["proven"] else ""), found, (claim, best)


def list_differences(binary, files, folder, told):
    """What the written list's own plan says otherwise than was promised."""
    path = folder / "proposed.csv"
    done = baypack.run(binary, "propose", *files.arguments(), "--out-list", path)
    if done.returncode != 0:
        return [f"propose: exit status {done.returncode}\n{done.stderr}"]
    arguments = [path, *files.arguments()[1:]]
    again = baypack.run(binary, "check", *arguments, "--plan", folder / "again.json")
    if again.returncode != 0:
        return [f"the written list is refused:\n{again.stderr}"]
    plan = json.loads((folder / "again.json").read_text(encoding="utf-8"))
    without = plan["machines"]["without_outlet"]
    return [] if without <= told["without_after"] else [f"promised {told['without_after']} without, the plan has {without}"]


def blindness(results):
    """Claims that are five minutes or one person off and would go unnoticed."""
    found = []
    for seed, kind, _, pair in results:
        if pair is None or "proven" not in kind:
            continue
        (without, minutes, asked), best = pair
        for wrong in ((without, minutes + 5, asked), (without, minutes, asked + 1), (without + 1, minutes, asked)):
            if not claim_differences(wrong, True, best):
                found.append(f"seed {seed}: {wrong} passes for {best}")
    return found


def main():
    options = baypack.options(__doc__, days=0, seed=1)
    days = options.days or (FULL_DAYS if options.full else SHORT_DAYS)
    report = baypack.Report("proposals")
    with Pool(baypack.WORKERS) as pool:
        jobs = ((options.binary, seed) for seed in range(options.seed, options.seed + days))
        results = sorted(pool.imap_unordered(try_day, jobs, chunksize=2))
    kinds = [kind for _, kind, _, _ in results]
    counted = ", ".join(f"{kinds.count(kind)} {kind}" for kind in sorted(set(kinds)))
    report.check(f"no smaller change makes a day fit ({counted})", [text for _, _, found, _ in results for text in found])
    proven = sum(kind.startswith(("everyone", "some")) and "proven" in kind for kind in kinds)
    report.check("enough days had a proposal that is called least", [] if proven >= days // 12 else [f"only {proven}"])
    report.check("a claim that is off is always noticed", blindness(results))
    report.close()


if __name__ == "__main__":
    main()
