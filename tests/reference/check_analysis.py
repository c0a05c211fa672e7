"""Holds the analysis of recordings against NumPy and SciPy, on seeded random readings.

    python check_analysis.py --analyse PATH/analyse

Each figure tells its differences as quantiles; one whose largest difference is above its bound fails. What is compared:

    rates             slope of a straight line, numpy.polyfit over the last 2 s
    scores            modified z-score, with scipy.stats.median_abs_deviation
    spreads           numpy.nanmax - numpy.nanmin at every moment
    mean              numpy.trapezoid
    seconds above     numpy.diff of the moments, summed where the earlier reading is above
    exceedances       runs of a mask in NumPy
    bins              numpy.minimum.reduceat and its like over numpy.unique seconds
    offset            the highest numpy.corrcoef of all shifts of the grid, and the true offset
    time to limit     scipy.stats.linregress for readings along a straight line; scipy.optimize.curve_fit for a curve
"""

import argparse
import json
import subprocess
import sys

import numpy as np
from scipy import optimize, stats

from figures import Figure

MICROS = 1_000_000


def group(times, values):
    return [[int(t), None if np.isnan(v) else float(v)] for t, v in zip(times, values)]


class Analyse:
    def __init__(self, path):
        self.path = path

    def __call__(self, questions):
        lines = "".join(json.dumps(question, allow_nan=False) + "\n" for question in questions)
        run = subprocess.run([self.path], input=lines, capture_output=True, text=True, check=True)
        answers = [json.loads(line) for line in run.stdout.splitlines()]
        if len(answers) != len(questions):
            raise RuntimeError(f"{len(questions)} questions gave {len(answers)} answers")
        return answers


def readings(random, rows=600, missing=0.05, irregular=True):
    """Moments about 0.1 s apart and a wandering value, some of it missing."""
    steps = random.integers(60_000, 140_000, rows) if irregular else np.full(rows, 100_000)
    times = int(random.integers(0, 2**50)) + np.cumsum(steps)
    values = random.uniform(-100, 100) + np.cumsum(random.normal(0, 0.5, rows))
    values[random.random(rows) < missing] = np.nan
    # Ends are there, so that means and times above cover the whole.
    values[0], values[-1] = 1.0, 2.0
    return times, values


def present(times, values):
    there = ~np.isnan(values)
    return times[there], values[there]


def rates(ask, random):
    cases = [readings(random) for _ in range(20)]
    answers = ask([{"what": "rates", "groups": [group(*case)]} for case in cases])
    differences = []
    for case, answer in zip(cases, answers):
        times, values = present(*case)
        for moment, rate in answer[::7]:
            window = (times <= moment) & (times >= moment - 2 * MICROS)
            theirs = np.polyfit((times[window] - moment) / MICROS, values[window], 1)[0]
            differences.append(rate - theirs)
        # There is one for every reading after the first second.
        expected = np.sum(times - times[0] >= 2 * MICROS)
        differences.append(0.0 if len(answer) >= expected else np.inf)
    return [Figure("slope, unit/s", differences, 1e-9)]


def scores(ask, random):
    cases = [random.normal(50, 3, random.integers(3, 12)) for _ in range(500)]
    answers = ask([{"what": "scores", "groups": [group(range(len(case)), case)]} for case in cases])
    differences = []
    for case, answer in zip(cases, answers):
        theirs = 0.6745 * (case - np.median(case)) / stats.median_abs_deviation(case, scale=1.0)
        differences.extend((np.array(answer) - theirs) / np.maximum(1.0, np.abs(theirs)))
    return [Figure("modified z-score", differences, 1e-12)]


def spreads(ask, random):
    cases = []
    for _ in range(50):
        times, _ = readings(random, 200)
        cases.append((times, random.normal(50, 3, (random.integers(2, 8), 200))))
    answers = ask([{"what": "spreads", "groups": [group(times, row) for row in rows]} for times, rows in cases])
    differences = []
    for (_, rows), answer in zip(cases, answers):
        differences.extend(np.array(answer)[:, 1] - np.ptp(rows, axis=0))
    return [Figure("spread", differences, 1e-12)]


def sums(ask, random):
    cases = [readings(random) for _ in range(100)]
    thresholds = [float(np.nanmedian(values)) for _, values in cases]
    means = ask([{"what": "mean", "groups": [group(*case)]} for case in cases])
    above = ask(
        [
            {"what": "seconds-above", "groups": [group(*case)], "figure": threshold}
            for case, threshold in zip(cases, thresholds)
        ]
    )
    of_means, of_above = [], []
    for case, threshold, mean, seconds in zip(cases, thresholds, means, above):
        times, values = present(*case)
        t = (times - times[0]) / MICROS
        of_means.append(mean - np.trapezoid(values, t) / t[-1])
        # A value within a billionth of the threshold counts as at it.
        over = values[:-1] > threshold + 1e-9 * max(1.0, abs(threshold))
        of_above.append(seconds - np.sum(np.diff(times)[over]) / MICROS)
    return [Figure("mean over time", of_means, 1e-9), Figure("seconds above", of_above, 1e-9)]


def exceedances(ask, random):
    cases = [readings(random) for _ in range(100)]
    limits = [float(np.nanquantile(values, 0.8)) for _, values in cases]
    answers = ask(
        [
            {"what": "exceedances", "groups": [group(*case)], "figure": limit}
            for case, limit in zip(cases, limits)
        ]
    )
    differences = []
    for case, limit, answer in zip(cases, limits, answers):
        times, values = present(*case)
        beyond = np.concatenate([[False], values > limit + 1e-9 * max(1.0, abs(limit)), [False]])
        starts, ends = np.flatnonzero(np.diff(beyond.astype(int)) == 1), np.flatnonzero(np.diff(beyond.astype(int)) == -1)
        if len(starts) != len(answer):
            differences.append(np.inf)
            continue
        for start, end, (ours_start, ours_end, peak) in zip(starts, ends, answer):
            differences.append(ours_start - times[start])
            if end < len(times):
                differences.append(ours_end - times[end])
            differences.append(peak - np.max(values[start:end]))
    return [Figure("start, end and peak of an exceedance", differences, 0.0)]


def bins(ask, random):
    cases = [readings(random, 2_000, missing=0.3) for _ in range(10)]
    answers = ask([{"what": "bins", "groups": [group(*case)]} for case in cases])
    exact, means = [], []
    for (times, values), answer in zip(cases, answers):
        seconds, first = np.unique(times // MICROS, return_index=True)
        channel = answer["channels"][0]
        exact.extend(np.array(answer["starts"]) - seconds * MICROS)
        there = ~np.isnan(values)
        counts = np.add.reduceat(there.astype(int), first)
        exact.extend(np.array(channel["readings"]) - counts)
        some = counts > 0
        ours = {name: np.array(channel[name], dtype=float) for name in ("mean", "min", "max")}
        exact.extend(np.isnan(ours["mean"]) != ~some)
        least = np.minimum.reduceat(np.where(there, values, np.inf), first)
        most = np.maximum.reduceat(np.where(there, values, -np.inf), first)
        total = np.add.reduceat(np.where(there, values, 0.0), first)
        exact.extend((ours["min"] - least)[some])
        exact.extend((ours["max"] - most)[some])
        means.extend((ours["mean"][some] - total[some] / counts[some]) / np.maximum(1.0, np.abs(ours["mean"][some])))
    return [Figure("beginning, count, min and max of a bin", exact, 0.0), Figure("mean of a bin", means, 1e-12)]


def offset(ask, random):
    rows, most = 3_000, 200
    cases = []
    for _ in range(12):
        waves = [(random.uniform(5, 30), random.uniform(20, 300), random.uniform(0, 6.28)) for _ in range(8)]

        def day(t, waves=waves):
            return sum(size * np.sin(2 * np.pi * t / length + phase) for size, length, phase in waves)

        t = np.arange(rows) * 0.1
        behind = random.uniform(-15, 15)
        start = int(random.integers(0, 2**50))
        first = (start + np.arange(rows) * 100_000, day(t) + random.normal(0, 1, rows))
        other = (first[0], day(t + behind) + random.normal(0, 1, rows))
        cases.append((first, other, behind))
    answers = ask(
        [
            {"what": "offset", "groups": [group(*first), group(*other)], "figure": most * 0.1}
            for first, other, _ in cases
        ]
    )
    heights, against_truth = [], []
    for ((_, a), (_, b), behind), answer in zip(cases, answers):
        shifts = range(-most, most + 1)
        found = [
            np.corrcoef(a[max(0, k) : rows + min(0, k)], b[max(0, -k) : rows - max(0, k)])[0, 1] for k in shifts
        ]
        heights.append(answer["correlation"] - max(found))
        against_truth.append(answer["seconds"] - behind)
    return [
        Figure("highest coefficient of correlation", heights, 1e-9),
        Figure("offset against the true one, s (readings 0.1 s apart)", against_truth, 0.05),
    ]


def time_to_limit(ask, random):
    cases, curves = [], []
    t = np.arange(600) * 0.1
    for _ in range(50):
        slope, noise = random.uniform(0.01, 0.5), random.normal(0, 0.2, t.size)
        cases.append((40 + slope * t + noise, 40 + slope * 60 + random.uniform(5, 50)))
    t_curve = np.arange(3_000) * 0.1
    for _ in range(20):
        steady, tau = random.uniform(80, 150), random.uniform(60, 200)
        values = steady + (30 - steady) * np.exp(-t_curve / tau) + random.normal(0, 0.1, t_curve.size)
        curves.append((values, values.max() + 0.5 * (steady - values.max())))
    questions = [
        {"what": "time-to-limit", "groups": [group(at * MICROS, values)], "figure": float(limit)}
        for at, of in ((t, cases), (t_curve, curves))
        for values, limit in of
    ]
    answers = [answer[0]["time_to_limit"] for answer in ask(questions)]
    lines, of_curves = [], []
    for (values, limit), answer in zip(cases, answers):
        if answer.get("method") != "line":
            continue
        line = stats.linregress(t - t[-1], values)
        theirs = (limit - line.intercept) / line.slope
        lines.append(answer["seconds"] / theirs - 1.0)

    def curve(x, steady, start, tau):
        return steady + (start - steady) * np.exp(-x / tau)

    for (values, limit), answer in zip(curves, answers[len(cases) :]):
        if answer["outcome"] != "reaches":
            of_curves.append(np.inf)
            continue
        (steady, start, tau), _ = optimize.curve_fit(curve, t_curve, values, p0=(values.max() + 10, values[0], 100))
        theirs = tau * np.log((steady - start) / (steady - limit)) - t_curve[-1]
        # Ours takes every eighth reading, theirs all: both estimate the same from noise of 0.1 K.
        of_curves.append((answer["seconds"] - theirs) / tau)
    return [
        Figure("time to limit along a line, relative", lines, 1e-9),
        Figure("time to limit along a curve, in time constants", of_curves, 0.05),
    ]


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--analyse", required=True, help="path of the example `analyse`")
    parser.add_argument("--seed", type=int, default=20240517)
    arguments = parser.parse_args()
    ask = Analyse(arguments.analyse)
    failed = 0
    for check in (rates, scores, spreads, sums, exceedances, bins, offset, time_to_limit):
        random = np.random.default_rng([arguments.seed, *check.__name__.encode()])
        print(f"\n{check.__name__}")
        for figure in check(ask, random):
            print(figure)
            failed += not figure.holds()
    print(f"\n{failed} failed")
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
