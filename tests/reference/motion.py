"""damping, flutter-margin, thermal-fit: against decays of known truth, Routh's criterion, and numerical quadrature in scipy."""

import numpy as np
from scipy.optimize import curve_fit, least_squares
from scipy.special import roots_legendre
from scipy.stats import t as student

from figures import Figure, Topic, column

MPS_PER_KNOT = 1852.0 / 3600.0
SEA_LEVEL_DENSITY = 101_325.0 / (287.05287 * 288.15)

DECAYS = 1_000
# Standard deviation of the noise, in shares of the first amplitude.
NOISE = 0.02


def decay(t, amplitude, phase, rate, frequency, offset):
    return amplitude * np.exp(-rate * t) * np.cos(2.0 * np.pi * frequency * t + phase) + offset


class Decays:
    """Oscillations of known damping and frequency; every second one with noise."""

    def inputs(self, random):
        self.ratio = random.uniform(0.008, 0.08, DECAYS)
        self.frequency = random.uniform(2.0, 15.0, DECAYS)
        self.noisy = np.arange(DECAYS) % 2 == 1
        inputs = []
        for ratio, frequency, noisy in zip(self.ratio, self.frequency, self.noisy):
            t = np.arange(0.0, 12.0 / frequency, 1.0 / (frequency * random.uniform(12, 25)))
            rate = ratio * 2.0 * np.pi * frequency / np.sqrt(1.0 - ratio**2)
            phase, offset = random.uniform(0, 2.0 * np.pi), random.uniform(-0.3, 0.3)
            value = decay(t, 1.0, phase, rate, frequency, offset) + random.normal(0, NOISE, t.size) * noisy
            inputs.append({"samples": np.column_stack([t, value]).tolist()})
        return inputs

    def figures(self, inputs, answers):
        ratio, frequency, noisy = self.ratio, self.frequency, self.noisy
        ours, ours_hz = column(answers, "damping_ratio"), column(answers, "frequency_hz")
        missed = (column(answers, "damping_ratio_low") > ratio) | (ratio > column(answers, "damping_ratio_high"))
        least_squares_ratio = [self.fitted_ratio(inputs[row], row) for row in np.flatnonzero(noisy)]
        off, off_hz = ours - ratio, ours_hz / frequency - 1.0
        return [
            Figure("damping ratio without noise, truth", off[~noisy], 1e-10),
            Figure("frequency without noise, relative, truth", off_hz[~noisy], 1e-10),
            Figure("damping ratio with 2 % noise, truth", off[noisy], 2e-3, quantile=0.95),
            Figure("frequency with 2 % noise, relative, truth", off_hz[noisy], 2e-3, quantile=0.95),
            Figure("damping ratio with 2 % noise, scipy.optimize.curve_fit", ours[noisy] - least_squares_ratio, 1e-6),
            Figure("share of 95 % intervals that miss the truth, less 5 %", [np.mean(missed[noisy]) - 0.05], 0.03),
        ]

    def fitted_ratio(self, given, row):
        """The least-squares damping ratio by scipy, from the truth and the best of four phases."""
        t, value = np.array(given["samples"]).T
        rate = self.ratio[row] * 2.0 * np.pi * self.frequency[row]
        fits = []
        for phase in (0.0, 1.5, 3.0, 4.5):
            start = (1.0, phase, rate, self.frequency[row], 0.0)
            fit, _ = curve_fit(decay, t, value, p0=start, maxfev=20_000)
            fits.append((np.sum((decay(t, *fit) - value) ** 2), tuple(fit)))
        _, (_, _, rate, frequency, _) = min(fits)
        return rate / np.hypot(rate, 2.0 * np.pi * frequency)


DECAYING = Decays()


def flutter_inputs(random):
    inputs = []
    for _ in range(1_000):
        points = []
        top, low_hz, high_hz = random.uniform(90, 160), random.uniform(3, 6), random.uniform(8, 12)
        closing, curve = random.uniform(0.5, 0.8), random.uniform(0.004, 0.012)
        density_ratio = random.uniform(0.7, 1.0)
        for share in np.linspace(0.4, 0.95, random.integers(4, 9)):
            gap = (high_hz - low_hz) * (1.0 - closing * share**2)
            middle = 0.5 * (high_hz + low_hz)
            points.append(
                {
                    "eas_kt": share * top,
                    "density_ratio": density_ratio,
                    "modes": [
                        {
                            "frequency_hz": middle - 0.5 * gap + random.normal(0, 0.01),
                            "damping_ratio": 0.02 + curve * share + random.uniform(0, 1e-3),
                        },
                        {
                            "frequency_hz": middle + 0.5 * gap + random.normal(0, 0.01),
                            "damping_ratio": 0.022 - 0.5 * curve * share + random.uniform(0, 1e-3),
                        },
                    ],
                }
            )
        inputs.append({"points": points})
    return inputs


def routh_margin(point):
    """Routh's test function of the quartic that has the two modes' roots: (a3 a2 a1 - a1² - a3² a0) / a3²."""
    roots = []
    for mode in point["modes"]:
        natural = 2.0 * np.pi * mode["frequency_hz"]
        root = natural * (-mode["damping_ratio"] + 1j * np.sqrt(1.0 - mode["damping_ratio"] ** 2))
        roots += [root, root.conjugate()]
    _, a3, a2, a1, a0 = np.poly(roots).real
    return a2 * a1 / a3 - (a1 / a3) ** 2 - a0


def flutter_figures(inputs, answers):
    margins, onsets, same = [], [], []
    for given, answer in zip(inputs, answers):
        q = 0.5 * SEA_LEVEL_DENSITY * (column(given["points"], "eas_kt") * MPS_PER_KNOT) ** 2
        theirs = np.array([routh_margin(point) for point in given["points"]])
        ours = column(answer["margins"], "margin")
        margins.extend((ours - theirs) / np.max(np.abs(theirs)))
        order = 1 if len(q) == 3 else 2
        trend = np.polyfit(q, theirs, order)
        roots = np.roots(trend)
        beyond = [x.real for x in roots if abs(x.imag) < 1e-9 * abs(x) and q.max() < x.real]
        limit = (3.0 * max(point["eas_kt"] for point in given["points"]) * MPS_PER_KNOT) ** 2
        onset = min(beyond, default=np.inf)
        onset = onset if 2.0 * onset / SEA_LEVEL_DENSITY <= limit else np.inf
        same.append(float(np.isinf(onset) != (answer["flutter_eas_kt"] is None)))
        if np.isfinite(onset) and answer["flutter_eas_kt"] is not None:
            onsets.append(answer["flutter_eas_kt"] * MPS_PER_KNOT / np.sqrt(2.0 * onset / SEA_LEVEL_DENSITY) - 1.0)
    return [
        Figure("margin, of the largest, Routh's test function by numpy.poly", margins, 1e-9),
        Figure("whether the trend comes to zero, numpy.roots", same, 0.0),
        Figure("speed of onset, relative, numpy.polyfit and roots", onsets, 1e-6),
    ]


FITS = 1_000
NODES, WEIGHTS = roots_legendre(16)


def thermal_response(parameters, t, ambient, power):
    """The model by numerical quadrature over each step, with ambient and power on straight lines between samples."""
    time_constant, rise, start = parameters
    steps = np.diff(t)
    share = 0.5 * (NODES + 1.0)
    heat = ambient + rise * power
    between = heat[:-1, None] + np.diff(heat)[:, None] * share
    fading = np.exp(-steps[:, None] * (1.0 - share) / time_constant)
    gained = (0.5 * steps / time_constant) * ((between * fading) @ WEIGHTS)
    response = np.empty_like(t)
    response[0] = start
    for row, (kept, gain) in enumerate(zip(np.exp(-steps / time_constant), gained)):
        response[row + 1] = response[row] * kept + gain
    return response


def thermal_inputs(random):
    inputs = []
    for _ in range(FITS):
        time_constant, rise = random.uniform(150, 900), random.uniform(0.5, 3.0)
        t = np.cumsum(random.uniform(8, 30, 50))
        ambient = random.uniform(5, 30) + random.uniform(-0.004, 0.004) * t
        power = np.repeat(random.uniform(5, 45, 5), 10)
        start = ambient[0] + random.uniform(0, 15)
        temperature = thermal_response((time_constant, rise, start), t, ambient, power) + random.normal(0, 0.3, t.size)
        names = ("t_s", "temperature_c", "ambient_c", "power_kw")
        samples = [dict(zip(names, row)) for row in np.column_stack([t, temperature, ambient, power]).tolist()]
        predict = {"power_kw": 30.0, "duration_s": 400.0, "start_c": 20.0, "ambient_c": 18.0, "limit_c": 200.0}
        inputs.append({"samples": samples, "predict": predict})
    return inputs


def thermal_figures(inputs, answers):
    rows = []
    for given, answer in zip(inputs, answers):
        t, temperature, ambient, power = (
            column(given["samples"], name) for name in ("t_s", "temperature_c", "ambient_c", "power_kw")
        )

        def residuals(x):
            return thermal_response(x, t, ambient, power) - temperature

        fit = least_squares(
            residuals, (400.0, 1.5, temperature[0]), bounds=((10.0, 0.0, -50.0), (1e4, 50.0, 200.0)),
            x_scale=(100.0, 1.0, 10.0), jac="3-point", xtol=1e-14, ftol=1e-14, gtol=1e-14,
        )
        free = t.size - 3
        variance = 2.0 * fit.cost / free
        covariance = variance * np.linalg.inv(fit.jac.T @ fit.jac)
        se = np.sqrt(np.diag(covariance))
        asked = given["predict"]

        def predicted(x):
            steady = asked["ambient_c"] + x[1] * asked["power_kw"]
            return steady + (asked["start_c"] - steady) * np.exp(-asked["duration_s"] / x[0])

        step = 1e-5 * np.abs(fit.x)
        gradient = np.array(
            [(predicted(fit.x + e) - predicted(fit.x - e)) / (2.0 * e.sum()) for e in np.diag(step)]
        )
        half = student.ppf(0.975, free) * np.sqrt(variance + gradient @ covariance @ gradient)
        told = answer["predicted"]
        rows.append(
            (
                answer["time_constant_s"] / fit.x[0] - 1.0,
                answer["rise_c_per_kw"] / fit.x[1] - 1.0,
                answer["start_c"] - fit.x[2],
                answer["time_constant_se_s"] / se[0] - 1.0,
                answer["rise_se_c_per_kw"] / se[1] - 1.0,
                answer["residual_rms_c"] - np.sqrt(2.0 * fit.cost / t.size),
                told["temperature_c"] - predicted(fit.x),
                told["high_c"] - told["low_c"] - 2.0 * half,
            )
        )
    names = (
        ("time constant, relative", 1e-5), ("rise, relative", 1e-5), ("start, °C", 1e-4),
        ("error of the time constant, relative", 1e-3), ("error of the rise, relative", 1e-3),
        ("residual rms, °C", 1e-6), ("predicted temperature, °C", 1e-4), ("width of the 95 % interval, °C", 1e-3),
    )
    return [Figure(name, values, bound) for (name, bound), values in zip(names, np.array(rows).T)]


TOPICS = [
    Topic("damping", "known truth and scipy.optimize.curve_fit", DECAYING.inputs, DECAYING.figures),
    Topic("flutter-margin", "Routh's criterion by numpy", flutter_inputs, flutter_figures),
    Topic("thermal-fit", "scipy.special.roots_legendre in scipy.optimize.least_squares", thermal_inputs, thermal_figures),
]
