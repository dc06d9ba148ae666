"""Heading error: closed forms of a moment carried round, planted surveys, what can't be known.

Surveys are lines there and back with tie lines over point sources, with noise, what the diurnal
correction left, and the gear's error.
"""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy.signal import lfilter

from lodewalk.errors import InputError
from lodewalk.methods.corrections.crossings import at_positions, crossing_misfits, find_crossings
from lodewalk.methods.corrections.heading import fit_heading, walking_heading
from lodewalk.methods.corrections.heading_evidence import (
    crossing_evidence,
    neighbour_evidence,
    turn_evidence,
)
from lodewalk.methods.corrections.heading_model import basis_slope, heading_basis, unknown_model

NINETY = 1.645
EIGHT = np.arange(0.0, 360.0, 45.0)
ALL = np.arange(0.0, 360.0, 5.0)


def carried(heading_deg, moment, soft, *, inclination_deg, declination_deg, field_nT=48_000.0):
    """Return the total field at the sensor less the ambient one, as a walker turns [nT].

    The moment (A m2: forward, right, down) and a soft-iron tensor (A m2 for each nT along the same
    axes) sit 0.3 m behind, 0.1 m to the right of and 0.8 m below the sensor. Everything is turned
    to north, east, down and added as vectors: no projection, no harmonics.
    """
    inc, dec = np.radians([inclination_deg, declination_deg])
    north_east_down = (np.cos(inc) * np.cos(dec), np.cos(inc) * np.sin(dec), np.sin(inc))
    ambient = field_nT * np.array(north_east_down)
    found = []
    for psi in np.radians(np.atleast_1d(heading_deg)):
        turn = np.array(
            [[np.cos(psi), -np.sin(psi), 0.0], [np.sin(psi), np.cos(psi), 0.0], [0.0, 0.0, 1.0]]
        )
        whole = turn @ (np.asarray(moment) + np.asarray(soft) @ (turn.T @ ambient))
        r = turn @ np.array([0.3, -0.1, -0.8])
        size = np.linalg.norm(r)
        near = 100.0 * (3 * r * (whole @ r) / size**5 - whole / size**3)  # mu0 / 4 pi = 100 nT m/A
        found.append(np.linalg.norm(ambient + near) - field_nT)
    return np.array(found)


def turned(heading_deg, value, *, sd_nT=0.01):
    return turn_evidence(heading_deg, value, np.ones(len(heading_deg)), sd_nT=sd_nT)


PERMANENT = (0.02, -0.011, 0.015)
SOFT = 1e-7 * np.array([[6.0, 1.0, 0.5], [1.0, 2.0, -1.0], [0.5, -1.0, 3.0]])


@pytest.mark.parametrize("inclination_deg", [-70.0, -25.0, 0.0, 55.0])
def test_a_moment_carried_round_has_two_harmonics_and_no_more(inclination_deg):
    rule = {"inclination_deg": inclination_deg, "declination_deg": -17.0}
    error = carried(ALL, PERMANENT, SOFT, **rule)
    power = np.abs(np.fft.rfft(error)) / ALL.size
    # What is left is the square of the moment's field over the ambient one.
    assert power[3:].max() < 1e-3 < 0.1 < power[1]
    model = fit_heading([turned(EIGHT, carried(EIGHT, PERMANENT, SOFT, **rule))])
    np.testing.assert_allclose(model.correction(ALL), error - error.mean(), atol=3e-3)


def test_a_level_dipole_ahead_by_hand():
    # 0.01 A m2 pointing forward, 0.5 m below the sensor: its field there is -m mu0 / 4 pi r^3, that
    # is -8 nT forward; facing magnetic north it lies along the horizontal field, F cos I.
    facing = EIGHT + 10.0
    by_hand = -8.0 * np.cos(np.radians(60.0)) * np.cos(np.radians(facing - 10.0))
    model = fit_heading([turned(facing, 48_000.0 + by_hand)])
    assert model.order == 1
    np.testing.assert_allclose(model.amplitudes(), (4.0, 0.0), atol=2e-3)
    np.testing.assert_allclose(model.correction([10.0, 190.0]), [-4.0, 4.0], atol=2e-3)


def test_harmonics_fade_with_inclination_as_the_closed_form_says():
    def amplitudes(inclination_deg, moment, soft):
        error = carried(ALL, moment, soft, inclination_deg=inclination_deg, declination_deg=0.0)
        return 2 * np.abs(np.fft.rfft(error))[1:3] / ALL.size

    none = np.zeros((3, 3))
    first = [amplitudes(inc, PERMANENT, none)[0] for inc in (0.0, 60.0)]
    assert first[1] == pytest.approx(first[0] * 0.5, rel=1e-3)  # cos 60
    level, steep = (amplitudes(inc, (0, 0, 0), SOFT) for inc in (0.0, 60.0))
    assert steep[1] == pytest.approx(level[1] * 0.25, rel=2e-3)  # cos^2 60
    assert level[0] < 2e-3 * level[1]  # soft iron adds none of the first at the equator ...
    assert steep[0] > 0.1  # ... but sin I cos I of it elsewhere
    assert amplitudes(90.0, PERMANENT, SOFT).max() < 1e-9  # nothing at the pole


def test_the_slope_of_the_basis_is_its_difference():
    step = 1e-4
    by_difference = (heading_basis(ALL + step) - heading_basis(ALL - step)) / np.radians(2 * step)
    np.testing.assert_allclose(basis_slope(ALL), by_difference, atol=1e-6)


def test_to_and_fro_alone_tells_two_headings_and_says_nothing_of_others():
    rng = np.random.default_rng(1)
    up, down = 20.0 + rng.normal(0, 1, 30), 200.0 + rng.normal(0, 1, 30)
    difference = 3.0 + 0.3 * rng.normal(size=30)
    lines = np.arange(30)
    model = fit_heading([crossing_evidence(up, down, difference, lines, 100 + lines, sd_nT=0.4)])
    value, sd = model.correction([20.0, 200.0]), model.sd([20.0, 200.0])
    np.testing.assert_allclose(value, [1.5, -1.5], atol=0.1)
    assert np.all(sd < 0.12)
    assert np.all(np.isinf(model.sd([65.0, 110.0, 290.0])))


def test_lines_and_ties_leave_one_part_of_the_second_harmonic_open():
    def error(heading_deg):
        psi = np.radians(heading_deg)
        return 2 * np.cos(psi) + np.sin(psi) + 1.5 * np.cos(2 * psi) + 3.0 * np.sin(2 * psi)

    first, second = (a.ravel() for a in np.meshgrid([0.0, 180.0], [90.0, 270.0]))
    first, second = np.tile(first, 8), np.tile(second, 8)
    noise = 0.05 * np.random.default_rng(2).normal(size=first.size)
    own = np.arange(first.size)
    evidence = crossing_evidence(
        first, second, error(first) - error(second) + noise, own, 50 + own, sd_nT=0.1
    )
    model = fit_heading([evidence])
    square = np.array([0.0, 90.0, 180.0, 270.0])
    np.testing.assert_allclose(model.correction(square), error(square), atol=0.1)
    assert np.all(model.sd(square) < 0.15)
    assert np.all(np.isinf(model.sd([45.0, 135.0])))
    full = fit_heading([evidence, turned(EIGHT, error(EIGHT), sd_nT=0.1)])
    assert np.all(full.sd(ALL) < 0.2)
    centred = error(ALL) - full.reference @ (2.0, 1.0, 1.5, 3.0)
    np.testing.assert_allclose(full.correction(ALL), centred, atol=0.2)


def test_gross_outliers_and_a_line_off_by_50_nT_do_not_matter():
    rng = np.random.default_rng(3)
    line, tie = (a.ravel() for a in np.meshgrid(np.arange(20), np.arange(4), indexing="ij"))
    heading, across = np.where(line % 2, 180.0, 0.0), np.where(tie % 2, 90.0, 270.0)
    true = 3.0 * np.cos(np.radians(heading)) - 3.0 * np.cos(np.radians(across))
    value = true + 0.5 * rng.normal(size=line.size) + 50.0 * (line == 7)
    wild = rng.choice(line.size, 8, replace=False)
    value[wild] += rng.choice([-400.0, 400.0], 8)
    model = fit_heading([crossing_evidence(heading, across, value, line, tie, sd_nT=0.7)])
    error = model.correction([0.0]) - model.correction([180.0]) - 6.0
    assert abs(float(error[0])) < 0.4
    assert 6 <= model.rejected <= 12


def test_no_error_of_heading_none_found():
    rng = np.random.default_rng(4)
    found = [fit_heading([turned(EIGHT, 0.2 * rng.normal(size=8), sd_nT=0.2)]) for _ in range(20)]
    assert sum(model.order == 0 for model in found) >= 10
    # By chance one in ten is beyond 1.645 sd; every one would be suspicious.
    beyond = [np.abs(model.correction([45.0])) > NINETY * model.sd([45.0]) for model in found]
    assert sum(float(one[0]) for one in beyond) <= 5


def test_nothing_seen_nothing_claimed():
    model = fit_heading([])
    assert np.all(np.isinf(model.sd(ALL)))
    assert np.all(model.correction(ALL) == 0.0)
    one_way = turn_evidence([0.0, 0.0, 1.0], [5.0, 5.1, 4.9], [1, 1, 1], sd_nT=0.1)
    assert np.isinf(fit_heading([one_way]).sd([180.0]))[0]
    missing = turn_evidence([0.0, np.nan], [np.nan, 2.0], [1, 1], sd_nT=0.1)
    assert fit_heading([missing]).count == 0
    assert np.isnan(unknown_model().correction([np.nan]))[0]


def test_bad_input_says_so():
    with pytest.raises(InputError, match="max_order must be 1 or 2"):
        fit_heading([], max_order=3)
    with pytest.raises(InputError, match="sd_nT must be above zero"):
        turn_evidence([0.0], [1.0], [1], sd_nT=0.0)
    with pytest.raises(InputError, match="one for each value"):
        turn_evidence([0.0, 1.0], [1.0, 1.0], [1, 1], sd_nT=[0.1, 0.1, 0.1])
    with pytest.raises(InputError, match="same length"):
        crossing_evidence([0.0], [1.0, 2.0], [1.0], [1], [2], sd_nT=0.1)
    with pytest.raises(InputError, match="max_spacing_m"):
        neighbour_evidence([0.0], [0.0], [1.0], [0], max_spacing_m=-1.0)


def test_walking_heading_of_a_circle_is_its_tangent():
    angle = np.linspace(0.0, 2 * np.pi, 1000, endpoint=False)
    place = 100 * np.sin(angle), 100 * np.cos(angle)
    found = walking_heading(*place, np.arange(1000.0))
    tangent = (np.degrees(angle) + 90.0) % 360.0
    off = (found - tangent + 180.0) % 360.0 - 180.0
    assert np.abs(off[20:-20]).max() < 3.0
    gap = walking_heading([0.0, 1.0, 2.0], [0.0, 0.0, 0.0], [0.0, 1.0, 100.0], smoothing_m=1.0)
    assert gap[:2].tolist() == [90.0, 90.0]
    assert np.isnan(gap[2])


@dataclass(frozen=True)
class Survey:
    """A walked survey and the gear's error: amplitudes [nT] and phases [degrees]."""

    lines: int = 16
    ties: int = 3
    length_m: float = 400.0
    spacing_m: float = 25.0
    azimuth_deg: float = 30.0
    first_nT: float = 4.0
    second_nT: float = 2.0
    phases_deg: tuple[float, float] = (70.0, 20.0)
    noise_nT: float = 0.5
    residue_nT: float = 0.3
    residue_s: float = 600.0
    position_sd_m: float = 0.3
    geology_nT: float = 100.0
    turn_tests: int = 1
    tie_angle_deg: float = 90.0


@dataclass(frozen=True)
class Walked:
    """Readings of a survey, and what is true of them."""

    easting: np.ndarray
    northing: np.ndarray
    passage: np.ndarray
    heading: np.ndarray
    reading: np.ndarray
    anomaly: np.ndarray
    tests: tuple[np.ndarray, np.ndarray, np.ndarray]


def gear(rule, heading_deg):
    """Return the planted error [nT]."""
    first, second = (np.radians(heading_deg - phase) for phase in rule.phases_deg)
    return rule.first_nT * np.cos(first) + rule.second_nT * np.cos(2 * second)


def wandering(rng, count, *, sd, time_s):
    """Return noise that forgets itself within `time_s`, at 1 s."""
    keep = np.exp(-1.0 / time_s)
    steps = rng.normal(size=count) * np.sqrt(1 - keep**2)
    return sd * lfilter([1.0], [1.0, -keep], steps, zi=[keep * rng.normal()])[0]


def passages(rng, rule):
    """Return place along and across, number and direction [degrees] for each second on lines."""
    width = (rule.lines - 1) * rule.spacing_m
    ways = []
    for n in range(rule.lines):
        ends = np.array([[0.0, n * rule.spacing_m], [rule.length_m, n * rule.spacing_m]])
        ways.append(ends if n % 2 == 0 else ends[::-1])
    lean = width / np.tan(np.radians(rule.tie_angle_deg)) / 2
    for t in range(rule.ties):
        along = rule.length_m * (t + 1) / (rule.ties + 1)
        ends = np.array([[along - lean, -10.0], [along + lean, width + 10.0]])
        ways.append(ends if t % 2 == 0 else ends[::-1])
    parts = []
    for number, (start, stop) in enumerate(ways):
        way = stop - start
        length = np.hypot(*way)
        share = np.arange(0.0, length, 1.1) / length
        aside = wandering(rng, share.size, sd=0.6, time_s=30.0)
        place = start + share[:, None] * way + aside[:, None] * np.array([-way[1], way[0]]) / length
        direction = rule.azimuth_deg + np.degrees(np.arctan2(way[1], way[0]))
        parts.append(np.column_stack([place, np.full(share.size, number), 0 * share + direction]))
    return np.concatenate(parts).T


def ground(rng, rule, along, across):
    """Return the anomaly of 60 poles and dipoles at 8 to 60 m, of the given rms [nT]."""
    value = np.zeros(along.size)
    for _ in range(60):
        depth = np.exp(rng.uniform(*np.log([8.0, 60.0])))
        x = along - rng.uniform(-50, rule.length_m + 50)
        y = across - rng.uniform(-50, rule.lines * rule.spacing_m + 50)
        tilt = rng.uniform(-1, 1)
        shape = depth**2 * (depth + tilt * x) / (x**2 + y**2 + depth**2) ** 1.5
        value += rng.normal() * shape
    return value * rule.geology_nT / value.std()


def walk(seed, rule=None):
    """Return a survey that was walked."""
    rule, rng = rule or Survey(), np.random.default_rng(seed)
    along, across, number, direction = passages(rng, rule)
    truth = ground(rng, rule, along, across)
    swing = direction + wandering(rng, along.size, sd=2.0, time_s=5.0)
    left = wandering(rng, along.size, sd=rule.residue_nT, time_s=rule.residue_s)
    reading = truth + gear(rule, swing) + left + rule.noise_nT * rng.normal(size=along.size)
    seen = [
        part + wandering(rng, along.size, sd=rule.position_sd_m, time_s=90.0)
        for part in (along, across)
    ]
    turn = np.radians(rule.azimuth_deg)
    # Across is to the right of along, so azimuth grows from along to across.
    east = seen[0] * np.sin(turn) + seen[1] * np.cos(turn)
    north = seen[0] * np.cos(turn) - seen[1] * np.sin(turn)
    facing = np.tile(EIGHT, rule.turn_tests)
    stands = gear(rule, facing + rng.normal(0, 2, facing.size)) + rng.normal(0, 0.2, facing.size)
    tests = (facing, stands, np.repeat(np.arange(rule.turn_tests), 8))
    return Walked(east, north, number.astype(int), direction % 360, reading, truth, tests)


def gathered(walked, rule, *, kinds=("turn", "crossing", "neighbour")):
    """Return the evidence that a survey has."""
    found = []
    if "turn" in kinds and rule.turn_tests:
        found.append(turn_evidence(*walked.tests, sd_nT=0.2))
    if "crossing" in kinds and rule.ties:
        at = find_crossings(walked.passage, walked.easting, walked.northing, max_gap_m=5.0)
        first, second = (np.floor(part).astype(int) for part in (at.first, at.second))
        slope = np.abs(np.gradient(walked.reading)) / 1.1
        steep = np.hypot(at_positions(at.first, slope), at_positions(at.second, slope))
        found.append(
            crossing_evidence(
                walked.heading[first],
                walked.heading[second],
                crossing_misfits(at, walked.reading),
                walked.passage[first],
                walked.passage[second],
                sd_nT=np.hypot(rule.noise_nT, rule.position_sd_m * steep),
            )
        )
    if "neighbour" in kinds:
        found.append(
            neighbour_evidence(walked.easting, walked.northing, walked.reading, walked.passage)
        )
    return found


def outcome(seed, rule, **how):
    """Return the model, and true error against the same reference at each reading."""
    walked = walk(seed, rule)
    model = fit_heading(gathered(walked, rule, **how))
    psi = np.radians(rule.phases_deg)
    coefficients = np.array(
        [
            rule.first_nT * np.cos(psi[0]),
            rule.first_nT * np.sin(psi[0]),
            rule.second_nT * np.cos(2 * psi[1]),
            rule.second_nT * np.sin(2 * psi[1]),
        ]
    )
    true = gear(rule, walked.heading) - model.reference @ coefficients
    return model, walked, true


def any_rule(seed, **fixed):
    """Return a survey of any size, with any error up to 5 nT, also with none of a harmonic."""
    rng = np.random.default_rng([seed, 1])
    drawn = Survey(
        lines=int(rng.integers(8, 21)),
        ties=int(rng.integers(2, 5)),
        length_m=float(rng.choice([200.0, 300.0, 400.0])),
        spacing_m=rng.uniform(10, 30),
        azimuth_deg=rng.uniform(0, 360),
        first_nT=rng.uniform(0, 5) * (rng.random() > 0.2),
        second_nT=rng.uniform(0, 2) * (rng.random() > 0.3),
        phases_deg=(rng.uniform(0, 360), rng.uniform(0, 360)),
        noise_nT=rng.uniform(0.2, 0.8),
        residue_nT=rng.uniform(0.1, 0.5),
        residue_s=float(rng.choice([100.0, 600.0, 3000.0])),
        geology_nT=rng.uniform(30, 150),
        turn_tests=int(rng.integers(0, 2)),
        tie_angle_deg=rng.choice([90.0, 60.0]),
    )
    return replace(drawn, **fixed)


@pytest.mark.parametrize("turn_tests", [0, 1])
def test_a_planted_error_of_5_nT_leaves_at_most_0_3(turn_tests):
    rule = Survey(turn_tests=turn_tests)
    for seed in range(6):
        model, walked, true = outcome(seed, rule)
        left = model.correction(walked.heading) - true
        assert np.sqrt(np.mean((left - left.mean()) ** 2)) <= 0.3
        corrected = walked.reading - model.correction(walked.heading)
        plain = walked.reading - true
        change = (corrected - plain) - np.mean(corrected - plain)
        assert np.std(change) <= 0.02 * np.std(walked.anomaly)


def test_neighbours_alone_tell_to_and_fro_of_a_survey_without_ties():
    size = []
    for seed in range(8):
        rule = Survey(ties=0, turn_tests=0, phases_deg=(30.0, 0.0))
        model, _, _ = outcome(50 + seed, rule, kinds=("neighbour",))
        step = model.correction([30.0]) - model.correction([210.0])
        # Both are half the step off their mean, so the step's sd is that of both together.
        size.append(float(abs(step[0] - 8.0) / model.sd([30.0, 210.0]).sum()))
        assert np.all(np.isinf(model.sd([75.0, 120.0])))
    # At 90 % each: fewer than five of eight happen in 1 of 200 times.
    assert np.sum(np.array(size) <= NINETY) >= 5


def test_intervals_cover():
    inside = 0
    for seed in range(40):
        model, walked, true = outcome(100 + seed, any_rule(seed))
        at = np.random.default_rng([seed, 2]).integers(true.size)
        error = model.correction(walked.heading[at]) - true[at]
        inside += int(abs(error[0]) <= NINETY * model.sd(walked.heading[at])[0])
    # Of 40 at 90 %: fewer than 31 happen in 1 of 100 times.
    assert inside >= 31


def test_a_passage_that_stands_still_is_no_neighbour_and_harms_none():
    """Five lines to and fro with a level of 1 nT on each second, and a sixth that stands still."""
    along, line = np.tile(np.arange(100.0), 5), np.repeat(np.arange(5), 100)
    north = np.where(line % 2 == 0, along, 99.0 - along)
    east, value = 20.0 * line, 3.0 * line + (line % 2)
    still = np.full(30, 50.0)
    found = neighbour_evidence(
        np.append(east, still + 0.123), np.append(north, still), np.append(value, still),
        np.append(line, np.full(30, 5)),
    )  # fmt: skip
    assert found.value_nT.round(6).tolist() == [1.0, -1.0, 1.0]
    assert neighbour_evidence(still, still, still, np.arange(30) // 5).value_nT.size == 0
