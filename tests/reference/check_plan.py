"""Holds the plan of a day with more points than are searched exactly against a solver of mixed-integer programmes.

    python check_plan.py --order PATH/order                 days of 20 to 40 points, drawn from a fixed seed
    python check_plan.py --order PATH/order --rounds 20     more of them

SciPy's `milp` (HiGHS) solves the same day: one binary for each run and step, one aircraft, prerequisites with the time until
they are accepted, the number of runs, and the pack with its charger. The plan has to be possible, to be worth at least 99 % of
the solver's, and nothing that the solver finds may exceed what the plan says no plan exceeds.
"""

import argparse
import json
import subprocess
import sys

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

STEP_H = 5.0 / 60.0


def day(random, points, steps):
    def run(place):
        after = []
        if place and random.random() < 0.4:
            after = sorted({int(random.integers(0, place)) for _ in range(int(random.integers(1, 3)))})
        return {
            "value": round(float(random.uniform(1.0, 10.0)), 2),
            "set_up": int(random.integers(0, 3)),
            "run": int(random.integers(1, 6)),
            "turn_round": int(random.integers(0, 3)),
            "energy_kwh": round(float(random.uniform(0.5, 6.0)), 2),
            "earliest": int(random.integers(0, steps // 2)) if random.random() < 0.3 else 0,
            "after": after,
        }

    return {
        "steps": steps,
        "acceptance": int(random.integers(0, 7)),
        "most_runs": int(random.integers(8, 15)),
        "pack_kwh": round(float(random.uniform(10.0, 18.0)), 1),
        "charger_kw": float(random.choice([0.0, 3.7, 11.0, 22.0])),
        "runs": [run(place) for place in range(points)],
    }


def whole(run):
    return run["set_up"] + run["run"] + run["turn_round"]


class Rows:
    """Rows of a linear programme."""

    def __init__(self):
        self.row, self.column, self.figure, self.least, self.most = [], [], [], [], []

    def add(self, terms, least, most):
        for column, figure in terms:
            self.row.append(len(self.least))
            self.column.append(column)
            self.figure.append(figure)
        self.least.append(least)
        self.most.append(most)

    def constraint(self, columns):
        matrix = coo_array((self.figure, (self.row, self.column)), shape=(len(self.least), columns)).tocsr()
        return LinearConstraint(matrix, self.least, self.most)


def solved(day, seconds):
    """The best value that HiGHS finds, and what none can exceed."""
    steps, runs = day["steps"], day["runs"]
    begins = [
        (which, step)
        for which, run in enumerate(runs)
        for step in range(run["earliest"], steps - run["set_up"] - run["run"] + 1)
    ]
    column = {it: place for place, it in enumerate(begins)}
    # After the binaries: what is in the pack as each step begins, and what is charged in it.
    pack = lambda step: len(begins) + step
    charge = lambda step: len(begins) + steps + 1 + step
    columns = len(begins) + 2 * steps + 1
    rows = Rows()
    for which, run in enumerate(runs):
        mine = [step for (it, step) in begins if it == which]
        rows.add([(column[which, step], 1.0) for step in mine], 0.0, 1.0)
        for before in run["after"]:
            needs = runs[before]["set_up"] + runs[before]["run"]
            ready = max(needs + day["acceptance"], whole(runs[before]))
            for step in mine:
                earlier = [
                    (column[it, at], -1.0) for (it, at) in begins if it == before and at + ready <= step
                ]
                rows.add([(column[which, step], 1.0), *earlier], -np.inf, 0.0)
    rows.add([(place, 1.0) for place in range(len(begins))], 0.0, day["most_runs"])
    for step in range(steps):
        away = [it for it in begins if it[1] <= step < it[1] + whole(runs[it[0]])]
        rows.add([(column[it], 1.0) for it in away], 0.0, 1.0)
        kilowatt_hours = day["charger_kw"] * STEP_H
        rows.add([(charge(step), 1.0), *((column[it], kilowatt_hours) for it in away)], -np.inf, kilowatt_hours)
        draws = [
            (column[it], runs[it[0]]["energy_kwh"] / runs[it[0]]["run"])
            for it in away
            if it[1] + runs[it[0]]["set_up"] <= step < it[1] + runs[it[0]]["set_up"] + runs[it[0]]["run"]
        ]
        rows.add([(pack(step + 1), 1.0), (pack(step), -1.0), (charge(step), -1.0), *draws], 0.0, 0.0)
    cost = np.zeros(columns)
    for it, place in column.items():
        cost[place] = -runs[it[0]]["value"]
    least, most = np.zeros(columns), np.ones(columns)
    most[len(begins):] = day["pack_kwh"]
    least[pack(0)] = day["pack_kwh"]
    kinds = np.zeros(columns)
    kinds[: len(begins)] = 1
    answer = milp(
        cost,
        constraints=rows.constraint(columns),
        bounds=Bounds(least, most),
        integrality=kinds,
        options={"time_limit": seconds},
    )
    value = -answer.fun if answer.fun is not None else 0.0
    return value, -answer.mip_dual_bound


def worth_of(day, plan):
    """What the plan is worth, played through step by step here; refuses one that cannot be."""
    energy, step, accepted, worth = day["pack_kwh"], 0, {}, 0.0
    for which, begins in plan["runs"]:
        run = day["runs"][which]
        assert which not in accepted and begins >= max(step, run["earliest"]), "begins too early or twice"
        assert all(accepted.get(before, np.inf) <= begins for before in run["after"]), "waits for another"
        assert begins + run["set_up"] + run["run"] <= day["steps"], "ends too late"
        energy = min(day["pack_kwh"], energy + (begins - step) * day["charger_kw"] * STEP_H)
        assert energy + 1e-6 >= run["energy_kwh"], "has not the energy"
        energy -= run["energy_kwh"]
        step = begins + whole(run)
        accepted[which] = begins + max(run["set_up"] + run["run"] + day["acceptance"], whole(run))
        worth += run["value"]
    assert len(plan["runs"]) <= day["most_runs"], "has too many runs"
    return worth


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--order", required=True, help="path of the example `order`")
    parser.add_argument("--rounds", type=int, default=4, help="how many days")
    parser.add_argument("--points", type=int, nargs="+", default=[20, 26, 32, 40], help="points of the days, one after the other")
    parser.add_argument("--seconds", type=float, default=20.0, help="how long the solver may take for a day")
    arguments = parser.parse_args()
    random = np.random.default_rng(20260703)
    failed = 0
    for number in range(arguments.rounds):
        points = arguments.points[number % len(arguments.points)]
        asked = day(random, points, steps=72)
        run = subprocess.run([arguments.order], input=json.dumps(asked), capture_output=True, text=True, check=True)
        plan = json.loads(run.stdout)
        worth = worth_of(asked, plan)
        best, none_exceeds = solved(asked, arguments.seconds)
        good = abs(worth - plan["value"]) < 1e-6 and worth >= 0.99 * best and plan["at_most"] >= best - 1e-6
        failed += not good
        print(
            f"{'passed' if good else 'FAILED'}  {points} points: {worth:.2f} is planned in {plan['seconds']:.2f} s, "
            f"{best:.2f} is the solver's ({100 * worth / best:.1f} %), which says that none exceeds {none_exceeds:.2f}; "
            f"the plan says {plan['at_most']:.2f}"
        )
    print(f"{arguments.rounds - failed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
