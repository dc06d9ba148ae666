"""What a survey would find: beside closed forms, and beside detection tried out with noise."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.bodies.anomaly import ambient_vector
from lodewalk.methods.bodies.dipole import dipole_field
from lodewalk.methods.planning.missed_target import smallest_sphere, target_detection

POLE = np.array([0.0, 0.0, 50_000.0])
SLANTED = ambient_vector(strength_nT=24_000.0, inclination_deg=-34.0, declination_deg=-18.0)


def lines(*, spacing: float, step: float = 1.0, length: float = 200.0, count: int = 9):
    north = np.arange(0.0, length + step / 2, step)
    return np.repeat(spacing * np.arange(count), north.size), np.tile(north, count)


def anomaly(
    place: tuple[float, float], east: np.ndarray, north: np.ndarray, height: np.ndarray,
    *, depth: float, ambient: np.ndarray,
) -> np.ndarray:  # fmt: skip
    """Return the projected anomaly of a dipole of 1 A m2 along the ambient field [nT]."""
    unit = ambient / np.linalg.norm(ambient)
    field = dipole_field(east, north, height, centre=[*place, -depth], moment=unit)
    return sum(part * share for part, share in zip(field, unit, strict=True))


def test_dense_readings_at_the_pole_give_the_integral_over_the_plane() -> None:
    # Vertical dipole, T = 100 (2 z^2 - r^2) / (z^2 + r^2)^(5/2) nT for 1 A m2; the integral of
    # T over the plane is nothing, that of T^2 is 100^2 0.75 pi / z^4 (u = z^2 + r^2).
    z, step, noise = 6.0, 1.0, 0.5
    side = np.arange(-60.0, 60.5, step)
    east, north = (axis.ravel() for axis in np.meshgrid(side, side))
    found = target_detection(
        [0.3],
        [-0.2],
        easting_m=east,
        northing_m=north,
        sensor_height_m=2.0,
        noise_nT=noise,
        depth_m=z - 2.0,
        ambient_nT=POLE,
    )
    expected = 100 * np.sqrt(0.75 * np.pi) / (z**2 * step * noise)
    # Four heights, a fifth of one taken together: 2 % at most.
    assert found.signal_per_moment[0] == pytest.approx(expected, rel=0.025)
    # Normal quantiles from tables: 3.0902 for 0.001 and 1.2816 for 0.9.
    assert found.threshold == pytest.approx(3.0902, abs=1e-4)
    assert found.smallest_moment_A_m2[0] == pytest.approx((3.0902 + 1.2816) / expected, rel=0.025)


@pytest.mark.parametrize("place", [(40.0, 100.0), (46.0, 100.5), (50.0, 97.0)])
@pytest.mark.parametrize("ambient", [POLE, SLANTED], ids=["pole", "slanted"])
def test_share_found_in_noise(place: tuple[float, float], ambient: np.ndarray) -> None:
    rng = np.random.default_rng(9)
    east, north = lines(spacing=20.0)
    east, north = east + rng.normal(0, 1, east.size), north + rng.normal(0, 0.2, east.size)
    noise = rng.uniform(0.5, 1.5, east.size)
    found = target_detection(
        [place[0]],
        [place[1]],
        easting_m=east,
        northing_m=north,
        sensor_height_m=2.0,
        noise_nT=noise,
        depth_m=4.0,
        ambient_nT=ambient,
        false_alarm=0.01,
    )
    moment = found.smallest_moment_A_m2[0]
    # A detector of its own: weighted least squares of level and moment over the readings in
    # reach, its moment over its sd against the quantile.
    distance = np.hypot(east - place[0], north - place[1])
    near = distance < 4 * max(2.0 + 4.0, distance.min())
    shape = anomaly(place, east, north, np.full(east.size, 2.0), depth=4.0, ambient=ambient)
    design = np.column_stack([np.ones(near.sum()), shape[near]]) / noise[near][:, np.newaxis]
    inverse = np.linalg.inv(design.T @ design)
    draws = rng.normal(size=(4000, near.sum()))
    empty = (draws @ design @ inverse)[:, 1] / np.sqrt(inverse[1, 1])
    full = ((draws + moment * design[:, 1]) @ design @ inverse)[:, 1] / np.sqrt(inverse[1, 1])
    assert np.mean(empty > 2.3263) == pytest.approx(0.01, abs=0.005)
    # Four sd of a share of 4000.
    assert np.mean(full > 2.3263) == pytest.approx(0.9, abs=0.02)
    assert found.probability(moment)[0] == pytest.approx(0.9, abs=1e-9)
    assert found.probability(0.0)[0] == pytest.approx(0.01, abs=1e-9)


def signal_by_sums(place, east, north, height, noise, *, depth, ambient, reach) -> float:
    near = np.hypot(east - place[0], north - place[1]) < reach
    a = anomaly(place, east[near], north[near], height[near], depth=depth, ambient=ambient)
    w = 1 / noise[near] ** 2
    return float(np.sqrt(np.sum(w * a * a) - np.sum(w * a) ** 2 / np.sum(w)))


def test_readings_taken_together_lose_little() -> None:
    rng = np.random.default_rng(10)
    east, north = lines(spacing=15.0, step=0.25, length=300.0, count=21)
    height = 2.0 + 0.3 * rng.random(east.size)
    noise = rng.uniform(0.5, 2.0, east.size)
    places = [(150.0, 150.0), (155.0, 148.3), (157.5, 160.0), (10.0, 3.0)]
    for depth in (2.0, 8.0, 18.0):
        found = target_detection(
            *np.transpose(places),
            easting_m=east,
            northing_m=north,
            sensor_height_m=height,
            noise_nT=noise,
            depth_m=depth,
            ambient_nT=SLANTED,
        )
        for number, place in enumerate(places):
            nearest = np.hypot(east - place[0], north - place[1]).min()
            reach = 4 * max(np.median(height) + depth, nearest)
            expected = signal_by_sums(
                place, east, north, height, noise, depth=depth, ambient=SLANTED, reach=reach
            )
            assert found.signal_per_moment[number] == pytest.approx(expected, rel=0.03)


def test_less_is_needed_on_the_lines_than_between_them_and_above_than_below() -> None:
    east, north = lines(spacing=20.0)
    across = np.arange(60.0, 101.0, 1.0)
    smallest = []
    for depth in (1.0, 3.0, 10.0):
        found = target_detection(
            across,
            np.full(across.size, 100.0),
            easting_m=east,
            northing_m=north,
            sensor_height_m=2.0,
            noise_nT=1.0,
            depth_m=depth,
            ambient_nT=SLANTED,
        )
        smallest.append(found.smallest_moment_A_m2)
        assert (
            found.smallest_moment_A_m2[[0, 20, 40]].max()
            < found.smallest_moment_A_m2[[10, 30]].min()
        )
        # The same from either side: the lines are, but for the slant of the field.
        np.testing.assert_allclose(
            found.smallest_moment_A_m2[0:21], found.smallest_moment_A_m2[20:41], rtol=0.03
        )
    assert np.all(smallest[0][[0, 20]] < smallest[1][[0, 20]])
    assert np.all(smallest[1][[0, 20]] < smallest[2][[0, 20]])


def test_a_line_that_was_not_walked_is_missed_and_noise_counts() -> None:
    east, north = lines(spacing=10.0, count=5)
    walked = east != 20.0
    place = {"place_easting_m": [20.0], "place_northing_m": [100.0]}
    usual = {"sensor_height_m": 2.0, "noise_nT": 1.0, "depth_m": 2.0, "ambient_nT": POLE}
    whole = target_detection(**place, easting_m=east, northing_m=north, **usual)
    holed = target_detection(
        **place, easting_m=np.where(walked, east, np.nan), northing_m=north, **usual
    )
    left = target_detection(**place, easting_m=east[walked], northing_m=north[walked], **usual)
    assert holed.smallest_moment_A_m2[0] > 5 * whole.smallest_moment_A_m2[0]
    assert holed.smallest_moment_A_m2[0] == left.smallest_moment_A_m2[0]
    louder = target_detection(
        **place, easting_m=east, northing_m=north, **usual | {"noise_nT": 3.0}
    )
    ratio = louder.smallest_moment_A_m2[0] / whole.smallest_moment_A_m2[0]
    assert ratio == pytest.approx(3.0, rel=1e-9)


def test_nothing_read_finds_nothing() -> None:
    usual = {"sensor_height_m": 2.0, "noise_nT": 1.0, "depth_m": 2.0, "ambient_nT": POLE}
    for readings in ([], [np.nan], [5.0]):  # a single reading fixes the level and no more
        found = target_detection(
            [0.0, 1.0], [0.0, 1.0], easting_m=readings, northing_m=readings, **usual
        )
        assert found.signal_per_moment.tolist() == [0.0, 0.0]
        assert np.all(np.isinf(found.smallest_moment_A_m2))
    unknown = target_detection(
        [np.nan], [0.0], easting_m=[0.0, 3.0], northing_m=[0.0, 0.0], **usual
    )
    assert np.isnan(unknown.smallest_moment_A_m2[0])


def test_radius_of_the_sphere_of_a_textbook() -> None:
    # R 10 m, k 0.01, 50 000 nT at the pole: 41.6667 nT over a centre 20 m below (without
    # demagnetisation, a factor of 1 + k/3), and a peak of 200 nT at 1 m for each A m2.
    moment = 41.6667 * 20.0**3 / 200 / (1 + 0.01 / 3)
    found = smallest_sphere(
        [moment, moment / 8, np.inf], depth_m=12.0, susceptibility=0.01, ambient_nT=POLE
    )
    np.testing.assert_allclose(found, [10.0, 5.0, np.inf], rtol=1e-5)
    shallow = smallest_sphere([moment], depth_m=9.0, susceptibility=0.01, ambient_nT=POLE)
    assert np.isinf(shallow[0])


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"depth_m": 0.0}, "depth_m must be above zero"),
        ({"noise_nT": 0.0}, "noise_nT must be above zero"),
        ({"sensor_height_m": -3.0}, "sensor would be in the target"),
        ({"ambient_nT": [1.0, 2.0]}, "parts towards north, east and down"),
        ({"ambient_nT": [0.0, 0.0, 0.0]}, "parts towards north, east and down"),
        ({"detection": 1.0}, "detection must lie between 0 and 1"),
        ({"false_alarm": 0.0}, "false_alarm must lie between 0 and 1"),
        ({"noise_nT": [1.0]}, "same length"),
        ({"easting_m": [1.0]}, "same length"),
    ],
)
def test_bad_input(changed: dict, message: str) -> None:
    usual = {
        "easting_m": [0.0, 1.0],
        "northing_m": [0.0, 1.0],
        "sensor_height_m": 2.0,
        "noise_nT": 1.0,
        "depth_m": 2.0,
        "ambient_nT": POLE,
    }
    with pytest.raises(InputError, match=message):
        target_detection([0.0], [0.0], **usual | changed)


def test_bad_sphere() -> None:
    with pytest.raises(InputError, match="susceptibility must be above zero"):
        smallest_sphere([1.0], depth_m=1.0, susceptibility=0.0, ambient_nT=POLE)
    with pytest.raises(InputError, match="depth_m must be above zero"):
        smallest_sphere([1.0], depth_m=-1.0, susceptibility=0.1, ambient_nT=POLE)
