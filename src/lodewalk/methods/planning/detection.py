"""The probability that a planned survey finds its target."""

from dataclasses import dataclass, field
from typing import Final, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray
from scipy.special import erfc, ndtr, ndtri

from lodewalk.errors import InputError
from lodewalk.methods.planning.line_layout import (
    LineLayout,
    Readings,
    area_size,
    frame_of,
    parallel_lines,
    within_area,
)
from lodewalk.methods.planning.matched_filter import (
    Detector,
    looked_up,
    make_detector,
    with_strikes,
)
from lodewalk.methods.planning.sought import PreparedTarget, Target, spread_points
from lodewalk.methods.planning.survey_noise import SurveyNoise
from lodewalk.methods.planning.whitening import whitened
from lodewalk.validation import FloatArray, check_positive

IntArray = NDArray[np.int64]

#: Draws of the noise of a window, depths and strikes at each place, strengths of each.
NOISE_DRAWS, TARGETS, STRENGTHS = 64, 4, 16

#: Templates whose expected score is over this share of the highest count for a target, at most so
#: many of them.
SHARE, MOST = 0.4, 48

#: Candidates for each place.
CANDIDATES: Final = 60


@dataclass(frozen=True)
class Detection:
    """What a planned survey promises.

    Parameters
    ----------
    probability : float
        Probability that the target is found, averaged over all that isn't known.
    standard_error : float
        Standard error of it from the number of places, at most.
    threshold : float
        Score from which a place counts as a target.
    looks : float
        Independent looks that the scan of the whole area is worth at that threshold.
    expected_score : float
        Median of the highest expected score.
    place_m : float array, shape (n_places, 2)
        Places at which the target was put [m].
    place_probability : float array, shape (n_places,)
        Probability there.
    """

    probability: float
    standard_error: float
    threshold: float
    looks: float
    expected_score: float
    place_m: FloatArray = field(repr=False)
    place_probability: FloatArray = field(repr=False)


class _Place(NamedTuple):
    """Scores near one place: their correlation, noise and means, and which come before the first.

    `means` has shape (n_targets, n_templates), `noise` (n_draws, n_templates).
    """

    correlation: FloatArray
    noise: FloatArray
    means: FloatArray
    central: int
    before: IntArray


@dataclass(frozen=True)
class Scores:
    """Scores near places of an area: what the odds of a target of any strength follow from.

    Parameters
    ----------
    threshold, looks : float
        As in `Detection`.
    place_m : float array, shape (n_places, 2)
        Places at which the target is put [m].
    places : tuple
        Scores near each; None where no reading tells of it.
    seed : int
        Start of the draws.
    """

    threshold: float
    looks: float
    place_m: FloatArray
    places: tuple[_Place | None, ...] = field(repr=False)
    seed: int = 0

    def detection(self, target: Target) -> Detection:
        """Return what the survey promises.

        Parameters
        ----------
        target : Target
            The target that the scores were made for, of whatever strength.

        Returns
        -------
        Detection
        """
        chance = np.array(
            [0.0 if place is None else _found(place, target, self.threshold, k, self.seed)
             for k, place in enumerate(self.places)]
        )  # fmt: skip
        known = [place for place in self.places if place is not None]
        best = [np.median(np.abs(place.means).max(axis=1)) for place in known] or [0.0]
        error = float(np.std(chance) / np.sqrt(chance.size))
        return Detection(
            float(chance.mean()), error, self.threshold, self.looks, float(np.median(best)),
            self.place_m, chance,
        )  # fmt: skip


def predict_detection(
    readings: Readings,
    area_m: ArrayLike,
    *,
    prepared: PreparedTarget,
    noise: SurveyNoise,
    spacing_m: float,
    azimuth_deg: float,
    false_alarm: float = 0.05,
    places: int = 24,
    seed: int = 0,
) -> Detection:
    """Predict the probability that a survey finds its target.

    Parameters
    ----------
    readings : Readings
        Planned readings.
    area_m : array, shape (n, 2)
        Vertices of the area [m]; the target's middle lies in it, each place alike.
    prepared : PreparedTarget
        The target and what isn't known of it.
    noise : SurveyNoise
        Noise of single readings.
    spacing_m, azimuth_deg : float
        Line spacing [m] and azimuth of the lines [deg].
    false_alarm : float
        Probability that noise alone makes any target in the whole area (default 0.05).
    places : int
        Places at which the target is put (default 24).
    seed : int
        Start of the draws.

    Returns
    -------
    Detection

    Raises
    ------
    InputError
        For a number out of range, or without readings.

    Notes
    -----
    The detector is that of `make_detector`; a target is found when the score of a template whose
    middle lies within the tolerance of its own passes the threshold. Near each place the scores
    are correlated Gaussian variables: their means are the filters applied to the anomaly of a
    drawn depth and strike, times a drawn strength. The highest of them passes with a probability
    that is averaged over draws of the noise, given which the score of the best template passes a
    bound with a normal probability. Places are spread over the area and evenly over the
    distance from a line; a target near the edge has fewer lines beside it, and so fewer odds.

    The threshold ``t`` follows from ``N theta(t) Q(t) = -ln(1 - false_alarm)``: ``N`` templates in
    the area, ``Q`` the normal probability above ``t``, and ``theta`` the share of passes that
    no earlier neighbour shares (the extremal index, Leadbetter, Lindgren and Rootzen 1983,
    from memory), from draws of the neighbours given a pass.

    References
    ----------
    Leadbetter, M. R., Lindgren, G., and Rootzen, H. (1983), Extremes and Related Properties of
    Random Sequences and Processes, Springer, doi:10.1007/978-1-4612-5449-4.
    """
    scores = survey_scores(
        readings, area_m, prepared=prepared, noise=noise, spacing_m=spacing_m,
        azimuth_deg=azimuth_deg, false_alarm=false_alarm, places=places, seed=seed,
    )  # fmt: skip
    return scores.detection(prepared.target)


def survey_scores(
    readings: Readings,
    area_m: ArrayLike,
    *,
    prepared: PreparedTarget,
    noise: SurveyNoise,
    spacing_m: float,
    azimuth_deg: float,
    false_alarm: float = 0.05,
    places: int = 24,
    seed: int = 0,
) -> Scores:
    """Return the scores near places of an area, which serve targets of any strength.

    Parameters
    ----------
    readings, area_m, prepared, noise, spacing_m, azimuth_deg, false_alarm, places, seed
        As for `predict_detection`.

    Returns
    -------
    Scores

    Raises
    ------
    InputError
        For a number out of range, or without readings.
    """
    check_positive(spacing_m, name="spacing_m")
    if not 0 < false_alarm < 1:
        raise InputError("false_alarm must lie between 0 and 1.", value=false_alarm)
    if not readings.line.size:
        raise InputError("A survey without readings finds nothing.", value=0)
    detector = make_detector(readings, area_m, prepared=prepared, noise=noise, spacing_m=spacing_m)
    where = spread_places(detector, azimuth_deg, places, seed)
    found = tuple(_near(detector, where[k], k, seed) for k in range(len(where)))
    known = [place for place in found if place is not None]
    sides = 2 if prepared.target.both_polarities else 1
    threshold, looks = _threshold(detector, known, false_alarm, sides, seed)
    return Scores(threshold, looks, where, found, seed)


def layout_detection(
    area_m: ArrayLike,
    layout: LineLayout,
    *,
    prepared: PreparedTarget,
    noise: SurveyNoise,
    false_alarm: float = 0.05,
    places: int = 24,
    seed: int = 0,
) -> Detection:
    """Predict the probability that parallel lines over an area find a target.

    Parameters
    ----------
    area_m : array, shape (n, 2)
        Vertices of the area [m].
    layout : LineLayout
        The lines.
    prepared, noise, false_alarm, places, seed
        As for `predict_detection`; the target prepared for the sensor height of the layout.

    Returns
    -------
    Detection

    Examples
    --------
    >>> from lodewalk.methods.bodies.target import Body
    >>> from lodewalk.methods.planning.sought import body_target, prepare_target
    >>> body = Body(kind="sphere", depth_m=8.0, radius_m=3.0)
    >>> target = body_target(body, ambient_nT=[0.0, 0.0, 5e4], susceptibility=(0.01, 0.1))
    >>> prepared = prepare_target(target, sensor_height_m=2.0, draws=16)
    >>> area = [(0, 0), (100, 0), (100, 100), (0, 100)]
    >>> found = [layout_detection(area, LineLayout(0.0, spacing), prepared=prepared,
    ...                           noise=SurveyNoise(), places=8).probability
    ...          for spacing in (10.0, 50.0)]
    >>> found[0] > found[1]
    True
    """
    scores = layout_scores(
        area_m, layout, prepared=prepared, noise=noise, false_alarm=false_alarm, places=places,
        seed=seed,
    )  # fmt: skip
    return scores.detection(prepared.target)


def layout_scores(
    area_m: ArrayLike,
    layout: LineLayout,
    *,
    prepared: PreparedTarget,
    noise: SurveyNoise,
    false_alarm: float = 0.05,
    places: int = 24,
    seed: int = 0,
) -> Scores:
    """Return the scores near places of an area under parallel lines.

    Parameters
    ----------
    area_m, layout, prepared, noise, false_alarm, places, seed
        As for `layout_detection`.

    Returns
    -------
    Scores
    """
    return survey_scores(
        parallel_lines(area_m, layout),
        area_m,
        prepared=prepared,
        noise=noise,
        spacing_m=layout.spacing_m,
        azimuth_deg=layout.azimuth_deg,
        false_alarm=false_alarm,
        places=places,
        seed=seed,
    )


def spread_places(detector: Detector, azimuth_deg: float, count: int, seed: int) -> FloatArray:
    """Return places in the area, spread evenly over the distance from a line.

    Parameters
    ----------
    detector : Detector
        Area and line spacing.
    azimuth_deg : float
        Azimuth of the lines [deg].
    count : int
        How many.
    seed : int
        Start of the draws.

    Returns
    -------
    array, shape (n, 2)
        Easting and northing [m].
    """
    frame = frame_of(azimuth_deg)
    turned = detector.corners_m @ frame
    low, high = turned.min(axis=0), turned.max(axis=0)
    candidates = low + (high - low) * spread_points(CANDIDATES * count, seed=seed + 1)
    inside = within_area(candidates @ frame.T, detector.corners_m)
    candidates = candidates[inside] if inside.any() else candidates
    phase = np.mod((candidates[:, 0] - low[0]) / detector.spacing_m, 1.0)
    kept = []
    for bin_ in range(count):
        own = np.flatnonzero(np.floor(phase * count) == bin_)
        # Places of one bin lie in order along a sequence that is spread evenly by itself.
        if own.size:
            kept.append(own[(bin_ * 7919 + seed) % own.size])
    chosen = kept or [0]
    return np.asarray(candidates[chosen] @ frame.T)


def _near(detector: Detector, place: FloatArray, number: int, seed: int) -> _Place | None:
    """Return the scores near one place, or None where no reading tells of it."""
    prepared = detector.prepared
    nodes, strikes = with_strikes(detector.nodes_near(place), len(prepared.strikes_deg))
    tolerance = prepared.tolerance(detector.spacing_m)
    block = detector.window(place, tolerance)
    if block.size < 2 or not len(nodes):
        return None
    own, places = detector.blocks.part(block), detector.places(nodes)
    draw = (number * TARGETS + np.arange(TARGETS)) % len(prepared.draws)
    target = looked_up(prepared, own, np.tile(place, (TARGETS, 1)), draw, draws=True)
    raw = np.hstack([looked_up(prepared, own, places, strikes), target])
    white = whitened(own, detector.noise, raw)
    unit = white[:, :-TARGETS]
    unit = unit / np.maximum(np.sqrt(np.sum(unit**2, axis=0)), 1e-12)
    normal = np.random.default_rng([seed, number, 3]).normal(size=(NOISE_DRAWS // 2, block.size))
    noise = np.vstack([normal, -normal]) @ unit
    away = np.abs(detector.steps(places) - detector.steps(place)).max(axis=1)
    wanted = number % len(prepared.strikes_deg)
    central = int(np.argmin(away + 100.0 * (strikes != wanted)))
    order = np.lexsort((strikes, nodes[:, 1], nodes[:, 0]))
    before = order[: int(np.flatnonzero(order == central)[0])]
    return _Place(unit.T @ unit, noise, white[:, -TARGETS:].T @ unit, central, before)


def _threshold(
    detector: Detector, known: list[_Place], false_alarm: float, sides: int, seed: int
) -> tuple[float, float]:
    """Return the threshold and the independent looks of the whole area."""
    prepared = detector.prepared
    cell = detector.step_m[0] * detector.step_m[1]
    number = max(area_size(detector.corners_m) / cell, 1.0) * len(prepared.strikes_deg)
    rate = -np.log1p(-false_alarm) / sides
    share = 1.0
    threshold = float(-ndtri(min(rate / number, 0.5)))
    for _ in range(3):
        if known:
            share = float(np.mean([_alone(place, threshold, seed) for place in known]))
        threshold = float(-ndtri(min(rate / max(number * share, 1.0), 0.5)))
    return threshold, max(number * share, 1.0)


def _alone(place: _Place, threshold: float, seed: int) -> float:
    """Return the share of passes of the central template that no earlier neighbour shares."""
    if not place.before.size:
        return 1.0
    count = len(place.noise)
    uniform = (np.random.default_rng([seed, 5]).permutation(count) + 0.5) / count
    passed = -ndtri(uniform * ndtr(-threshold))
    tie = place.correlation[place.before, place.central]
    rest = place.noise[:, place.before] - place.noise[:, [place.central]] * tie
    alone = (passed[:, None] * tie + rest < threshold).all(axis=1)
    return float(np.mean(alone))


def _found(place: _Place, target: Target, threshold: float, number: int, seed: int) -> float:
    """Return the probability that targets at one place are found."""
    shifts = spread_points(TARGETS * (number + 1), seed=seed + 2)[-TARGETS:, 0]
    total = 0.0
    for means, shift in zip(place.means, shifts, strict=True):
        shares = (np.arange(STRENGTHS) + shift) / STRENGTHS
        strengths = target.strengths(np.clip(shares, 1e-4, 1 - 1e-4))
        order = np.argsort(-np.abs(means), kind="stable")[:MOST]
        order = order[np.abs(means[order]) >= SHARE * np.abs(means[order[0]])]
        tie = place.correlation[order, order[0]]
        rest = place.noise[:, order] - place.noise[:, [order[0]]] * tie
        low, high = _bounds(means[order], tie, rest, strengths, threshold)
        passes = 0.5 * erfc(low / np.sqrt(2.0))
        if target.both_polarities:
            passes = passes + 0.5 * erfc(-high / np.sqrt(2.0))
        total += float(np.mean(np.minimum(passes, 1.0)))
    return total / len(place.means)


@njit(nogil=True, cache=True)
def _bounds(
    means: FloatArray, tie: FloatArray, rest: FloatArray, strengths: FloatArray, threshold: float
) -> tuple[FloatArray, FloatArray]:
    """Return from where up, and down to where, the first score makes one of them pass.

    Given the first score g the others are ``strength means + tie g + rest``.
    """
    low = np.full((strengths.size, len(rest)), 1e3)
    high = np.full((strengths.size, len(rest)), -1e3)
    for s in range(strengths.size):
        for k in range(len(rest)):
            for j in range(means.size):
                if tie[j] < 0.1:
                    continue
                middle = strengths[s] * means[j] + rest[k, j]
                low[s, k] = min(low[s, k], (threshold - middle) / tie[j])
                high[s, k] = max(high[s, k], (-threshold - middle) / tie[j])
    return low, high
