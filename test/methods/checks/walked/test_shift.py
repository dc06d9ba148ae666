"""Constant shifts that are planted, beside walks that have none."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.checks.walked.shift import (
    NONE,
    NOT_IDENTIFIABLE,
    UNNAMED,
    ShiftCandidate,
    constant_shift,
    shift_from_plan,
)

CENTRE = np.array([500_000.0, 7_000_000.0])
TURN = np.deg2rad(2.9)
#: Mistakes of the kinds that occur, with round numbers of their own.
OLD_DATUM = ShiftCandidate("old datum", 50.0, 44.0, *CENTRE)
OTHER_DATUM = ShiftCandidate("other datum", -112.0, -185.0, *CENTRE)
ZONE = ShiftCandidate(
    "zone",
    -596_000.0,
    -14_200.0,
    *CENTRE,
    ((np.cos(TURN), np.sin(TURN)), (-np.sin(TURN), np.cos(TURN))),
)
NO_NORTHING = ShiftCandidate("no false northing", 0.0, -1e7, *CENTRE)
SWAPPED = ShiftCandidate("swapped", 6.5e6, -6.5e6, *CENTRE, ((0.0, 1.0), (1.0, 0.0)))
FEET = ShiftCandidate(
    "feet", 1_140_420.0, 15_965_879.0, *CENTRE, ((1 / 0.3048, 0.0), (0.0, 1 / 0.3048))
)
MISTAKES = [OLD_DATUM, OTHER_DATUM, ZONE, NO_NORTHING, SWAPPED, FEET]
#: Its own inverse, so that either set may be the wrong one.
MUTUAL = {"swapped"}


def wrong(mistake: ShiftCandidate, place: np.ndarray) -> np.ndarray:
    """Make a mistake: wrong = centre + shift + matrix (right - centre)."""
    shift = np.array([mistake.easting_m, mistake.northing_m])
    return CENTRE + shift + (place - CENTRE) @ np.array(mistake.matrix).T


def survey(
    rng: np.random.Generator,
    *,
    lines: int = 12,
    length: float = 400.0,
    spacing: float = 20.0,
    ties: bool = True,
    azimuth_deg: float = 20.0,
) -> tuple[list[np.ndarray], np.ndarray]:
    """Return a plan, and a walk along it with wandering, overshoot and a bias of fixes <= 3 m."""
    plan = [np.array([(spacing * k, 0.0), (spacing * k, length)]) for k in range(lines)]
    if ties:
        across = spacing * (lines - 1) + 10
        plan += [np.array([(-10.0, y), (across, y)]) for y in (0.2 * length, 0.8 * length)]
    walk = [np.zeros((0, 2))]
    for number, line in enumerate(plan):
        ends = line[:: 1 - 2 * (number % 2)]
        way = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
        along = np.arange(-rng.uniform(0, 8), np.hypot(*(ends[1] - ends[0])) + 8, 1.2)
        side = np.convolve(rng.normal(size=along.size + 60), np.ones(61) / np.sqrt(61), "valid")
        places = ends[0] + along[:, np.newaxis] * way + 2 * side[:, np.newaxis] * [way[1], -way[0]]
        if len(walk[-1]):
            gap = places[0] - walk[-1][-1]
            share = np.arange(1.2, np.hypot(*gap), 1.2) / np.hypot(*gap)
            walk.append(walk[-1][-1] + share[:, np.newaxis] * gap)
        walk.append(places)
    angle = np.deg2rad(azimuth_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    bias = rng.normal(0, 2, 2)
    bias *= min(1.0, 3.0 / np.hypot(*bias))
    return [CENTRE + line @ turn for line in plan], CENTRE + np.concatenate(walk) @ turn + bias


def against_plan(walk: np.ndarray, plan: list[np.ndarray]):
    return shift_from_plan(*walk.T, plan, walk_wrong=MISTAKES, plan_wrong=MISTAKES)


def is_named(found, mistake: ShiftCandidate, which: str) -> bool:
    sides = {"first", "second"} if mistake.name in MUTUAL else {which}
    return found.proposed and found.name == mistake.name and found.wrong in sides


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda item: item.name)
def test_walk_or_plan_with_a_mistake(mistake: ShiftCandidate) -> None:
    plan, walk = survey(np.random.default_rng(300), ties=False)
    found = against_plan(wrong(mistake, walk), plan)
    assert is_named(found, mistake, "first")
    other = against_plan(walk, [wrong(mistake, line) for line in plan])
    assert is_named(other, mistake, "second")


def test_size_of_a_datum_shift_and_its_sd() -> None:
    errors = []
    for seed in range(310, 314):
        plan, walk = survey(np.random.default_rng(seed))
        found = against_plan(wrong(OLD_DATUM, walk), plan)
        errors.append([found.easting_m - 50, found.northing_m - 44])
        # The bias of the fixes (3 m) and little more: lines in both directions.
        assert 3.0 <= found.sd_easting_m < 3.5
        assert 3.0 <= found.sd_northing_m < 3.5
    assert np.max(np.abs(errors)) < 3.0 + 1.5
    plan, walk = survey(np.random.default_rng(318))
    other = against_plan(walk, [wrong(OLD_DATUM, line) for line in plan])
    assert other.easting_m == pytest.approx(-50, abs=4.5)
    assert other.northing_m == pytest.approx(-44, abs=4.5)


def test_nothing_is_claimed_on_clean_surveys() -> None:
    for seed in range(320, 330):
        rng = np.random.default_rng(seed)
        plan, walk = survey(
            rng,
            lines=int(rng.integers(2, 14)),
            length=float(rng.uniform(150, 500)),
            spacing=float(rng.choice([5, 10, 20, 50])),
            ties=bool(rng.random() < 0.5),
            azimuth_deg=float(rng.uniform(0, 180)),
        )
        found = against_plan(walk, plan)
        assert found.name == NONE
        assert not found.proposed


def test_a_mistake_that_shrinks_the_walk_gains_nothing_by_it() -> None:
    plan, walk = survey(np.random.default_rng(345), spacing=5.0, ties=False)
    middle = np.median(walk, axis=0)
    shrunk = ShiftCandidate("shrunk", 0.0, 0.0, *middle, ((3.0, 0.0), (0.0, 3.0)))
    found = shift_from_plan(*walk.T, plan, walk_wrong=[shrunk])
    assert found.name == NONE
    assert found.named_probability < 1e-6


def test_parallel_lines_leave_the_shift_along_them_open() -> None:
    plan, walk = survey(np.random.default_rng(340), ties=False, azimuth_deg=0.0)
    found = against_plan(walk, plan)
    assert 3.0 <= found.sd_easting_m < 3.5
    assert found.sd_northing_m == np.inf


def test_a_shift_that_no_mistake_explains_has_no_name() -> None:
    plan, walk = survey(np.random.default_rng(341))
    found = against_plan(np.add(walk, [31.0, -27.0]), plan)
    assert found.name == UNNAMED
    assert not found.proposed
    assert (found.easting_m, found.northing_m) == pytest.approx((31, -27), abs=4.5)
    assert against_plan(walk, plan).misfit_m < 4.5


def test_alike_mistakes_share_the_probability() -> None:
    plan, walk = survey(np.random.default_rng(342))
    twin = ShiftCandidate("its twin", 53.0, 47.0, *CENTRE)
    found = shift_from_plan(*wrong(OLD_DATUM, walk).T, plan, walk_wrong=[OLD_DATUM, twin])
    assert {item.name for item in found.likely} == {"old datum", "its twin"}
    assert found.probability < 0.9
    assert found.proposed
    assert found.named_probability > 0.99


def test_too_little_to_tell() -> None:
    plan, walk = survey(np.random.default_rng(343))
    for part in (walk[:0], walk[:40]):
        found = against_plan(part, plan)
        assert found.name == NOT_IDENTIFIABLE
        assert not found.proposed
        assert np.isnan(found.easting_m)
        assert np.isinf(found.sd_easting_m)
    assert against_plan(walk, []).name == NOT_IDENTIFIABLE
    assert against_plan(np.full((50, 2), np.nan), plan).name == NOT_IDENTIFIABLE


def receivers(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Return the same walk by two receivers, each with a bias and noise of its own."""
    walk = survey(rng, lines=5)[1]
    first, second = (walk + rng.normal(0, 1.5, 2) + rng.normal(0, 1, walk.shape) for _ in "ab")
    second[rng.random(len(walk)) < 0.2] = np.nan
    second[50] += 400.0
    return first, second


def between(first: np.ndarray, second: np.ndarray):
    return constant_shift(*first.T, *second.T, first_wrong=MISTAKES, second_wrong=MISTAKES)


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda item: item.name)
def test_one_of_two_receivers_with_a_mistake(mistake: ShiftCandidate) -> None:
    for seed in (350, 351):
        first, second = receivers(np.random.default_rng(seed))
        assert is_named(between(wrong(mistake, first), second), mistake, "first")
        assert is_named(between(first, wrong(mistake, second)), mistake, "second")


def test_two_receivers_without_a_mistake() -> None:
    for seed in range(360, 380):
        first, second = receivers(np.random.default_rng(seed))
        found = between(first, second)
        assert found.name == NONE
        assert np.hypot(found.easting_m, found.northing_m) < 8
        assert found.sd_easting_m == pytest.approx(3 * np.sqrt(2), rel=0.1)
    found = between(np.add(first, [0.0, 35.0]), second)
    assert found.name == UNNAMED
    assert found.northing_m == pytest.approx(35, abs=8)


def test_few_common_positions() -> None:
    first, second = receivers(np.random.default_rng(380))
    assert between(first[:15], second[:15]).name == NOT_IDENTIFIABLE
    assert between(first, np.full(second.shape, np.nan)).name == NOT_IDENTIFIABLE


def test_bad_input() -> None:
    with pytest.raises(InputError, match="fix_sd_m must be above zero"):
        constant_shift([0.0], [0.0], [0.0], [0.0], fix_sd_m=0.0)
    with pytest.raises(InputError, match="same length"):
        constant_shift([0.0], [0.0], [0.0, 1.0], [0.0, 1.0])
    with pytest.raises(InputError, match="off_line_sd_m must be above zero"):
        shift_from_plan([0.0], [0.0], [], off_line_sd_m=-1.0)
    with pytest.raises(InputError, match="same length"):
        shift_from_plan([0.0, 1.0], [0.0], [])
