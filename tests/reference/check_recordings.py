"""Holds Rungbook's readers of recorder files against independent readers of the same formats, on seeded random files.

    python check_recordings.py --columns-of PATH/columns_of    the example of the crate `recordings`

candump text with a DBC file: python-can and cantools; IGC: aerofiles; NMEA 0183: pynmea2; GPX: gpxpy. Times are
compared exactly; for values it states the differences as quantiles and fails a figure whose largest is above its bound.
The last line counts what passed and failed. The libraries and their versions are in tests/requirements.txt.
"""

import argparse
import datetime
import io
import json
import math
import subprocess
import sys
import tempfile
from pathlib import Path

import aerofiles.igc
import can.io.canutils
import cantools
import gpxpy
import gpxpy.gpx
import numpy as np
import pynmea2

from figures import Figure

EPOCH = datetime.datetime(1970, 1, 1, tzinfo=datetime.timezone.utc)


def micros(moment):
    """Microseconds since 1970 of an aware moment, without a rounding."""
    return (moment - EPOCH) // datetime.timedelta(microseconds=1)


class Reader:
    """`columns_of FORMAT FILE [DATABASE]`: what a file holds, as the crate reads it."""

    def __init__(self, program, folder):
        self.program, self.folder = program, Path(folder)

    def __call__(self, file_format, text, database=None):
        file = self.folder / f"recording.{file_format}"
        file.write_text(text, encoding="utf-8", newline="")
        command = [self.program, file_format, str(file)]
        if database is not None:
            dbc = self.folder / "bus.dbc"
            dbc.write_text(database, encoding="utf-8")
            command.append(str(dbc))
        return json.loads(subprocess.run(command, capture_output=True, text=True, check=True).stdout)


def compare(name, ours, theirs, bound):
    """Differences of two lists of rows of one column; where one has a value and the other none, the difference is infinite."""
    differences = []
    for our, their in zip(ours, theirs, strict=True):
        if our is None and their is None:
            continue
        differences.append(math.inf if our is None or their is None else our - their)
    return Figure(name, differences, bound)


def exact(name, ours, theirs):
    """Fails unless two lists are equal."""
    ours, theirs = list(ours), list(theirs)
    if len(ours) != len(theirs):
        return Figure(f"{name} ({len(ours)} of ours, {len(theirs)} of theirs)", [math.inf], 0.0)
    return Figure(name, [0.0 if our == their else math.inf for our, their in zip(ours, theirs)], 0.0)


# candump with a DBC file

MESSAGES, FRAMES = 40, 6_000


def bits_of(start, size, little):
    """The places of a signal's bits, in the numbering of DBC files."""
    if little:
        return set(range(start, start + size))
    first = start // 8 * 8 + 7 - start % 8
    return {bit // 8 * 8 + 7 - bit % 8 for bit in range(first, first + size)}


def random_signal(random, name, frame_bits, taken, mark=""):
    """A signal in bits that are not taken yet (cantools wants signals side by side), and takes them; or nothing."""
    for _ in range(100):
        little, size = bool(random.integers(2)), int(random.integers(1, min(64, frame_bits) + 1))
        start = int(random.integers(frame_bits))
        bits = bits_of(start, size, little)
        if max(bits) < frame_bits and not bits & taken:
            break
    else:
        return ""
    taken |= bits
    sign = "+-"[random.integers(2)]
    factor, offset = random.choice(["1", "0.1", "0.0625", "-2.5", "1e-3"]), random.choice(["0", "-40", "273.15"])
    return f' SG_ {name}{mark} : {start}|{size}@{int(little)}{sign} ({factor},{offset}) [0|0] "V" Vector__XXX\n'


def random_bus(random):
    """The text of a DBC file, and identifier and length of its messages."""
    text, value_types, messages = 'VERSION ""\n\nNS_ :\n\nBS_:\n\nBU_:\n\n', "", []
    for number in range(MESSAGES):
        extended = number % 3 == 0
        length = int(random.choice([8, 8, 4, 64]))
        identifier = 0x18FF0000 + number if extended else 0x100 + number
        written = identifier | (0x80000000 if extended else 0)
        text += f"BO_ {written} M{number}: {length} Vector__XXX\n"
        bits = length * 8
        if number % 4 == 1:
            text += ' SG_ Page M : 0|3@1+ (1,0) [0|0] "" Vector__XXX\n'
            for page in range(6):
                text += random_signal(random, f"P{page}", bits, {0, 1, 2}, f" m{page}")
        elif number % 4 == 2 and bits >= 64:
            text += ' SG_ Single : 0|32@1- (1,0) [0|0] "" Vector__XXX\n'
            text += ' SG_ Other : 39|32@0- (2,1) [0|0] "" Vector__XXX\n'
            value_types += f"SIG_VALTYPE_ {written} Single : 1;\nSIG_VALTYPE_ {written} Other : 1;\n"
        elif number % 4 == 3 and bits >= 64:
            text += ' SG_ Double : 7|64@0- (1,0) [0|0] "" Vector__XXX\n'
            value_types += f"SIG_VALTYPE_ {written} Double : 2;\n"
        else:
            taken = set()
            for signal in range(4):
                text += random_signal(random, f"S{signal}", bits, taken)
        text += "\n"
        messages.append((identifier, extended, length))
    return text + value_types, messages


def random_log(random, messages):
    lines, micros_now = [], 1_721_034_611_000_000
    for _ in range(FRAMES):
        identifier, extended, length = messages[random.integers(len(messages))]
        micros_now += int(random.integers(1, 2_000))
        stamp = f"({micros_now // 1_000_000}.{micros_now % 1_000_000:06})"
        digits = f"{identifier:08X}" if extended else f"{identifier:03X}"
        separator = "##1" if length > 8 else "#"
        lines.append(f"{stamp} can0 {digits}{separator}{random.bytes(length).hex().upper()}\n")
    return "".join(lines)


def candump(random, read):
    database, messages = random_bus(random)
    log = random_log(random, messages)
    ours = read("candump", log, database)
    bus = cantools.database.load_string(database, "dbc", strict=False)

    # python-can keeps stamps as floating point, which has microseconds of these years to within half of one.
    times, rows = [], []
    for frame in can.io.canutils.CanutilsLogReader(io.StringIO(log)):
        message = bus.get_message_by_frame_id(frame.arbitration_id)
        try:
            values = message.decode(bytes(frame.data), decode_choices=False)
        except cantools.database.DecodeError:
            # A page that no signal is on: the multiplexor itself is all there is, which cantools does not give then.
            page = next(signal for signal in message.signals if signal.is_multiplexer)
            values = {page.name: int.from_bytes(frame.data[:1], "little") & 7}
        times.append(round(frame.timestamp * 1e6))
        rows.append({f"{message.name}.{name}": value for name, value in values.items()})
    figures = [exact("candump: moments, python-can", ours["times"], times)]
    differences, missing = [], 0
    for name, column in ours["columns"].items():
        for our, row in zip(column, rows, strict=True):
            their = row.get(name)
            if their is None or not math.isfinite(their):
                missing += our is not None
            else:
                differences.append(math.inf if our is None else (our - their) / max(1.0, abs(their)))
    # cantools multiplies whole numbers without a rounding where factor and offset are whole.
    figures.append(Figure("candump: values, relative, cantools", differences, 1e-15))
    figures.append(Figure("candump: values where cantools has none", [missing], 0.0))
    figures.append(exact("candump: signals", sorted(ours["columns"]), sorted({name for row in rows for name in row})))
    return figures


# IGC


def random_igc(random):
    lines = ["AXXX001\r\n", "HFDTEDATE:150724,01\r\n", "I033638FXA3941ENL4244GSP\r\n"]
    second = 20 * 3600
    for _ in range(4_000):
        # Past midnight after two thirds.
        second += int(random.integers(1, 10))
        of_day = second % 86_400
        time = f"{of_day // 3600:02}{of_day // 60 % 60:02}{of_day % 60:02}"
        latitude = f"{random.integers(90):02}{random.integers(60_000):05}{'NS'[random.integers(2)]}"
        longitude = f"{random.integers(180):03}{random.integers(60_000):05}{'EW'[random.integers(2)]}"
        pressure, gnss = (f"{metres:05}" for metres in random.integers(-999, 9_999, 2))
        extensions = "".join(f"{figure:03}" for figure in random.integers(0, 1_000, 3))
        validity = "V" if random.integers(10) == 0 else "A"
        lines.append(f"B{time}{latitude}{longitude}{validity}{pressure}{gnss}{extensions}\r\n")
    return "".join(lines)


def igc(random, read):
    text = random_igc(random)
    answer = read("igc", text)
    ours = answer["columns"]
    _, theirs = aerofiles.igc.Reader().read(io.StringIO(text.replace("\r\n", "\n")))["fix_records"]

    def when_valid(key):
        return [fix[key] if fix["validity"] == "A" else None for fix in theirs]

    return [
        exact("IGC: moments, aerofiles", answer["times"], [micros(fix["datetime"]) for fix in theirs]),
        compare("IGC: latitude, deg, aerofiles", ours["latitude"], when_valid("lat"), 1e-13),
        compare("IGC: longitude, deg, aerofiles", ours["longitude"], when_valid("lon"), 1e-13),
        exact("IGC: pressure altitude, aerofiles", ours["pressure_altitude"], [fix["pressure_alt"] for fix in theirs]),
        exact("IGC: GNSS altitude, aerofiles", ours["gnss_altitude"], when_valid("gps_alt")),
        exact("IGC: FXA, aerofiles", ours["fxa"], [fix["FXA"] for fix in theirs]),
        exact("IGC: ENL, aerofiles", ours["enl"], [fix["ENL"] for fix in theirs]),
        exact("IGC: GSP, aerofiles", ours["ground_speed"], when_valid("GSP")),
    ]


# NMEA 0183


def random_nmea(random):
    sentences, now = [], datetime.datetime(2024, 7, 15, 23, 30, tzinfo=datetime.timezone.utc)
    for _ in range(3_000):
        now += datetime.timedelta(milliseconds=100 * int(random.integers(1, 20)))
        time = f"{now:%H%M%S}.{now.microsecond // 10_000:02}"
        latitude = f"{random.integers(90):02}{random.integers(60):02}.{random.integers(100_000):05}"
        longitude = f"{random.integers(180):03}{random.integers(60):02}.{random.integers(100_000):05}"
        position = f"{latitude},{'NS'[random.integers(2)]},{longitude},{'EW'[random.integers(2)]}"
        speed, track = f"{random.uniform(0, 150):.3f}", f"{random.uniform(0, 360):.2f}"
        talker = str(random.choice(["GP", "GN", "GL"]))
        rmc = ["A", *position.split(","), speed, track, f"{now:%d%m%y}", "", "", "A"]
        satellites, dilution, altitude = random.integers(4, 20), random.uniform(0.5, 4), random.uniform(-50, 4_000)
        gga = [*position.split(","), "1", f"{satellites:02}", f"{dilution:.1f}", f"{altitude:.2f}", "M", "47.0", "M", "", ""]
        sentences.append(pynmea2.RMC(talker, "RMC", (time, *rmc)))
        sentences.append(pynmea2.GGA(talker, "GGA", (time, *gga)))
        sentences.append(pynmea2.VTG(talker, "VTG", (track, "T", "", "M", speed, "N", "", "K", "A")))
        sentences.append(pynmea2.GSA("GN", "GSA", ("A", "3", *[""] * 12, "2.5", "1.3", "2.1")))
    return "".join(f"{sentence}\r\n" for sentence in sentences)


def nmea(random, read):
    text = random_nmea(random)
    answer = read("nmea", text)
    ours = answer["columns"]
    parsed = [pynmea2.parse(line, check=True) for line in text.splitlines()]
    rmc = [sentence for sentence in parsed if sentence.sentence_type == "RMC"]
    gga = [sentence for sentence in parsed if sentence.sentence_type == "GGA"]

    def of(sentences, attribute):
        return [float(getattr(sentence, attribute)) for sentence in sentences]

    return [
        exact("NMEA: moments, pynmea2", answer["times"], [micros(sentence.datetime) for sentence in rmc]),
        compare("NMEA: latitude, deg, pynmea2", ours["latitude"], of(rmc, "latitude"), 1e-13),
        compare("NMEA: longitude, deg, pynmea2", ours["longitude"], of(rmc, "longitude"), 1e-13),
        exact("NMEA: ground speed, pynmea2", ours["ground_speed"], of(rmc, "spd_over_grnd")),
        exact("NMEA: track, pynmea2", ours["track"], of(rmc, "true_course")),
        exact("NMEA: altitude, pynmea2", ours["gnss_altitude"], of(gga, "altitude")),
        exact("NMEA: satellites, pynmea2", ours["satellites"], of(gga, "num_sats")),
        exact("NMEA: dilution, pynmea2", ours["hdop"], of(gga, "horizontal_dil")),
        exact("NMEA: sentences passed over", [answer["passed_over"]], [{"GSA": len(rmc)}]),
    ]


# GPX


def random_gpx(random, version):
    track = gpxpy.gpx.GPXTrack()
    now = datetime.datetime(2024, 7, 15, 9, 0, tzinfo=datetime.timezone.utc)
    for _ in range(3):
        segment = gpxpy.gpx.GPXTrackSegment()
        for _ in range(700):
            now += datetime.timedelta(milliseconds=int(random.integers(1, 5_000)))
            point = gpxpy.gpx.GPXTrackPoint(random.uniform(-90, 90), random.uniform(-180, 180), time=now)
            if random.integers(5):
                point.elevation = random.uniform(-100, 5_000)
            point.speed = random.uniform(0, 80)
            segment.points.append(point)
        track.segments.append(segment)
    file = gpxpy.gpx.GPX()
    file.tracks.append(track)
    # Only version 1.0 of the format has a speed of its own.
    return file.to_xml(version=version)


def gpx(random, read):
    figures = []
    for version in ("1.0", "1.1"):
        text = random_gpx(random, version)
        answer = read("gpx", text)
        ours, points = answer["columns"], list(gpxpy.parse(text).walk(only_points=True))
        figures += [
            exact(f"GPX {version}: moments, gpxpy", answer["times"], [micros(point.time) for point in points]),
            exact(f"GPX {version}: latitude, gpxpy", ours["latitude"], [point.latitude for point in points]),
            exact(f"GPX {version}: longitude, gpxpy", ours["longitude"], [point.longitude for point in points]),
            exact(f"GPX {version}: elevation, gpxpy", ours["elevation"], [point.elevation for point in points]),
        ]
        if version == "1.0":
            figures.append(exact("GPX 1.0: speed, gpxpy", ours["speed"], [point.speed for point in points]))
    return figures


FORMATS = [candump, igc, nmea, gpx]


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--columns-of", required=True, help="path of the example columns_of")
    parser.add_argument("--seed", type=int, default=20240715)
    arguments = parser.parse_args()

    passed = failed = 0
    with tempfile.TemporaryDirectory() as folder:
        read = Reader(arguments.columns_of, folder)
        for file_format in FORMATS:
            random = np.random.default_rng([arguments.seed, *file_format.__name__.encode()])
            print(f"\n{file_format.__name__}")
            for figure in file_format(random, read):
                print(figure)
                if figure.holds():
                    passed += 1
                else:
                    failed += 1
    print(f"\n{passed} passed, {failed} failed")
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
