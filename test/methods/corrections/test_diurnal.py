"""Diurnal interpolation: gaps, ends and curves."""

import numpy as np
import pytest
from scipy.interpolate import CubicHermiteSpline

from lodewalk.errors import InputError
from lodewalk.methods.corrections.diurnal import interpolate_base


def test_no_value_outside_the_record_or_inside_a_gap():
    base_time = [0, 10, 20, 30, 100, 110, 120, 130]
    time = [-1, 0, 5, 30, 50, 100, 125, 130, 131, np.nan]
    found = interpolate_base(time, base_time, 2.0 * np.arange(8), max_gap_s=15)
    nan = np.nan
    expected = [nan, 0, 1, 6, nan, 8, 13, 14, nan, nan]
    assert np.allclose(found, expected, equal_nan=True)


@pytest.mark.parametrize("kind", ["akima", "monotone"])
def test_curves_keep_to_their_piece(kind):
    rng = np.random.default_rng(6)
    first, second = np.arange(0.0, 100, 10), np.arange(300.0, 400, 10)
    value = rng.normal(size=20)
    time = np.arange(-5.0, 405)
    joined = interpolate_base(time, np.concatenate((first, second)), value, kind=kind, max_gap_s=20)
    alone = interpolate_base(time, first, value[:10], kind=kind, max_gap_s=20)
    assert np.array_equal(joined[time <= 90], alone[time <= 90], equal_nan=True)
    assert np.isnan(joined[(time > 90) & (time < 300)]).all()
    assert np.isnan(joined[(time < 0) | (time > 390)]).all()
    assert joined[np.isin(time, first)] == pytest.approx(value[:10])


def test_akima_reproduces_a_parabola_and_monotone_never_overshoots():
    base_time = np.arange(0.0, 100, 10)
    time = np.linspace(20, 70, 101)
    parabola = interpolate_base(time, base_time, base_time**2, kind="akima", max_gap_s=20)
    assert parabola == pytest.approx(time**2)
    step = np.where(base_time < 45, 0.0, 1.0)
    monotone = interpolate_base(time, base_time, step, kind="monotone", max_gap_s=20)
    assert monotone.min() == 0
    assert monotone.max() == 1
    flat = np.zeros(10)
    hermite = CubicHermiteSpline(base_time, step, flat)  # slopes at a monotone step's ends are 0
    assert monotone == pytest.approx(hermite(time))


def test_short_pieces_of_a_curve_fall_back_on_the_line():
    assert interpolate_base([5.0], [0.0, 10.0], [0.0, 1.0], kind="akima", max_gap_s=20) == 0.5
    lone = interpolate_base([0.0, 5.0], [0.0, 99.0], [7.0, 8.0], kind="monotone", max_gap_s=20)
    assert lone[0] == 7
    assert np.isnan(lone[1])


def test_input_is_checked():
    with pytest.raises(InputError, match="linear, akima, monotone"):
        interpolate_base([0], [0, 1], [0, 1], kind="cubic", max_gap_s=9)
    with pytest.raises(InputError, match="must increase"):
        interpolate_base([0], [1, 1], [0, 1], max_gap_s=9)
