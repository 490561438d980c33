"""The definitions of a visit's stages and of what each resource is held for, computed anew.

All times are whole minutes since midnight of the unit's local day. `stages_of` gives what a plan must
say; `resource_conflicts` what a plan may never do. Written from the trade's rules alone, for comparison
with the program: nothing here is taken from it.
"""

from datetime import datetime, timedelta, timezone
from itertools import combinations
from types import SimpleNamespace
from zoneinfo import ZoneInfo

from days import clock, minutes_of

# Where a unit's file says nothing. Common practice, no source.
MINUTES_IF_ABSENT = {
    "pre_cooling": 30, "pre_cooling_thick": 45, "post_cooling": 90, "warm_up": 10, "seated": 10,
    "break_longest": 10, "break_reminder": 8, "first_check": 15,
}
RULES_IF_ABSENT = {"cooling_start": "in time", "post_cooling_from": "last hair-loss drug", "flush_counts": True}
STAGES = ("arrive", "prepare", "cooling_on", "hair_loss_drug_start", "hair_loss_drug_end", "cooling_off", "cap_off", "leave")


def minutes_in(unit):
    """The unit's minutes, with the defaults filled in."""
    return SimpleNamespace(**{**MINUTES_IF_ABSENT, **unit["minutes"]})


def rules_in(unit):
    """The unit's rules, with the defaults filled in."""
    return SimpleNamespace(**{**RULES_IF_ABSENT, **unit["rules"]})


def timed_steps(regimen, cycle):
    """The drugs of a visit with their minutes: first doses on cycle 1, what is absent filled in."""
    first = cycle == 1
    steps = []
    for step in regimen["steps"]:
        minutes, observe = step["minutes"], step.get("observe", 0)
        infusion = step.get("first_minutes", minutes) if first else minutes
        observation = step.get("first_observe", observe) if first else observe
        flush = step.get("flush", 0)
        steps.append(SimpleNamespace(
            drug=step["drug"],
            infusion=infusion,
            flush=flush,
            whole=infusion + flush + observation,
            hair_loss=step["hair_loss"],
            cytotoxic=step.get("cytotoxic", step["hair_loss"]),
        ))
    return steps


def pre_cooling_of(minutes, hair):
    """Thick hair is cooled longer; hair that nobody recorded could be thick."""
    if hair == "thick":
        return minutes.pre_cooling_thick
    return minutes.pre_cooling if hair else max(minutes.pre_cooling, minutes.pre_cooling_thick)


def run_from(start, steps):
    """The steps one after another: drug, start, end of infusion, free after flush and observation."""
    times = []
    for step in steps:
        times.append((step.drug, start, start + step.infusion, start + step.whole))
        start += step.whole
    return times


def stages_of(unit, regimen, row, day):
    """What the plan says of a visit: `(stages, steps)`, stages as minutes, `rinse_by` as local text."""
    minutes, rules, steps = minutes_in(unit), rules_in(unit), timed_steps(regimen, row.cycle)
    settled = row.arrive + minutes.settle
    drugs_from = settled + regimen["premed_lead"]
    if row.drugs_ready is not None:
        drugs_from = max(drugs_from, row.drugs_ready)
    if not row.cooled:
        times = run_from(drugs_from, steps)
        return {"arrive": row.arrive, "leave": times[-1][3]}, times

    first = next(place for place, step in enumerate(steps) if step.hair_loss)
    prepare = minutes.prepare_first if row.cycle == 1 else minutes.prepare_return
    pre_cooling = pre_cooling_of(minutes, row.hair)
    fitted = settled + prepare
    lead_end = drugs_from + sum(step.whole for step in steps[:first])
    start = max(lead_end, fitted + pre_cooling)
    cooling_on = fitted if rules.cooling_start == "at once" else start - pre_cooling
    times = run_from(drugs_from, steps[:first]) + run_from(start, steps[first:])

    counted = (lambda step: step.hair_loss) if rules.post_cooling_from == "last hair-loss drug" else (lambda step: step.cytotoxic)
    last = max(place for place, step in enumerate(steps) if counted(step))
    end = times[last][2] + (steps[last].flush if rules.flush_counts else 0)
    cooling_off = end + regimen.get("post_cooling", minutes.post_cooling)
    cap_off = cooling_off + minutes.warm_up
    stages = {
        "arrive": row.arrive,
        "prepare": cooling_on - prepare,
        "cooling_on": cooling_on,
        "hair_loss_drug_start": start,
        "hair_loss_drug_end": end,
        "cooling_off": cooling_off,
        "cap_off": cap_off,
        "leave": max(cap_off + minutes.seated, times[-1][3]),
        "rinse_by": rinse_by(day, cooling_off, unit["time_zone"], unit.get("rinse_within_hours", 24)),
    }
    return stages, times


def rinse_by(day, cooling_off, zone, hours):
    """So many elapsed hours after the end of cooling, as the clocks then show it.

    A clock time that happens twice is taken at its first occurrence, one that is skipped as if the
    clocks had not yet changed: in both the deadline is the earlier one.
    """
    local = datetime(day.year, day.month, day.day) + timedelta(minutes=cooling_off)
    elapsed = local.replace(tzinfo=ZoneInfo(zone)).astimezone(timezone.utc) + timedelta(hours=hours)
    return elapsed.astimezone(ZoneInfo(zone)).strftime("%Y-%m-%dT%H:%M")


def stages_as_text(stages):
    """As `plan.json` writes them."""
    return {name: value if name == "rinse_by" else clock(value) for name, value in stages.items()}


# What a plan may never do. `holds` are the cooled visits that have an outlet.


def holds_of(day, planned):
    """The visits with an outlet: what each of them takes, from the definitions and the plan's choice."""
    minutes = minutes_in(day.unit)
    holds = []
    for line, (row, visit) in planned.items():
        if not row.cooled or visit["outlet"] is None:
            continue
        stages, _ = stages_of(day.unit, day.regimen(row), row, day.date)
        holds.append(SimpleNamespace(
            line=line, row=row,
            machine=visit["outlet"]["machine"], number=visit["outlet"]["number"],
            cooling=(stages["cooling_on"], stages["cooling_off"]),
            outlet=(stages["cooling_on"], stages["cooling_off"] + minutes.outlet_clean),
            cap=(stages["prepare"], stages["cap_off"] + minutes.cap_clean),
        ))
    return holds


def meet(one, other):
    """Whether two half-open stretches share a minute."""
    return max(one[0], other[0]) < min(one[1], other[1])


def resource_conflicts(day, planned):
    """Every way in which the outlets of a plan break a rule, as sentences."""
    holds = holds_of(day, planned)
    machines = {machine["name"]: machine for machine in day.unit["machines"]}
    bays = {bay["name"]: bay for bay in day.unit["bays"]}
    found = []
    for hold in holds:
        found += misplaced(hold, machines, minutes_in(day.unit).machine_start)
    for one, other in combinations(holds, 2):
        if one.machine == other.machine and one.machine in machines:
            found += on_one_machine(one, other, bays, minutes_in(day.unit).machine_move)
    return found + caps_overdrawn(holds, day.unit["caps"])


def misplaced(hold, machines, start):
    """An outlet that does not exist, is out of service or not cold again, or stands in another bay for good."""
    machine = machines.get(hold.machine)
    if machine is None or not 1 <= hold.number <= machine["outlets"]:
        return [f"line {hold.line}: there is no outlet {hold.machine} {hold.number}"]
    found = []
    for outage in machine.get("out_of_service", []):
        if outage.get("outlet", hold.number) == hold.number and meet(warm_in(outage, start), hold.outlet):
            found.append(f"line {hold.line}: {hold.machine} {hold.number} is out of service then, or not cold again")
    if not machine.get("movable", False) and machine["bay"] != hold.row.bay:
        found.append(f"line {hold.line}: {hold.machine} cannot leave bay {machine['bay']}")
    return found


def warm_in(outage, start):
    """When an outage bars its outlet, or all of the machine: then it is switched on at its end, and cold `start` minutes later.

    Common practice, no source: an outage of one outlet leaves the machine on.
    """
    return minutes_of(outage["from"]), minutes_of(outage["to"]) + (0 if "outlet" in outage else start)


def on_one_machine(one, other, bays, move):
    """Two patients of one machine: not one outlet at once, not out of reach at once, time for a move."""
    pair = f"lines {one.line} and {other.line} on {one.machine}"
    found = []
    if one.number == other.number and meet(one.outlet, other.outlet):
        found.append(f"{pair}: the outlet is given twice")
    if one.row.bay != other.row.bay:
        first, second = sorted((one.outlet, other.outlet))
        if second[0] < first[1] + move:
            found.append(f"{pair}: no time to move the machine")
    elif meet(one.cooling, other.cooling) and not within_reach(bays[one.row.bay], one.row.chair, other.row.chair):
        found.append(f"{pair}: not within one machine's reach")
    return found


def within_reach(bay, one, other):
    """Whether the hoses of one machine reach both chairs; without groups it reaches the whole bay."""
    return one == other or any(one in group and other in group for group in bay.get("reach", [bay["chairs"]]))


def caps_overdrawn(holds, stock):
    """Minutes at which more caps of a size are taken than there are."""
    found = []
    for size, count in stock.items():
        taken = [hold for hold in holds if hold.row.cap == size and not hold.row.own_cap]
        for hold in taken:
            now = [other.line for other in taken if other.cap[0] <= hold.cap[0] < other.cap[1]]
            if len(now) > count:
                found.append(f"{clock(hold.cap[0])}: lines {now} need caps of size {size}, there are {count}")
    return found


def changes_of_bay(day, planned):
    """How often machines change bays: `(fewest, most)`; they differ where a way back home is counted."""
    fewest = most = 0
    for machine in day.unit["machines"]:
        served = sorted((hold.outlet, hold.row.bay) for hold in holds_of(day, planned) if hold.machine == machine["name"])
        bays = [machine["bay"], *(bay for _, bay in served)]
        changes = [after for before, after in zip(bays, bays[1:]) if before != after]
        most += len(changes)
        fewest += sum(bay != machine["bay"] for bay in changes)
    return fewest, most
