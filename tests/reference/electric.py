"""energy, reserve: against numpy's trapezoidal rule and scipy's normal distribution."""

import numpy as np
from scipy.stats import norm

from figures import Figure, Topic, column

GAP_S = 4.0


def energy_inputs(random):
    inputs = []
    for _ in range(1_000):
        count = random.integers(20, 120)
        step = random.uniform(0.5, 1.5, count)
        # Some recorders drop out for a while.
        step[random.random(count) < 0.04] += random.uniform(10, 60)
        t = np.cumsum(step)
        voltage, current = random.uniform(320, 400, count), random.uniform(-60, 220, count)
        names = ("t_s", "voltage_v", "current_a")
        samples = [dict(zip(names, row)) for row in np.column_stack([t, voltage, current]).tolist()]
        inputs.append({"samples": samples, "gap_s": GAP_S})
    return inputs


def parts(t, value):
    """Integrals of the positive and of the negative part of a line through samples, with the zeros put in."""
    turns = np.flatnonzero(value[:-1] * value[1:] < 0.0)
    zeros = t[turns] - value[turns] * np.diff(t)[turns] / np.diff(value)[turns]
    with_zeros = np.insert(t, turns + 1, zeros)
    values = np.insert(value, turns + 1, 0.0)
    return np.trapezoid(np.maximum(values, 0.0), with_zeros), np.trapezoid(np.minimum(values, 0.0), with_zeros)


def energy_figures(inputs, answers):
    rows, gaps = [], []
    for given, answer in zip(inputs, answers):
        t, voltage, current = (column(given["samples"], name) for name in ("t_s", "voltage_v", "current_a"))
        power = voltage * current
        cuts = np.flatnonzero(np.diff(t) > GAP_S) + 1
        pieces = [
            (*parts(*piece[:2]), *parts(piece[0], piece[2]), np.ptp(piece[0]))
            for piece in zip(np.split(t, cuts), np.split(power, cuts), np.split(current, cuts))
        ]
        drawn, back, charge, _, covered = np.sum(pieces, axis=0)
        rows.append(
            (
                answer["energy_kwh"] / (drawn / 3.6e6) - 1.0,
                answer["regenerated_kwh"] + back / 3.6e6,
                answer["charge_ah"] / (charge / 3_600.0) - 1.0,
                answer["mean_power_kw"] / ((drawn + back) / covered / 1_000.0) - 1.0,
                answer["peak_power_kw"] / (power.max() / 1_000.0) - 1.0,
            )
        )
        theirs = [[t[cut - 1], t[cut]] for cut in cuts]
        gaps.append(float(answer["gaps"] != theirs))
    # What flowed back may be nothing, so it is compared as it is.
    names = ("energy, relative", "regenerated energy, kWh", "charge, relative", "mean power, relative", "peak power, relative")
    figures = [Figure(name, values, 1e-10) for name, values in zip(names, np.array(rows).T)]
    return [*figures, Figure("gaps that differ", gaps, 0.0)]


def reserve_inputs(random):
    inputs = []
    for _ in range(1_000):
        legs = [
            {"energy_kwh": random.uniform(0.2, 8), "sd_kwh": random.uniform(0, 0.8)}
            for _ in range(random.integers(1, 7))
        ]
        reserve = {"minutes": random.uniform(5, 45), "power_kw": random.uniform(10, 30)}
        inputs.append(
            {
                "usable_kwh": random.uniform(15, 60),
                "legs": legs,
                "reserve": reserve,
                "confidence": random.uniform(0.5, 0.999),
            }
        )
    return inputs


def reserve_figures(inputs, answers):
    rows = []
    for given, answer in zip(inputs, answers):
        landing = given["usable_kwh"] - column(given["legs"], "energy_kwh").sum()
        spread = np.linalg.norm(column(given["legs"], "sd_kwh"))
        low = norm.ppf(1.0 - given["confidence"], landing, spread) if spread else landing
        reserve = given["reserve"]["minutes"] / 60.0 * given["reserve"]["power_kw"]
        rows.append(
            (
                answer["landing_kwh"] - landing,
                answer["landing_low_kwh"] - low,
                answer["margin_kwh"] - (low - reserve),
                float(answer["enough"] != (low >= reserve)),
            )
        )
    names = ("landing energy, kWh", "its lower bound, kWh", "margin, kWh", "verdicts that differ")
    return [
        Figure(name, values, 0.0 if "verdict" in name else 1e-9) for name, values in zip(names, np.array(rows).T)
    ]


TOPICS = [
    Topic("energy", "numpy.trapezoid", energy_inputs, energy_figures),
    Topic("reserve", "scipy.stats.norm", reserve_inputs, reserve_figures),
]
