"""The posterior against a plain sum over a dense grid, with least squares by numpy."""

import numpy as np
import pytest

from lodewalk.methods.bodies.dyke import index_dyke_anomaly
from lodewalk.methods.inversion.constraints import Constraint
from lodewalk.methods.inversion.mixture import Posterior, mixed
from lodewalk.methods.inversion.posterior import least_misfit, made_ready, posterior
from lodewalk.methods.inversion.results import Noise, Profile

X = np.arange(-60.0, 61.0, 4.0)


def two_parts(place, depth, half):
    return np.array([
        index_dyke_anomaly(X - place, depth_m=depth, half_width_m=half, amplitude_nT=1.0,
                           index_angle_deg=angle)
        for angle in (0.0, 90.0)
    ])  # fmt: skip


def strips(place, depth, half):
    """Return the two curves of many dykes at once: the angle at the sensor and the logarithm."""
    x = X - np.asarray(place)[..., None]
    h, b = np.asarray(depth)[..., None], np.asarray(half)[..., None]
    angle = np.arctan((x + b) / h) - np.arctan((x - b) / h)
    return np.stack([angle, np.log(((x - b) ** 2 + h**2) / ((x + b) ** 2 + h**2)) / 2], axis=-2)


def contact_parts(place, depth):
    """Return an edge's arctangent and logarithm."""
    return np.array([np.arctan2(X - place, depth), 0.5 * np.log((X - place) ** 2 + depth**2)])


def misfit(profile, rows):
    """Return the least sum of squares of two rows with level and slope; rows may be many."""
    sd = profile.sd_nT
    base = np.linalg.qr(np.vstack([np.ones(X.size), X]).T / sd[:, None])[0]
    made, data = rows / sd, profile.anomaly_nT / sd
    made, data = made - (made @ base) @ base.T, data - base @ (base.T @ data)
    gram, pull = made @ np.swapaxes(made, -1, -2), (made @ data)[..., None]
    return data @ data - (pull * np.linalg.solve(gram, pull)).sum(axis=(-2, -1))


def edges(*axes):
    """Return the trapezoid weights of a grid: the nodes at its ends count half."""
    found = 1.0
    for axis in axes:
        weight = np.full(axis.size, axis[1] - axis[0])
        weight[[0, -1]] /= 2.0
        found = np.multiply.outer(found, weight)
    return found


def noisy(curve, share, seed):
    sd = share * np.ptp(curve)
    errors = np.random.default_rng(seed).normal(0.0, sd, X.size)
    return Profile(X, curve + errors + 30.0 - 0.2 * X, sd_nT=np.full(X.size, sd))


def weighted(values, weight, wanted):
    order = np.argsort(values)
    share = (np.cumsum(weight[order]) - 0.5 * weight[order]) / weight.sum()
    return np.interp(wanted, share, values[order])


@pytest.fixture(scope="module")
def contact():
    curve = 40.0 * contact_parts(3.0, 10.0)[0] + 10.0 * contact_parts(3.0, 10.0)[1]
    profile = noisy(curve, 0.05, 1)
    places, logs = np.linspace(-12.0, 18.0, 61), np.linspace(np.log(2.0), np.log(60.0), 80)
    cost = np.array([[misfit(profile, contact_parts(p, np.exp(h))) for h in logs] for p in places])
    return profile, places, logs, cost


def whole(profile, family, **more):
    setting = made_ready(profile, Noise(), **more)
    least = least_misfit(setting, [family])[family]
    return posterior(setting, family, least=least), least


def test_contact_is_that_of_a_dense_sum(contact):
    profile, places, logs, cost = contact
    post, least = whole(profile, "contact")
    weight = np.exp(-0.5 * (cost - cost.min())) * edges(places, logs)
    expected = np.log(weight.sum()) - 0.5 * (cost.min() - least)
    assert post.log_integral == pytest.approx(expected, abs=0.02)
    found = mixed([(1.0, post)], "depth_m")
    low, high = np.exp(weighted(logs, weight.sum(axis=0), [0.05, 0.95]))
    assert (found.low, found.high) == (pytest.approx(low, rel=0.03), pytest.approx(high, rel=0.03))


def test_a_borehole_enters_as_a_factor(contact):
    profile, _, logs, cost = contact
    factor = np.exp(-0.5 * ((np.exp(logs) - 8.0) / 0.5) ** 2)
    weight = (np.exp(-0.5 * (cost - cost.min())) * factor).sum(axis=0)
    post, _ = whole(profile, "contact", constraints=[Constraint("depth_m", 8.0, 8.0, 0.5)])
    found = mixed([(1.0, post)], "depth_m")
    low, middle, high = np.exp(weighted(logs, weight, [0.05, 0.5, 0.95]))
    assert found.value == pytest.approx(middle, rel=0.02)
    assert (found.low, found.high) == (pytest.approx(low, rel=0.02), pytest.approx(high, rel=0.02))


def test_a_borehole_that_did_not_reach_it_cuts_the_lower_side(contact):
    profile, _, logs, cost = contact
    limit = Constraint("depth_m", 10.0, np.inf, 0.2)
    below = np.minimum(np.exp(logs) - 10.0, 0.0) / 0.2
    weight = (np.exp(-0.5 * (cost - cost.min()))).sum(axis=0) * np.exp(-0.5 * below**2)
    whole_one, _ = whole(profile, "contact")
    post = whole_one.cut([limit])
    found = mixed([(1.0, post)], "depth_m")
    low, middle, high = np.exp(weighted(logs, weight, [0.05, 0.5, 0.95]))
    assert found.value == pytest.approx(middle, rel=0.03)
    assert (found.low, found.high) == (pytest.approx(low, rel=0.03), pytest.approx(high, rel=0.04))
    share = weight.sum() / np.exp(-0.5 * (cost - cost.min())).sum()
    lost = post.log_integral - whole_one.log_integral
    assert lost == pytest.approx(np.log(share), abs=0.12)


@pytest.mark.parametrize(("half", "share"), [(2.0, 0.03), (8.0, 0.03)])
def test_dyke_is_that_of_a_dense_sum(half, share):
    profile = noisy(100.0 * two_parts(3.0, 10.0, half)[0] + 30.0 * two_parts(3.0, 10.0, half)[1],
                    share, 2)  # fmt: skip
    places = np.linspace(0.0, 6.0, 25)
    logs = np.linspace(np.log(5.0), np.log(20.0), 45)
    extents = np.linspace(np.log(0.025), np.log(5.0), 80)
    p, h, u = np.meshgrid(places, logs, extents, indexing="ij")
    cost = misfit(profile, strips(p, np.exp(h), np.exp(h + u)))
    post, least = whole(profile, "strip")
    weight = np.exp(-0.5 * (cost - cost.min())) * edges(places, logs, extents)
    expected = np.log(weight.sum()) - 0.5 * (cost.min() - least)
    assert post.log_integral == pytest.approx(expected, abs=0.1)
    found = mixed([(1.0, post)], "depth_m")
    low, high = np.exp(weighted(logs, weight.sum(axis=(0, 2)), [0.05, 0.95]))
    assert (found.low, found.high) == (pytest.approx(low, rel=0.04), pytest.approx(high, rel=0.04))
    wide = mixed([(1.0, post)], "half_width_m")
    below = [weight[h + u < np.log(end)].sum() / weight.sum() for end in (wide.low, wide.high)]
    assert below == [pytest.approx(0.05, abs=0.015), pytest.approx(0.95, abs=0.02)]


def test_cylinder_comes_back():
    curve = cylinder_like(2.0, 12.0)
    profile = noisy(curve, 0.002, 4)
    post, _ = whole(profile, "cylinder")
    assert mixed([(1.0, post)], "depth_m").value == pytest.approx(12.0, rel=0.02)
    assert mixed([(1.0, post)], "position_m").value == pytest.approx(2.0, abs=0.2)


def cylinder_like(place, depth):
    """Return the curve of a horizontal cylinder under an inclined field, by its own formula."""
    x, square = X - place, (X - place) ** 2 + depth**2
    return 1e5 * (0.8 * (depth**2 - x**2) + 0.6 * 2.0 * x * depth) / square**2


def test_relief_of_the_sensor_is_taken_in():
    rise = 3.0 * np.sin(X / 15.0)
    curve = np.array([
        float(100.0 * index_dyke_anomaly(at - 1.0, depth_m=10.0 + up, half_width_m=6.0,
                                         amplitude_nT=1.0, index_angle_deg=-40.0))
        for at, up in zip(X, rise, strict=True)
    ])  # fmt: skip
    profile = Profile(X, curve, rise, np.full(X.size, 0.05))
    post, _ = whole(profile, "strip")
    assert mixed([(1.0, post)], "depth_m").value == pytest.approx(10.0, rel=0.01)
    assert mixed([(1.0, post)], "half_width_m").value == pytest.approx(6.0, rel=0.02)
    assert mixed([(1.0, post)], "index_angle_deg").value == pytest.approx(-40.0, abs=0.3)
    assert mixed([(1.0, post)], "amplitude_nT").value == pytest.approx(100.0, rel=0.02)


def test_mixture_of_one_normal_piece_has_its_quantiles():
    one = np.ones(1)
    post = Posterior("contact", one, np.zeros(1), one, np.zeros(1),
                     np.array([[5.0, np.log(20.0), 0, 0, 0]]),
                     np.array([[4.0, 0.01, 1.0, 1.0, 1.0]]), one, np.zeros((1, 2)))  # fmt: skip
    place, depth = mixed([(1.0, post)], "position_m"), mixed([(1.0, post)], "depth_m")
    assert (place.value, place.sd) == (pytest.approx(5.0, abs=0.02), pytest.approx(2.0))
    assert place.high == pytest.approx(5.0 + 2.0 * 1.6449, abs=0.02)
    assert depth.high == pytest.approx(20.0 * np.exp(0.1 * 1.6449), rel=2e-3)
