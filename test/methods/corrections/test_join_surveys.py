"""The offset between two surveys: sums by hand, coverage by trials, and bad input."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.corrections.join_surveys import huber_mean, join_offset, surrounded


def squares(count):
    east, north = np.meshgrid(np.arange(count) + 0.5, np.arange(count) + 0.5)
    return 20.0 * east.ravel(), 20.0 * north.ravel()


def test_a_constant_comes_back_exactly():
    east, north = squares(6)
    found = join_offset(east, north, np.full(36, -12.5), patch_m=20.0)
    assert (found.offset_nT, found.sd_nT, found.misfit_nT) == (-12.5, 0.0, 0.0)
    assert (found.patches, found.area_m2) == (36, 36 * 400.0)
    assert found.tilt_probability == 1.0


def test_differences_in_one_patch_count_once():
    # Three patches hold 1, 2 and 3 nT, the fourth 6 nT a hundred times.
    east = np.concatenate([[5.0, 25.0, 45.0], np.full(100, 65.0)])
    value = np.concatenate([[1.0, 2.0, 3.0], np.full(100, 6.0)])
    found = join_offset(east, 0 * east, value, patch_m=20.0)
    assert found.patches == 4
    assert found.offset_nT < 3.1


def test_huber_mean_by_hand():
    # Median 0, median distance 1: scale 1.4826. -1, 0, 0 and 1 weigh fully; 50 pulls like 1.345
    # scales: the mean m is where -1 + 0 + 0 + 1 - 4 m + 1.345 * 1.4826 = 0, as |1 - m| is within.
    mean, scale, _ = huber_mean([-1.0, 0.0, 0.0, 1.0, 50.0])
    assert scale == pytest.approx(1 / 0.6745)
    assert mean == pytest.approx(1.345 / 0.6745 / 4, rel=1e-6)


@pytest.mark.parametrize("together", [1, 3])
def test_interval_of_the_offset_holds_the_truth(together):
    """Errors alike over one patch, or over three; a twentieth of the patches spoilt by iron."""
    rng = np.random.default_rng(9)
    east, north = squares(12)
    held = 0
    for _ in range(300):
        blocks = rng.normal(0, 2.0, (12, 12))
        if together > 1:
            blocks = np.kron(rng.normal(0, 2.0, (4, 4)), np.ones((3, 3)))
        value = 8.0 + blocks.ravel() + rng.normal(0, 0.5, 144)
        value += np.where(rng.random(144) < 0.05, rng.choice([-60.0, 60.0], 144), 0.0)
        found = join_offset(east, north, value, patch_m=20.0)
        held += abs(found.offset_nT - 8.0) <= 1.645 * found.sd_nT
    assert 0.86 <= held / 300 <= 1.0


def test_a_tilt_is_told_and_noise_is_none():
    # 30 nT a km to the east over 240 m: 7.2 nT from side to side.
    rng = np.random.default_rng(10)
    east, north = squares(12)
    noise = rng.normal(0, 0.5, 144)
    tilted = join_offset(east, north, 0.03 * east + noise, patch_m=20.0)
    assert tilted.tilt_east_nT_km == pytest.approx(30.0, abs=2.0)
    assert tilted.tilt_north_nT_km == pytest.approx(0.0, abs=2.0)
    assert tilted.tilt_probability < 1e-6
    chances = [
        join_offset(east, north, rng.normal(0, 0.5, 144), patch_m=20.0).tilt_probability
        for _ in range(200)
    ]
    # Of 200 fair tests two are below 1 % on the average; more than eight are one in 4000.
    assert np.sum(np.array(chances) < 0.01) <= 8


def test_too_little_in_common():
    assert join_offset([0.0, 1.0], [0.0, 1.0], [1.0, 2.0], patch_m=20.0) is None
    assert join_offset([], [], [], patch_m=20.0) is None
    with pytest.raises(InputError, match="same length"):
        join_offset([0.0], [0.0, 1.0], [1.0], patch_m=20.0)
    with pytest.raises(InputError, match="patch_m"):
        join_offset([0.0], [0.0], [1.0], patch_m=0.0)


def test_a_place_must_be_surrounded_by_what_is_continued():
    east, north = squares(10)
    inside = surrounded([100.0, 15.0], [100.0, 100.0], east, north, reach_m=20.0, around_m=50.0)
    assert inside.tolist() == [True, False]
    assert not surrounded([np.nan], [0.0], east, north, reach_m=20.0).any()
