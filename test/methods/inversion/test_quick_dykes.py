"""The compiled kernel against scipy from several starts, its series against libm."""

import numpy as np
from scipy.optimize import least_squares

from lodewalk.methods.inversion import Noise, Profile, body_curve, quick_dykes
from lodewalk.methods.inversion._quick_math import angles, logarithms

DISTANCE = np.linspace(-100.0, 100.0, 200)
NAMES = ("position_m", "depth_m", "half_width_m", "strength_nT_m", "index_angle_deg")


def lowest(readings, truth):
    """Return the least cost of scipy's Levenberg-Marquardt from the truth and beside it."""

    def parts(v):
        body = dict(zip(NAMES, [v[0], np.exp(v[1]), np.exp(v[2]), v[3], v[4]], strict=True))
        curve, slopes = body_curve("dyke", DISTANCE, body)
        matrix = np.array([slopes[name] for name in NAMES]).T
        matrix[:, 1:3] *= np.exp(v[1:3])
        return curve, matrix

    def rest(v):
        return parts(v)[0] + v[5] + v[6] * DISTANCE / 100.0 - readings

    def slopes(v):
        return np.column_stack([parts(v)[1], np.ones(200), DISTANCE / 100.0])

    costs = []
    for factor in (1.0, 0.6, 1.6):
        x0, depth, half, size, angle = truth
        begin = [x0, np.log(depth * factor), np.log(half / factor), size, angle, 0.0, 0.0]
        costs.append(2.0 * least_squares(rest, begin, jac=slopes, method="lm", xtol=1e-12).cost)
    return min(costs)


def test_costs_are_those_of_the_reference():
    rng = np.random.default_rng(5)
    rows, truths = [], []
    for _ in range(40):
        depth = np.exp(rng.uniform(np.log(4.0), np.log(20.0)))
        half = depth * np.exp(rng.uniform(np.log(0.3), np.log(2.0)))
        truth = (rng.uniform(-30.0, 30.0), depth, half, 2000.0, rng.uniform(-180.0, 180.0))
        curve, _ = body_curve("dyke", DISTANCE, dict(zip(NAMES, truth, strict=True)))
        noise = np.exp(rng.uniform(np.log(0.002), np.log(0.03))) * np.ptp(curve)
        rows.append(curve + rng.normal(0.0, noise, 200) + 5.0)
        truths.append(truth)
    _, costs, rested = quick_dykes(Profile(DISTANCE, rows[0]), np.array(rows))
    expected = np.array([lowest(row, one) for row, one in zip(rows, truths, strict=True)])
    assert rested.all()
    # scipy may end higher, or at the thin sheet that its logarithm can't cross
    assert (costs < expected * (1.0 + 1e-6)).sum() >= 39


def test_errors_and_heights_of_the_readings_count():
    rng = np.random.default_rng(1)
    rise, sd = rng.normal(0.0, 0.5, 200), rng.uniform(0.5, 2.0, 200)
    body = dict(zip(NAMES, (5.0, 10.0, 8.0, 2000.0, -50.0), strict=True))
    curve, _ = body_curve("dyke", DISTANCE, body, rise_m=rise)
    inner, cost, _ = quick_dykes(Profile(DISTANCE, curve, rise, sd), curve[None], Noise(2.0))
    assert cost[0] < 1e-6
    np.testing.assert_allclose(np.exp(inner[0, 1]) - rise.min(), 10.0, rtol=1e-4)


def test_the_series_are_the_standard_functions():
    rng = np.random.default_rng(0)
    values = np.exp(np.concatenate([rng.uniform(-30, 30, 5000), rng.uniform(-1e-3, 1e-3, 5000)]))
    found = np.empty(10000)
    logarithms(values.copy(), found)
    np.testing.assert_allclose(found, np.log(values), rtol=1e-13, atol=1e-18)
    up, along = rng.normal(size=(2, 10000))
    angles(up, along, found)
    np.testing.assert_allclose(found, np.arctan2(up, along), rtol=1e-14)
