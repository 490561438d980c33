"""Holds the fall-backs of `plan.json` against the day, minute by minute: where each patient of a machine can go if it fails.

Every machine's day is gone through anew from the list and the outlets that the plan gave, by the definitions alone: when
an outlet is free and clean, when its machine is cold, in which bay it stands and whom its hoses reach. Then each answer
must be possible, hold until the minute that it states and no other, and leave nobody out who could be helped.
"""

import copy
import random
from collections import Counter, defaultdict
from itertools import product
from multiprocessing import Pool
from pathlib import Path
from types import SimpleNamespace

import baypack
from day_files import DayFiles
from days import clock, minutes_of, random_day
from definitions import holds_of, meet, minutes_in, stages_of, within_reach
from machine_days import KINDS, machine_day
from oracle import pair

SHORT_DAYS, FULL_DAYS = 40, 600
MUTATED_DAYS = 10
# Later than any minute of a day: what lasts until then has no end.
NEVER = 1 << 20
# Visits of the days with scarce machines; larger ones tell nothing else and take longer.
MACHINE_VISITS = (5, 9, 14, 20)
# Every plan has fall-backs, the best one or not.
EFFORT = ("--effort", "quick")
# What the days must hold for the comparison to mean something.
WANTED = (
    "to the end", "until the next", "until one out of reach", "until out of service", "until a move", "none", "in pre-cooling",
    "two of a machine", "two of whom one is helped", "a changed answer", "cold again after an outage",
)


# A machine's day, minute by minute.


class Unit:
    """The machines of a day as the plan uses them, and for each patient and outlet until when it would be there."""

    def __init__(self, day, plan):
        self.unit, self.clean = day.unit, minutes_in(day.unit).outlet_clean
        self.holds = holds_of(day, pair(day, plan))
        for hold in self.holds:
            stages, _ = stages_of(day.unit, day.regimen(hold.row), hold.row, day.date)
            hold.infusion = stages["hair_loss_drug_start"]
        self.bays = {bay["name"]: bay for bay in day.unit["bays"]}
        outages = [span_of(outage) for machine in day.unit["machines"] for outage in machine.get("out_of_service", [])]
        ends = [hold.outlet[1] for hold in self.holds] + [until for _, until in outages]
        # Beyond the last of everything nothing changes any more.
        self.last = max(ends, default=0) + self.clean + 1
        self.machines = {machine["name"]: self.follow(machine) for machine in day.unit["machines"]}

    def follow(self, machine):
        """One machine: where it stands at each minute (None while it may be on its way), whether it is cold, whom it cools."""
        own = sorted((hold for hold in self.holds if hold.machine == machine["name"]), key=lambda hold: hold.outlet)
        outages = [(span_of(outage), outage.get("outlet")) for outage in machine.get("out_of_service", [])]
        whole = [span for span, outlet in outages if outlet is None]
        begins = {hold.outlet[0] for hold in own}
        stands, cold, is_cold = [], [], False
        for minute in range(self.last):
            before = [hold.row.bay for hold in own if hold.outlet[0] <= minute]
            coming = [hold for hold in own if hold.outlet[1] > minute]
            bay = before[-1] if before else machine["bay"]
            away = bool(coming) and coming[0].outlet[0] > minute and coming[0].row.bay != bay
            stands.append(None if away else bay)
            # Switched on for a use, it stays on until the whole of it is out of service.
            is_cold = (is_cold or minute in begins) and not any(within(span, minute) for span in whole)
            cold.append(is_cold)
        # For whom it is then brought to another bay, or has been.
        coming_at = lambda minute: min((hold.outlet[0] for hold in own if hold.outlet[1] > minute), default=None)
        fetched_for = lambda minute: [hold.line for hold in own if hold.outlet[0] == coming_at(minute)] or [None]
        return SimpleNamespace(
            name=machine["name"], outlets=machine["outlets"], own=own, outages=outages, stands=stands, cold=cold, fetched_for=fetched_for,
            bars={number: self.bars(own, outages, number) for number in range(1, machine["outlets"] + 1)},
        )

    def bars(self, own, outages, number):
        """What keeps an outlet from being used or cleaned at each minute: who holds it, or that it is out of service."""
        reasons = [(hold.outlet, ("next", hold.line)) for hold in own if hold.number == number]
        reasons += [(span, ("out_of_service", None)) for span, outlet in outages if outlet in (None, number)]
        return [[reason for span, reason in reasons if within(span, minute)] for minute in range(self.last)]

    def stays(self, patient, machine, number):
        """For each minute until when the patient could stay on the outlet, and all that then ends it; None where it is not there.

        The patient must be off early enough for cleaning before the outlet, or its machine, is needed or goes; nobody who
        is connected to the machine meanwhile may be out of its hoses' reach.
        """
        bay, row = self.bays[patient.row.bay], patient.row
        far = [hold for hold in machine.own if hold.row.bay == row.bay and not within_reach(bay, row.chair, hold.row.chair)]
        found, usable_until, there_until = [None] * self.last, (NEVER, []), (NEVER, [])
        for minute in reversed(range(patient.cooling[0], self.last)):
            bars = machine.bars[number][minute]
            if machine.stands[minute] != row.bay:
                bars = bars + [("moved", line) for line in machine.fetched_for(minute)]
            strangers = [("out_of_reach", hold.line) for hold in far if within(hold.cooling, minute)]
            if bars:
                there_until = (minute, bars)
            if bars or strangers:
                usable_until = (minute, strangers)
            elif machine.cold[minute]:
                ends = [(there_until[0] - self.clean, there_until[1]), usable_until]
                until = min(end for end, _ in ends)
                if until > minute:
                    why = [reason for end, reasons in ends if end == until for reason in reasons]
                    found[minute] = (NEVER, []) if until >= NEVER - self.clean else (until, why)
        return found

    def choices_of(self, patient):
        """Every outlet of every machine but the patient's own, with its stays."""
        return {
            (machine.name, number): self.stays(patient, machine, number)
            for machine in self.machines.values() if machine.name != patient.machine and patient.row.bay in machine.stands
            for number in range(1, machine.outlets + 1)
        }


def span_of(outage):
    return minutes_of(outage["from"]), minutes_of(outage["to"])


def within(span, minute):
    return span[0] <= minute < span[1]


# The comparison.


def differences(day, plan):
    """Everything in which the fall-backs of a plan are not what its day allows, and what kinds of answer there were."""
    unit, kinds = Unit(day, plan), Counter()
    told = defaultdict(list)
    for answer in plan["machines"]["fall_backs"]:
        told[answer["machine"], answer["line"]].append(answer)
    patients = {(hold.machine, hold.line): hold for hold in unit.holds}
    found = [f"line {line}: is not cooled on {machine}, and has a fall-back from it" for machine, line in told if (machine, line) not in patients]
    for key, patient in patients.items():
        found += stretch_differences(patient, told[key])
    if found:
        return found, kinds
    choices = {hold.line: unit.choices_of(hold) for hold in unit.holds}
    for machine in unit.machines.values():
        for minute in range(unit.last):
            now = [hold for hold in machine.own if within(hold.cooling, minute)]
            answers = [next(one for one in told[machine.name, hold.line] if within(stretch(one), minute)) for hold in now]
            wrong = minute_differences(now, answers, choices, minute)
            found += [f"{machine.name} fails at {clock(minute)}: {text}" for text in wrong]
            if not wrong:
                count_kinds(kinds, answers, unit, minute)
    kinds["a changed answer"] += sum(len({str(answer["outlet"]) for answer in answers}) > 2 for answers in told.values())
    return found, kinds


def stretch(answer):
    return minutes_of(answer["from"]), minutes_of(answer["until"])


def stretch_differences(patient, answers):
    """A patient's answers last, one after the other, for as long as the patient is cooled, and no two in a row are alike."""
    stretches = [stretch(answer) for answer in answers]
    ends = [patient.cooling[0], *(until for _, until in stretches)]
    starts = [*(start for start, _ in stretches), patient.cooling[1]]
    if starts != ends or any(start >= until for start, until in stretches):
        return [f"line {patient.line}: cooled {texts(*patient.cooling)}, answers for {', '.join(texts(*one) for one in stretches) or 'none'}"]
    said = [(answer["pre_cooling"], answer["outlet"]) for answer in answers]
    return [f"line {patient.line}: the same twice in a row" for one, other in zip(said, said[1:]) if one == other]


def texts(start, until):
    return f"{clock(start)} to {clock(until)}"


def minute_differences(patients, answers, choices, minute):
    """What is wrong with the answers for the patients of a machine that fails at a minute."""
    found, taken = [], {}
    for patient, answer in zip(patients, answers):
        if answer["pre_cooling"] != (minute < patient.infusion):
            found.append(f"line {patient.line}: pre-cooling {answer['pre_cooling']}, the drug starts {clock(patient.infusion)}")
        if answer["outlet"] is not None:
            key = (answer["outlet"]["machine"], answer["outlet"]["number"])
            stay = choices[patient.line].get(key, [None] * (minute + 1))[minute]
            found += [f"line {patient.line}: {text}" for text in outlet_differences(patient, answer["outlet"], stay)]
            if key in taken.values():
                found.append(f"line {patient.line}: {key} is given twice")
            taken[patient.line] = key
    if found:
        return found
    for patient, answer in zip(patients, answers):
        free = [key for key, stays in choices[patient.line].items() if stays[minute] and key not in taken.values()]
        if answer["outlet"] is None and free:
            found.append(f"line {patient.line}: has none, and {free[0]} is there")
    later = [patient for patient in patients if minute >= patient.infusion]
    earlier = [patient for patient in patients if minute < patient.infusion]
    kept = {taken[patient.line] for patient in later if patient.line in taken}
    for group, closed in ((later, set()), (earlier, kept)):
        given = tuple(taken.get(patient.line) for patient in group)
        best = best_worth(group, choices, minute, closed)
        if worth(group, given, choices, minute) < best:
            found.append(f"lines {[patient.line for patient in group]}: {worth(group, given, choices, minute)} to the end and minutes, {best} can be")
    return found


def outlet_differences(patient, told, stay):
    """What an answer says of its outlet, against how long the outlet is there."""
    if stay is None:
        return [f"{told['machine']} {told['number']} is not there"]
    until, why = stay
    found = []
    if told["off_by"] != (None if until == NEVER else clock(until)):
        found.append(f"{told['machine']} {told['number']} off by {told['off_by']}, expected {clock(until) if until < NEVER else None}")
    if told["to_the_end"] != (until >= patient.cooling[1]):
        found.append(f"{told['machine']} {told['number']} to the end {told['to_the_end']}, cooled until {clock(patient.cooling[1])}")
    needed = told["needed_for"]
    if (needed is None) != (until == NEVER) or (needed and (needed["kind"], needed["line"]) not in why):
        found.append(f"{told['machine']} {told['number']} needed for {needed}, expected one of {why}")
    return found


def worth(patients, given, choices, minute):
    """How many are cooled to the end, and for how many minutes all together, on the outlets that they are given."""
    lasts = [choices[patient.line][key][minute][0] for patient, key in zip(patients, given) if key]
    ends = [patient.cooling[1] for patient, key in zip(patients, given) if key]
    return sum(last >= end for last, end in zip(lasts, ends)), sum(min(last, end) - minute for last, end in zip(lasts, ends))


def best_worth(patients, choices, minute, closed):
    """The most that can be reached for some patients: every way is tried."""
    each = [[None, *(key for key, stays in choices[one.line].items() if stays[minute] and key not in closed)] for one in patients]
    ways = (given for given in product(*each) if len(set(filter(None, given))) == sum(key is not None for key in given))
    return max(worth(patients, given, choices, minute) for given in ways)


def count_kinds(kinds, answers, unit, minute):
    """What is tried by a minute of the day, so that the run can say that it tried everything."""
    names = {"next": "until the next", "out_of_reach": "until one out of reach", "out_of_service": "until out of service", "moved": "until a move"}
    for answer in answers:
        outlet = answer["outlet"]
        kinds["in pre-cooling"] += answer["pre_cooling"]
        if outlet is None:
            kinds["none"] += 1
        elif outlet["to_the_end"]:
            kinds["to the end"] += 1
        else:
            kinds[names[outlet["needed_for"]["kind"]]] += 1
    helped = sum(answer["outlet"] is not None for answer in answers)
    kinds["two of a machine"] += len(answers) == 2
    kinds["two of whom one is helped"] += len(answers) == 2 and helped == 1
    for answer in answers:
        if answer["outlet"]:
            outages = unit.machines[answer["outlet"]["machine"]].outages
            kinds["cold again after an outage"] += any(outlet is None and span[1] <= minute for span, outlet in outages)


# Days in processes.


def day_of(seed):
    """Days of every kind, days on which machines move, and days on which they are scarce in another way, by turns."""
    visits = MACHINE_VISITS[seed % len(MACHINE_VISITS)]
    match seed % 3:
        case 0:
            return random_day(seed, most_visits=20)
        case 1:
            return machine_day(len(KINDS) * seed + KINDS.index("moves"), visits=visits)
        case _:
            return machine_day(seed, visits=visits)


def planned(binary, seed):
    """A day, its plan if there is one, all that is wrong with its fall-backs, and their kinds; a day with a difference is kept."""
    day = day_of(seed)
    with baypack.scratch() as folder:
        files = DayFiles.write(day, Path(folder))
        out = Path(folder) / "plan.json"
        done = baypack.run(binary, "check", *files.arguments(), "--plan", out, *EFFORT)
        if done.returncode != 0:
            return day, None, Counter(), [f"seed {seed}: exit status {done.returncode}: {' / '.join(done.stderr.splitlines()[:4])}"]
        plan = baypack.plan_in(Path(folder))
        found, kinds = differences(day, plan)
        if found:
            kept = baypack.keep(f"fall-backs-{seed}", folder, files, found)
            found = [f"{kept}: {text}" for text in found]
    return day, plan, kinds, found


def try_day(job):
    """One day: what is wrong with its fall-backs, of what kinds they are, and for how many stretches."""
    _, plan, kinds, found = planned(*job)
    return found, kinds, len(plan["machines"]["fall_backs"]) if plan else 0


# Whether the comparison itself can be trusted: one value changed in a right plan.


def drop_a_stretch(rng, answers, plan):
    answers.remove(rng.choice(answers))
    return True


def shorten_a_stretch(rng, answers, plan):
    answer = rng.choice(answers)
    answer["until"] = clock(minutes_of(answer["until"]) - 1)
    return True


def stay_longer(rng, answers, plan):
    return change_outlet(rng, answers, lambda outlet: outlet.update(off_by=clock(minutes_of(outlet["off_by"]) + 1)), limited)


def stay_shorter(rng, answers, plan):
    return change_outlet(rng, answers, lambda outlet: outlet.update(off_by=clock(minutes_of(outlet["off_by"]) - 1)), limited)


def stay_for_ever(rng, answers, plan):
    return change_outlet(rng, answers, lambda outlet: outlet.update(off_by=None, to_the_end=True, needed_for=None), limited)


def turn_the_end(rng, answers, plan):
    return change_outlet(rng, answers, lambda outlet: outlet.update(to_the_end=not outlet["to_the_end"]))


def name_somebody_else(rng, answers, plan):
    return change_outlet(rng, answers, lambda outlet: outlet["needed_for"].update(line=1), limited)


def name_another_reason(rng, answers, plan):
    other = {"next": "out_of_service", "out_of_reach": "next", "out_of_service": "moved", "moved": "out_of_reach"}
    return change_outlet(rng, answers, lambda outlet: outlet["needed_for"].update(kind=other[outlet["needed_for"]["kind"]]), limited)


def take_another_outlet(rng, answers, plan):
    """An outlet that somebody holds at the time."""
    for answer in rng.sample(answers, len(answers)):
        start = stretch(answer)
        held = [visit["outlet"] for visit in plan["visits"] if visit["outlet"] and meet(stretch(visit["outlet"]), start)]
        if answer["outlet"] and held:
            other = rng.choice(held)
            answer["outlet"].update(machine=other["machine"], number=other["number"])
            return True
    return False


def take_the_failed_machine(rng, answers, plan):
    for answer in rng.sample(answers, len(answers)):
        if answer["outlet"]:
            answer["outlet"]["machine"] = answer["machine"]
            return True
    return False


def give_none(rng, answers, plan):
    chosen = [answer for answer in answers if answer["outlet"]]
    if chosen:
        rng.choice(chosen)["outlet"] = None
    return bool(chosen)


def turn_pre_cooling(rng, answers, plan):
    answer = rng.choice(answers)
    answer["pre_cooling"] = not answer["pre_cooling"]
    return True


def limited(outlet):
    return outlet["off_by"] is not None


def change_outlet(rng, answers, change, suits=lambda outlet: True):
    """Changes one outlet of those that suit, if there is one."""
    chosen = [answer["outlet"] for answer in answers if answer["outlet"] and suits(answer["outlet"])]
    if chosen:
        change(rng.choice(chosen))
    return bool(chosen)


MUTATIONS = (
    drop_a_stretch, shorten_a_stretch, stay_longer, stay_shorter, stay_for_ever, turn_the_end, name_somebody_else, name_another_reason,
    take_another_outlet, take_the_failed_machine, give_none, turn_pre_cooling,
)


def mutate_day(job):
    """The changes of one value that go unnoticed on a day, and those that could be made."""
    binary, seed = job
    (day, plan, _, found), rng = planned(binary, seed), random.Random(seed)
    if plan is None or found or not plan["machines"]["fall_backs"]:
        return [], Counter()
    missed, made = [], Counter()
    for change in MUTATIONS:
        changed = copy.deepcopy(plan)
        if change(rng, changed["machines"]["fall_backs"], changed):
            made[change.__name__] += 1
            if not differences(day, changed)[0]:
                missed.append(f"seed {seed}: {change.__name__} goes unnoticed")
    return missed, made


def main():
    options = baypack.options(__doc__, days=0, seed=1)
    days = options.days or (FULL_DAYS if options.full else SHORT_DAYS)
    report = baypack.Report("fall-backs")
    with Pool(baypack.WORKERS) as pool:
        results = list(pool.imap_unordered(try_day, ((options.binary, seed) for seed in range(options.seed, options.seed + days))))
        mutated = pool.map(mutate_day, [(options.binary, options.seed + seed) for seed in range(MUTATED_DAYS)], chunksize=1)
    kinds = sum((counted for _, counted, _ in results), Counter())
    tried = ", ".join(f"{kind} {kinds[kind]}" for kind in WANTED)
    report.check(
        f"each answer is possible at each minute, and nobody could be helped better: {sum(count for *_, count in results)} answers "
        f"on {days} days; minutes: {tried}",
        [text for found, *_ in results for text in found],
    )
    report.check("the days held every kind of answer", [kind for kind in WANTED if not kinds[kind]])
    made = sum((counted for _, counted in mutated), Counter())
    never = [f"{change.__name__} was never tried" for change in MUTATIONS if not made[change.__name__]]
    report.check(f"one changed value is always noticed: {sum(made.values())} changes", [text for missed, _ in mutated for text in missed] + never)
    report.close()


if __name__ == "__main__":
    main()
