"""Times a million conversions of calibrated to true airspeed, in numpy and in Rungbook's batch function, in one run.

Usage: python airspeed_against_numpy.py      (needs numpy and cargo; run in the repository)

The numpy side is the textbook form of the compressible equations, array by array. Results are compared before times
count: any relative difference above 1e-9 ends the run. Times are the medians of many repetitions; numpy is timed both
before and after, and its better median is the one held against Rungbook. numpy works on one thread; Rungbook is timed on
one thread and on as many as the machine has, and both are told.
"""

import os
import pathlib
import statistics
import subprocess
import sys
import tempfile
import time

import numpy as np

ROWS = 1_000_000
REPETITIONS = 25

SEA_LEVEL_K, SEA_LEVEL_PA, LAPSE_K_PER_M = 288.15, 101_325.0, 0.0065
GAS_CONSTANT, GRAVITY = 287.05287, 9.80665
MPS_PER_KNOT = 1852.0 / 3600.0
SOUND_KT = np.sqrt(1.4 * GAS_CONSTANT * SEA_LEVEL_K) / MPS_PER_KNOT


def true_airspeed_kt(cas_kt, pressure_altitude_ft, oat_c):
    temperature_ratio = 1.0 - LAPSE_K_PER_M * (pressure_altitude_ft * 0.3048) / SEA_LEVEL_K
    pressure_pa = SEA_LEVEL_PA * temperature_ratio ** (GRAVITY / (GAS_CONSTANT * LAPSE_K_PER_M))
    impact_pa = SEA_LEVEL_PA * ((1.0 + 0.2 * (cas_kt / SOUND_KT) ** 2) ** 3.5 - 1.0)
    mach = np.sqrt(5.0 * ((impact_pa / pressure_pa + 1.0) ** (2.0 / 7.0) - 1.0))
    return mach * SOUND_KT * np.sqrt((oat_c + 273.15) / SEA_LEVEL_K)


def median_seconds(columns):
    times = []
    for _ in range(REPETITIONS):
        start = time.perf_counter()
        true_airspeed_kt(*columns)
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def rungbook_seconds(given, found, **environment):
    """The median time of the batch function on the columns in a file, and its results in another."""
    bench = ["cargo", "bench", "-q", "-p", "flight-science", "--bench", "airspeed_of_a_file", "--", given, found]
    run = subprocess.run(bench, check=True, stdout=subprocess.PIPE, text=True, env={**os.environ, **environment})
    return statistics.median(float(line) for line in run.stdout.split())


def main():
    random = np.random.default_rng(20240501)
    columns = (
        random.uniform(30.0, 250.0, ROWS),
        random.uniform(-1_000.0, 18_000.0, ROWS),
        random.uniform(-40.0, 40.0, ROWS),
    )
    with tempfile.TemporaryDirectory() as folder:
        given, found = pathlib.Path(folder, "given"), pathlib.Path(folder, "found")
        np.concatenate(columns).astype("<f8").tofile(given)
        before = median_seconds(columns)
        all_threads_s = rungbook_seconds(given, found)
        one_thread_s = rungbook_seconds(given, found, RAYON_NUM_THREADS="1")
        after = median_seconds(columns)
        ours = np.fromfile(found, dtype="<f8")
    difference = np.max(np.abs(ours / true_airspeed_kt(*columns) - 1.0))
    print(f"largest relative difference over {ROWS:,} rows: {difference:.1e}")
    if not difference <= 1.0e-9:
        sys.exit("the results differ, so the times say nothing")
    numpy_s = min(before, after)
    print(f"numpy {np.__version__}, one thread: {numpy_s * 1e3:.2f} ms")
    for threads, seconds in (("one thread", one_thread_s), (f"{os.cpu_count()} threads", all_threads_s)):
        print(f"Rungbook, {threads}: {seconds * 1e3:.2f} ms, {numpy_s / seconds:.1f} times as fast")


if __name__ == "__main__":
    main()
