"""Networks of ties, against sums done by hand and trials."""

import numpy as np
import pytest
from scipy.stats import binom

from lodewalk.errors import InputError
from lodewalk.methods.corrections.datum_network import adjust_network


def test_triangle_shares_its_misclosure_by_variance() -> None:
    # Round A-B-C-A: 10.0 + 5.0 - 14.3 = 0.7 nT too much. Each tie takes the share of its variance
    # in the sum 0.01 + 0.04 + 0.09 = 0.14 nT^2: 0.05, 0.20 and 0.45 nT.
    found = adjust_network(
        ["A", "B", "C"], ["B", "C", "A"], [10.0, 5.0, -14.3], [0.1, 0.2, 0.3], fixed="A"
    )
    np.testing.assert_allclose(found.offset_nT, [0.0, 9.95, 14.75], atol=1e-12)
    np.testing.assert_allclose(found.residual_nT, [0.05, 0.20, 0.45], atol=1e-12)
    np.testing.assert_allclose(found.redundancy, np.array([0.01, 0.04, 0.09]) / 0.14)
    # B is reached over AB (0.01) or over AC and CB (0.13): 1 / (1 / 0.01 + 1 / 0.13). C likewise.
    variance = [0.0, 0.01 * 0.13 / 0.14, 0.09 * 0.05 / 0.14]
    np.testing.assert_allclose(found.sd_nT**2, variance, atol=1e-15)
    # Of an error of AB, B takes 0.13 / 0.14 and C 0.09 / 0.14, and so on.
    share_b, share_c = np.array([0.13, -0.01, -0.01]), np.array([0.09, 0.09, -0.05])
    covariance = (share_b * share_c) @ [0.01, 0.04, 0.09] / 0.14**2
    assert found.covariance_nT2[1, 2] == pytest.approx(covariance, abs=1e-15)
    # With one redundancy all residuals say the same: 0.7 / sqrt(0.14) sd.
    np.testing.assert_allclose(np.abs(found.standardised), 0.7 / np.sqrt(0.14))
    assert found.chi_square == pytest.approx(0.49 / 0.14)
    assert found.freedom == 1
    # A chi-square of one freedom is a squared normal: 2 (1 - Phi(1.8708)) = 0.0614 (tables).
    assert found.probability == pytest.approx(0.0614, abs=1e-4)
    assert found.suspects == ()
    assert found.datum == "A"


def test_least_norm_is_the_fixed_solution_moved_to_mean_zero() -> None:
    ties = (["A", "B", "C"], ["B", "C", "A"], [10.0, 5.0, -14.3], [0.1, 0.2, 0.3])
    fixed, free = adjust_network(*ties, fixed="B"), adjust_network(*ties)
    mean = fixed.offset_nT.mean()
    np.testing.assert_allclose(free.offset_nT, fixed.offset_nT - mean, atol=1e-12)
    np.testing.assert_allclose(free.between("A", "C"), (14.75, fixed.between("A", "C")[1]))
    moved = np.eye(3) - 1 / 3
    np.testing.assert_allclose(
        free.covariance_nT2, moved @ fixed.covariance_nT2 @ moved.T, atol=1e-15
    )


def test_parallel_ties_give_the_weighted_mean() -> None:
    # 10 and 13 nT with sd 1 and 2: (10 + 13 / 4) / (5 / 4) = 10.6, sd sqrt(4 / 5).
    found = adjust_network(["A", "A"], ["B", "B"], [10.0, 13.0], [1.0, 2.0], fixed="A")
    assert found.between("A", "B") == pytest.approx((10.6, np.sqrt(0.8)))
    assert found.between("B", "A")[0] == pytest.approx(-10.6)


def test_unconnected_nodes_are_named_and_have_no_number() -> None:
    found = adjust_network(
        ["A", "C", "C"], ["B", "D", "D"], [1.0, 2.0, 9.0], [0.1] * 3, fixed="A", nodes=["E", "A"]
    )
    assert found.nodes == ("E", "A", "B", "C", "D")
    assert found.unconnected == ("E", "C", "D")
    np.testing.assert_array_equal(np.isnan(found.offset_nT), [True, False, False, True, True])
    np.testing.assert_array_equal(np.isnan(found.residual_nT), [False, True, True])
    assert np.isnan(found.sd_nT[0])
    assert np.isnan(found.covariance_nT2[3, 4])
    # What isn't in the network is not tested either: C and D contradict each other by 7 nT.
    assert found.chi_square == pytest.approx(0.0, abs=1e-20)
    assert np.isnan(found.variance_factor)
    assert found.suspects == ()


def test_least_norm_takes_the_largest_group() -> None:
    found = adjust_network(["X", "A", "B"], ["Y", "B", "C"], [1.0, 2.0, 3.0], [0.1] * 3)
    assert found.unconnected == ("X", "Y")
    np.testing.assert_allclose(found.offset_nT[2:], np.array([-7, -1, 8]) / 3)


def test_fixed_node_without_ties() -> None:
    found = adjust_network(["A"], ["B"], [1.0], [0.1], fixed="Z", nodes=["Z"])
    assert found.unconnected == ("A", "B")
    np.testing.assert_array_equal(found.offset_nT, [0.0, np.nan, np.nan])


def test_tie_that_nothing_checks_says_so() -> None:
    found = adjust_network(
        ["A", "A", "B"], ["B", "B", "C"], [1.0, 1.2, 5.0], [0.1, 0.1, 0.1], fixed="A"
    )
    np.testing.assert_allclose(found.redundancy, [0.5, 0.5, 0.0], atol=1e-12)
    assert np.isnan(found.standardised[2])
    assert np.isinf(found.detectable_nT[2])
    # Baarda's 4.13 = 3.29 + 0.84 for 0.1 % and 80 %, over sqrt(r).
    assert found.detectable_nT[0] == pytest.approx(4.13 * 0.1 / np.sqrt(0.5), rel=2e-3)


def full_network(rng: np.random.Generator) -> tuple[np.ndarray, ...]:
    """Six nodes, each pair tied: true levels, ends, sd and ties with noise."""
    first, second = np.triu_indices(6, 1)
    truth = rng.normal(0, 20, 6)
    sd = rng.uniform(0.2, 1.0, first.size)
    return truth, first, second, sd, truth[second] - truth[first] + rng.normal(0, sd)


def test_gross_error_is_proposed_and_stays_in() -> None:
    _, first, second, sd, ties = full_network(np.random.default_rng(5))
    ties[7] += 12 * sd[7]
    found = adjust_network(first.tolist(), second.tolist(), ties, sd, fixed=0)
    assert found.suspects == (7,)
    assert found.probability < 1e-6
    # Still part of the solution: the equations of least squares hold with it.
    design = np.zeros((first.size, 6))
    design[np.arange(first.size), first], design[np.arange(first.size), second] = -1.0, 1.0
    np.testing.assert_allclose(design.T @ (found.residual_nT / sd**2), 0.0, atol=1e-9)
    # Without it the residual of that tie is about its error.
    rest = np.arange(first.size) != 7
    again = adjust_network(
        first[rest].tolist(), second[rest].tolist(), ties[rest], sd[rest], fixed=0
    )
    assert again.suspects == ()


def test_ties_that_cannot_be_told_apart_are_all_proposed() -> None:
    # In one loop the misclosure may come from any tie.
    found = adjust_network(
        ["A", "B", "C"], ["B", "C", "A"], [10.0, 5.0, -20.0], [0.1, 0.2, 0.3], fixed="A"
    )
    assert found.suspects == (0, 1, 2)


def test_coverage_global_test_and_snooping() -> None:
    rng = np.random.default_rng(11)
    inside, rejected, suspected, power = [], 0, 0, 0
    for _ in range(500):
        truth, first, second, sd, ties = full_network(rng)
        found = adjust_network(first.tolist(), second.tolist(), ties, sd, fixed=0)
        inside.append(abs(found.offset_nT[3] - truth[3] + truth[0]) <= 1.645 * found.sd_nT[3])
        rejected += found.probability < 0.05
        suspected += bool(found.suspects)
        ties[4] += found.detectable_nT[4]
        power += abs(adjust_network(first.tolist(), second.tolist(), ties, sd).standardised[4]) > (
            3.2905
        )
    low, high = binom.ppf([0.005, 0.995], 500, 0.9)
    assert low <= sum(inside) <= high
    low, high = binom.ppf([0.005, 0.995], 500, 0.05)
    assert low <= rejected <= high
    assert suspected <= binom.ppf(0.995, 500, 15 * 0.001)
    low, high = binom.ppf([0.005, 0.995], 500, 0.8)
    assert low <= power <= high


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"second": ["B"]}, "same length.*first 2, second 1"),
        ({"sd_nT": [0.1]}, "same length"),
        ({"sd_nT": [0.1, 0.0]}, "sd of each tie must be above zero.*0.0 at tie 1"),
        ({"difference_nT": [1.0, np.nan]}, "must have a difference.*tie 1"),
        ({"second": ["B", "B"]}, "two different nodes"),
        ({"fixed": "Q"}, "fixed node must be a node.*'Q'.*A, B, C"),
        ({"snooping_level": 1.0}, "snooping_level must lie between 0 and 1"),
    ],
)
def test_bad_input_is_named(change: dict[str, object], said: str) -> None:
    given = {
        "first": ["A", "B"],
        "second": ["B", "C"],
        "difference_nT": [1.0, 2.0],
        "sd_nT": [0.1, 0.1],
    }
    with pytest.raises(InputError, match=said):
        adjust_network(**(given | change))  # type: ignore[arg-type]


def test_no_tie_at_all() -> None:
    with pytest.raises(InputError, match="at least one tie"):
        adjust_network([], [], [], [])
