"""Fetches a recording's data from the running demonstration and opens them with pandas, polars and DuckDB.

    python check_over_http.py --program PATH

A file of the demonstration's inverter is sent to the service and asked for again as CSV and as Parquet. Every library has to
read the moments of the file that Python reads, and of each channel whose unit is that of the file the very same doubles.
"""

import argparse
import csv
import hashlib
import io
import pathlib
import re
import struct
import subprocess
import sys
import tempfile

import duckdb
import pandas
import polars
import requests

PASSWORD = "one rung at a time"


def rows_of(frame):
    """Moments in microseconds, and values by channel, of a frame of pandas."""
    times = frame["time"].astype("datetime64[us, UTC]").astype("int64").tolist()
    return times, {code: frame[code].tolist() for code in frame.columns if code != "time"}


def by_pandas(path, kind):
    frame = pandas.read_parquet(path) if kind == "parquet" else pandas.read_csv(path, parse_dates=["time"])
    return rows_of(frame)


def by_polars(path, kind):
    frame = polars.read_parquet(path) if kind == "parquet" else polars.read_csv(path, try_parse_dates=True, infer_schema_length=None)
    # What CSV has no value of has no type either.
    typed = lambda code: frame.schema[code] == polars.Float64 or (kind == "csv" and frame[code].is_null().all())
    assert all(typed(code) for code in frame.columns if code != "time"), frame.schema
    values = {code: frame[code].to_list() for code in frame.columns if code != "time"}
    return frame["time"].cast(polars.Datetime("us", "UTC")).to_physical().to_list(), values


def by_duckdb(path, kind):
    base = duckdb.connect()
    source = "read_parquet(?)" if kind == "parquet" else "read_csv(?)"
    described = dict(row[:2] for row in base.execute(f"describe select * from {source}", [path]).fetchall())
    codes = [code for code in described if code != "time"]
    filled = lambda code: base.execute(f'select count("{code}") from {source}', [path]).fetchone()[0] > 0
    assert all(described[code] == "DOUBLE" or (kind == "csv" and not filled(code)) for code in codes), described
    columns = ", ".join(f'"{code}"' for code in codes)
    times, *values = zip(*base.execute(f"select epoch_us(time), {columns} from {source}", [path]).fetchall())
    return list(times), dict(zip(codes, map(list, values)))


READERS = {"pandas": by_pandas, "polars": by_polars, "DuckDB": by_duckdb}


def bits(values):
    """Doubles by their bits; what is missing is None."""
    missing = lambda value: value is None or value is pandas.NA or value != value
    return [None if missing(value) else struct.pack("<d", value) for value in values]


def check(base, folder):
    entry = requests.post(f"{base}/api/v1/sessions", json={"handle": "tomas", "password": PASSWORD}, timeout=30).json()
    asks = requests.Session()
    asks.headers["Authorization"] = f"Bearer {entry['access_token']}"
    at = f"{base}/api/v1/programmes/tallow"
    mapping = asks.get(f"{at}/recorders/inverter", timeout=30).json()["columns"]
    units = {channel["code"]: channel["unit"] for channel in asks.get(f"{at}/channels?limit=500", timeout=30).json()["items"]}
    same = {column["column"]: column["channel"] for column in mapping if units[column["channel"]] == column["unit"]}
    file = sorted(pathlib.Path(folder).glob("*inverter*"))[-2].read_bytes()
    query = {"recorder": "inverter", "name": "inverter.csv"}
    sent = asks.post(f"{at}/recordings", params=query, data=file, headers={"Content-Type": "text/csv"}, timeout=300)
    # The demonstration has taken its own files in; a file is called by its SHA-256.
    if sent.status_code != 409:
        sent.raise_for_status()
    data = f"{at}/recordings/{hashlib.sha256(file).hexdigest()}/data"
    rows = list(csv.DictReader(io.StringIO(file.decode())))
    failed = 0
    for kind, accept in {"csv": "text/csv", "parquet": "application/vnd.apache.parquet"}.items():
        reply = asks.get(data, headers={"Accept": accept}, timeout=300)
        reply.raise_for_status()
        assert reply.headers["Content-Type"].startswith(accept), reply.headers
        path = str(pathlib.Path(folder) / f"out.{kind}")
        pathlib.Path(path).write_bytes(reply.content)
        for name, reader in READERS.items():
            times, values = reader(path, kind)
            # The file may have rows that were refused; those that came are found by their moments.
            by_moment = {int(row["time_ms"]) * 1000: row for row in rows if row["time_ms"].isdigit()}
            differs = [] if len(times) > 0.99 * len(by_moment) and set(times) <= set(by_moment) else ["moments"]
            for column, code in same.items():
                cells = [by_moment[at][column] if at in by_moment else "" for at in times]
                expected = bits([float(cell) if re.fullmatch(r"-?[0-9.]+", cell) else None for cell in cells])
                # What was beyond its sensor was refused, so it may be missing; nothing else may differ.
                found = bits(values[code])
                if any(there is not None and there != wanted for there, wanted in zip(found, expected)):
                    differs.append(code)
                elif sum(there is not None for there in found) < 0.9 * sum(wanted is not None for wanted in expected):
                    differs.append(f"{code} (missing)")
            failed += bool(differs)
            print(f"{'failed' if differs else 'passed'}  {kind} over HTTP by {name}" + (f": {', '.join(differs)}" if differs else ""))
    print(f"\n{2 * len(READERS) - failed} passed, {failed} failed")
    return failed


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--program", required=True, help="path of the program rungbook")
    program = parser.parse_args().program
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run([program, "demo", "--recorder-files", folder], check=True, capture_output=True)
        words = [program, "demo", "--listen", "127.0.0.1:0"]
        server = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        try:
            base = next(found.group(0) for line in server.stdout if (found := re.search(r"http://[0-9.:]*[0-9]", line)))
            failed = check(base, folder)
        finally:
            server.terminate()
            server.wait(30)
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
