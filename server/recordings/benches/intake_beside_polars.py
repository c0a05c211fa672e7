"""Times Rungbook's intake, bins and windows beside polars, pandas and DuckDB on the same machine in the same run.

    python intake_beside_polars.py --intake PATH [--rounds 5]

PATH is the example `intake` of the crate (`cargo build --release -p recordings --example intake`). The file has 500,000 rows of
a moment and 29 channels. Results are compared before any time counts. Rounds take turns, and the quickest of each counts:
what else the machine does only ever adds. Seconds of processors (`cpu_s`) are told beside, for machines with other work. Each line of output is one JSON object; `ratio` is Rungbook's time by the other's.
The libraries and their versions are in tests/requirements.txt.
"""

import argparse
import hashlib
import json
import os
import pathlib
import resource
import subprocess
import sys
import tempfile
import time

import duckdb
import numpy as np
import pandas
import polars

ROWS, CHANNELS = 500_000, 29
CODES = [f"ch{place:02}" for place in range(CHANNELS)]


def write_csv(path, seed=7):
    """Ten rows a second of figures that wander, with one to three decimals, as sensors give them."""
    rng = np.random.default_rng(seed)
    moments = np.datetime64("2026-05-17T08:30:00", "us") + np.arange(ROWS) * np.timedelta64(100_000, "us")
    columns = {"time": moments}
    for place, code in enumerate(CODES):
        wander = 50 + 10 * place + np.cumsum(rng.normal(0, 0.05, ROWS)) + rng.normal(0, 0.3, ROWS)
        columns[code] = np.round(wander, 1 + place % 3)
    frame = polars.DataFrame(columns)
    frame.with_columns(polars.col("time").dt.strftime("%Y-%m-%dT%H:%M:%S%.3fZ")).write_csv(path)


def timed(work):
    """Seconds and seconds of processors that some work of this process takes."""
    before, begin = used(resource.RUSAGE_SELF), time.perf_counter()
    work()
    return time.perf_counter() - begin, used(resource.RUSAGE_SELF) - before


def used(whose):
    """Seconds of processors so far."""
    usage = resource.getrusage(whose)
    return usage.ru_utime + usage.ru_stime


def polars_intake(source, target, dates):
    """Read, write, and sync as Rungbook does; the hash of the source is Rungbook's alone."""
    frame = polars.read_csv(source, try_parse_dates=dates)
    frame.write_parquet(target, compression="zstd")
    with open(target, "rb") as file:
        os.fsync(file.fileno())
    return frame


def polars_bins(path):
    aggregates = [
        getattr(polars.col(code), kind)().alias(f"{code}_{kind}") for code in CODES for kind in ("mean", "min", "max")
    ]
    return polars.scan_parquet(path).group_by_dynamic("time", every="1s").agg(aggregates).collect()


def pandas_bins(path):
    frame = pandas.read_parquet(path).set_index("time").resample("1s").agg(["mean", "min", "max"])
    frame.columns = [f"{code}_{kind}" for code, kind in frame.columns]
    return frame


def duckdb_bins(path):
    kinds = {"mean": "avg", "min": "min", "max": "max"}
    aggregates = ", ".join(f'{by}("{code}") as "{code}_{kind}"' for code in CODES for kind, by in kinds.items())
    query = f"select time_bucket(interval 1 second, time) as time, {aggregates} from read_parquet(?) group by 1 order by 1"
    return duckdb.connect().sql(query, params=[path]).to_arrow_table()


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--intake", required=True, help="path of the example intake, built for release")
    parser.add_argument("--rounds", type=int, default=5)
    arguments = parser.parse_args()
    failed = False

    def tell(**line):
        print(json.dumps(line), flush=True)

    with tempfile.TemporaryDirectory() as folder:
        path = lambda name: str(pathlib.Path(folder) / name)
        run = lambda *words: json.loads(subprocess.run([arguments.intake, *words], check=True, capture_output=True).stdout)
        source, ours, theirs = path("in.csv"), path("ours.parquet"), path("theirs.parquet")
        write_csv(source)

        # The results first.
        taken = run("take", source, ours)
        frame = polars_intake(source, theirs, True)
        kept = polars.read_parquet(ours)
        digest = hashlib.sha256(pathlib.Path(source).read_bytes()).hexdigest()
        same = kept.equals(frame.with_columns(polars.col("time").cast(polars.Datetime("us", "UTC"))))
        same = same and taken["sha256"] == digest and taken["refused"] == 0
        tell(compared="intake", rows=taken["rows"], same=same, bytes=taken["bytes"], polars_bytes=os.path.getsize(theirs))
        run("bins", ours, path("bins.parquet"))
        binned = polars.read_parquet(path("bins.parquet"))
        names = [name for name in binned.columns if name != "time"]
        expected = polars_bins(ours)
        # A mean is a sum in some order, and so the last digits are not the same for any two programs.
        close = all(np.allclose(binned[name], expected[name], rtol=1e-12, atol=0) for name in names)
        same_bins = len(names) == 3 * CHANNELS and binned["time"].equals(expected["time"]) and close
        tell(compared="bins", rows=len(binned), same=same_bins)
        failed = not (same and same_bins)

        times, cpu = {}, {}

        def note(what, seconds, processors):
            times.setdefault(what, []).append(seconds)
            cpu.setdefault(what, []).append(processors)

        peak = {"take": 0.0, "bins": 0.0}

        def ours_in_turn(what, *words):
            before = used(resource.RUSAGE_CHILDREN)
            told = run(*words)
            note(what, told["seconds"], used(resource.RUSAGE_CHILDREN) - before)
            peak[what] = max(peak[what], told["peak_mb"])

        turns = [
            lambda: ours_in_turn("take", "take", source, ours),
            lambda: note("polars take", *timed(lambda: polars_intake(source, theirs, False))),
            lambda: note("polars take with moments", *timed(lambda: polars_intake(source, theirs, True))),
            lambda: ours_in_turn("bins", "bins", ours, path("bins.parquet")),
            lambda: note("polars bins", *timed(lambda: polars_bins(ours))),
            lambda: note("pandas bins", *timed(lambda: pandas_bins(ours))),
            lambda: note("DuckDB bins", *timed(lambda: duckdb_bins(ours))),
        ]
        for _ in range(arguments.rounds):
            for turn in turns:
                # What one has left to be written is not to delay the next.
                os.sync()
                turn()
        best = {what: min(seconds) for what, seconds in times.items()}
        least = {what: round(min(seconds), 3) for what, seconds in cpu.items()}
        ratio = lambda one, other: round(best[one] / best[other], 3)
        others = ["polars take", "polars take with moments"]
        tell(
            measured="parse, check, hash, pack and sync 500,000 x 30", seconds=best["take"], peak_mb=peak["take"],
            ratio=ratio("take", others[0]), ratio_with_moments=ratio("take", others[1]),
            **{other: best[other] for other in others}, cpu_s={what: least[what] for what in ["take", *others]},
        )
        others = ["polars bins", "pandas bins", "DuckDB bins"]
        fastest = min(others, key=best.get)
        tell(
            measured="mean, smallest and greatest of 29 channels in bins of a second", seconds=best["bins"],
            peak_mb=peak["bins"], fastest=fastest, ratio=ratio("bins", fastest),
            **{other: best[other] for other in others}, cpu_s={what: least[what] for what in ["bins", *others]},
        )
        tell(measured="30 s of one channel against a limit", **run("window", ours, CODES[3], "30"))
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
