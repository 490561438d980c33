"""The best machine plan of a day by OR-Tools CP-SAT, outlet by outlet, straight from the rules.

One variable a patient and outlet; nothing is pooled, relaxed or decomposed. The objectives come one after
another, each held at its best while the next is made smaller: patients without an outlet, moves of
machines between bays, total shortfall of hand-over slack, the busiest machine. Written from the
definitions alone: nothing here is taken from the program.
"""

from dataclasses import dataclass
from itertools import combinations

from ortools.sat.python import cp_model

from definitions import meet, minutes_in, stages_of, warm_in, within_reach

# `busiest` counts the minutes of each two outlets, so that a machine with one needs no fraction.
OBJECTIVES = ("without_outlet", "moves", "slack_shortfall", "busiest")
SLACK_IF_ABSENT = 10


@dataclass
class Session:
    """One cooled patient, as machines and caps see it; times in minutes, stretches half-open."""

    hospital_no: str
    bay: str
    chair: str
    cooling: tuple
    hold: tuple
    cap: tuple | None


@dataclass
class Level:
    """What is known of one objective once those before it are at their best."""

    value: int
    bound: int

    @property
    def proven(self):
        return self.value == self.bound


def sessions_of(day):
    """The day's cooled visits by their start."""
    minutes = minutes_in(day.unit)
    found = []
    for row in day.visits():
        if not row.cooled:
            continue
        stages, _ = stages_of(day.unit, day.regimen(row), row, day.date)
        on, off = stages["cooling_on"], stages["cooling_off"]
        needs_cap = row.cap is not None and not row.own_cap
        cap = (row.cap, stages["prepare"], stages["cap_off"] + minutes.cap_clean) if needs_cap else None
        found.append(Session(row.hospital_no, row.bay, row.chair, (on, off), (on, off + minutes.outlet_clean), cap))
    return sorted(found, key=lambda session: (session.hold, session.hospital_no))


class MachineModel:
    """The model of a day."""

    def __init__(self, day):
        self.unit, self.minutes = day.unit, minutes_in(day.unit)
        self.slack = day.unit["rules"].get("hand_over_slack", SLACK_IF_ABSENT)
        self.sessions = sessions_of(day)
        self.bays = {bay["name"]: bay for bay in day.unit["bays"]}
        self.model = cp_model.CpModel()
        self.outlet, self.machine, self.stands = {}, {}, {}
        self.add_choices()
        self.add_exclusions()
        self.add_caps()
        self.objectives = dict(zip(OBJECTIVES, (self.without(), self.moves(), self.shortfall(), self.busiest())))

    def add_choices(self):
        """Which outlet may serve whom; each patient has at most one."""
        for place, session in enumerate(self.sessions):
            for number, machine in enumerate(self.unit["machines"]):
                if not machine["movable"] and machine["bay"] != session.bay:
                    continue
                taps = [tap for tap in range(1, machine["outlets"] + 1) if in_service(machine, tap, session.hold, self.minutes.machine_start)]
                for tap in taps:
                    self.outlet[place, number, tap] = self.model.new_bool_var(f"outlet {place} {number} {tap}")
                if taps:
                    on = self.model.new_bool_var(f"on {place} {number}")
                    self.model.add(sum(self.outlet[place, number, tap] for tap in taps) == on)
                    self.machine[place, number] = on
            self.model.add_at_most_one(on for (who, _), on in self.machine.items() if who == place)

    def add_exclusions(self):
        """No outlet twice at once; no machine in two bays, nor out of reach of one of its patients."""
        for (first, one), (then, other) in combinations(enumerate(self.sessions), 2):
            if self.may_share(one, other):
                continue
            for number in range(len(self.unit["machines"])):
                if (first, number) in self.machine and (then, number) in self.machine:
                    self.model.add_at_most_one(self.machine[first, number], self.machine[then, number])
        for at in {session.hold[0] for session in self.sessions}:
            held = [place for place, session in enumerate(self.sessions) if session.hold[0] <= at < session.hold[1]]
            for number, machine in enumerate(self.unit["machines"]):
                for tap in range(1, machine["outlets"] + 1):
                    keys = [(place, number, tap) for place in held]
                    self.model.add_at_most_one(self.outlet[key] for key in keys if key in self.outlet)

    def may_share(self, one, other):
        """Whether one machine can serve both, each on an outlet that is free."""
        if one.bay == other.bay:
            return not meet(one.cooling, other.cooling) or within_reach(self.bays[one.bay], one.chair, other.chair)
        first, then = sorted((one.hold, other.hold))
        return first[1] + self.minutes.machine_move <= then[0]

    def add_caps(self):
        """Never more caps of a size at once than there are."""
        for size, count in self.unit["caps"].items():
            users = [place for place, session in enumerate(self.sessions) if session.cap and session.cap[0] == size]
            for at in {self.sessions[place].cap[1] for place in users}:
                held = {place for place in users if self.sessions[place].cap[1] <= at < self.sessions[place].cap[2]}
                self.model.add(sum(on for (place, _), on in self.machine.items() if place in held) <= count)

    def without(self):
        return len(self.sessions) - sum(self.machine.values())

    def moves(self):
        """Arrivals in bays, counted from home: a machine stands in one bay at each start, and serves only there."""
        starts = sorted({session.hold[0] for session in self.sessions})
        arrivals = []
        for number, machine in enumerate(self.unit["machines"]):
            before = {name: int(name == machine["bay"]) for name in self.bays}
            if not machine["movable"]:
                continue
            for at in starts:
                stands = {name: self.model.new_bool_var(f"stands {number} {at} {name}") for name in self.bays}
                self.model.add_exactly_one(stands.values())
                self.stands |= {(number, at, name): variable for name, variable in stands.items()}
                for name in self.bays:
                    self.add_presence(number, at, name, stands[name])
                    arrives = self.model.new_bool_var(f"arrives {number} {at} {name}")
                    self.model.add(arrives >= stands[name] - before[name])
                    arrivals.append(arrives)
                before = stands
        return sum(arrivals) if arrivals else 0

    def add_presence(self, number, at, bay, stands):
        """A machine with a patient of a bay on one of its outlets stands there."""
        held = [place for place, session in enumerate(self.sessions) if session.bay == bay and session.hold[0] <= at < session.hold[1]]
        for tap in range(1, self.unit["machines"][number]["outlets"] + 1):
            keys = [(place, number, tap) for place in held]
            self.model.add(sum(self.outlet[key] for key in keys if key in self.outlet) <= stands)

    def shortfall(self):
        """Minutes missing at each hand-over; a session is longer than the slack, so neighbours are enough."""
        missing = []
        assert all(session.hold[1] - session.hold[0] >= self.slack for session in self.sessions)
        for (first, one), (then, other) in combinations(enumerate(self.sessions), 2):
            gap = other.hold[0] - one.hold[1]
            if not 0 <= gap < self.slack:
                continue
            for number, machine in enumerate(self.unit["machines"]):
                for tap in range(1, machine["outlets"] + 1):
                    keys = (first, number, tap), (then, number, tap)
                    if keys[0] in self.outlet and keys[1] in self.outlet:
                        both = self.model.new_bool_var(f"hand-over {first} {then} {number} {tap}")
                        self.model.add(both >= self.outlet[keys[0]] + self.outlet[keys[1]] - 1)
                        missing.append((self.slack - gap) * both)
        return sum(missing) if missing else 0

    def busiest(self):
        """Cooling minutes of each two outlets, of the machine with the most."""
        top = self.model.new_int_var(0, 100_000, "busiest")
        for number, machine in enumerate(self.unit["machines"]):
            cooled = sum(
                (session.cooling[1] - session.cooling[0]) * self.machine[place, number]
                for place, session in enumerate(self.sessions) if (place, number) in self.machine
            )
            self.model.add(top * machine["outlets"] >= 2 * cooled)
        return top

    def worth_of(self, given):
        """The objectives of a plan, a machine's name and an outlet for each hospital number; None if it breaks a rule."""
        keys = self.keys_of(given)
        if not keys <= self.outlet.keys():
            return None
        fixed = self.model.clone()
        for variable, value in self.values_of(keys):
            fixed.add(fixed.get_bool_var_from_proto_index(variable.index) == value)
        worth = {}
        for name, goal in self.objectives.items():
            fixed.minimize(goal)
            solver = cp_model.CpSolver()
            solver.parameters.num_workers = 1
            if solver.solve(fixed) != cp_model.OPTIMAL:
                return None
            worth[name] = round(solver.objective_value)
        return worth

    def keys_of(self, given):
        """The choices of a plan, by places in the model."""
        names = [machine["name"] for machine in self.unit["machines"]]
        places = {session.hospital_no: place for place, session in enumerate(self.sessions)}
        return {(places[who], names.index(name), tap) for who, (name, tap) in given.items()}

    def values_of(self, keys):
        """Each outlet's value in a plan, and where each machine stands: it stays until a patient needs it elsewhere."""
        for key, variable in self.outlet.items():
            yield variable, int(key in keys)
        bays = {number: machine["bay"] for number, machine in enumerate(self.unit["machines"])}
        served = {(number, self.sessions[place].hold[0]): self.sessions[place].bay for place, number, _ in keys}
        for (number, at, name), variable in self.stands.items():
            bays[number] = served.get((number, at), bays[number])
            yield variable, int(name == bays[number])

    def hint(self, given):
        """Lets the solver start from a plan."""
        self.model.clear_hints()
        for variable, value in self.values_of(self.keys_of(given)):
            self.model.add_hint(variable, value)

    def smallest(self, name, work):
        """The smallest value of an objective within so much deterministic work; None if nothing was found."""
        solver = cp_model.CpSolver()
        solver.parameters.max_deterministic_time = work
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 1
        self.model.minimize(self.objectives[name])
        if solver.solve(self.model) not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return None
        self.model.clear_hints()
        for variable in (*self.outlet.values(), *self.stands.values()):
            self.model.add_hint(variable, solver.value(variable))
        return Level(round(solver.objective_value), round(solver.best_objective_bound))

    def hold(self, name, value):
        """From now on an objective may not be above a value."""
        self.model.add(self.objectives[name] <= value)


def in_service(machine, tap, hold, start):
    """Whether an outlet works, and is cold, for the whole of a stretch."""
    return not any(
        outage.get("outlet", tap) == tap and meet(warm_in(outage, start), hold)
        for outage in machine.get("out_of_service", [])
    )
