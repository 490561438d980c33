"""Compares the worth of the machine plan in `plan.json` with OR-Tools CP-SAT, on random days of all sizes.

The program's plan is checked in the solver's own model; then the solver looks for a better one, and proves
what it can, within a counted amount of work. A difference is kept as a folder with the day's files.
"""

from collections import Counter
from multiprocessing import Pool
from pathlib import Path

import baypack
from day_files import DayFiles
from machine_days import SIZES, machine_day
from machine_model import OBJECTIVES, MachineModel

SHORT_DAYS, FULL_DAYS = 30, 224
# Deterministic work of the solver for each objective; about as many seconds of one core.
WORK, FULL_WORK = 3.0, 20.0
# What the days must hold for the comparison to mean something.
WANTED = ("shortfall", "moves", "scarce caps", "reach groups", "machine out", "outlet out", "immovable", "own caps", "slack short", "prices of moves")


def given_in(plan):
    """Who has which outlet."""
    outlets = {visit["hospital_no"]: visit["outlet"] for visit in plan["visits"]}
    return {who: (outlet["machine"], outlet["number"]) for who, outlet in outlets.items() if outlet}


def told_of(plan):
    """The values that a plan states, with its bounds and what it calls proven, by objective."""
    machines = plan["machines"]
    proven = {"slack_shortfall": machines["slack_proven"]}
    return {
        name: (machines[name], machines["bound"][name], proven.get(name, machines["proven"]))
        for name in OBJECTIVES[:3]
    }


def plan_differences(model, plan):
    """Where a plan breaks a rule of the model, or is worth something else than it states."""
    worth = model.worth_of(given_in(plan))
    if worth is None:
        return ["the plan breaks a rule of the model"]
    worth["busiest_outlet"] = -(-worth.pop("busiest") // 2)
    return [
        f"{name}: the plan states {plan['machines'][name]}, the model counts {value}"
        for name, value in worth.items() if plan["machines"][name] != value
    ]


def level_differences(name, told, level):
    """Where what is stated of one objective cannot be, those before it being at their best in both."""
    value, bound, proven = told
    found = []
    if bound > level.value:
        found.append(f"{name}: bound {bound}, but CP-SAT has a plan with {level.value}")
    if value < level.bound:
        found.append(f"{name}: {value}, but CP-SAT rules out anything below {level.bound}")
    if proven and value > level.value:
        found.append(f"{name}: {value} is called proven, but CP-SAT has a plan with {level.value}")
    return found


def compare(model, plan, work):
    """The differences, and how many objectives both have proven."""
    found, agreed, told = plan_differences(model, plan), 0, told_of(plan)
    for name in OBJECTIVES[:3]:
        if not found:
            model.hint(given_in(plan))
        level = model.smallest(name, work)
        if level is None:
            # It found nothing within its work, which says nothing of a plan that was checked above.
            break
        found += level_differences(name, told[name], level)
        agreed += level.proven and told[name][2]
        if not level.proven or told[name][0] != level.value:
            break
        model.hold(name, level.value)
    return found, agreed


def price_differences(day, plan, work):
    """Prices of moves that CP-SAT rules out or betters."""
    found = []
    for price in plan["machines"]["prices"]:
        model = MachineModel(day)
        model.hold("moves", price["moves"])
        level = model.smallest("without_outlet", work)
        if level is not None:
            told = (price["without_outlet"], price["without_outlet"] if price["proven"] else 0, price["proven"])
            found += level_differences(f"price of {price['moves']} moves", told, level)
    return found


def kinds_of(day, plan, model):
    """What a day holds, so that the run can say what it tried."""
    unit, machines = day.unit, plan["machines"]
    outages = [outage for machine in unit["machines"] for outage in machine.get("out_of_service", [])]
    kinds = {
        "shortfall": machines["without_outlet"] > 0,
        "moves": machines["moves"] > 0,
        "scarce caps": caps_are_scarce(unit["caps"], model.sessions),
        "reach groups": any("reach" in bay for bay in unit["bays"]),
        "machine out": any("outlet" not in outage for outage in outages),
        "outlet out": any("outlet" in outage for outage in outages),
        "immovable": any(not machine["movable"] for machine in unit["machines"]),
        "own caps": any(row.own_cap for row in day.visits()),
        "slack short": machines["slack_shortfall"] > 0,
        "prices of moves": len(machines["prices"]) > 0,
    }
    return {kind for kind, there in kinds.items() if there}


def caps_are_scarce(stock, sessions):
    """Whether more caps of a size are wanted at once than there are."""
    wanted = [session.cap for session in sessions if session.cap]
    at_once = lambda size, at: sum(cap[0] == size and cap[1] <= at < cap[2] for cap in wanted)
    return any(at_once(size, start) > stock[size] for size, start, _ in wanted)


def try_day(job):
    """One day: what it held, how many objectives both proved, and the differences."""
    binary, seed, work = job
    day = machine_day(seed)
    with baypack.scratch() as folder:
        files = DayFiles.write(day, Path(folder))
        plan, refused = baypack.plan_of(binary, files, folder)
        if refused:
            return set(), 0, 0, [f"seed {seed}: {' / '.join(refused.splitlines()[:4])}"]
        model = MachineModel(day)
        kinds, proven = kinds_of(day, plan, model), int(plan["machines"]["proven"])
        found, agreed = compare(model, plan, work)
        found += price_differences(day, plan, work)
        if found:
            kept = baypack.keep(f"machines-{seed}", folder, files, found)
            found = [f"{kept}: {text}" for text in found]
    return kinds, proven, agreed, found


def blindness(binary, seeds):
    """Wrong claims and wrong plans that the comparison does not notice."""
    found = []
    for seed in seeds:
        day = machine_day(seed)
        with baypack.scratch() as folder:
            plan, refused = baypack.plan_of(binary, DayFiles.write(day, Path(folder)), folder)
        if refused:
            return [f"seed {seed}: {refused.splitlines()[0]}"]
        given, sessions = given_in(plan), MachineModel(day).sessions
        (who, outlet), *_ = sorted(given.items())
        hold = next(session.hold for session in sessions if session.hospital_no == who)
        other = [s.hospital_no for s in sessions if s.hospital_no != who and s.hold[0] < hold[1] and hold[0] < s.hold[1]]
        model = MachineModel(day)
        if other and model.worth_of(given | {other[0]: outlet}) is not None:
            found.append(f"seed {seed}: an outlet given twice goes unnoticed")
        without_one = {name: key for name, key in given.items() if name != who}
        if model.worth_of(without_one)["without_outlet"] != plan["machines"]["without_outlet"] + 1:
            found.append(f"seed {seed}: a patient sent away goes unnoticed")
        best = model.smallest("without_outlet", WORK)
        worse, above = (best.value + 1, best.value + 1, True), (best.value + 1, best.value + 1, False)
        for told in (worse, above, (best.bound - 1, 0, False)):
            if not level_differences("without_outlet", told, best):
                found.append(f"seed {seed}: {told} goes unnoticed where {best} is known")
    return found


def main():
    options = baypack.options(__doc__, days=0, seed=1)
    days = options.days or (FULL_DAYS if options.full else SHORT_DAYS)
    work = FULL_WORK if options.full else WORK
    report = baypack.Report("machines")
    with Pool(baypack.WORKERS) as pool:
        # The largest first, so that no core waits for the other at the end.
        seeds = sorted(range(options.seed, options.seed + days), key=lambda seed: -SIZES[seed % len(SIZES)])
        results = list(pool.imap_unordered(try_day, ((options.binary, seed, work) for seed in seeds)))
    kinds = Counter(kind for held, *_ in results for kind in held)
    proven, agreed = sum(one[1] for one in results), sum(one[2] for one in results)
    tried = ", ".join(f"{kind} {kinds[kind]}" for kind in WANTED)
    report.check(
        f"no plan worse, no bound too high, every proven value equal: {days} days up to {max(SIZES)} visits ({tried}), "
        f"{proven} called proven, {agreed} values proven by both",
        [text for *_, found in results for text in found],
    )
    report.check("the days held every kind of scarcity", [kind for kind in WANTED if kinds[kind] < 2])
    report.check("a wrong plan or claim is always noticed", blindness(options.binary, range(1, 8)))
    report.close()


if __name__ == "__main__":
    main()
