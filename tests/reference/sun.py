"""sun, sunlight: against pvlib; charging: against NumPy."""

import numpy as np
import pandas as pd
import pvlib
from pvlib import atmosphere, clearsky, irradiance, pvsystem, solarposition

from figures import Figure, Topic, column, relative, turn

DELTA_T_S = 69.2
TURBIDITY, LOSSES, PER_KELVIN = 3.0, 0.14, -0.004


def places(random, count):
    start = pd.Timestamp("1960-01-01", tz="UTC").timestamp()
    for _ in range(count):
        yield {
            "at": pd.Timestamp(start + int(random.integers(0, 110 * 365 * 86_400)), unit="s", tz="UTC").isoformat(),
            "latitude_deg": random.uniform(-85, 85),
            "longitude_deg": random.uniform(-180, 180),
            "elevation_m": random.uniform(0, 3_000),
        }


def sun_inputs(random):
    inputs = list(places(random, 1_000))
    for given in inputs:
        given |= {"pressure_hpa": random.uniform(650, 1_040), "temperature_c": random.uniform(-10, 30), "delta_t_s": DELTA_T_S}
    return inputs


def theirs(given, pressure_pa, temperature_c):
    times = pd.DatetimeIndex([given["at"]])
    place = given["latitude_deg"], given["longitude_deg"], given["elevation_m"]
    return solarposition.spa_python(times, *place, pressure_pa, temperature_c, delta_t=DELTA_T_S).iloc[0]


def sun_figures(inputs, answers):
    rows, dusk = [], []
    for given, answer in zip(inputs, answers):
        sun = theirs(given, 100 * given["pressure_hpa"], given["temperature_c"])
        rows.append(
            (
                answer["zenith_deg"] - sun.zenith,
                answer["apparent_zenith_deg"] - sun.apparent_zenith,
                turn(answer["azimuth_deg"], sun.azimuth) * np.sin(np.radians(sun.zenith)),
                answer["equation_of_time_min"] - sun.equation_of_time,
            )
        )
        for end, zenith_deg in [("civil_dawn", 96.0), ("civil_dusk", 96.0), ("sunrise", 90.8333), ("sunset", 90.8333)]:
            if answer[end] and abs(given["latitude_deg"]) < 60:
                low = theirs(given | {"at": answer[end]}, 101_325, 12).zenith
                dusk.append(low - zenith_deg)
    names = ("zenith, degrees", "apparent zenith, degrees", "azimuth, degrees of arc", "equation of time, minutes")
    bounds = (1e-6, 1e-6, 1e-6, 1e-5)
    figures = [Figure(name, values, bound) for name, values, bound in zip(names, np.array(rows).T, bounds)]
    # Half a second of time, and the parallax, which the heights leave out.
    return [*figures, Figure("the sun's height at the ends of day and twilight, degrees", dusk, 0.006)]


def sunlight_inputs(random):
    inputs = list(places(random, 1_500))
    for given in inputs:
        given |= {"cloud": random.uniform(0, 1), "air_c": random.uniform(-10, 35), "turbidity": TURBIDITY, "albedo": 0.2}
        tilt_deg, azimuth_deg = random.uniform(0, 90), random.uniform(0, 360)
        given["panel"] = {"tilt_deg": tilt_deg, "azimuth_deg": azimuth_deg, "peak_kw": random.uniform(0.5, 20)}
    return inputs


def sunlight_figures(inputs, answers):
    rows = []
    for given, answer in zip(inputs, answers):
        pressure_pa = atmosphere.alt2pres(given["elevation_m"])
        sun = theirs(given, pressure_pa, 12.0)
        if sun.apparent_zenith > 88:
            continue
        outside = irradiance.get_extra_radiation(pd.DatetimeIndex([given["at"]]), method="nrel").iloc[0]
        mass = atmosphere.get_absolute_airmass(atmosphere.get_relative_airmass(sun.apparent_zenith), pressure_pa)
        clear = clearsky.ineichen(sun.apparent_zenith, mass, TURBIDITY, given["elevation_m"], outside)
        dimmed = clear["ghi"] * (1 - 0.75 * given["cloud"] ** 3.4)
        irradiance.get_extra_radiation, kept = (lambda *_: outside), irradiance.get_extra_radiation
        split = irradiance.erbs(dimmed, sun.zenith, 1)
        irradiance.get_extra_radiation = kept
        panel = given["panel"]
        plane = irradiance.get_total_irradiance(
            panel["tilt_deg"], panel["azimuth_deg"], sun.apparent_zenith, sun.azimuth,
            float(split["dni"]), dimmed, float(split["dhi"]), albedo=0.2, model="isotropic",
        )["poa_global"]
        cell = given["air_c"] + 25.0 * plane / 800.0
        power = pvsystem.pvwatts_dc(plane, cell, panel["peak_kw"], PER_KELVIN) * (1 - LOSSES)
        by_height = clearsky.haurwitz(pd.Series([sun.apparent_zenith]))["ghi"].iloc[0]
        pairs = [
            ("clear_global_w_m2", clear["ghi"]), ("clear_beam_w_m2", clear["dni"]), ("clear_diffuse_w_m2", clear["dhi"]),
            ("clear_by_height_w_m2", by_height), ("beam_w_m2", float(split["dni"])), ("diffuse_w_m2", float(split["dhi"])),
            ("plane_w_m2", plane),
        ]
        rows.append([answer[name] - value for name, value in pairs] + [answer["power_kw"] - power])
    names = ["clear sky, global", "clear sky, beam", "clear sky, diffuse", "by height", "beam", "diffuse", "on the panel"]
    # The two take standard pressures that differ by some pascals.
    figures = [Figure(f"{name}, W/m²", values, 0.05) for name, values in zip(names, np.array(rows).T)]
    return [*figures, Figure("power, kW", np.array(rows).T[-1], 0.002)]


def charging_inputs(random):
    inputs = []
    for _ in range(500):
        states = np.sort(random.uniform(0, 1, 4))
        inputs.append(
            {
                "supply": "direct",
                "power_kw": random.uniform(2, 60),
                "efficiency": random.uniform(0.8, 0.98),
                "usable_kwh": random.uniform(5, 60),
                "from_state": random.uniform(0, 0.5),
                "to_state": random.uniform(0.55, 1),
                "taper": np.column_stack([states, random.uniform(1, 40, 4)]).tolist(),
            }
        )
    return inputs


def charging_figures(inputs, answers):
    times = []
    for given in inputs:
        states, most = np.array(given["taper"]).T
        output = given["power_kw"] * given["efficiency"]
        grid = np.linspace(given["from_state"], given["to_state"], 200_001)
        inverse = 1.0 / np.minimum(output, np.interp(grid, states, most))
        times.append(given["usable_kwh"] * np.trapezoid(inverse, grid))
    return [Figure("time, relative", relative(column(answers, "time_h"), times), 1e-6)]


TOPICS = [
    Topic("sun", f"pvlib {pvlib.__version__}, spa_python", sun_inputs, sun_figures),
    Topic("sunlight", f"pvlib {pvlib.__version__}", sunlight_inputs, sunlight_figures),
    Topic("charging", "numpy.trapezoid over numpy.interp", charging_inputs, charging_figures),
]
