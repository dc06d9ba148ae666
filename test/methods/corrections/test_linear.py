"""Linear interpolation against numpy.interp, an independent one, and against hand-made gaps."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from lodewalk.errors import InputError
from lodewalk.methods.corrections.linear import interpolate_linear


def knots_of(kind, rng):
    even = np.arange(500.0)
    return {
        "even": even + 1.7e9,
        "tenths": even / 10,
        "thirds": 0.3 * even,
        "forty-nines": 49 * even,  # 49 * (1 / 49) falls short of 1
        "jitter": even + rng.uniform(-0.3, 0.3, 500),
        "holes": np.delete(even, rng.choice(np.arange(1, 499), 60, replace=False)),
        "wild": np.cumsum(rng.exponential(size=500) ** 4) + np.linspace(0, 1e-6, 500),
    }[kind]


@pytest.mark.parametrize(
    "kind", ["even", "tenths", "thirds", "forty-nines", "jitter", "holes", "wild"]
)
@pytest.mark.parametrize("shuffled", [False, True])
def test_agrees_with_numpy_inside_the_knots(kind, shuffled):
    rng = np.random.default_rng(3)
    knots = knots_of(kind, rng)
    values = np.cumsum(rng.normal(size=knots.size))
    at = np.sort(np.concatenate((rng.uniform(knots[0], knots[-1], 5000), knots)))
    if shuffled:
        rng.shuffle(at)
    found = interpolate_linear(at, knots, values, max_gap=np.inf)
    assert np.allclose(found, np.interp(at, knots, values), rtol=0, atol=1e-9)


@pytest.mark.parametrize(
    "kind", ["even", "tenths", "thirds", "forty-nines", "jitter", "holes", "wild"]
)
def test_the_order_of_the_places_does_not_matter(kind):
    rng = np.random.default_rng(4)
    knots = knots_of(kind, rng)
    values = np.cumsum(rng.normal(size=knots.size))
    beside = np.concatenate((np.nextafter(knots, -np.inf), np.nextafter(knots, np.inf)))
    at = np.concatenate((rng.uniform(knots[0] - 9, knots[-1] + 9, 3000), knots, beside))
    rng.shuffle(at)
    order = np.argsort(at)
    found = interpolate_linear(at, knots, values, max_gap=60)
    in_order = interpolate_linear(at[order], knots, values, max_gap=60)
    assert np.array_equal(found[order], in_order, equal_nan=True)


@pytest.mark.parametrize("kind", ["even", "thirds", "forty-nines", "holes", "jitter"])
def test_a_knot_has_its_own_value(kind):
    rng = np.random.default_rng(5)
    knots = knots_of(kind, rng)
    values = rng.normal(size=knots.size)
    for at in (np.arange(knots.size), rng.permutation(knots.size)):
        found = interpolate_linear(knots[at], knots, values, max_gap=1e-3)
        assert np.array_equal(found, values[at])


@pytest.mark.parametrize("order", [[0, 1, 2, 3, 4, 5, 6, 7], [5, 2, 7, 0, 4, 1, 6, 3]])
def test_gap_edges_and_outside(order):
    at = np.array([-1e-9, 0, 0.5, 1, 1.5, 9, 10, 10.5])
    expected = np.array([np.nan, 0, 5, 10, np.nan, 90, 100, np.nan])
    found = interpolate_linear(at[order], [0, 1, 9, 10], [0, 10, 90, 100], max_gap=7.9)
    assert np.allclose(found, expected[order], equal_nan=True)
    bridged = interpolate_linear([1.5], [0, 1, 9, 10], [0, 10, 90, 100], max_gap=8)
    assert bridged == pytest.approx([15])


def test_missing_values_are_stepped_over():
    found = interpolate_linear([1, 2.5], [0, 1, 2, 3], [0, np.nan, 2, 3], max_gap=2)
    assert found.tolist() == [1, 2.5]
    assert np.isnan(interpolate_linear([1, 2.5], [0, 1, 2, 3], [0, np.nan, 2, 3], max_gap=1)[0])


@pytest.mark.parametrize("at", [[0.0, 1.0, 2.0], [2.0, 1.0, 0.0], [np.nan, 1.0, np.nan]])
def test_one_knot_or_none(at):
    found = interpolate_linear(at, [1.0], [7.0], max_gap=5)
    assert np.array_equal(found, np.where(np.array(at) == 1, 7, np.nan), equal_nan=True)
    assert np.isnan(interpolate_linear(at, [], [], max_gap=5)).all()
    assert np.isnan(interpolate_linear(at, [1.0], [np.nan], max_gap=5)).all()


def test_missing_places_stay_missing():
    found = interpolate_linear([0.5, np.nan, 1.5], [0, 1, 2], [0, 1, 2], max_gap=5)
    assert np.array_equal(found, [0.5, np.nan, 1.5], equal_nan=True)
    assert interpolate_linear([], [0, 1], [0, 1], max_gap=5).size == 0


@given(
    arrays(np.float64, st.integers(2, 30), elements=st.integers(-99_999, 99_999), unique=True),
    arrays(np.float64, st.integers(1, 30), elements=st.floats(-1.1e4, 1.1e4)),
)
def test_any_knots_and_places(knots, at):
    knots = np.sort(knots) / 10
    values = np.sin(knots)
    expected = np.interp(at, knots, values, left=np.nan, right=np.nan)
    found = interpolate_linear(at, knots, values, max_gap=np.inf)
    assert np.allclose(found, expected, rtol=0, atol=1e-9, equal_nan=True)


def test_read_only_input_is_fine():
    at = np.array([0.5])
    at.setflags(write=False)
    assert interpolate_linear(at, np.arange(2.0), np.arange(2.0), max_gap=1).tolist() == [0.5]


def test_input_is_checked():
    with pytest.raises(InputError, match="knots must increase"):
        interpolate_linear([0], [1, 1], [0, 0], max_gap=1)
    with pytest.raises(InputError, match="same length"):
        interpolate_linear([0], [0, 1], [0], max_gap=1)
    with pytest.raises(InputError, match="max_gap"):
        interpolate_linear([0], [0, 1], [0, 1], max_gap=0)
