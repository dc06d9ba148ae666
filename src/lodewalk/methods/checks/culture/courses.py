"""Short anomalies on neighbouring lines that line up along a straight course."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import pdtrc

from lodewalk.errors import InputError
from lodewalk.methods.checks.spans import BoolArray, IntArray
from lodewalk.validation import FloatArray, check_positive, check_same_length

#: Most points of which pairs are tried; the strongest are taken.
MOST_POINTS: Final = 400

#: Most courses that are looked at closely.
CLOSELY: Final = 24

#: Expected number of courses that chance may find in a survey.
FALSE_COURSES: Final = 0.05

#: Share of the lines that a course crosses on which it must show.
LEAST_SHARE: Final = 0.5

#: Lines in a row on which a course may not show.
MOST_SILENT: Final = 3

#: Least angle between a course and the lines [degrees].
LEAST_ANGLE_DEG: Final = 20.0


@dataclass(frozen=True)
class LinearFeatures:
    """Straight courses along which short anomalies line up.

    Parameters
    ----------
    start_easting_m, start_northing_m, end_easting_m, end_northing_m : array, shape (n_features,)
        Ends of each course [m].
    lines : int array, shape (n_features,)
        Number of lines on which it shows.
    crossed : int array, shape (n_features,)
        Number of lines that it crosses between its ends.
    expected : array, shape (n_features,)
        How many courses as good as this chance would find in the survey.
    member : int array, shape (n_points,)
        Feature to which each point belongs; -1 for none.
    """

    start_easting_m: FloatArray
    start_northing_m: FloatArray
    end_easting_m: FloatArray
    end_northing_m: FloatArray
    lines: IntArray
    crossed: IntArray
    expected: FloatArray
    member: IntArray

    def __len__(self) -> int:
        return len(self.lines)


@dataclass(frozen=True)
class Passages:
    """Straight passages of lines.

    Parameters
    ----------
    number : int array, shape (n_passages,)
        Number of each line, increasing.
    start, end : array, shape (n_passages, 2)
        Easting and northing of both ends [m].
    """

    number: IntArray
    start: FloatArray
    end: FloatArray


def line_ends(line: ArrayLike, easting_m: ArrayLike, northing_m: ArrayLike) -> Passages:
    """Return the ends of each line.

    Parameters
    ----------
    line : int array, shape (n,)
        Number of the line of each reading; below zero for none.
    easting_m, northing_m : array, shape (n,)
        Positions [m]; NaN where there is none.

    Returns
    -------
    Passages
        From one of the two readings of each line that lie farthest apart along it to the other.

    Examples
    --------
    >>> ends = line_ends([4, 4, 4], [5.0, 0.0, 9.0], [1.0, 1.0, 1.0])
    >>> sorted([float(ends.start[0, 0]), float(ends.end[0, 0])])
    [0.0, 9.0]
    """
    number = np.asarray(line, dtype=np.int64)
    place = np.stack([np.asarray(easting_m, float), np.asarray(northing_m, float)], axis=1)
    known = np.flatnonzero((number >= 0) & np.isfinite(place).all(axis=1))
    known = known[np.argsort(number[known], kind="stable")]
    names, first = np.unique(number[known], return_index=True)
    ends = np.zeros((2, names.size, 2))
    for count, part in enumerate(np.split(place[known], first[1:])[: names.size]):
        main = np.linalg.svd(part - part.mean(axis=0), full_matrices=False)[2][0]
        along = part @ main
        ends[:, count] = part[[along.argmin(), along.argmax()]]
    return Passages(names, ends[0], ends[1])


def find_linear_features(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    line: ArrayLike,
    *,
    passages: Passages,
    strength: ArrayLike | None = None,
    tolerance_m: float = 4.0,
    min_lines: int = 3,
) -> LinearFeatures:
    """Find straight courses along which points on different lines line up.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n_points,)
        Places of short anomalies [m].
    line : int array, shape (n_points,)
        Number of the line on which each stands.
    passages : Passages
        The lines that were walked; see `line_ends`.
    strength : array, shape (n_points,), optional
        How strong each is; the strongest 400 are tried.
    tolerance_m : float
        How far from the course a point may stand [m] (default 4, over twice the sd of a
        handheld's position, as both ends of a course are off).
    min_lines : int
        Least number of lines (default 3).

    Returns
    -------
    LinearFeatures
        The one that chance explains least first.

    Raises
    ------
    InputError
        When the lengths differ, the tolerance isn't above zero or `min_lines` is below 3.

    Notes
    -----
    Each pair of points on two lines gives a course, drawn through all points within the
    tolerance and fitted anew. It reaches as far as no more than three lines in a row are silent,
    and must show on half of the lines that it crosses, at 20 degrees or more. By chance a line
    shows a point with ``1 - exp(-2 w n / L)``, n its points, L its length and w the tolerance
    over the sine of that angle; the Poisson chance of so many lines beyond the two of the pair,
    times the number of pairs tried (its own count as one), is the number of courses expected by
    chance, and must be below 0.05. Dykes line up, too: the caller has to choose points that are
    short. A bent fence is found as several.

    Examples
    --------
    >>> lines = Passages(np.arange(5), np.array([[0.0, 20.0 * n] for n in range(5)]),
    ...                  np.array([[300.0, 20.0 * n] for n in range(5)]))
    >>> course = find_linear_features([100.0, 101.0, 99.0, 100.0, 101.0, 30.0],
    ...     [0.0, 20.0, 40.0, 60.0, 80.0, 20.0], [0, 1, 2, 3, 4, 1], passages=lines)
    >>> course.lines.tolist(), course.member.tolist()
    ([5], [0, 0, 0, 0, 0, -1])
    """
    check_positive(tolerance_m, name="tolerance_m")
    if min_lines < 3:
        raise InputError("min_lines must be at least 3.", value=min_lines)
    place = np.stack([np.asarray(easting_m, float), np.asarray(northing_m, float)], axis=1)
    number = np.asarray(line, dtype=np.int64)
    check_same_length(easting_m=place, line=number)
    weight = np.ones(number.size) if strength is None else np.asarray(strength, float)
    free = np.isfinite(place).all(axis=1) & np.isin(number, passages.number)
    search = _Search(place, number, passages, tolerance_m, min_lines)
    member = np.full(number.size, -1, dtype=np.int64)
    found: list[_Course] = []
    while free.sum() >= min_lines:
        course = search.best(free, weight)
        if course is None:
            break
        member[course.points] = len(found)
        free[course.points] = False
        found.append(course)
    ends = np.array([[*c.start, *c.end] for c in found], dtype=np.float64).reshape(-1, 4)
    return LinearFeatures(
        start_easting_m=ends[:, 0],
        start_northing_m=ends[:, 1],
        end_easting_m=ends[:, 2],
        end_northing_m=ends[:, 3],
        lines=np.array([course.lines for course in found], dtype=np.int64),
        crossed=np.array([course.crossed for course in found], dtype=np.int64),
        expected=np.array([course.expected for course in found], dtype=np.float64),
        member=member,
    )


@dataclass(frozen=True)
class _Course:
    """A course, its points, and how well it stands out."""

    points: IntArray
    start: FloatArray
    end: FloatArray
    lines: int
    crossed: int
    expected: float


@dataclass(frozen=True)
class _Search:
    """All points and lines, and what makes a course."""

    place: FloatArray
    number: IntArray
    passages: Passages
    tolerance_m: float
    min_lines: int

    def best(self, free: BoolArray, weight: FloatArray) -> _Course | None:
        """Return the course that chance explains least, if any is good enough."""
        rows = np.flatnonzero(free)
        rows = rows[np.argsort(-weight[rows], kind="stable")][:MOST_POINTS]
        pairs = self._pairs(rows)
        if not len(pairs):
            return None
        start = self.place[pairs[:, 0]]
        unit = self.place[pairs[:, 1]] - start
        unit /= np.linalg.norm(unit, axis=1, keepdims=True)
        level = _cross(unit, start)
        hits = np.zeros(len(pairs))
        for place in self.place[rows]:
            hits += np.abs(_cross(unit, place) - level) <= self.tolerance_m
        # The fullest courses are looked at closely.
        order = np.argsort(-hits, kind="stable")[:CLOSELY]
        courses = [self._course(free, start[k], unit[k], pairs) for k in order]
        good = [course for course in courses if course is not None]
        return min(good, key=lambda course: (course.expected, -course.lines), default=None)

    def _pairs(self, rows: IntArray) -> IntArray:
        """Return pairs of points on different lines, up to six line spacings apart."""
        first, second = np.triu_indices(rows.size, 1)
        apart = np.linalg.norm(self.place[rows[first]] - self.place[rows[second]], axis=1)
        other = self.number[rows[first]] != self.number[rows[second]]
        wanted = other & (apart > 2 * self.tolerance_m) & (apart <= 6 * self._spacing())
        return np.stack([rows[first[wanted]], rows[second[wanted]]], axis=1)

    def _spacing(self) -> float:
        """Return the usual distance from the middle of a line to that of the next one [m]."""
        middle = (self.passages.start + self.passages.end) / 2
        apart = np.linalg.norm(middle[:, np.newaxis] - middle, axis=2)
        apart[apart < self.tolerance_m] = np.inf
        nearest = apart.min(axis=1, initial=np.inf)
        nearest = nearest[np.isfinite(nearest)]
        return float(np.median(nearest)) if nearest.size else 0.0

    def _course(
        self, free: BoolArray, start: FloatArray, unit: FloatArray, pairs: IntArray
    ) -> _Course | None:
        """Return the course near a line, fitted to its points; None where it's no course."""
        for _ in range(2):
            points = self._points(free, start, unit)
            start = self.place[points].mean(axis=0)
            unit = np.linalg.svd(self.place[points] - start)[2][0]
        points = self._points(free, start, unit)
        lines, along, slant = self._crossed(start, unit)
        shows = np.isin(self.passages.number[lines], self.number[points])
        run = _longest(shows)
        lines, along, slant = lines[run], along[run], slant[run]
        count = int(shows[run].sum())
        if count < max(self.min_lines, LEAST_SHARE * lines.size):
            return None
        chance = self._chance(lines, slant)
        # Two lines gave the course, so only the others speak for it.
        further = pdtrc(count - 3, chance.sum() * (lines.size - 2) / lines.size)
        points = points[np.isin(self.number[points], self.passages.number[lines])]
        # Its own pairs are one trial.
        tried = 1 + int((~np.isin(pairs, points).all(axis=1)).sum())
        if not tried * further < FALSE_COURSES:
            return None
        ends = start + np.outer((along[0], along[-1]), unit)
        return _Course(points, ends[0], ends[1], count, lines.size, float(tried * further))

    def _points(self, free: BoolArray, start: FloatArray, unit: FloatArray) -> IntArray:
        """Return the free points within the tolerance of a course."""
        off = np.abs(_cross(unit, self.place) - _cross(unit, start))
        return np.flatnonzero(free & (off <= self.tolerance_m))

    def _crossed(
        self, start: FloatArray, unit: FloatArray
    ) -> tuple[IntArray, FloatArray, FloatArray]:
        """Return the lines that a course crosses, where along it, and the sine of the angle."""
        lines = self.passages
        before, after = (_cross(unit, end - start) for end in (lines.start, lines.end))
        length = np.maximum(np.linalg.norm(lines.end - lines.start, axis=1), 1e-9)
        slant = np.abs(after - before) / length
        # A line that ends just short of the course counts as crossed.
        reach = (np.minimum(before, after) <= self.tolerance_m) & (
            np.maximum(before, after) >= -self.tolerance_m
        )
        crossed = np.flatnonzero(reach & (slant >= np.sin(np.radians(LEAST_ANGLE_DEG))))
        share = before[crossed] / (before - after)[crossed]
        at = lines.start[crossed] + share[:, np.newaxis] * (lines.end - lines.start)[crossed]
        along = (at - start) @ unit
        order = np.argsort(along, kind="stable")
        return crossed[order], along[order], slant[crossed[order]]

    def _chance(self, lines: IntArray, slant: FloatArray) -> FloatArray:
        """Return the chance that each line shows a point near a course."""
        passages = self.passages
        count = np.searchsorted(np.sort(self.number), passages.number[lines], side="right")
        count -= np.searchsorted(np.sort(self.number), passages.number[lines], side="left")
        length = np.linalg.norm(passages.end[lines] - passages.start[lines], axis=1)
        wide = 2 * self.tolerance_m / slant
        return np.asarray(1 - np.exp(-wide * count / np.maximum(length, wide)))


def _cross(unit: FloatArray, place: FloatArray) -> FloatArray:
    """Return how far places lie to one side of directions."""
    return np.asarray(unit[..., 0] * place[..., 1] - unit[..., 1] * place[..., 0])


def _longest(shows: BoolArray) -> slice:
    """Return the part with most lines that show, without too many silent ones in a row."""
    at = np.flatnonzero(shows)
    if not at.size:
        return slice(0, 0)
    parts = np.split(at, np.flatnonzero(np.diff(at) > MOST_SILENT + 1) + 1)
    most = max(parts, key=len)
    return slice(int(most[0]), int(most[-1]) + 1)
