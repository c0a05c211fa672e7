"""atmosphere, altimetry, airspeed: against ambiance, fluids and aerocalc3.

The libraries have slightly different constants (fluids and ambiance work over geometric altitude, aerocalc3 has rounded
sea-level values), which the bounds allow for.
"""

import numpy as np
from aerocalc3 import airspeed, std_atm
from ambiance import Atmosphere
from fluids.atmosphere import ATMOSPHERE_1976

from figures import Figure, Topic, column, relative

EARTH_RADIUS_M = 6_356_766.0
MPS_PER_KNOT = 1852.0 / 3600.0


def atmosphere_inputs(random):
    standard = [{"pressure_altitude_ft": x} for x in random.uniform(-16_400.0, 65_600.0, 1_500)]
    warm_or_cold = [
        {"pressure_altitude_ft": h, "oat_c": t}
        for h, t in zip(random.uniform(-2_000.0, 40_000.0, 1_500), random.uniform(-60.0, 50.0, 1_500))
    ]
    return standard + warm_or_cold


def atmosphere_figures(inputs, answers):
    is_standard = np.array(["oat_c" not in given for given in inputs])
    standard = [answer for answer, keep in zip(answers, is_standard) if keep]
    geopotential_m = column(inputs, "pressure_altitude_ft")[is_standard] * 0.3048
    geometric_m = EARTH_RADIUS_M * geopotential_m / (EARTH_RADIUS_M - geopotential_m)
    ambiance = Atmosphere(geometric_m)
    fluids = [ATMOSPHERE_1976(z) for z in geometric_m]
    temperature_k = column(standard, "temperature_c") + 273.15
    pressure_pa = column(standard, "pressure_hpa") * 100.0
    density = column(standard, "density_kg_m3")
    sound = column(standard, "speed_of_sound_kt") * MPS_PER_KNOT

    changed = [(given, answer) for given, answer, keep in zip(inputs, answers, is_standard) if not keep]
    density_altitude_ft = [
        std_atm.density_alt(given["pressure_altitude_ft"], given["oat_c"], alt_units="ft", temp_units="C")
        for given, _ in changed
    ]
    return [
        Figure("temperature, K, ambiance", temperature_k - ambiance.temperature, 1e-9),
        Figure("pressure, relative, ambiance", relative(pressure_pa, ambiance.pressure), 5e-6),
        Figure("density, relative, ambiance", relative(density, ambiance.density), 5e-6),
        Figure("speed of sound, relative, ambiance", relative(sound, ambiance.speed_of_sound), 1e-6),
        Figure("temperature, K, fluids", temperature_k - [f.T for f in fluids], 1e-9),
        Figure("pressure, relative, fluids", relative(pressure_pa, [f.P for f in fluids]), 5e-6),
        Figure("density, relative, fluids", relative(density, [f.rho for f in fluids]), 5e-6),
        Figure("speed of sound, relative, fluids", relative(sound, [f.v_sonic for f in fluids]), 1e-6),
        Figure(
            "density altitude, ft, aerocalc3",
            column([answer for _, answer in changed], "density_altitude_ft") - density_altitude_ft,
            0.5,
        ),
    ]


def altimetry_inputs(random):
    count = 2_000
    oat_c = random.uniform(-25.0, 42.0, count)
    dew_point_c = np.minimum(oat_c - random.uniform(0.0, 25.0, count), 28.0)
    columns = zip(random.uniform(-1_000.0, 14_000.0, count), random.uniform(940.0, 1_060.0, count), oat_c, dew_point_c)
    inputs = []
    for row, (elevation_ft, qnh_hpa, oat_c, dew_point_c) in enumerate(columns):
        given = {"field_elevation_ft": elevation_ft, "qnh_hpa": qnh_hpa, "oat_c": oat_c}
        if row % 2:
            given["dew_point_c"] = dew_point_c
        inputs.append(given)
    return inputs


def altimetry_figures(inputs, answers):
    pressure, dry, humid = [], [], []
    for given, answer in zip(inputs, answers):
        where = (given["field_elevation_ft"], given["qnh_hpa"])
        units = {"alt_units": "ft", "temp_units": "C"}
        pressure.append(answer["pressure_altitude_ft"] - std_atm.pressure_alt(*where, alt_units="ft"))
        if "dew_point_c" in given:
            theirs = std_atm.density_alt(where[0], given["oat_c"], where[1], DP=given["dew_point_c"], **units)
            humid.append(answer["density_altitude_ft"] - theirs)
        else:
            theirs = std_atm.density_alt(where[0], given["oat_c"], where[1], **units)
            dry.append(answer["density_altitude_ft"] - theirs)
    return [
        Figure("pressure altitude, ft, aerocalc3", pressure, 0.5),
        Figure("density altitude, dry, ft, aerocalc3", dry, 0.5),
        # aerocalc3 takes another vapour pressure formula (a polynomial by Herman Wobus).
        Figure("density altitude, humid, ft, aerocalc3", humid, 10.0),
    ]


KINDS = ("cas_kt", "eas_kt", "tas_kt", "mach")


def airspeed_inputs(random):
    count = 4_000
    altitude_ft = random.uniform(-1_000.0, 36_000.0, count)
    oat_c = 15.0 - 1.98e-3 * altitude_ft + random.uniform(-20.0, 25.0, count)
    speed_kt = random.uniform(20.0, 300.0, count)
    inputs = []
    for row in range(count):
        kind = KINDS[row % 4]
        speed = speed_kt[row] / 600.0 if kind == "mach" else speed_kt[row]
        inputs.append({kind: speed, "pressure_altitude_ft": altitude_ft[row], "oat_c": oat_c[row]})
    return inputs


def airspeed_figures(inputs, answers):
    differences = {}

    def compare(name, ours, theirs):
        differences.setdefault(name, []).append(ours - theirs)

    for given, answer in zip(inputs, answers):
        altitude_ft, oat_c = given["pressure_altitude_ft"], given["oat_c"]
        units = {"speed_units": "kt", "alt_units": "ft"}
        warm = {**units, "temp_units": "C"}
        if "cas_kt" in given:
            cas_kt = given["cas_kt"]
            compare("TAS from CAS, kt", answer["tas_kt"], airspeed.cas2tas(cas_kt, altitude_ft, oat_c, **warm))
            compare("EAS from CAS, kt", answer["eas_kt"], airspeed.cas2eas(cas_kt, altitude_ft, **units))
            theirs = airspeed.cas2dp(cas_kt, speed_units="kt", press_units="pa")
            compare("impact pressure, relative", answer["impact_pressure_pa"] / theirs, 1.0)
        elif "eas_kt" in given:
            eas_kt = given["eas_kt"]
            compare("CAS from EAS, kt", answer["cas_kt"], airspeed.eas2cas(eas_kt, altitude_ft, **units))
            compare("TAS from EAS, kt", answer["tas_kt"], airspeed.eas2tas(eas_kt, altitude_ft, oat_c, **warm))
        elif "tas_kt" in given:
            tas_kt = given["tas_kt"]
            compare("CAS from TAS, kt", answer["cas_kt"], airspeed.tas2cas(tas_kt, altitude_ft, oat_c, **warm))
            compare("EAS from TAS, kt", answer["eas_kt"], airspeed.tas2eas(tas_kt, altitude_ft, oat_c, **warm))
            theirs = airspeed.tas2mach(tas_kt, oat_c, temp_units="C", speed_units="kt")
            compare("Mach from TAS", answer["mach"], theirs)
        else:
            mach = given["mach"]
            compare("CAS from Mach, kt", answer["cas_kt"], airspeed.mach_alt2cas(mach, altitude_ft, **units))
            theirs = airspeed.mach2tas(mach, oat_c, temp_units="C", speed_units="kt")
            compare("TAS from Mach, kt", answer["tas_kt"], theirs)
    bounds = {"impact pressure, relative": 1e-5, "Mach from TAS": 1e-6}
    return [Figure(f"{name}, aerocalc3", values, bounds.get(name, 0.01)) for name, values in differences.items()]


TOPICS = [
    Topic("atmosphere", "ambiance, fluids and aerocalc3", atmosphere_inputs, atmosphere_figures),
    Topic("altimetry", "aerocalc3", altimetry_inputs, altimetry_figures),
    Topic("airspeed", "aerocalc3", airspeed_inputs, airspeed_figures),
]
