"""Puts patients into days where `baypack fit` offers a time, and where it does not, and judges both anew.

A time that is offered must be possible by the definitions alone, everybody who has an outlet keeping one, and the list with
that patient as a row must be planned with nobody harmed. A time that is not offered must harm somebody or break a rule in
every chair of the bay; or, where somebody is without an outlet as listed, it must be another's turn on the list with the patient. Where machines decide, OR-Tools CP-SAT says whether all who must be served can be.
"""

import random
import re
from collections import Counter
from dataclasses import replace
from multiprocessing import Pool
from pathlib import Path
from types import SimpleNamespace

from ortools.sat.python import cp_model

import baypack
import oracle
from day_files import DayFiles
from days import Row, clock, minutes_of
from definitions import meet, minutes_in, stages_of
from hazards import hands_on
from machine_days import machine_day
from machine_model import MachineModel

SHORT_DAYS, FULL_DAYS = 20, 300
VISITS = (4, 6, 9, 12)
# Times of each kind that are looked into on a day, in all bays together.
OFFERED, REFUSED, PLANNED = 8, 16, 2
STEP = 5
LINE = re.compile(r"(?P<bay>\S.*?)  +(?P<first>\d\d:\d\d) +(?P<last>\d\d:\d\d)  +(?P<chair>\S.*?)  +(?P<connected>\d\d:\d\d|-) +(?P<leave>\d\d:\d\d)(?P<move>  one machine move more)?")
CLOSING = ("Each line is for one patient more, ", "When it is agreed, ", "No time fits. ")
NONE = re.compile(r"(?P<bay>\S.*?)  +no room: .*")
# What the times must hold for the comparison to mean something.
WANTED = ("offered", "offered with a move", "not cooled", "closing", "chair", "hands", "machines or caps", "somebody without")


def fit_day(seed):
    """A day with few visits, on which chairs, hands, caps, machines and closing are all in the way now and then."""
    rng = random.Random(f"fit {seed}")
    day = machine_day(seed, visits=VISITS[seed % len(VISITS)])
    unit = day.unit
    unit["closes"] = clock(rng.choice((15, 17, 20)) * 60)
    unit["shifts"] = [{"name": "Day", "from": unit["opens"], "to": unit["closes"]}]
    if rng.random() < 0.4:
        # A bay to which every machine must be brought.
        unit["bays"].append({"name": "Z", "nurses": 4, "chairs": ["Z1", "Z2"]})
        for machine in unit["machines"]:
            machine["movable"] = True
    for bay in unit["bays"]:
        bay["nurses"] = rng.randint(2, 4)
        bay["chairs"] = bay["chairs"][:rng.choice((1, 2, 3, 9))]
        if "reach" in bay:
            kept = [[chair for chair in group if chair in bay["chairs"]] for group in bay["reach"]]
            bay["reach"] = [group for group in kept if group] or [bay["chairs"]]
    chairs = {bay["name"]: bay["chairs"] for bay in unit["bays"]}
    for row in day.rows:
        # A list with an arrival at closing or later is refused.
        row.arrive = min(row.arrive, minutes_of(unit["closes"]) - 30)
        row.chair = row.chair if row.chair in chairs[row.bay] else rng.choice(chairs[row.bay])
        row.drugs_ready = row.arrive + rng.randrange(0, 120) if rng.random() < 0.15 else None
        row.leave_by = row.arrive + rng.randrange(180, 420, 5) if rng.random() < 0.15 else None
    day.regimens.append({"code": "PLAIN", "name": "Plain", "premed_lead": 0, "steps": [
        {"drug": "Trastuzumab", "minutes": 30, "hair_loss": False}]})
    return day


def newcomer_of(rng, day):
    """A patient more, not yet in a chair, and the options that ask for a place."""
    regimen = rng.choices(day.regimens, [5] * (len(day.regimens) - 1) + [2])[0]
    row = Row(
        date=day.date, arrive=0, bay="", chair="", hospital_no="T9999", family_name="Invented", given_name="Newcomer",
        born=day.date.replace(year=1970), regimen=regimen["code"], cycle=rng.choice((1, 2)),
        cooled=any(step["hair_loss"] for step in regimen["steps"]), hair=rng.choice(("fine", "medium", "thick", None)),
        cap=rng.choice(("S", "M", "L", None)), own_cap=rng.random() < 0.1, go_ahead="yes",
    )
    if row.own_cap:
        row.cap = None
    asked = ["--regimen", row.regimen]
    asked += ["--hair", row.hair] if row.hair else []
    asked += ["--cap", row.cap] if row.cap else []
    asked += ["--own-cap"] if row.own_cap else []
    asked += ["--first-visit"] if row.cycle == 1 else []
    return row, asked


# What the program says.


def table_of(told):
    """The lines of the table, and the bays without room; None if there is a line that is neither."""
    offers, full = [], set()
    body = told.splitlines()[1:]
    for line in body:
        if line.startswith(("bay ", "Without ", *CLOSING)):
            continue
        if match := NONE.fullmatch(line):
            full.add(match["bay"])
        elif match := LINE.fullmatch(line):
            offers.append(SimpleNamespace(
                bay=match["bay"], chair=match["chair"], first=minutes_of(match["first"]), last=minutes_of(match["last"]),
                connected=None if match["connected"] == "-" else minutes_of(match["connected"]),
                leave=minutes_of(match["leave"]), move=bool(match["move"]),
            ))
        else:
            return None, line
    return offers, full


def offered_at(offers, bay, arrive):
    """The line of the table that holds a time."""
    return next((one for one in offers if one.bay == bay and one.first <= arrive <= one.last), None)


def table_differences(day, row, offers, full):
    """Lines that cannot be, and times in them that are not the patient's."""
    found = []
    opens, closes = minutes_of(day.unit["opens"]), minutes_of(day.unit["closes"])
    chairs = {bay["name"]: bay["chairs"] for bay in day.unit["bays"]}
    named = {offer.bay for offer in offers}
    if named & full or named | full != set(chairs):
        found.append(f"bays {sorted(chairs)}: with room {sorted(named)}, without {sorted(full)}")
    for offer in offers:
        about = f"{offer.bay} {clock(offer.first)} to {clock(offer.last)}"
        if not opens <= offer.first <= offer.last < closes or (offer.first - opens) % STEP or (offer.last - opens) % STEP:
            found.append(f"{about}: no row of fifth minutes within {clock(opens)} to {clock(closes)}")
        if offer.chair not in chairs.get(offer.bay, ()):
            found.append(f"{about}: there is no chair {offer.chair}")
        first, last = (stages_of(day.unit, day.regimen(row), replace(row, arrive=at), day.date)[0] for at in (offer.first, offer.last))
        if (offer.connected, offer.leave) != (first.get("cooling_on"), last["leave"]):
            found.append(f"{about}: connected {offer.connected}, leaves {offer.leave}, expected {first.get('cooling_on')}, {last['leave']}")
        if sum(other.bay == offer.bay and other.first <= offer.last and offer.first <= other.last for other in offers) > 1:
            found.append(f"{about}: stands in two lines")
    return found


# What the definitions say.


class Judge:
    """A day as listed, with its plan, and what a patient more would do to it."""

    def __init__(self, day, plan):
        self.day, self.plan, self.minutes = day, plan, minutes_in(day.unit)
        self.planned = oracle.pair(day, plan)
        self.served = {visit["hospital_no"] for visit in plan["visits"] if visit["outlet"]}
        self.stages = {line: stages_of(day.unit, day.regimen(row), row, day.date)[0] for line, (row, _) in self.planned.items()}
        self.first_use = {}
        for visit in plan["visits"]:
            if visit["outlet"]:
                name, start = visit["outlet"]["machine"], minutes_of(visit["outlet"]["from"])
                self.first_use[name] = min(start, self.first_use.get(name, start))

    def obstacle(self, row, more_moves=True):
        """The first reason against a patient in a chair at a time; None if there is none."""
        stages, _ = stages_of(self.day.unit, self.day.regimen(row), row, self.day.date)
        if row.arrive < minutes_of(self.day.unit["opens"]) or stages["leave"] > minutes_of(self.day.unit["closes"]):
            return "closing"
        if self.chair_is_taken(row, stages["leave"]):
            return "chair"
        if self.hands_are_short(row):
            return "hands"
        if row.cooled and not self.can_be_served(row, more_moves):
            return "machines or caps"
        return None

    def chair_is_taken(self, row, leave):
        turnaround = self.minutes.chair_turnaround
        return any(
            other.chair == row.chair and meet((row.arrive, leave + turnaround), (other.arrive, self.stages[line]["leave"] + turnaround))
            for line, (other, _) in self.planned.items()
        )

    def hands_are_short(self, row):
        """Whether the bay lacks hands at a minute at which it did not, or lacks more of them."""
        nurses = next(bay["nurses"] for bay in self.day.unit["bays"] if bay["name"] == row.bay)
        before = hands_on(self.day, self.planned, row.bay)
        after = hands_on(self.day, {**self.planned, 0: (row, None)}, row.bay)
        needed = lambda spans, at: sum(start <= at < end for start, end in spans)
        return any(needed(after, at) > max(nurses, needed(before, at)) for at in {start for start, _ in after})

    def can_be_served(self, row, more_moves):
        """Whether all who have an outlet as listed and the patient more can be served, no machine being on before opening
        that is not, or sooner than it is."""
        day = replace(self.day, rows=[*self.day.rows, row])
        model = MachineModel(day)
        must = self.served | {row.hospital_no}
        for place, session in enumerate(model.sessions):
            if session.hospital_no in must:
                model.model.add(sum(on for (who, _), on in model.machine.items() if who == place) == 1)
        cold = minutes_of(day.unit["opens"]) + self.minutes.machine_start
        for (place, number), on in model.machine.items():
            since = min(cold, self.first_use.get(day.unit["machines"][number]["name"], cold))
            if model.sessions[place].hold[0] < since:
                model.model.add(on == 0)
        if not more_moves:
            model.hold("moves", self.plan["machines"]["moves"])
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        status = solver.solve(model.model)
        assert status in (cp_model.OPTIMAL, cp_model.FEASIBLE, cp_model.INFEASIBLE), "no answer"
        return status != cp_model.INFEASIBLE

    def refused(self, row, bay, arrive):
        """Why a time will do in no chair of a bay; None if it would in some, and in which."""
        chairs = next(one["chairs"] for one in self.day.unit["bays"] if one["name"] == bay)
        reasons = []
        for chair in chairs:
            reasons.append(self.obstacle(replace(row, bay=bay, chair=chair, arrive=arrive)))
            if reasons[-1] is None:
                return None, chair
        # The one that came furthest: taken chairs say nothing where another is free.
        return max(reasons, key=("closing", "chair", "hands", "machines or caps").index), None


def time_differences(judge, row, offer, bay, arrive):
    """What is wrong with what was said of one time, and what kind of time it is."""
    if offer is None:
        reason, chair = judge.refused(row, bay, arrive)
        return reason or "missed", [f"{bay} {clock(arrive)}: is not offered, and chair {chair} would do"] if chair else []
    seated = replace(row, bay=bay, chair=offer.chair, arrive=arrive)
    reason = judge.obstacle(seated, more_moves=offer.move)
    kind = "offered with a move" if offer.move else "offered" if row.cooled else "not cooled"
    return kind, [f"{bay} {clock(arrive)} in {offer.chair}: is offered, but {reason} is in the way"] if reason else []


def plan_differences(binary, judge, seated):
    """What the plan of the list with that patient as a row gets wrong, or whom it harms."""
    before = judge.day
    day = replace(before, rows=[*before.rows, seated], lines={})
    with baypack.scratch() as folder:
        asked = replace(seated)
        files = DayFiles.write(day, Path(folder))
        if seated != asked:
            # The list lacks a column, and so cannot hold this patient.
            return []
        plan, refused = baypack.plan_of(binary, files, folder)
    about = f"{seated.bay} {clock(seated.arrive)} in {seated.chair} as a row"
    if refused:
        return [f"{about}: {refused}"]
    found = [f"{about}: {text}" for texts in oracle.differences(day, plan).values() for text in texts]
    if lost := losers(judge.plan, plan):
        found.append(f"{about}: {sorted(lost)} without an outlet, who have one as listed")
    own = {caution["kind"] for caution in plan["cautions"] if caution["line"] == max(day.lines.values())}
    return found + [f"{about}: {kind}" for kind in own & {"closing_passed", "before_opening", "chair_double_booked"}]


def losers(before, after):
    """Who has no outlet after, of all who were not without one before."""
    without = lambda plan: {visit["hospital_no"] for visit in plan["visits"] if visit["cooled"] and not visit["outlet"]}
    return without(after) - without(before)


def is_left_to_a_choice(binary, judge, seated):
    """Whether the day is short, so that who goes without is a choice, and it is another's turn with the patient on the list."""
    if not judge.plan["machines"]["without_outlet"]:
        return False
    day = replace(judge.day, rows=[*judge.day.rows, replace(seated)], lines={})
    with baypack.scratch() as folder:
        plan, refused = baypack.plan_of(binary, DayFiles.write(day, Path(folder)), folder)
    return not refused and bool(losers(judge.plan, plan))


# Days in processes.


def try_day(job):
    """One day: what is wrong with its table, what kinds of time were tried, and the claims with their reasons."""
    binary, seed = job
    day, rng = fit_day(seed), random.Random(seed)
    kinds, found = Counter(), []
    with baypack.scratch() as folder:
        files = DayFiles.write(day, Path(folder))
        row, asked = newcomer_of(rng, day)
        plan, refused = baypack.plan_of(binary, files, folder)
        done = baypack.run(binary, "fit", *files.arguments(), *asked)
        if refused or done.returncode != 0 or done.stderr:
            return [f"seed {seed}: {refused or done.stderr or done.returncode}"], kinds, []
        offers, full = table_of(done.stdout)
        if offers is None:
            return [f"seed {seed}: not understood: {full}"], kinds, []
        found += table_differences(day, row, offers, full)
        judge, claims = Judge(day, plan), []
        for bay, arrive, offer in sample(rng, day, offers):
            kind, wrong = time_differences(judge, row, offer, bay, arrive)
            if kind == "missed" and is_left_to_a_choice(binary, judge, replace(row, bay=bay, chair=judge.refused(row, bay, arrive)[1], arrive=arrive)):
                kinds["left to a choice"] += 1
                continue
            kinds[kind] += 1
            found += wrong
            claims.append((judge, row, offer, bay, arrive))
        kinds["somebody without"] += plan["machines"]["without_outlet"] > 0
        for *_, offer, bay, arrive in [claim for claim in claims if claim[2]][:PLANNED]:
            found += plan_differences(binary, judge, replace(row, bay=bay, chair=offer.chair, arrive=arrive))
        if found:
            kept = baypack.keep(f"fit-{seed}", folder, files, [" ".join(asked), *found])
            found = [f"{kept}: {text}" for text in found]
        return found, kinds, blindness(seed, claims, offers, day, row)


def sample(rng, day, offers):
    """Some times that are offered and some that are not, none of these so late that closing alone refuses them."""
    closes = minutes_of(day.unit["closes"])
    times = [(bay["name"], at) for bay in day.unit["bays"] for at in range(minutes_of(day.unit["opens"]), closes, STEP)]
    rng.shuffle(times)
    claims = [(bay, at, offered_at(offers, bay, at)) for bay, at in times]
    yield from [claim for claim in claims if claim[2]][:OFFERED]
    yield from [claim for claim in claims if not claim[2] and claim[1] < closes - 120][:REFUSED]


def blindness(seed, claims, offers, day, row):
    """Claims turned round, and tables changed in one value, that go unnoticed."""
    found = []
    for judge, row, offer, bay, arrive in claims[:3] + claims[-3:]:
        chair = next(one["chairs"] for one in day.unit["bays"] if one["name"] == bay)[0]
        turned = None if offer else SimpleNamespace(chair=chair, move=True)
        if not time_differences(judge, row, turned, bay, arrive)[1]:
            found.append(f"seed {seed}: {bay} {clock(arrive)} turned round goes unnoticed")
    for offer in offers[:2]:
        others = [one for one in offers if one is not offer]
        later = {"leave": offer.leave + 5, "connected": (offer.connected or 0) + 5, "last": offer.last + 1, "chair": "nowhere"}
        for name, value in later.items():
            changed = SimpleNamespace(**{**vars(offer), name: value})
            if not table_differences(day, row, [*others, changed], {bay["name"] for bay in day.unit["bays"]} - {one.bay for one in offers}):
                found.append(f"seed {seed}: another {name} goes unnoticed")
    return found


def main():
    options = baypack.options(__doc__, days=0, seed=1)
    days = options.days or (FULL_DAYS if options.full else SHORT_DAYS)
    report = baypack.Report("fit")
    with Pool(baypack.WORKERS) as pool:
        results = list(pool.imap_unordered(try_day, ((options.binary, seed) for seed in range(options.seed, options.seed + days))))
    kinds = sum((counted for _, counted, _ in results), Counter())
    tried = ", ".join(f"{kind} {kinds[kind]}" for kind in WANTED)
    report.check(f"each time offered does, and none that would do is left out: {days} days ({tried})", [text for found, *_ in results for text in found])
    report.check("the days held every kind of time", [kind for kind in WANTED if not kinds[kind]])
    report.check("a claim turned round, or a changed table, is always noticed", [text for *_, missed in results for text in missed])
    report.close()


if __name__ == "__main__":
    main()
