"""Heading correction with its prior: Bayes by brute force, limits by hand; stands of a test."""

from dataclasses import replace

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.corrections.heading_correction import heading_correction, line_headings
from lodewalk.methods.corrections.heading_model import HeadingModel, unknown_model
from lodewalk.methods.corrections.heading_stands import part_stands, passes_over

ALL = np.arange(0.0, 360.0, 5.0)


def model(coefficients, covariance, unknown=None):
    rest = np.empty((4, 0)) if unknown is None else unknown
    return HeadingModel(
        np.asarray(coefficients, float), covariance, np.zeros(4), rest, 2, (0.0, 0.0, 1.0), 9, 0
    )


def test_nothing_told_leaves_the_expected_error_at_every_heading():
    found = heading_correction(unknown_model(), ALL, expected_nT=1.5)
    np.testing.assert_allclose(found.sd(ALL), 1.5, rtol=1e-12)
    assert not found.correction(ALL).any()
    assert found.sd([np.nan])[0] == pytest.approx(1.5)


def test_lines_one_way_have_no_error_against_their_mean():
    found = heading_correction(unknown_model(), np.full(50, 37.0), expected_nT=2.0)
    assert found.sd([37.0])[0] < 1e-7
    # The way back differs by twice the first harmonic, whose coefficients have the sd sqrt 2.
    assert found.sd([217.0])[0] == pytest.approx(2 * np.sqrt(2.0))


def test_a_correction_is_made_only_where_it_is_larger_than_its_own_error():
    walked, covariance = [0.0, 180.0], 0.25 * np.eye(4)
    for size, made in ((0.8, False), (0.85, True)):
        seen = model(np.array([size, 0.0, 0.0, 0.0]), covariance, np.empty((4, 0)))
        found = heading_correction(seen, walked, expected_nT=1.0)
        # To and fro the error of the first harmonic is 0.5, and 1.645 of it 0.82.
        assert (found.correction([0.0])[0] != 0.0) == made
        assert found.sd([0.0])[0] == pytest.approx(0.5 if made else np.hypot(0.5, size))


def test_the_sd_is_that_of_a_simulation():
    rng = np.random.default_rng(1)
    told = np.linalg.qr(rng.normal(size=(4, 2)))[0]
    opened = np.linalg.svd(told.T)[2][2:].T
    covariance = told @ np.diag([0.3, 0.1]) @ told.T
    walked = np.repeat([20.0, 200.0, 110.0], [5, 4, 1])
    found = heading_correction(
        model(told @ [1.6, 1.1], covariance, opened), walked, expected_nT=2.0
    )
    drawn = rng.normal(size=(200_000, 2)) * np.sqrt([0.3, 0.1]) @ told.T
    drawn = drawn + rng.normal(0.0, np.sqrt(2.0), (200_000, 2)) @ opened.T
    # The correction is smaller than its own error, so it isn't made and stays in what is left.
    assert found.correction([20.0])[0] == 0.0
    drawn = drawn + told @ [1.6, 1.1]

    def error(degrees):
        psi = np.radians(degrees)
        return (
            np.cos(psi) * drawn[:, 0]
            + np.sin(psi) * drawn[:, 1]
            + (np.cos(2 * psi) * drawn[:, 2] + np.sin(2 * psi) * drawn[:, 3])
        )

    mean = (5 * error(20.0) + 4 * error(200.0) + error(110.0)) / 10
    for degrees in (20.0, 65.0, 110.0, 300.0):
        rms = np.sqrt(np.mean((error(degrees) - mean) ** 2))
        np.testing.assert_allclose(found.sd([degrees])[0], rms, rtol=0.01)
    around = np.mean([np.mean((error(at) - mean) ** 2) for at in np.arange(0.0, 360.0, 30.0)])
    np.testing.assert_allclose(
        found.sd([np.nan])[0], np.sqrt(around + _mean_square(found)), rtol=0.01
    )


def _mean_square(found):
    """Mean square of the correction itself over all headings: what isn't taken off."""
    return np.mean(found.correction(ALL) ** 2)


def test_what_is_told_is_left_as_it_is():
    value = np.array([4.0, 3.0, 1.0, 0.5])
    strong = heading_correction(model(value, 0.01 * np.eye(4)), ALL, expected_nT=1.0)
    np.testing.assert_array_equal(strong.coefficients_nT, value)
    np.testing.assert_allclose(strong.sd(ALL), np.sqrt(2 * 0.01))


def test_what_is_open_has_the_expected_error_and_at_least_what_the_rest_shows():
    told = np.zeros((4, 4))
    told[0, 0] = 0.01
    opened = np.eye(4)[:, 1:]
    small = heading_correction(model([0.1, 0, 0, 0], told, opened), ALL, expected_nT=1.0)
    # At 90 degrees cos is 0: sine and the second harmonic have 0.5 nT2 each.
    assert small.sd([90.0])[0] == pytest.approx(1.0, rel=1e-6)
    large = heading_correction(model([5.0, 0, 0, 0], told, opened), ALL, expected_nT=1.0)
    assert large.sd([90.0])[0] == pytest.approx(np.sqrt(2 * 25.0), rel=0.01)
    assert large.sd([np.nan])[0] > 5.0


def test_correction_has_zero_mean_over_the_headings_walked():
    walked = np.repeat([10.0, 190.0, 100.0], [300, 200, 50])
    found = heading_correction(model([3, 1, 2, 0], 0.01 * np.eye(4)), walked, expected_nT=1.0)
    assert found.correction(walked).mean() == pytest.approx(0.0, abs=1e-12)
    value, sd = found.step(10.0, 190.0)
    assert value == pytest.approx(float(np.subtract(*found.correction([10.0, 190.0]))))
    assert sd == pytest.approx(2 * 0.1, rel=0.01)


def test_the_reference_of_the_evidence_does_not_matter():
    one = model([3, 1, 2, 0], 0.01 * np.eye(4))
    other = replace(one, reference=np.array([0.5, 0.5, 0.0, 0.0]))
    both = [heading_correction(item, ALL, expected_nT=1.0).correction(ALL) for item in (one, other)]
    np.testing.assert_array_equal(*both)


def test_bad_input_of_the_correction_says_so():
    with pytest.raises(InputError, match="expected_nT"):
        heading_correction(unknown_model(), ALL, expected_nT=0.0)
    with pytest.raises(InputError, match="Each passage needs a direction"):
        line_headings([1.0], [2], [0.0])
    with pytest.raises(InputError, match="at least one stand"):
        part_stands([0.0], [1.0], count=0)
    with pytest.raises(InputError, match="within_m"):
        passes_over([0.0], [1.0], within_m=0.0)


def test_a_bent_passage_keeps_the_headings_of_the_walk():
    walking = np.concatenate([np.linspace(0, 90, 50), np.full(50, 2.0)])
    passage = np.repeat([0, 1], 50)
    found = line_headings(walking, passage, [45.0, 359.0])
    np.testing.assert_array_equal(found[:50], walking[:50])
    assert set(found[50:]) == {359.0}


@pytest.mark.parametrize("lengths", [(10, 10, 10, 10), (14, 8, 9, 12), (20, 11, 10, 22)])
def test_stands_are_parted_at_the_planted_turns(lengths):
    rng = np.random.default_rng(2)
    true = np.repeat(np.arange(4), np.array(lengths) * 2)
    time = 0.5 * np.arange(true.size)
    value = np.array([2.0, -1.0, 0.5, 3.0])[true] + rng.normal(0, 0.2, true.size)
    value[5] = np.nan
    found = part_stands(time, value, count=4)
    told = found >= 0
    np.testing.assert_array_equal(found[told], true[told])
    assert told.sum() > 0.75 * true.size
    assert found[5] == -1


def test_headings_that_read_alike_are_not_drawn_apart():
    rng = np.random.default_rng(3)
    spread = []
    for _ in range(40):
        value = rng.normal(0, 0.2, 160)
        found = part_stands(0.5 * np.arange(160.0), value, count=8)
        spread.append(np.std([value[found == k].mean() for k in range(8)]))
    # Even parting gives 0.2 / sqrt(16 readings left) = 0.05.
    assert np.mean(spread) < 0.1


def test_too_short_a_record_has_no_stands():
    assert np.all(part_stands(np.arange(5.0), np.zeros(5), count=4) == -1)


def test_passes_of_a_clover_leaf_are_told_from_its_loops():
    rng = np.random.default_rng(4)
    way, true = [], []
    for number, azimuth in enumerate(np.radians([0.0, 180.0, 90.0, 270.0])):
        along = np.arange(-25.0, 25.1, 0.6)
        way.append(np.outer(along, [np.sin(azimuth), np.cos(azimuth)]))
        true.append(np.where(np.abs(along) < 3.0, number, -1))
        loop = np.linspace(0, np.pi, 60)[:, None]
        way.append(way[-1][-1] + 15 * np.hstack([np.sin(loop), 1 - np.cos(loop)]))
        true.append(np.full(60, -1))
    place = np.concatenate(way) + rng.normal(0, 0.1, (sum(map(len, way)), 2))
    found, true = passes_over(*place.T), np.concatenate(true)
    np.testing.assert_array_equal(found[true >= 0], true[true >= 0])
    assert np.mean(found[true < 0] >= 0) < 0.05
