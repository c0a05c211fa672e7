"""gps-airspeed, drag-polar, climb: the same least squares by scipy and numpy, from the definitions."""

import numpy as np
from aerocalc3 import airspeed, std_atm
from scipy.optimize import least_squares, minimize_scalar
from scipy.stats import t as student

from figures import Figure, Topic, column, relative, turn

GRAVITY = 9.80665
SEA_LEVEL_DENSITY = 101_325.0 / (287.05287 * 288.15)
MPS_PER_KNOT = 1852.0 / 3600.0
FPM_PER_MPS = 60.0 / 0.3048


def gps_inputs(random):
    inputs = []
    for _ in range(1_000):
        legs = random.integers(4, 9)
        tas_kt, wind_kt, wind_from_deg = random.uniform(60, 160), random.uniform(0, 30), random.uniform(0, 360)
        heading = np.radians(random.uniform(0, 360) + 360.0 / legs * np.arange(legs) + random.uniform(-15, 15, legs))
        east = tas_kt * np.sin(heading) - wind_kt * np.sin(np.radians(wind_from_deg))
        north = tas_kt * np.cos(heading) - wind_kt * np.cos(np.radians(wind_from_deg))
        ground_kt = np.hypot(east, north) + random.normal(0, 0.6, legs)
        track_deg = np.degrees(np.arctan2(east, north)) % 360.0
        inputs.append(
            {"legs": [{"ground_speed_kt": g, "track_deg": t} for g, t in zip(ground_kt, track_deg)]}
        )
    return inputs


def gps_figures(inputs, answers):
    rows = []
    for given, answer in zip(inputs, answers):
        ground = np.array([leg["ground_speed_kt"] for leg in given["legs"]])
        track = np.radians([leg["track_deg"] for leg in given["legs"]])
        east, north = ground * np.sin(track), ground * np.cos(track)

        def residuals(x):
            return np.hypot(east - x[1], north - x[2]) - x[0]

        start = [ground.mean(), east.mean(), north.mean()]
        fit = least_squares(residuals, start, method="lm", xtol=1e-15, ftol=1e-15, gtol=1e-15)
        variance = 2.0 * fit.cost / (len(ground) - 3)
        se = np.sqrt(variance * np.linalg.inv(fit.jac.T @ fit.jac)[0, 0])
        wind_from_deg = np.degrees(np.arctan2(-fit.x[1], -fit.x[2]))
        wind_kt = np.hypot(fit.x[1], fit.x[2])
        rows.append(
            (
                answer["tas_kt"] - fit.x[0],
                answer["tas_se_kt"] / se - 1.0,
                answer["wind_speed_kt"] - wind_kt,
                turn(answer["wind_from_deg"], wind_from_deg) * np.radians(1.0) * wind_kt,
                answer["residual_rms_kt"] - np.sqrt(2.0 * fit.cost / len(ground)),
            )
        )
    tas, se, wind, across, rms = np.array(rows).T
    return [
        Figure("TAS, kt", tas, 1e-6),
        Figure("standard error of TAS, relative", se, 1e-4),
        Figure("wind speed, kt", wind, 1e-6),
        Figure("wind direction, as kt across the wind", across, 1e-6),
        Figure("residual rms, kt", rms, 1e-6),
    ]


def polar_inputs(random):
    inputs = []
    for _ in range(1_000):
        area_m2, span_m = random.uniform(8, 18), random.uniform(8, 18)
        cd0, oswald, mass_kg = random.uniform(0.015, 0.05), random.uniform(0.65, 0.9), random.uniform(400, 900)
        k = area_m2 / (np.pi * span_m**2 * oswald)
        points = []
        for lift in random.uniform(0.2, 1.1, random.integers(6, 16)):
            density = random.uniform(0.9, 1.25)
            mass = mass_kg - random.uniform(0, 30)
            speed = np.sqrt(2.0 * mass * GRAVITY / (density * area_m2 * lift))
            drag = (cd0 + k * lift**2) * 0.5 * density * speed**2 * area_m2 * (1.0 + random.normal(0, 0.01))
            points.append(
                {
                    "tas_kt": speed / MPS_PER_KNOT,
                    "density_kg_m3": density,
                    "mass_kg": mass,
                    "thrust_power_kw": drag * speed / 1_000.0,
                }
            )
        inputs.append(
            {"wing_area_m2": area_m2, "span_m": span_m, "points": points, "reference_mass_kg": mass_kg}
        )
    return inputs


def polar_figures(inputs, answers):
    rows = []
    for given, answer in zip(inputs, answers):
        points, area = given["points"], given["wing_area_m2"]
        speed = column(points, "tas_kt") * MPS_PER_KNOT
        pressure = 0.5 * column(points, "density_kg_m3") * speed**2
        lift = column(points, "mass_kg") * GRAVITY / (pressure * area)
        drag = column(points, "thrust_power_kw") * 1_000.0 / (pressure * speed * area)
        (k, cd0), covariance = np.polyfit(lift**2, drag, 1, cov="unscaled")
        left = drag - cd0 - k * lift**2
        k_se, cd0_se = np.sqrt(np.diag(covariance) * (left @ left) / (len(points) - 2))
        loading = 2.0 * given["reference_mass_kg"] * GRAVITY / (SEA_LEVEL_DENSITY * area)

        def ratio(coefficient):
            return coefficient / (cd0 + k * coefficient**2)

        best = minimize_scalar(lambda x: -ratio(x), bounds=(0.05, 4.0), method="bounded", options={"xatol": 1e-10})
        rows.append(
            (
                answer["cd0"] / cd0 - 1.0,
                answer["k"] / k - 1.0,
                answer["cd0_se"] / cd0_se - 1.0,
                answer["k_se"] / k_se - 1.0,
                answer["oswald"] / (area / (np.pi * given["span_m"] ** 2 * k)) - 1.0,
                answer["r_squared"] - (1.0 - (left @ left) / np.sum((drag - drag.mean()) ** 2)),
                answer["best_glide"]["ratio"] / ratio(best.x) - 1.0,
                answer["best_glide"]["eas_kt"] * MPS_PER_KNOT / np.sqrt(loading / best.x) - 1.0,
                answer["min_power"]["eas_kt"] * MPS_PER_KNOT / np.sqrt(loading / np.sqrt(3.0 * cd0 / k)) - 1.0,
            )
        )
    names = (
        "zero-lift drag", "induced factor", "its error (cd0_se)", "its error (k_se)", "Oswald's factor",
        "r squared (absolute)", "best glide ratio", "speed of best glide", "speed of least power",
    )
    # The numerical search for the best glide is only as fine as a minimum's flatness lets it be.
    bounds = {"best glide ratio": 1e-9, "speed of best glide": 1e-6}
    return [
        Figure(f"{name}, relative", values, bounds.get(name, 1e-8)) for name, values in zip(names, np.array(rows).T)
    ]


def climb_inputs(random):
    inputs = []
    for _ in range(1_000):
        best_kt, best_fpm, bend = random.uniform(55, 80), random.uniform(400, 900), random.uniform(0.4, 0.8)
        altitude_ft, reference_kg = random.uniform(1_000, 8_000), random.uniform(500, 800)
        points = []
        for off in np.linspace(-18, 20, random.integers(5, 12)):
            rate = best_fpm - bend * off**2 + random.normal(0, 8)
            points.append(
                {
                    "cas_kt": best_kt + off,
                    "climb_rate_fpm": rate,
                    "mass_kg": reference_kg * random.uniform(0.94, 1.0),
                    "pressure_altitude_ft": altitude_ft + random.uniform(-300, 300),
                    "oat_c": random.uniform(0, 25),
                }
            )
        inputs.append({"points": points, "reference_mass_kg": reference_kg})
    return inputs


def climb_figures(inputs, answers):
    tapeline_rows, rows = [], []
    for given, answer in zip(inputs, answers):
        points = given["points"]
        cas = column(points, "cas_kt")
        altitude = column(points, "pressure_altitude_ft")
        standard_k = np.array([std_atm.alt2temp(h, alt_units="ft", temp_units="K") for h in altitude])
        tapeline = column(points, "climb_rate_fpm") * (column(points, "oat_c") + 273.15) / standard_k
        corrected = tapeline * column(points, "mass_kg") / given["reference_mass_kg"]
        tapeline_rows.extend(relative(column(answer["points"], "tapeline_rate_fpm"), tapeline))
        # About the mean speed, so that the normal equations keep their digits.
        middle = cas.mean()
        fit, covariance = np.polyfit(cas - middle, corrected, 2, cov="unscaled")
        off = -fit[1] / (2.0 * fit[0])
        left = corrected - np.polyval(fit, cas - middle)
        gradient = np.array([off**2, off, 1.0])
        spread = np.sqrt(gradient @ covariance @ gradient * (left @ left) / (len(cas) - 3))
        half = student.ppf(0.975, len(cas) - 3) * spread
        steepest = minimize_scalar(
            lambda knots: -np.polyval(fit, knots - middle) / knots,
            bounds=(5.0, middle + off), method="bounded", options={"xatol": 1e-9},
        ).x
        rate_at_steepest = np.polyval(fit, steepest - middle)
        speed = airspeed.cas2tas(
            steepest, altitude.mean(), column(points, "oat_c").mean(),
            speed_units="kt", alt_units="ft", temp_units="C",
        )
        sine = rate_at_steepest / FPM_PER_MPS / (speed * MPS_PER_KNOT)
        rows.append(
            (
                answer["best_rate"]["cas_kt"] - (middle + off),
                answer["best_rate"]["climb_rate_fpm"] - np.polyval(fit, off),
                answer["best_rate"]["high_fpm"] - answer["best_rate"]["low_fpm"] - 2.0 * half,
                answer["best_angle"]["cas_kt"] - steepest,
                answer["best_angle"]["climb_rate_fpm"] - rate_at_steepest,
                answer["best_angle"]["gradient_percent"] - 100.0 * np.tan(np.arcsin(sine)),
            )
        )
    best, rate, width, angle, angle_rate, gradient = np.array(rows).T
    return [
        # aerocalc3's lapse is per foot and rounded.
        Figure("tapeline rate, relative", tapeline_rows, 1e-5),
        Figure("speed of best rate, kt", best, 1e-6),
        Figure("best rate, ft/min", rate, 1e-6),
        Figure("width of its 95 % interval, ft/min", width, 1e-6),
        Figure("speed of best angle, kt", angle, 1e-4),
        Figure("rate at best angle, ft/min", angle_rate, 1e-3),
        Figure("gradient, percentage points", gradient, 1e-4),
    ]


TOPICS = [
    Topic("gps-airspeed", "scipy.optimize.least_squares", gps_inputs, gps_figures),
    Topic("drag-polar", "numpy.polyfit and scipy.optimize", polar_inputs, polar_figures),
    Topic("climb", "aerocalc3, numpy.polyfit and scipy.optimize", climb_inputs, climb_figures),
]
