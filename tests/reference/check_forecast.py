"""Holds trials of a network against the same in NumPy, and times both in one run.

    python check_forecast.py --finishes PATH/finishes                  distributions and threads
    python check_forecast.py --finishes PATH/finishes --at-least 5     and that it is so many times as fast

The network is drawn from a fixed seed: each step waits for some of the two hundred before it.
"""

import argparse
import json
import subprocess
import sys
import time

import numpy as np
from scipy.stats import ks_2samp


def network(random, steps, dependences):
    after = [set() for _ in range(steps)]
    while sum(map(len, after)) < dependences:
        step = int(random.integers(1, steps))
        after[step].add(int(random.integers(max(0, step - 200), step)))
    best = random.uniform(0.5, 3.0, steps)
    likely = best + random.uniform(0.1, 3.0, steps)
    worst = likely + random.uniform(0.1, 8.0, steps)
    return [sorted(before) for before in after], np.column_stack([best, likely, worst])


# Steps and dependences of the networks that are looked at.
NETWORKS = [(1, 0), (14, 20), (200, 500), (2_000, 5_000)]


def theirs(after, days, trials, seed):
    """All trials of a step at once: one row a step."""
    random = np.random.default_rng(seed)
    finish = np.empty((len(after), trials))
    for step, before in enumerate(after):
        best, likely, worst = days[step]
        alpha = 1.0 + 4.0 * (likely - best) / (worst - best)
        drawn = best + (worst - best) * random.beta(alpha, 6.0 - alpha, trials)
        finish[step] = drawn + (finish[before].max(axis=0) if before else 0.0)
    return finish.max(axis=0)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--finishes", required=True, help="path of the example `finishes`")
    parser.add_argument("--at-least", type=float, help="fail unless it is so many times as fast")
    arguments = parser.parse_args()

    def ours(after, days, trials, seed, threads):
        asked = {"after": after, "days": days.tolist(), "trials": trials, "seed": seed, "threads": threads}
        run = subprocess.run([arguments.finishes], input=json.dumps(asked), capture_output=True, text=True, check=True)
        return json.loads(run.stdout)

    failed = False
    random = np.random.default_rng(20260601)
    for steps, dependences in NETWORKS:
        after, days = network(random, steps, dependences)
        trials = 10_000
        one, two = (ours(after, days, trials, 5, threads) for threads in (1, 2))
        started = time.perf_counter()
        their_days = theirs(after, days, trials, 6)
        their_seconds = time.perf_counter() - started
        p = ks_2samp(one["whole_days"], their_days).pvalue
        same = one["whole_days"] == two["whole_days"] and one["critical"] == two["critical"]
        times = their_seconds / two["seconds"]
        held = p > 0.01 and same
        if steps == 2_000 and arguments.at_least:
            held = held and times >= arguments.at_least
        failed = failed or not held
        print(
            f"  {'held  ' if held else 'FAILED'}  {steps:,} steps, {dependences:,} dependences, {trials:,} trials: "
            f"Kolmogorov-Smirnov p {p:.3f}; one and two threads {'the same' if same else 'DIFFER'}; "
            f"NumPy {their_seconds:.2f} s, one thread {one['seconds']:.2f} s, two {two['seconds']:.2f} s: {times:.1f} times as fast"
        )
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
