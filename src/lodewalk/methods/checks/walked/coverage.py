"""Coverage: how much of the planned lines was read, and which spans were not."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.checks.spans import IntArray
from lodewalk.methods.checks.walked.off_track import place_on_lines
from lodewalk.methods.corrections.lines import passage_geometry
from lodewalk.validation import FloatArray, check_positive, check_same_length


@dataclass(frozen=True)
class UncoveredSpans:
    """Spans of lines without readings that count, in the order of lines and along them.

    Parameters
    ----------
    line : int array, shape (n_spans,)
        Number of the line.
    start_m, end_m : float array, shape (n_spans,)
        Distance along the line where each span begins and ends [m].
    start_easting_m, start_northing_m, end_easting_m, end_northing_m : float array
        Its two ends [m].
    """

    line: IntArray
    start_m: FloatArray
    end_m: FloatArray
    start_easting_m: FloatArray
    start_northing_m: FloatArray
    end_easting_m: FloatArray
    end_northing_m: FloatArray

    def __len__(self) -> int:
        return len(self.line)

    @property
    def length_m(self) -> FloatArray:
        """Length of each span [m]."""
        return self.end_m - self.start_m


@dataclass(frozen=True)
class Coverage:
    """How much of each line is covered.

    Parameters
    ----------
    length_m : float array, shape (n_lines,)
        Length of each line [m].
    covered_m : float array, shape (n_lines,)
        Length of it that is covered [m].
    uncovered : UncoveredSpans
        What isn't: the spans to walk again.
    """

    length_m: FloatArray
    covered_m: FloatArray
    uncovered: UncoveredSpans

    @property
    def share(self) -> FloatArray:
        """Covered share of each line, 0 to 1; NaN for a line without length."""
        with np.errstate(invalid="ignore"):
            share: FloatArray = self.covered_m / self.length_m
        return share

    @property
    def share_of_all(self) -> float:
        """Covered share of the length of all lines together; NaN where that is nothing."""
        length = float(np.sum(self.length_m))
        return float(np.sum(self.covered_m)) / length if length > 0 else float("nan")


def line_coverage(
    vertices: Sequence[ArrayLike],
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    *,
    line: ArrayLike,
    kept: ArrayLike,
    off_line_m: float,
    max_gap_m: float,
) -> Coverage:
    """Measure how much of each planned line is covered by kept readings.

    Parameters
    ----------
    vertices : sequence of arrays, shape (m, 2)
        Easting and northing [m] of the vertices of each planned line, two or more.
    easting_m, northing_m : array, shape (n,)
        Positions of the readings [m]; NaN where there is none.
    line : int array, shape (n,)
        Place of each reading's line in `vertices`; -1 for none.
    kept : bool array, shape (n,)
        Whether each reading is kept.
    off_line_m : float
        A reading farther off its line covers nothing [m].
    max_gap_m : float
        Readings farther apart along the line leave the span between them uncovered [m].

    Returns
    -------
    Coverage
        One entry a planned line. The whole of a gap above the limit is uncovered, from reading
        to reading or from a reading to the end of the line. A single reading covers no length.

    Raises
    ------
    InputError
        When the lengths differ, a limit isn't above zero, a line number has no planned line, or
        a line has fewer than two places.

    Notes
    -----
    All passages of a line are joined, whenever and by whomever they were walked. The length is
    that of lines; what lies between them is never covered (`target_detection` tells what would
    be found there).

    Examples
    --------
    >>> north = np.concatenate([np.arange(0.0, 41.0), np.arange(60.0, 101.0)])
    >>> found = line_coverage([[(0.0, 0.0), (0.0, 100.0)]], np.zeros(82), north,
    ...                       line=np.zeros(82, int), kept=np.ones(82, bool),
    ...                       off_line_m=5.0, max_gap_m=3.0)
    >>> found.share.tolist(), found.uncovered.start_m.tolist(), found.uncovered.end_m.tolist()
    ([0.8], [40.0], [60.0])
    """
    check_same_length(easting_m=easting_m, northing_m=northing_m, line=line, kept=kept)
    check_positive(max_gap_m, name="max_gap_m")
    own = np.atleast_1d(np.asarray(line, dtype=np.int64))
    if own.size and own.max() >= len(vertices):
        raise InputError(
            "A reading lies on a line that isn't planned.",
            value=int(own.max()),
            remedy="Number the lines by their place in the plan, -1 for none.",
        )
    place = place_on_lines(easting_m, northing_m, own, vertices, reach_m=off_line_m)
    counts = np.atleast_1d(np.asarray(kept, dtype=bool)) & np.isfinite(place.distance_m)
    spans, lengths = [], []
    for number, given in enumerate(vertices):
        points = np.asarray(given, dtype=np.float64)
        reached = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
        own_places = place.distance_m[counts & (own == number)]
        gaps = _gaps(own_places, float(reached[-1]), max_gap_m)
        ends = np.stack([np.interp(gaps, reached, axis) for axis in points.T], axis=-1)
        spans.append((number, gaps, ends))
        lengths.append(float(reached[-1]))
    return _summed(spans, lengths)


def passage_coverage(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    *,
    passage: ArrayLike,
    kept: ArrayLike,
    max_gap_m: float,
) -> Coverage:
    """Measure how much of each walked passage is covered, where there is no plan.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        Positions of the readings in the order walked [m]; NaN where there is none.
    passage : int array, shape (n,)
        Number of the passage of each reading; -1 for none.
    kept : bool array, shape (n,)
        Whether each reading is kept.
    max_gap_m : float
        Kept readings farther apart along the passage leave the span between them uncovered [m].

    Returns
    -------
    Coverage
        One entry a passage up to the highest number. Spans end at readings.

    Raises
    ------
    InputError
        When the lengths differ or the limit isn't above zero.

    Notes
    -----
    Distances are those along the main direction of the passage (`passage_geometry`), which fits
    passages that are straight. What was never walked can't be told without a plan.

    Examples
    --------
    >>> kept = np.ones(101, dtype=bool)
    >>> kept[30:50] = False
    >>> found = passage_coverage(np.zeros(101), np.arange(101.0), passage=np.zeros(101, int),
    ...                          kept=kept, max_gap_m=5.0)
    >>> found.uncovered.start_northing_m.tolist(), found.uncovered.end_northing_m.tolist()
    ([29.0], [50.0])
    """
    check_same_length(easting_m=easting_m, northing_m=northing_m, passage=passage, kept=kept)
    check_positive(max_gap_m, name="max_gap_m")
    east, north = (np.atleast_1d(np.asarray(a, float)) for a in (easting_m, northing_m))
    good = np.atleast_1d(np.asarray(kept, dtype=bool))
    own = np.atleast_1d(np.asarray(passage, dtype=np.int64))
    own = np.where(np.isfinite(east + north), own, -1)
    spans, lengths = [], []
    for number in range(int(own.max(initial=-1)) + 1):
        rows = np.flatnonzero(own == number)
        length, _, along = passage_geometry(east[rows], north[rows])
        gaps = _gaps(along[good[rows]], length, max_gap_m)
        order = np.argsort(along, kind="stable")
        nearest = rows[order[np.searchsorted(along[order], gaps - 1e-9).clip(max=rows.size - 1)]]
        spans.append((number, gaps, np.stack([east[nearest], north[nearest]], axis=-1)))
        lengths.append(length)
    return _summed(spans, lengths)


def _gaps(distance: FloatArray, length: float, max_gap: float) -> FloatArray:
    """Return start and end along the line of each gap above the limit, shape (n_gaps, 2)."""
    if not distance.size:
        return np.array([[0.0, length]] if length > 0 else [], dtype=np.float64).reshape(-1, 2)
    places = np.concatenate(([0.0], np.sort(np.clip(distance, 0.0, length)), [length]))
    wide = np.diff(places) > max_gap
    # Gaps on both sides of a single reading are one span.
    edges = np.diff(np.concatenate(([False], wide, [False])).astype(np.int8))
    return np.column_stack([places[edges == 1], places[edges == -1]])


def _summed(spans: list[tuple[int, FloatArray, FloatArray]], lengths: list[float]) -> Coverage:
    """Return the coverage of lines whose gaps are known, with the ends of the gaps."""
    line = np.concatenate(
        [np.empty(0, dtype=np.int64)] + [np.full(len(gaps), number) for number, gaps, _ in spans]
    )
    gaps = np.concatenate([np.empty((0, 2))] + [gaps for _, gaps, _ in spans])
    ends = np.concatenate([np.empty((0, 2, 2))] + [ends for _, _, ends in spans])
    length = np.array(lengths, dtype=np.float64)
    missing = np.bincount(line, weights=gaps[:, 1] - gaps[:, 0], minlength=length.size)
    places = (ends[:, 0, 0], ends[:, 0, 1], ends[:, 1, 0], ends[:, 1, 1])
    return Coverage(length, length - missing, UncoveredSpans(line, gaps[:, 0], gaps[:, 1], *places))
