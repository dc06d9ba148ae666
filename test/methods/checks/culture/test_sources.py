"""Width and distance of compact sources, against the field of a dipole by its vector form."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.checks.culture import find_sources, narrowest_width

UP = np.array([0.0, 0.0, 1.0])


def anomaly(along, aside, below, moment, ambient):
    """Return the total-field anomaly of a dipole, 100 m (3 (m.u)(f.u) - m.f) / r^3."""
    to = np.stack([along, np.full(along.size, -aside), np.full(along.size, -below)], axis=-1)
    distance = np.linalg.norm(to, axis=-1, keepdims=True)
    unit = to / distance
    along_both = 3 * (unit @ moment) * (unit @ ambient) - moment @ ambient
    return 100 * along_both / distance[:, 0] ** 3


def full_width(along, field):
    """Return the full width at half maximum of the largest peak."""
    top = int(np.abs(field).argmax())
    low = field * np.sign(field[top]) < np.abs(field[top]) / 2
    before, after = np.flatnonzero(low[:top])[-1], top + np.flatnonzero(low[top:])[0]
    return along[after] - along[before + 1]


def direction(rng):
    part = rng.normal(size=3)
    return part / np.linalg.norm(part)


def test_no_dipole_is_narrower_than_the_limit():
    rng = np.random.default_rng(1)
    along = np.linspace(-12, 12, 12_001)
    narrowest = float(narrowest_width(1.0))
    widths = []
    for trial in range(400):
        ambient = direction(rng)
        if trial % 2:  # upright share and tilt around the narrowest
            upright, tilt = rng.uniform(0.34, 0.45), 0.2 * rng.normal()
            ambient = np.array([tilt, np.sqrt(1 - upright), np.sqrt(upright)])
        moment = direction(rng) if trial % 4 == 0 else ambient
        widths.append(full_width(along, anomaly(along, 0.0, 1.0, moment, ambient)))
    assert narrowest - 0.004 <= min(widths) <= 1.1 * narrowest
    # Just above the direction at which the flanks are as large as the middle.
    flat = np.sqrt([0.0, 1 - 0.386, 0.386])
    assert full_width(along, anomaly(along, 0.0, 1.0, flat, flat)) == pytest.approx(
        narrowest, abs=0.01
    )
    # Along the way 4 (1 - 2 u)^2 = (1 + u)^5 at the half maximum: 0.7677. Sphere at the pole:
    # the depth is 1.99727 half widths (textbook rule of 2.0, recomputed).
    level = np.array([1.0, 0.0, 0.0])
    for way, width in ((level, 0.7677), (UP, 2 / 1.99727)):
        found = full_width(along, anomaly(along, 0.0, 1.0, way, way))
        assert found == pytest.approx(width, abs=0.005)


def test_distance_of_a_dipole_and_side_of_the_ground():
    rng = np.random.default_rng(2)
    off, above, below = [], [], []
    for _ in range(150):
        distance = np.exp(rng.uniform(*np.log([0.7, 4.0])))
        angle = rng.uniform(-0.8, 0.8)
        along = np.cumsum(1.0 + 0.03 * rng.normal(size=80)) - rng.uniform(38, 42)
        place = along, distance * np.sin(angle), distance * np.cos(angle)
        field = anomaly(*place, direction(rng), direction(rng))
        field = 60 * field / np.abs(field).max()
        noisy = field + rng.normal(scale=0.2, size=80)
        found = find_sources(noisy, along - along[0], sensor_height_m=1.8, noise_nT=0.2)
        if not found.row.size:
            continue
        best = np.abs(found.peak_nT).argmax()
        off.append(np.log(found.distance_m[best] / distance))
        side = above if distance < 0.8 * 1.8 else below if distance > 1.25 * 1.8 else []
        side.append(found.above_ground[best])
    assert len(off) >= 140
    assert np.median(np.abs(off)) < 0.12
    assert np.mean(np.array(above) > 0.5) > 0.9
    assert np.mean(np.array(below) > 0.5) < 0.03


def test_a_wide_dyke_is_no_near_source():
    along = np.arange(0, 120, 1.0)
    one, two = along - 55, along - 65
    field = 100 * (np.arctan2(-two, 4.0) - np.arctan2(-one, 4.0))
    field += np.random.default_rng(3).normal(scale=0.2, size=120)
    found = find_sources(field, along, sensor_height_m=1.8, noise_nT=0.2)
    assert (found.above_ground < 0.01).all()
    assert (found.near < 0.5).all()


def test_a_stop_a_gap_and_too_few_readings():
    along = np.concatenate([np.arange(0, 40, 1.0), np.full(30, 40.0), np.arange(41, 80, 1.0)])
    field = anomaly(along - 20.3, 0.0, 1.2, UP, UP)
    found = find_sources(field, along, sensor_height_m=1.8, noise_nT=0.2)
    assert found.distance_m == pytest.approx([1.2], rel=0.25)
    empty = find_sources([], [], sensor_height_m=1.8, noise_nT=0.2)
    few = find_sources([1.0, 9.0, 2.0], [0.0, 1.0, 2.0], sensor_height_m=1.8, noise_nT=0.2)
    assert empty.row.size == few.row.size == 0
    with pytest.raises(InputError, match="above zero"):
        narrowest_width([1.8, 0.0])


@pytest.mark.parametrize("off", [0.0, 0.1, 0.25])
def test_a_strong_source_that_is_read_closely_is_one(off):
    """Its windows gain most at its flanks, beyond the distance at which two sources are one."""
    along = np.arange(0.0, 60.25, 0.5)
    square = ((along - 30.0 - off) / 2.0) ** 2
    field = 90.0 * (2 - square) / (2 * (1 + square) ** 2.5)
    field += np.random.default_rng(1).normal(0.0, 0.05, along.size)
    found = find_sources(field, along, sensor_height_m=1.8, noise_nT=0.05)
    assert along[found.row] == pytest.approx([30.0], abs=0.5)


def test_two_sources_three_sensor_heights_apart_are_two():
    along = np.arange(0.0, 60.25, 0.5)
    field = anomaly(along - 27.0, 0.0, 1.2, UP, UP) + anomaly(along - 32.5, 0.0, 1.2, UP, UP)
    found = find_sources(field, along, sensor_height_m=1.8, noise_nT=0.05)
    assert along[found.row] == pytest.approx([27.0, 32.5], abs=0.6)
