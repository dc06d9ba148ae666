"""Grids of fields that are known everywhere: planes and the field of a dipole."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lodewalk.errors import InputError
from lodewalk.methods.gridding.along_strike import AlongStrike
from lodewalk.methods.gridding.interface import (
    ENGINES,
    MAX_NODES,
    grid_readings,
    region_for,
    suggest_spacing,
)

CORNER = {"west_m": 450_000.0, "south_m": 5_400_000.0}


def survey(spacing: float = 20.0, step: float = 1.0, *, wobble: float = 0.0, seed: int = 0):
    """Positions on north-going lines over 400 x 400 m from the corner."""
    rng = np.random.default_rng(seed)
    east, north = np.meshgrid(np.arange(0.0, 401.0, spacing), np.arange(0.0, 401.0, step))
    shift = rng.normal(0, wobble, (2, east.size)) if wobble else np.zeros((2, east.size))
    return CORNER["west_m"] + east.ravel() + shift[0], CORNER["south_m"] + north.ravel() + shift[1]


def line_numbers(east: np.ndarray, spacing: float = 20.0) -> np.ndarray:
    """Number of the north-going line of each reading."""
    return np.rint((east - CORNER["west_m"]) / spacing).astype(int)


def vertical_dipole(east: np.ndarray, north: np.ndarray, depth: float) -> np.ndarray:
    """Vertical field of a vertical dipole under the middle, 100 at its peak.

    (2 z^2 - r^2) / (z^2 + r^2)^(5/2), the third component of equation 4.14 of Blakely (1995),
    Potential Theory in Gravity and Magnetic Applications (number from memory).
    """
    square = (east - CORNER["west_m"] - 207) ** 2 + (north - CORNER["south_m"] - 196) ** 2
    return 50 * depth**3 * (2 * depth**2 - square) / (depth**2 + square) ** 2.5


def nodes(spacing: float, shape: tuple[int, int]) -> tuple[np.ndarray, np.ndarray]:
    north, east = np.indices(shape) * spacing
    return CORNER["west_m"] + east, CORNER["south_m"] + north


@pytest.mark.parametrize("method", ENGINES)
def test_plane_is_exact(method: str) -> None:
    east, north = survey(wobble=1.0)

    def plane(e: np.ndarray, n: np.ndarray) -> np.ndarray:
        return 48_000 + 0.3 * (e - CORNER["west_m"]) - 0.7 * (n - CORNER["south_m"])

    grid = grid_readings(
        east, north, plane(east, north), **CORNER, spacing_m=5.0, shape=(81, 81), reach_m=20.0,
        method=method, along_strike=AlongStrike(line_numbers(east), 20.0, strength=1.0),
    )  # fmt: skip
    expected = plane(*nodes(5.0, (81, 81)))
    assert np.isfinite(grid[2:-2, 2:-2]).all()
    inside = np.isfinite(grid)
    np.testing.assert_allclose(grid[inside], expected[inside], rtol=1e-9)


@pytest.mark.parametrize(
    ("method", "bound"), [("minimum curvature", 0.045), ("cubic", 0.045), ("linear", 0.12)]
)
def test_dipole_between_lines(method: str, bound: float) -> None:
    """Lines 20 m apart, 50 m above a dipole; the error is a share of the peak.

    Along easting the field is 1 - 3 u^2 + 5.625 u^4 of its peak, u the offset over depth; with
    h = 0.4 linear interpolation errs by up to h^2 D2 / 8 = 0.12, and a cubic whose slopes come
    from the readings, as those of a spline do, by up to 5 h^4 D4 / 384 = 0.045 (Hall and Meyer
    1976, J. Approximation Theory 16, 105-122, from memory), D2 = 6 and D4 = 135 the derivatives.
    """
    east, north = survey()
    grid = grid_readings(
        east, north, vertical_dipole(east, north, 50.0), **CORNER, spacing_m=4.0,
        shape=(101, 101), reach_m=20.0, method=method,
    )  # fmt: skip
    error = np.abs(grid - vertical_dipole(*nodes(4.0, (101, 101)), 50.0)) / 100
    assert np.nanmax(error) < bound


def test_nothing_beyond_the_reach() -> None:
    east, north = survey(step=10.0)
    clear = np.hypot(east - CORNER["west_m"] - 200, north - CORNER["south_m"] - 200) > 100
    east, north = east[clear], north[clear]
    grid = grid_readings(
        east, north, np.ones(east.size), **CORNER, spacing_m=8.0, shape=(51, 51), reach_m=25.0
    )
    node_e, node_n = nodes(8.0, (51, 51))
    away = np.hypot(node_e[..., np.newaxis] - east, node_n[..., np.newaxis] - north).min(axis=-1)
    assert np.isnan(grid[away > 25.0]).all()
    rim = np.zeros((51, 51), dtype=bool)
    rim[1:-1, 1:-1] = True
    assert np.isfinite(grid[(away <= 25.0) & rim]).all()
    assert (away > 25.0).sum() > 100


@given(seed=st.integers(0, 2**32 - 1))
@settings(max_examples=10, deadline=None)
def test_order_of_readings_does_not_matter(seed: int) -> None:
    rng = np.random.default_rng(seed)
    east, north = survey(step=3.0, wobble=1.0, seed=seed)
    value, sd = rng.normal(size=east.size), rng.uniform(0.5, 2.0, east.size)
    order = rng.permutation(east.size)
    settings = {**CORNER, "spacing_m": 5.0, "shape": (81, 81), "reach_m": 20.0}
    grid = grid_readings(east, north, value, sd=sd, **settings)
    again = grid_readings(east[order], north[order], value[order], sd=sd[order], **settings)
    np.testing.assert_array_equal(grid, again)


def test_two_readings_in_one_place_by_weight() -> None:
    east, north = np.array([0.0, 10, 0, 10, 5, 5]), np.array([0.0, 0, 10, 10, 5, 5])
    value = np.array([0.0, 0, 0, 0, 4.0, 10.0])
    settings = {"west_m": 0.0, "south_m": 0.0, "spacing_m": 5.0, "shape": (3, 3), "reach_m": 9.0}
    assert grid_readings(east, north, value, **settings)[1, 1] == pytest.approx(7.0)
    # Weights 4 and 1: (4 * 4 + 10) / 5.
    sd = np.array([1.0, 1, 1, 1, 0.5, 1.0])
    assert grid_readings(east, north, value, sd=sd, **settings)[1, 1] == pytest.approx(5.2)


def test_missing_readings_are_left_out() -> None:
    east, north = survey(step=5.0)
    value = east - CORNER["west_m"]
    settings = {**CORNER, "spacing_m": 10.0, "shape": (41, 41), "reach_m": 20.0}
    spoilt = np.concatenate([value, [np.nan, 9e9]])
    grid = grid_readings(
        np.append(east, [east[0], np.nan]), np.append(north, [north[0]] * 2), spoilt, **settings
    )
    np.testing.assert_array_equal(grid, grid_readings(east, north, value, **settings))


def refused(east: list[float], north: list[float], **changes: object) -> None:
    given = {"west_m": 0.0, "south_m": 0.0, "spacing_m": 5.0, "shape": (9, 9), "reach_m": 9.0}
    grid_readings(east, north, np.ones(len(east)), **(given | changes))


def test_refuses_what_cannot_be_gridded() -> None:
    along = [0.0, 10.0, 20.0, 30.0]
    with pytest.raises(InputError, match=r"along one line.*Add a second line"):
        refused(along, along)
    with pytest.raises(InputError, match="at least three squares"):
        refused([0.0, 0.1, 10.0], [0.0, 0.1, 10.0])
    with pytest.raises(InputError, match=r"readings that are kept.*0 of 4"):
        refused(along, [np.nan] * 4)
    with pytest.raises(InputError, match="must be one of minimum curvature, cubic, linear"):
        refused(along, along, method="best")
    with pytest.raises(InputError, match="sd must be above zero"):
        refused(along, along[::-1], sd=[1.0, 0.0, 1.0, 1.0])
    with pytest.raises(InputError, match="at least one node"):
        refused(along, along[::-1], shape=(0, 3))


def test_size_is_bounded_and_the_advice_fits() -> None:
    corners = np.array([0.0, 10_000.0]), np.array([0.0, 40_000.0])
    with pytest.raises(InputError, match="at most 25 million nodes") as caught:
        region_for(*corners, spacing_m=1.0, reach_m=10.0)
    fitting = float(caught.value.remedy.split()[3])
    shape = region_for(*corners, spacing_m=fitting, reach_m=10.0).shape
    assert 0.9 * MAX_NODES < shape[0] * shape[1] <= MAX_NODES
    with pytest.raises(InputError, match="would fit"):
        refused([0.0], [0.0], shape=(100_000, 100_000))


@given(
    st.floats(-1e7, 1e7), st.floats(0.0, 1000.0), st.sampled_from([0.25, 1.0, 2.5, 20.0]),
    st.floats(0.5, 100.0),
)  # fmt: skip
def test_region_holds_readings_and_reach(
    start: float, extent: float, spacing: float, reach: float
) -> None:
    place = np.array([start, start + extent, np.nan])
    found = region_for(place, -place, spacing_m=spacing, reach_m=reach)
    slack = 1e-6
    assert found.west_m <= start - reach + slack
    assert found.west_m > start - reach - spacing - slack
    assert found.west_m + (found.shape[1] - 1) * spacing >= start + extent + reach - slack
    assert found.south_m <= -start - extent - reach + slack
    assert found.south_m % spacing == 0


def test_region_needs_a_position() -> None:
    with pytest.raises(InputError, match="have a position"):
        region_for([np.nan], [1.0], spacing_m=1.0, reach_m=1.0)


@pytest.mark.parametrize(
    ("lines", "grid"), [(0.5, 0.1), (1.0, 0.2), (10.0, 2.0), (12.5, 2.5), (25.0, 5.0), (50.0, 10.0)]
)
def test_suggested_spacing(lines: float, grid: float) -> None:
    assert suggest_spacing(lines) == grid


def test_suggested_spacing_needs_two_lines() -> None:
    with pytest.raises(InputError, match="give the grid spacing yourself"):
        suggest_spacing(float("nan"))
