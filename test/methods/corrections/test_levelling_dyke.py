"""A dyke along the lines: kept with tie lines, declared open without, lost up to a limit."""

import numpy as np
import pytest

from levelled_survey import PRIOR, crossing_ties, dyke, kept, planted_level, walk
from lodewalk.methods.corrections.levelling import Levelling, level_lines
from lodewalk.methods.corrections.levelling_model import LineTies
from lodewalk.methods.corrections.levelling_neighbours import neighbour_ties
from lodewalk.methods.corrections.micro_levelling import micro_level

NOISE_NT = 0.5
NONE = np.zeros(0)
NO_TIES = LineTies(NONE.astype(int), NONE, NONE.astype(int), NONE, NONE, NONE)
TIED, UNTIED = walk(17, 5), walk(17, 0)
CENTRES_M = [200.0, 212.5]


@pytest.mark.parametrize("centre_m", CENTRES_M, ids=["on a line", "between lines"])
@pytest.mark.parametrize("strike_deg", [-5.0, 0.0, 5.0])
def test_dyke_keeps_peak_and_area_with_tie_lines(centre_m: float, strike_deg: float) -> None:
    truth = dyke(TIED, centre_m=centre_m, strike_deg=strike_deg)
    for seed in range(3):
        rng = np.random.default_rng(seed)
        level = planted_level(TIED, rng, constant_nT=3.0, drift_nT_h=2.0)
        value = truth + level + rng.normal(0, NOISE_NT, truth.size)
        ties = crossing_ties(TIED, value, noise_nT=NOISE_NT, position_sd_m=0.5)
        found = level_lines(TIED.passage, TIED.hours, ties, prior=PRIOR)
        peak, area = kept(TIED, value - found.level_nT, truth, centre_m=centre_m)
        assert 0.9 <= peak <= 1.1
        assert 0.9 <= area <= 1.1
        # What crossings leave open is small beside what they found.
        assert found.open_sd_nT[:17].max() < 0.5


def without_ties(seed: int, *, compared: bool) -> tuple[Levelling, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    truth = dyke(UNTIED, centre_m=CENTRES_M[seed % 2], strike_deg=0.0)
    level = planted_level(UNTIED, rng, constant_nT=3.0, drift_nT_h=2.0)
    value = truth + level + rng.normal(0, NOISE_NT, truth.size)
    ties = NO_TIES
    if compared:
        ties = neighbour_ties(
            UNTIED.passage,
            UNTIED.hours,
            UNTIED.easting,
            UNTIED.northing,
            value,
            max_apart_m=30.0,
            piece_m=300.0,
            noise_nT=0.1,
        ).ties
    return level_lines(UNTIED.passage, UNTIED.hours, ties, prior=PRIOR), level, value


def test_without_ties_all_is_open_and_nothing_is_taken_off() -> None:
    inside = []
    for seed in range(30):
        found, level, _ = without_ties(seed, compared=False)
        np.testing.assert_array_equal(found.level_nT, 0.0)
        np.testing.assert_allclose(found.open_sd_nT, 3.0)
        assert np.isinf(found.sd_crossings_alone).all()
        inside.append(np.mean(np.abs(level) <= 1.645 * found.sd_nT))
    # 510 lines: the standard error of the share is 1.3 %.
    assert np.mean(inside) == pytest.approx(0.9, abs=0.035)


def test_neighbours_compared_do_not_take_the_dyke_off() -> None:
    inside, over = [], []
    for seed in range(30):
        found, level, value = without_ties(seed, compared=True)
        centre_m = CENTRES_M[seed % 2]
        good = np.abs(found.level_nT - level + level.mean()) <= 1.645 * found.sd_nT
        near = np.abs(UNTIED.easting - centre_m) < 40
        inside.append(good.mean())
        over.append(good[near].mean())
        truth = dyke(UNTIED, centre_m=centre_m, strike_deg=0.0)
        left = kept(UNTIED, value - level - found.level_nT, truth, centre_m=centre_m)
        whole = kept(UNTIED, value - level, truth, centre_m=centre_m)
        # Most of the dyke is not held for a level error, and the rest is inside what is open.
        assert left[0] > 0.8 * whole[0]
        assert found.open_sd_nT.min() > 0.5
    assert np.mean(inside) >= 0.87
    assert np.mean(over) >= 0.84


def test_micro_levelling_takes_no_more_than_its_limit_off_the_dyke() -> None:
    truth = dyke(UNTIED, centre_m=200.0, strike_deg=0.0, peak_nT=3.0)
    taken = {}
    for limit_nT in (0.5, 5.0):
        found = micro_level(
            UNTIED.passage,
            UNTIED.northing,
            UNTIED.easting,
            truth,
            limit_nT=limit_nT,
            min_wavelength_m=200.0,
        )
        assert np.abs(found.level_nT).max() <= limit_nT
        taken[limit_nT] = kept(UNTIED, truth - found.level_nT, truth, centre_m=200.0)[0]
    # The loss is real where the limit allows it, and the guard keeps what is larger.
    assert taken[0.5] > 0.99
    assert taken[5.0] < 0.95
