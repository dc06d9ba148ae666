"""A constant shift between rover, handheld track and plan, held against named mistakes."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.methods.checks.walked.plan_match import (
    Match,
    PlanMatch,
    Prior,
    Walk,
    straight_nodes,
)
from lodewalk.validation import FloatArray, check_positive, check_same_length

NONE: Final = "none"
UNNAMED: Final = "unnamed"
NOT_IDENTIFIABLE: Final = "not identifiable"

#: Probability from which a named mistake is proposed.
PROPOSED: Final = 0.95

#: Probability from which a named mistake is listed.
LIKELY: Final = 0.05

#: A shift that isn't larger than this is never proposed [m].
SMALLEST_SHIFT_M: Final = 5.0

#: What is believed before looking: no shift, a shift that no mistake explains; the rest is shared
#: by the named mistakes.
PRIOR_NONE: Final = 0.9
PRIOR_UNNAMED: Final = 0.02

#: Half of all shifts without a name are smaller than about this [m].
UNNAMED_SHIFT_M: Final = 100.0

#: Parts into which a walk is cut, each of which must show the same shift, and the fewest places.
PARTS: Final = 8
FEWEST: Final = 16


@dataclass(frozen=True)
class ShiftCandidate:
    """A named mistake in coordinates, written as an affine map round one place.

    ``wrong = centre + shift + matrix (right - centre)``.

    Parameters
    ----------
    name : str
        The mistake in words.
    easting_m, northing_m : float
        Wrong less right coordinates at the centre [m].
    centre_easting_m, centre_northing_m : float
        The place, in right coordinates [m].
    matrix : two rows of two floats
        How differences of coordinates are turned and scaled (default: not at all).
    accuracy_m : float
        Sd of the shift, as far as it is known itself [m].

    Examples
    --------
    >>> swapped = ShiftCandidate("swapped", 200.0, -200.0, 400.0, 600.0, ((0, 1), (1, 0)))
    >>> swapped.undo(np.array([[605.0, 403.0]])).tolist()
    [[403.0, 605.0]]
    """

    name: str
    easting_m: float
    northing_m: float
    centre_easting_m: float = 0.0
    centre_northing_m: float = 0.0
    matrix: tuple[tuple[float, float], tuple[float, float]] = ((1.0, 0.0), (0.0, 1.0))
    accuracy_m: float = 3.0

    @property
    def shift_m(self) -> FloatArray:
        """Easting and northing of the shift [m]."""
        return np.array([self.easting_m, self.northing_m])

    def undo(self, place: FloatArray) -> FloatArray:
        """Return the right coordinates, shape (n, 2), of wrong ones."""
        centre = np.array([self.centre_easting_m, self.centre_northing_m])
        inverse = np.linalg.inv(np.array(self.matrix, dtype=np.float64))
        right: FloatArray = centre + (place - centre - self.shift_m) @ inverse.T
        return right


class Explanation(NamedTuple):
    """A named mistake, the set that it was made in, and its probability."""

    name: str
    wrong: str
    probability: float


@dataclass(frozen=True)
class ConstantShift:
    """The shift between two sets of coordinates, and the mistake that explains it best.

    Parameters
    ----------
    easting_m, northing_m : float
        First less second [m]; NaN where it isn't identifiable.
    sd_easting_m, sd_northing_m : float
        Sd [m], the errors of the fixes included; infinite where nothing constrains that axis.
    name : str
        The most probable mistake; ``none``, ``unnamed`` (shifted, but as no named mistake would)
        or ``not identifiable``.
    wrong : str
        ``first`` or ``second``: the set that the mistake was made in; empty without a mistake.
    probability : float
        Probability of that among all mistakes, no shift and a shift without a name.
    misfit_m : float
        Shift that remains when the mistake is undone [m].
    likely : tuple of Explanation
        The named mistakes with a probability of 5 % and more, the most probable first.
    named_probability : float
        Probability of all named mistakes together.
    """

    easting_m: float
    northing_m: float
    sd_easting_m: float
    sd_northing_m: float
    name: str
    wrong: str
    probability: float
    misfit_m: float
    likely: tuple["Explanation", ...] = ()
    named_probability: float = 0.0

    @property
    def proposed(self) -> bool:
        """Whether a named mistake is so sure, and so large, that the person should be asked.

        Mistakes alike share that certainty: `likely` lists them.
        """
        named = self.name not in (NONE, UNNAMED, NOT_IDENTIFIABLE)
        large = np.hypot(self.easting_m, self.northing_m) > SMALLEST_SHIFT_M
        return bool(named and large and self.named_probability >= PROPOSED)


#: Nothing can be said.
UNKNOWN: Final = ConstantShift(
    np.nan, np.nan, np.inf, np.inf, NOT_IDENTIFIABLE, "", float("nan"), float("nan")
)


class _Belief(NamedTuple):
    """One explanation: its name, the wrong set, the mistake, log of evidence times prior."""

    name: str
    wrong: str
    candidate: ShiftCandidate | None
    log_weight: float
    match: Match


def constant_shift(
    first_easting_m: ArrayLike,
    first_northing_m: ArrayLike,
    second_easting_m: ArrayLike,
    second_northing_m: ArrayLike,
    *,
    first_wrong: Sequence[ShiftCandidate] = (),
    second_wrong: Sequence[ShiftCandidate] = (),
    fix_sd_m: float = 3.0,
) -> ConstantShift:
    """Test two tracks of the same walk, taken at the same times, for a constant shift.

    Parameters
    ----------
    first_easting_m, first_northing_m : array, shape (n,)
        Positions by one receiver in order of time [m]; NaN where there is none.
    second_easting_m, second_northing_m : array, shape (n,)
        Positions by the other at the same times [m].
    first_wrong, second_wrong : sequence of ShiftCandidate
        Mistakes that the first or the second set may have been made with.
    fix_sd_m : float
        Sd of one axis of the error that stays the same through the walk, for each receiver [m]
        (default 3, a plain fix).

    Returns
    -------
    ConstantShift
        ``not identifiable`` for fewer than 16 common positions. Nothing is applied.

    Raises
    ------
    InputError
        When the lengths differ or `fix_sd_m` isn't above zero.

    Notes
    -----
    Each mistake is undone, and the medians of eight consecutive parts of the walk are compared.
    With r their median, its likelihood is that of a plane normal error of variance
    ``2 fix_sd^2 + accuracy^2`` on each axis, times that of the parts about r. No shift has prior
    0.9, a shift without a name 0.02 with a plane Cauchy density of scale 100 m, and the named
    ones share the rest evenly; the probability is Bayes' rule over these. So an error of fixes
    below three sd is never named. Mistakes that shift alike share the probability, and are
    proposed together.

    Examples
    --------
    >>> way = np.linspace(0.0, 300.0, 100)
    >>> mistake = ShiftCandidate("an older datum", 50.0, 54.0)
    >>> found = constant_shift(way + 51.0, way + 53.0, way, way, first_wrong=[mistake])
    >>> found.name, found.wrong, found.proposed
    ('an older datum', 'first', True)
    """
    check_positive(fix_sd_m, name="fix_sd_m")
    check_same_length(
        first_easting_m=first_easting_m,
        first_northing_m=first_northing_m,
        second_easting_m=second_easting_m,
        second_northing_m=second_northing_m,
    )
    first = np.column_stack([np.asarray(first_easting_m, float), first_northing_m])
    second = np.column_stack([np.asarray(second_easting_m, float), second_northing_m])
    known = np.isfinite(first).all(axis=1) & np.isfinite(second).all(axis=1)
    first, second = first[known], second[known]
    if len(first) < FEWEST:
        return UNKNOWN
    fixes = 2 * fix_sd_m**2

    def evidence(one: FloatArray, two: FloatArray, accuracy: float) -> tuple[Match, float]:
        parts = np.array([np.median(part, axis=0) for part in np.array_split(one - two, PARTS)])
        rest = np.median(parts, axis=0)
        own = np.var(parts, axis=0, ddof=1) / PARTS
        variance = fixes + accuracy**2
        log_density = -0.5 * rest @ rest / variance - np.log(2 * np.pi * variance)
        log_parts = -0.5 * np.sum((parts - rest) ** 2) / fixes
        match = Match(rest, np.sqrt(fixes + own), float(log_density + log_parts))
        return match, float(log_parts)

    nothing, log_parts = evidence(first, second, 0.0)
    unnamed = nothing._replace(log_evidence=log_parts + _log_cauchy(nothing.rest_m))
    beliefs = _beliefs(nothing, unnamed, len(first_wrong) + len(second_wrong))
    for wrong, candidates in (("first", first_wrong), ("second", second_wrong)):
        for item in candidates:
            one = item.undo(first) if wrong == "first" else first
            two = item.undo(second) if wrong == "second" else second
            match, _ = evidence(one, two, item.accuracy_m)
            beliefs.append(_named(item, wrong, match, len(first_wrong) + len(second_wrong)))
    return _most_probable(beliefs, first, second)


def shift_from_plan(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    vertices: Sequence[ArrayLike],
    *,
    walk_wrong: Sequence[ShiftCandidate] = (),
    plan_wrong: Sequence[ShiftCandidate] = (),
    fix_sd_m: float = 3.0,
    off_line_sd_m: float = 3.0,
) -> ConstantShift:
    """Test a walk for a constant shift against the lines it was planned on.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        Positions in the order walked [m]; NaN where there is none.
    vertices : sequence of arrays, shape (m, 2)
        Easting and northing [m] of the vertices of each planned line, two or more.
    walk_wrong, plan_wrong : sequence of ShiftCandidate
        Mistakes that the walk's positions or the plan may have been made with.
    fix_sd_m : float
        Sd of one axis of the error that stays the same through the walk [m] (default 3).
    off_line_sd_m : float
        Sd of the walker's distance off a line, fixes included [m] (default 3).

    Returns
    -------
    ConstantShift
        The walk is the first set, the plan the second. ``not identifiable`` without a straight
        walk of some length or without a plan. Nothing is applied.

    Raises
    ------
    InputError
        When the lengths differ, an error isn't above zero or a line has fewer than two places.

    Notes
    -----
    Straight parts of the walk are laid on planned lines of the same direction (30 degrees either
    way), a node each 10 m, 50 m counting as one independent observation. A node is explained by
    a line with ``0.8 N(off; off_line_sd)`` and by none with a fifth spread over 100 m; nodes
    beyond the ends of the lines are explained by none. Lines constrain the shift across them
    only, ends and tie lines the rest. For each explanation the small shift that remains is
    fitted (prior sd ``fix_sd`` and the mistake's accuracy), and the evidence is Laplace's; the
    priors are those of `constant_shift`. Shifts without a name are tried where ends and middles
    of straight parts meet those of lines, up to 1 km.

    A shift by whole line spacings, along lines much longer than what was walked, looks like no
    shift, and is called none.

    Examples
    --------
    >>> plan = [[(40.0 * k, 0.0), (40.0 * k, 300.0)] for k in range(5)]
    >>> north = np.concatenate([np.arange(0.0, 301.0)[:: 1 - 2 * (k % 2)] for k in range(5)])
    >>> east = np.repeat(40.0 * np.arange(5), 301)
    >>> mistake = ShiftCandidate("an older datum", 50.0, 54.0)
    >>> found = shift_from_plan(east + 50.0, north + 54.0, plan, walk_wrong=[mistake])
    >>> found.name, found.wrong, found.proposed
    ('an older datum', 'first', True)
    """
    check_positive(fix_sd_m, name="fix_sd_m")
    check_positive(off_line_sd_m, name="off_line_sd_m")
    check_same_length(easting_m=easting_m, northing_m=northing_m)
    place = np.column_stack([np.atleast_1d(np.asarray(easting_m, float)), np.ravel(northing_m)])
    place = place[np.isfinite(place).all(axis=1)]
    lines = [np.asarray(points, dtype=np.float64) for points in vertices]
    walk = straight_nodes(place)
    plain = PlanMatch(walk, lines, off_line_sd_m)
    if not plain.usable:
        return UNKNOWN
    count = len(walk_wrong) + len(plan_wrong)
    nothing = plain.evidence(np.zeros(2), Prior(fix_sd_m, fix_sd_m))
    free, at = plain.best_free(Prior(UNNAMED_SHIFT_M / 10, fix_sd_m))
    free = free._replace(
        rest_m=at + free.rest_m, log_evidence=free.log_evidence + _log_cauchy(at + free.rest_m)
    )
    beliefs = _beliefs(nothing, free, count)
    for wrong, candidates in (("first", walk_wrong), ("second", plan_wrong)):
        for item in candidates:
            prior = Prior(float(np.hypot(fix_sd_m, item.accuracy_m)), fix_sd_m)
            if wrong == "first":
                own, scale = _undone(item, walk)
                laid = PlanMatch(own, lines, off_line_sd_m, scale=scale)
            else:
                laid = PlanMatch(walk, [item.undo(line) for line in lines], off_line_sd_m)
            match = laid.evidence(np.zeros(2), prior)
            beliefs.append(_named(item, wrong, match, count))
    return _most_probable(beliefs, place, np.concatenate(lines))


def _undone(item: ShiftCandidate, walk: Walk) -> tuple[Walk, float]:
    """Return a walk with a mistake undone, and how much longer a metre of it becomes."""
    node = item.undo(walk.node)
    heading = item.undo(walk.node + walk.heading) - node
    heading = heading / np.hypot(*heading.T)[:, np.newaxis]
    scale = 1 / np.sqrt(abs(np.linalg.det(np.array(item.matrix, dtype=np.float64))))
    return Walk(node, heading), float(scale)


def _log_cauchy(shift: FloatArray) -> float:
    """Return the log density of a shift without a name, a plane Cauchy density [1/m^2]."""
    square = float(shift @ shift) / UNNAMED_SHIFT_M**2
    return float(-np.log(2 * np.pi * UNNAMED_SHIFT_M**2) - 1.5 * np.log1p(square))


def _beliefs(nothing: Match, unnamed: Match, count: int) -> list[_Belief]:
    """Return the explanations without a mistake; they share all where there is no candidate."""
    spare = 0.0 if count else float(np.log(PRIOR_NONE + PRIOR_UNNAMED))
    return [
        _Belief(name, "", None, match.log_evidence + float(np.log(prior)) - spare, match)
        for name, prior, match in (
            (NONE, PRIOR_NONE, nothing),
            (UNNAMED, PRIOR_UNNAMED, unnamed),
        )
    ]


def _named(item: ShiftCandidate, wrong: str, match: Match, count: int) -> _Belief:
    """Return a named mistake as an explanation."""
    log_prior = float(np.log((1 - PRIOR_NONE - PRIOR_UNNAMED) / count))
    return _Belief(item.name, wrong, item, match.log_evidence + log_prior, match)


def _most_probable(beliefs: list[_Belief], first: FloatArray, second: FloatArray) -> ConstantShift:
    """Return the most probable explanation with the shift that it means at the middle."""
    weights = np.array([belief.log_weight for belief in beliefs])
    chances = np.exp(weights - weights.max())
    chances /= chances.sum()
    named = [
        Explanation(belief.name, belief.wrong, float(chance))
        for belief, chance in zip(beliefs, chances, strict=True)
        if belief.candidate is not None
    ]
    likely = sorted((item for item in named if item.probability >= LIKELY), key=lambda e: -e[2])
    best = beliefs[int(np.argmax(weights))]
    shift = best.match.rest_m
    if best.candidate is not None:
        own = first if best.wrong == "first" else second
        middle = np.median(own, axis=0, keepdims=True)
        moved = (middle - best.candidate.undo(middle))[0]
        shift = shift + (moved if best.wrong == "first" else -moved)
    rest = 0.0 if best.name == UNNAMED else float(np.hypot(*best.match.rest_m))
    sd = best.match.sd_m
    return ConstantShift(
        float(shift[0]),
        float(shift[1]),
        float(sd[0]),
        float(sd[1]),
        best.name,
        best.wrong,
        float(chances.max()),
        rest,
        tuple(likely),
        sum(item.probability for item in named),
    )
