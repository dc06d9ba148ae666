"""Slips put into the clock of a real second instrument, found from the variation both saw.

Conrad Observatory, 2023-07-12: the vector record as the base, the scalar one as the rover, a
reading a second each. The other instrument's clock is right, so the slip is known.
"""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from lodewalk.methods.checks.clocks.evidence import MEASURED
from lodewalk.methods.checks.clocks.pair import pair_offset
from outside.readers import read_cdf, read_iaga

WINDOW = 1800
WINDOWS = 12


@pytest.fixture(scope="module")
def pair(conrad_2023_base: Path, conrad_2023_scalar_cdf: Path) -> tuple[np.ndarray, ...]:
    base, rover = read_iaga(conrad_2023_base), read_cdf(conrad_2023_scalar_cdf)
    length = np.sqrt(base["H"] ** 2 + base["E"] ** 2 + base["Z"] ** 2)
    return rover["time_s"], rover["f"], base["time_s"], length


def test_slips_of_half_hour_windows(
    pair: tuple[np.ndarray, ...], figures: Callable[[str], None]
) -> None:
    time, field, base_time, base = pair
    slips = np.random.default_rng(61).uniform(-600, 600, WINDOWS)
    starts = np.linspace(0, time.size - WINDOW, WINDOWS).astype(int)
    windows = [slice(start, start + WINDOW) for start in starts]
    found = [
        pair_offset(time[part] + slip, field[part], base_time, base)
        for part, slip in zip(windows, slips, strict=True)
    ]
    error = np.array([f.offset_s for f in found]) - slips
    sd = np.array([f.sd_s for f in found])
    measured = np.array([f.state == MEASURED for f in found])
    right = np.abs(error) <= 1.0
    inside = np.abs(error) <= 1.645 * sd
    figures(
        f"real pair, slips of up to 600 s in half an hour: {measured.sum()} of {WINDOWS} windows "
        f"measured, {np.sum(right & measured)} of them to 1 s (median error "
        f"{np.median(np.abs(error)):.3f} s), {inside.sum()} within the 90 % interval"
    )
    assert measured.sum() >= 0.8 * WINDOWS
    assert np.all(right[measured])
    assert inside.sum() >= 8  # under 8 of 12 has a chance of 0.4 % at 90 %


def test_short_window_with_a_base_each_ten_seconds(pair: tuple[np.ndarray, ...]) -> None:
    time, field, base_time, base = pair
    part = slice(40_000, 40_900)
    found = pair_offset(time[part] - 18.0, field[part], base_time[::10], base[::10])
    assert found.state == MEASURED
    assert found.offset_s == pytest.approx(-18.0, abs=1.5)


def test_whole_day_gives_the_drift(pair: tuple[np.ndarray, ...]) -> None:
    """A clock that gains 12 s a day, set right at noon."""
    time, field, base_time, base = pair
    ahead = (time - time[time.size // 2]) * 12.0 / 86_400
    found = pair_offset(time + ahead, field, base_time, base)
    assert found.drift_s_per_day == pytest.approx(12.0, abs=0.5)
    assert found.drift_s_per_day == pytest.approx(12.0, abs=4 * found.drift_sd_s_per_day)
    assert found.offset_s == pytest.approx(0.0, abs=0.3)
