"""Levelling of lines: constants recovered, closed forms by hand, and intervals by trials."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom

from levelled_survey import PRIOR, crossing_ties, planted_level, walk
from lodewalk.errors import InputError
from lodewalk.methods.corrections.levelling import Levelling, level_lines
from lodewalk.methods.corrections.levelling_choice import choose_prior, scaled_prior
from lodewalk.methods.corrections.levelling_model import LevelPrior, LineTies, crossing_sd


def some_ties(pairs: list[tuple[int, int]], difference: list[float], sd: float) -> LineTies:
    """Ties at place 0 of each passage."""
    first, second = np.array(pairs).reshape(-1, 2).T
    zero = np.zeros(first.size)
    return LineTies(first, zero, second, zero, np.array(difference), np.full(first.size, sd))


def levelled(count: int, ties: LineTies, prior: LevelPrior) -> Levelling:
    """Passages of three readings at -1, 0 and 1."""
    return level_lines(
        np.repeat(np.arange(count), 3), np.tile([-1.0, 0.0, 1.0], count), ties, prior=prior
    )


def surface(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    return 49_000 + 40 * np.sin(east / 60) * np.cos(north / 45) + 0.1 * east - 0.05 * north


@pytest.mark.parametrize("prior", [LevelPrior(3.0), LevelPrior(3000.0)])
def test_constants_of_a_noise_free_surface(prior: LevelPrior) -> None:
    walked = walk(12, 4)
    constants = np.random.default_rng(1).normal(0, 3, 16)
    value = surface(walked.easting, walked.northing) + constants[walked.passage]
    ties = crossing_ties(walked, value, noise_nT=1e-6)
    assert len(ties) == 48
    found = level_lines(walked.passage, walked.hours, ties, prior=prior)
    error = found.level_nT - constants[walked.passage]
    assert np.ptp(error) < 1e-9
    assert found.converged
    assert found.groups == 1
    # The offset common to all is the mean over the readings, as said.
    assert "mean over all readings" in found.common
    assert found.level_nT.mean() == pytest.approx(0.0, abs=1e-9)


def test_one_crossing_is_shared_by_the_prior() -> None:
    # Two lines, d = 4, sd 2, prior 3 each, so d is 4 / sqrt(9 + 9 + 4) sd from what is foretold and
    # the bisquare's weight w follows. With 4 / w for 4, a - b becomes 4 * 18 / (18 + 4 / w) with
    # variance 18 * (4 / w) / (18 + 4 / w). The mean is set to zero, so each line has half.
    # For the variance w is divided by its mean over normal residuals, and multiplied by 0.95.
    weight = (1 - 16 / 22 / 4.685**2) ** 2
    mean_weight = 1 - 2 / 4.685**2 + 3 / 4.685**4
    found = levelled(2, some_ties([(0, 1)], [4.0], 2.0), LevelPrior(3.0))
    expected = 4 * 18 / (18 + 4 / weight) / 2
    variance = 4 / (weight * 0.95 / mean_weight)
    np.testing.assert_allclose(found.coefficient[:, 0], [expected, -expected], rtol=1e-6)
    np.testing.assert_allclose(found.sd_nT, np.sqrt(18 * variance / (18 + variance)) / 2)


def test_line_without_crossing_keeps_the_prior() -> None:
    found = levelled(3, some_ties([(0, 1)], [4.0], 0.1), LevelPrior(3.0, drift_nT=2.0))
    assert found.alone.tolist() == [2]
    alone = slice(6, 9)
    np.testing.assert_array_equal(found.level_nT[alone], 0.0)
    np.testing.assert_allclose(found.sd_nT[alone], np.sqrt(9 + 4 * np.array([1.0, 0.0, 1.0])))
    assert np.isinf(found.sd_crossings_alone[2]).all()
    assert found.open_sd_nT[2] == pytest.approx(3.0)
    assert found.crossings.tolist() == [1, 1, 0]


def test_no_crossing_at_all_changes_nothing() -> None:
    found = levelled(3, some_ties([], [], 1.0), LevelPrior(3.0))
    np.testing.assert_array_equal(found.level_nT, 0.0)
    np.testing.assert_allclose(found.sd_nT, 3.0)
    np.testing.assert_allclose(found.open_sd_nT, 3.0)
    assert found.groups == 0
    assert found.converged


def test_sd_from_crossings_alone() -> None:
    # A line and a tie line cross twice, sd 0.4: half their difference has sd 0.4 / sqrt(2) / 2.
    found = levelled(2, some_ties([(0, 1)] * 2, [1.0, 1.0], 0.4), LevelPrior(3.0))
    np.testing.assert_allclose(found.sd_crossings_alone[:, 0], 0.2 / np.sqrt(2), rtol=0.01)
    np.testing.assert_allclose(found.open_nT, 0.0, atol=1e-12)
    np.testing.assert_allclose(found.open_sd_nT, 0.0, atol=1e-12)


def test_groups_that_no_crossing_joins_are_open_against_each_other() -> None:
    ties = some_ties([(0, 1), (0, 1), (2, 3), (2, 3)], [1.0] * 2 + [-1.0] * 2, 0.1)
    found = levelled(4, ties, LevelPrior(3.0))
    assert found.groups == 2
    assert np.isinf(found.sd_crossings_alone).all()
    # Mean of two constants against the mean of all four: 3 / 2 nT.
    np.testing.assert_allclose(found.open_sd_nT, 1.5)


def test_plane_and_twist_are_open_with_drift_on_lines_and_tie_lines() -> None:
    walked = walk(6, 5)
    value = np.zeros(walked.passage.size)
    ties = crossing_ties(walked, value, noise_nT=0.01)
    found = level_lines(walked.passage, walked.hours, ties, prior=LevelPrior(3.0, drift_nT=40.0))
    assert np.isinf(found.sd_crossings_alone[:6]).all()  # the middle tie line's constant is told
    assert np.isinf(found.sd_crossings_alone[:, 1]).all()
    assert (found.open_sd_nT[:6] > 0.01).all()
    # With constants alone, nothing but the common constant is open.
    found = level_lines(walked.passage, walked.hours, ties, prior=LevelPrior(3.0))
    np.testing.assert_allclose(found.open_sd_nT, 0.0, atol=1e-9)
    assert (found.sd_crossings_alone < 0.01).all()


def test_sd_of_a_crossing_by_hand() -> None:
    # Noise 0.3 and 0.4, diurnal 0 and 1.2, so 0.5^2 + 1.2^2 = 1.3^2; positions of 3 and 4 m on a
    # gradient of 0.5 nT/m (0.3 and 0.4 along the lines): 2.5.
    sd = crossing_sd(
        noise_nT=[[0.3, 0.4]],
        diurnal_sd_nT=[[0.0, 1.2]],
        position_sd_m=[[3.0, 4.0]],
        slope_nT_m=[[0.3, -0.4]],
        angle_deg=[90.0],
    )
    np.testing.assert_allclose(sd, np.hypot(1.3, 2.5))


def test_slopes_of_a_slanting_crossing_give_back_the_gradient() -> None:
    gradient, turn = np.array([0.6, 0.8]), np.radians(50.0)
    ways = np.array([[1.0, 0.0], [-np.cos(turn), -np.sin(turn)]])  # slopes of opposed sign
    sd = crossing_sd(
        noise_nT=[[0.0, 0.0]],
        diurnal_sd_nT=[[0.0, 0.0]],
        position_sd_m=[[1.0, 0.0]],
        slope_nT_m=[ways @ gradient * [1, 1]],
        angle_deg=[50.0],
    )
    assert sd[0] >= 1.0 - 1e-12
    steep = np.linalg.solve(ways * [[1.0], [-1.0]], np.abs(ways @ gradient) * [1, -1])
    np.testing.assert_allclose(sd[0], np.linalg.norm(steep))


def test_wrong_crossings_do_not_move_the_lines() -> None:
    walked, rng = walk(12, 4), np.random.default_rng(3)
    level = planted_level(walked, rng, constant_nT=3.0, drift_nT_h=0.0)
    ties = crossing_ties(walked, level + rng.normal(0, 0.3, level.size), noise_nT=0.3)
    clean = level_lines(walked.passage, walked.hours, ties, prior=LevelPrior(3.0))
    wrong = rng.choice(len(ties), 6, replace=False)
    spoilt = ties.difference_nT.copy()
    spoilt[wrong] += 200.0
    found = level_lines(
        walked.passage, walked.hours, replace(ties, difference_nT=spoilt), prior=LevelPrior(3.0)
    )
    np.testing.assert_array_equal(found.weight[wrong], 0.0)
    assert found.converged
    error = found.level_nT - level + level.mean()
    assert np.abs(error).max() < 4 * clean.sd_nT.max()


def test_sd_of_crossings_that_is_too_small_is_widened() -> None:
    walked, rng = walk(16, 6), np.random.default_rng(4)
    level = planted_level(walked, rng, constant_nT=3.0, drift_nT_h=0.0)
    value = level + rng.normal(0, 1.5, level.size)
    told = [
        level_lines(
            walked.passage,
            walked.hours,
            crossing_ties(walked, value, noise_nT=noise),
            prior=LevelPrior(3.0),
        ).scale
        for noise in (0.5, 1.5)
    ]
    assert told[0] == pytest.approx(3.0, rel=0.25)
    assert told[1] == 1.0


def test_covariance_between_lines_is_right() -> None:
    # The difference of two lines' constants over many trials, against the covariance.
    walked, rng = walk(5, 3, step_m=5.0), np.random.default_rng(8)
    errors, stated = [], 0.0
    for _ in range(300):
        level = planted_level(walked, rng, constant_nT=3.0, drift_nT_h=0.0)
        ties = crossing_ties(walked, level + rng.normal(0, 2.0, level.size), noise_nT=2.0)
        found = level_lines(walked.passage, walked.hours, ties, prior=LevelPrior(3.0))
        truth = level[walked.passage == 1][0] - level[walked.passage == 2][0]
        errors.append(found.coefficient[1, 0] - found.coefficient[2, 0] - truth)
        c = found.covariance
        stated += (c[1, 1] + c[2, 2] - 2 * c[1, 2]) / 300
    # The rms of 300 is good to 4 %; the bisquare costs 5 % of variance, its sd tells 10 %.
    assert np.mean(np.square(errors)) == pytest.approx(stated, rel=0.25)


def test_intervals_of_the_level_hold_the_truth() -> None:
    walked, rng = walk(8, 4, step_m=5.0), np.random.default_rng(21)
    inside, shares, trials = 0, [], 400
    for _ in range(trials):
        level = planted_level(walked, rng, constant_nT=3.0, drift_nT_h=2.0)
        noise = rng.normal(0, 0.5, level.size)
        ties = crossing_ties(walked, level + noise, noise_nT=0.5)
        wild = np.where(rng.random(len(ties)) < 0.03, rng.normal(0, 30, len(ties)), 0.0)
        ties = replace(ties, difference_nT=ties.difference_nT + wild)
        found = level_lines(walked.passage, walked.hours, ties, prior=PRIOR)
        good = np.abs(found.level_nT - level + level.mean()) <= 1.645 * found.sd_nT
        shares.append(good.mean())
        inside += good[rng.integers(good.size)]
    low, high = binom.ppf([0.005, 0.995], trials, 0.9)
    assert low <= inside <= high
    assert 0.87 <= np.mean(shares) <= 0.93


def test_choice_of_size_keeps_real_levels_and_leaves_levelled_lines_alone() -> None:
    walked, rng = walk(16, 5, step_m=5.0), np.random.default_rng(31)
    noise = rng.normal(0, 3.0, walked.passage.size)
    planted = planted_level(walked, rng, constant_nT=6.0, drift_nT_h=0.0)
    factors = {}
    for name, level in (("planted", planted), ("none", 0.0 * planted)):
        ties = crossing_ties(walked, level + noise, noise_nT=3.0)
        factors[name] = choose_prior(walked.passage, walked.hours, ties, prior=LevelPrior(6.0))
    assert factors["planted"].factor >= 0.6
    assert factors["none"].factor <= 0.1
    assert np.abs(factors["none"].levelling.level_nT).max() < 0.5
    assert factors["none"].prior == scaled_prior(LevelPrior(6.0), factors["none"].factor)


def test_choice_without_crossings_keeps_the_prior() -> None:
    found = choose_prior([0, 0], [0.0, 1.0], some_ties([], [], 1.0), prior=LevelPrior(2.0))
    assert found.factor == 1.0
    assert found.prior == LevelPrior(2.0)


def test_level_at_other_places() -> None:
    found = levelled(2, some_ties([(0, 1)], [4.0], 0.5), LevelPrior(3.0, drift_nT=2.0))
    level, sd = found.at([1, 7, 0], [1.0, 0.0, np.nan])
    assert level[0] == found.level_nT[5]
    assert sd[0] == found.sd_nT[5]
    assert np.isnan(level[1:]).all()
    assert np.isnan(sd[1:]).all()


def test_readings_off_lines_have_no_level() -> None:
    found = level_lines([-1, 0, 0], [0.0, 0.0, 1.0], some_ties([], [], 1.0), prior=PRIOR)
    np.testing.assert_array_equal(np.isnan(found.level_nT), [True, False, False])
    np.testing.assert_array_equal(np.isnan(found.sd_nT), [True, False, False])


def test_bends_reach_their_size_at_the_ends() -> None:
    # P2 is 1 at both ends and -1/2 in the middle; P3 is -1 and 1 at the ends and 0 there.
    found = levelled(1, some_ties([], [], 1.0), LevelPrior(1.0, bend_nT=(2.0, 3.0)))
    np.testing.assert_allclose(found.sd_nT**2, [1 + 4 + 9, 1 + 1, 1 + 4 + 9])


def test_single_reading_on_a_passage() -> None:
    prior = LevelPrior(1.0, drift_nT=2.0, bend_nT=(1.0,))
    found = level_lines([3], [5.0], some_ties([], [], 1.0), prior=prior)
    assert np.isfinite(found.sd_nT).all()


def test_bad_input_is_named() -> None:
    with pytest.raises(InputError, match="readings on lines"):
        level_lines([-1], [0.0], some_ties([], [], 1.0), prior=PRIOR)
    with pytest.raises(InputError, match=r"passages that have readings.*passage 5 at crossing 0"):
        levelled(2, some_ties([(0, 5)], [1.0], 1.0), PRIOR)
    with pytest.raises(InputError, match=r"join two passages.*crossing 1"):
        levelled(2, some_ties([(0, 1), (1, 1)], [1.0, 0.0], 1.0), PRIOR)
    with pytest.raises(InputError, match=r"sd of each crossing.*0.0 at crossing 0"):
        some_ties([(0, 1)], [1.0], 0.0)
    with pytest.raises(InputError, match=r"place on both lines and a difference.*crossing 0"):
        some_ties([(0, 1)], [np.nan], 1.0)
    with pytest.raises(InputError, match="constant_nT must be above zero"):
        LevelPrior(0.0)
    with pytest.raises(InputError, match=r"must not be negative.*-1.0"):
        LevelPrior(1.0, drift_nT=-1.0)
    with pytest.raises(InputError, match="angle of 0 to 90"):
        crossing_sd(
            noise_nT=[[1, 1]],
            diurnal_sd_nT=[[1, 1]],
            position_sd_m=[[1, 1]],
            slope_nT_m=[[1, 1]],
            angle_deg=[0.0],
        )
    with pytest.raises(InputError, match="At least one factor"):
        choose_prior([0], [0.0], some_ties([], [], 1.0), prior=PRIOR, factors=())
