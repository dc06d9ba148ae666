"""The factor of position errors against planted ones."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.corrections.position_scale import position_scale


def crossings(rng: np.random.Generator, factor: float, count: int) -> tuple[np.ndarray, ...]:
    """Return crossings of noise 0.3 nT whose position errors are `factor` of the stated 3 m."""
    slope = np.exp(rng.normal(np.log(0.3), 0.8, count))
    other, position = np.full(count, 0.3 * np.sqrt(2)), 3.0 * np.sqrt(2) * slope
    return rng.normal(0, np.hypot(other, factor * position)), other, position


@pytest.mark.parametrize("factor", [0.35, 1.0, 2.0])
def test_a_planted_factor_is_found_and_its_sd_holds(factor: float):
    rng = np.random.default_rng(3)
    found = [position_scale(*crossings(rng, factor, 80)) for _ in range(120)]
    assert np.median([item.factor for item in found]) == pytest.approx(factor, rel=0.08)
    z = [np.log(item.factor / factor) / item.log_sd for item in found]
    assert 0.84 <= np.mean(np.abs(z) <= 1.645) <= 0.97


def test_gross_crossings_hardly_count():
    rng = np.random.default_rng(5)
    off, other, position = crossings(rng, 0.5, 120)
    off[:6] += 60.0
    assert 0.4 < position_scale(off, other, position).factor < 0.75


def test_level_ground_and_no_crossing_tell_nothing():
    level = position_scale(np.full(50, 0.1), np.full(50, 0.3), np.zeros(50))
    none = position_scale([], [], [])
    for found in (level, none):
        assert found.factor == pytest.approx(1.0, rel=0.01)
        assert found.log_sd == pytest.approx(0.6, rel=0.02)


def test_missing_numbers_are_refused():
    with pytest.raises(InputError, match="needs its difference"):
        position_scale([np.nan], [1.0], [1.0])
    with pytest.raises(InputError, match="above zero"):
        position_scale([1.0], [0.0], [1.0])
