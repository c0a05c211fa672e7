"""Opens the Parquet and CSV that Rungbook writes with pandas, polars, PyArrow and DuckDB: same moments, values, types, units.

    python check_columns.py --intake PATH

PATH is the example `intake` of the crate `recordings` (`cargo build -p recordings --example intake`).
A recording is invented with a seed, written as CSV by Python alone, taken in, and given out again in both forms. Every
library has to read the very doubles that were invented, bit by bit, and nothing where a cell was left empty.
The libraries and their versions are in tests/requirements.txt.
"""

import argparse
import csv
import datetime
import json
import math
import pathlib
import random
import struct
import subprocess
import sys
import tempfile

import duckdb
import pandas
import polars
import pyarrow
import pyarrow.parquet

START = datetime.datetime(2026, 5, 17, 8, 30, tzinfo=datetime.timezone.utc)
UNITS = {"pack_v": "V", "motor_c": "°C", "any_bits": "", "few": "1/min"}
ROWS = 70_000  # more than one row group


def invented(seed):
    """Moments in microseconds and values by channel; None is missing."""
    rng = random.Random(seed)
    times, at = [], int(START.timestamp()) * 1_000_000
    columns = {code: [] for code in UNITS}
    for row in range(ROWS):
        at += rng.choice([100_000, 100_000, 99_999, 100_001])
        times.append(at)
        columns["pack_v"].append(round(rng.uniform(300, 400), 2))
        columns["motor_c"].append(None if rng.random() < 0.2 else round(rng.gauss(60, 15), 1))
        bits = struct.unpack("<d", rng.randbytes(8))[0]
        columns["any_bits"].append(bits if math.isfinite(bits) else -0.0)
        columns["few"].append(float(rng.randrange(20)) * 50)
    return times, columns


def write_csv(path, times, columns):
    with open(path, "w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["time", *columns])
        writer.writerow(["UTC", *UNITS.values()])
        for row, time in enumerate(times):
            moment = datetime.datetime.fromtimestamp(0, datetime.timezone.utc) + datetime.timedelta(microseconds=time)
            cells = (column[row] for column in columns.values())
            text = moment.isoformat(timespec="microseconds").replace("+00:00", "Z")
            writer.writerow([text, *("" if cell is None else repr(cell) for cell in cells)])


def bits(values):
    """Doubles by their bits; what a library calls missing is None."""
    missing = lambda value: value is None or value is pandas.NA or value != value
    return [None if missing(value) else struct.pack("<d", value) for value in values]


def by_pyarrow(path):
    table = pyarrow.parquet.read_table(path)
    assert table.schema.field("time").type == pyarrow.timestamp("us", tz="UTC"), table.schema
    assert not table.schema.field("time").nullable
    for code, unit in UNITS.items():
        field = table.schema.field(code)
        assert field.type == pyarrow.float64() and field.nullable, field
        assert field.metadata[b"unit"].decode() == unit, field.metadata
    footer = pyarrow.parquet.read_metadata(path).metadata
    assert json.loads(footer[b"units"]) == UNITS, footer
    times = table["time"].cast(pyarrow.int64()).to_pylist()
    return times, {code: table[code].to_pylist() for code in UNITS}


def by_pandas(path):
    frame = pandas.read_parquet(path)
    assert str(frame["time"].dtype) == "datetime64[us, UTC]", frame.dtypes
    assert all(str(frame[code].dtype) == "float64" for code in UNITS), frame.dtypes
    return frame["time"].astype("int64").tolist(), {code: frame[code].tolist() for code in UNITS}


def by_polars(path):
    frame = polars.read_parquet(path)
    assert frame.schema["time"] == polars.Datetime("us", "UTC"), frame.schema
    assert all(frame.schema[code] == polars.Float64 for code in UNITS), frame.schema
    return frame["time"].to_physical().to_list(), {code: frame[code].to_list() for code in UNITS}


def by_duckdb(path):
    base = duckdb.connect()
    types = dict(base.execute("select column_name, column_type from (describe select * from read_parquet(?))", [path]).fetchall())
    assert types == {"time": "TIMESTAMP WITH TIME ZONE", **{code: "DOUBLE" for code in UNITS}}, types
    columns = ", ".join(f'"{code}"' for code in UNITS)
    rows = base.execute(f"select epoch_us(time), {columns} from read_parquet(?)", [path]).fetchall()
    times, *values = zip(*rows)
    return list(times), dict(zip(UNITS, map(list, values)))


def csv_by_pandas(path):
    frame = pandas.read_csv(path, parse_dates=["time"])
    assert all(str(frame[code].dtype) == "float64" for code in UNITS), frame.dtypes
    return frame["time"].astype("datetime64[us, UTC]").astype("int64").tolist(), {code: frame[code].tolist() for code in UNITS}


def csv_by_polars(path):
    frame = polars.read_csv(path, try_parse_dates=True, infer_schema_length=None)
    assert all(frame.schema[code] == polars.Float64 for code in UNITS), frame.schema
    return frame["time"].to_physical().to_list(), {code: frame[code].to_list() for code in UNITS}


def csv_by_duckdb(path):
    base = duckdb.connect()
    types = dict(base.execute("select column_name, column_type from (describe select * from read_csv(?))", [path]).fetchall())
    assert all(types[code] == "DOUBLE" for code in UNITS), types
    columns = ", ".join(f'"{code}"' for code in UNITS)
    rows = base.execute(f"select epoch_us(time), {columns} from read_csv(?)", [path]).fetchall()
    times, *values = zip(*rows)
    return list(times), dict(zip(UNITS, map(list, values)))


PARQUET = {"PyArrow": by_pyarrow, "pandas": by_pandas, "polars": by_polars, "DuckDB": by_duckdb}
CSV = {"pandas": csv_by_pandas, "polars": csv_by_polars, "DuckDB": csv_by_duckdb}


def same(read, times, columns):
    """What differs, in words; nothing where all is as it was invented."""
    read_times, read_columns = read
    if read_times != times:
        return "moments"
    for code in UNITS:
        if bits(read_columns[code]) != bits(columns[code]):
            return code
    return None


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--intake", required=True, help="path of the example intake")
    parser.add_argument("--seed", type=int, default=20260517)
    arguments = parser.parse_args()
    times, columns = invented(arguments.seed)
    failed = 0

    def held(what, reader, path, times, columns):
        nonlocal failed
        try:
            differs = same(reader(path), times, columns)
        except AssertionError as error:
            differs = f"types or units: {error}"
        failed += differs is not None
        print(f"{'failed' if differs else 'passed'}  {what}" + (f": {differs}" if differs else ""))

    with tempfile.TemporaryDirectory() as folder:
        path = lambda name: str(pathlib.Path(folder) / name)
        run = lambda *words: json.loads(subprocess.run([arguments.intake, *words], check=True, capture_output=True).stdout)
        write_csv(path("in.csv"), times, columns)
        taken = run("take", path("in.csv"), path("whole.parquet"), "unit-row")
        # Figures of any bits go beyond the range that the example gives its sensors; they are refused, so missing.
        columns["any_bits"] = [value if abs(value) <= 1e6 else None for value in columns["any_bits"]]
        refused = sum(value is None for value in columns["any_bits"])
        if (taken["rows"], taken["refused"]) != (ROWS, refused):
            failed += 1
            print(f"failed  rows and refused cells: {taken}, not {ROWS} and {refused}")
        run("csv", path("whole.parquet"), path("whole.csv"))
        first, last = 65_000, 66_000  # over the border of row groups
        run("part", path("whole.parquet"), path("part.parquet"), str(times[first]), str(times[last]))
        part = slice(first, last + 1)
        for name, reader in PARQUET.items():
            held(f"the whole recording as Parquet by {name}", reader, path("whole.parquet"), times, columns)
            cut = {code: column[part] for code, column in columns.items()}
            held(f"a part of it as Parquet by {name}", reader, path("part.parquet"), times[part], cut)
        for name, reader in CSV.items():
            held(f"the whole recording as CSV by {name}", reader, path("whole.csv"), times, columns)
    print(f"\n{2 * len(PARQUET) + len(CSV) + 1 - failed} passed, {failed} failed")
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
