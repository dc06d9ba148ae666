"""Ridges of a grid as traces: chains of several filter widths, trimmed, joined and judged."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, gaussian_filter
from scipy.spatial import cKDTree

from lodewalk.errors import InputError
from lodewalk.methods.lineaments.evidence import evidence_of, mass_of
from lodewalk.methods.lineaments.joining import joined
from lodewalk.methods.lineaments.linking import linked
from lodewalk.methods.lineaments.polyline import Line, resampled, trimmed, unhooked
from lodewalk.methods.lineaments.ridge_filter import (
    RidgePoints,
    crest_points,
    oriented_gradient,
)
from lodewalk.validation import FloatArray, check_positive

BoolArray = NDArray[np.bool_]
#: Widths of the filters [line spacings], narrow first.
WIDTHS: Final = (0.35, 0.7, 1.4)
#: Ratios at which chains go on, and begin.
GO_ON, BEGIN = 1.0, 3.0
#: Length of a filter in its widths, and at least [line spacings].
LONG, LEAST_LONG = 2.0, 1.0
#: Pieces shorter than this are not looked at [line spacings].
PIECE: Final = 1.5
#: How far to each side a crest has to stand out [filter widths, of half a spacing at least].
SIDE: Final = 1.5
#: Length over which the grid's errors go together [line spacings]: half a spacing away, where a
#: line pins the grid, their correlation is 1 / e.
ERROR_LENGTH: Final = 0.25
#: A node counts as no more than this many times as noisy as the usual one: errors of place, which
#: grow with the anomaly, move a crest but make none.
MOST_RELATIVE: Final = 2.0
#: Shortest lineament, where nothing else is wished [line spacings].
LEAST_LENGTH: Final = 3.0
#: Nearer to the border than this [line spacings], what runs within so many degrees of it is of the
#: border's making.
BORDER: Final = 1.0
_ALONG_DEG: Final = 35.0
#: Evidence of a line by itself from which no fainter one of a narrower filter hides it.
SURE: Final = 0.95
#: A line is of the same crest as one of another width this many filter widths to its side.
_COVERS: Final = 2.0


@dataclass(frozen=True)
class Ridge:
    """A ridge traced from a grid.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        Corners, half a line spacing apart [m]; the strike from the first to the last is in 0 to
        180 degrees.
    strength : array, shape (n,)
        Gradient there, averaged along the strike [nT/m].
    ratio : array, shape (n,)
        How far it stands out above both sides, over the noise.
    half_width_m : float
        Standard deviation of the filter that found it [m].
    evidence : float
        Probability that it is more than noise.
    """

    easting_m: FloatArray
    northing_m: FloatArray
    strength: FloatArray
    ratio: FloatArray
    half_width_m: float
    evidence: float

    @property
    def length_m(self) -> float:
        """Length along the corners [m]."""
        return float(np.hypot(np.diff(self.easting_m), np.diff(self.northing_m)).sum())


def trace_ridges(
    values: FloatArray,
    *,
    west_m: float,
    south_m: float,
    spacing_m: float,
    line_spacing_m: float,
    sd: FloatArray | None = None,
    least_length_m: float | None = None,
    least_evidence: float = 0.95,
) -> list[Ridge]:
    """Return the ridges of a grid that are more than noise, the surest first.

    Parameters
    ----------
    values : array, shape (n_north, n_east)
        The anomaly; NaN where masked.
    west_m, south_m, spacing_m : float
        Place of the first node and distance between nodes [m].
    line_spacing_m : float
        Distance between survey lines [m]: the scale of all lengths here.
    sd : array, shape (n_north, n_east), optional
        Standard error of the grid; the noise of the traced gradient is no less than what it
        comes to, and more where the grid is less sure (default: from the grid alone).
    least_length_m : float, optional
        Shortest that is told [m] (default: three line spacings).
    least_evidence : float
        Least probability of being more than noise.

    Returns
    -------
    list of Ridge

    Raises
    ------
    InputError
        When the grid has no or a single value, or a length isn't above zero.

    Notes
    -----
    Crests of the total gradient that is averaged along a direction (`oriented_gradient`), so that
    a ridge is followed through the beads that a slanted body shows between survey lines. Filters
    of three widths look for them; chains are trimmed where the response has sunk to half (there
    the body ends) and joined across gaps. Where several widths see one crest the narrower go
    before, as they place it best, unless a broader one alone is sure of it. See `evidence_of` for
    the probability.

    Examples
    --------
    >>> north = 5.0 * np.arange(80.0)[:, None] - 203 + np.zeros(100)
    >>> found = trace_ridges(north / (north**2 + 15.0**2), west_m=0.0, south_m=0.0,
    ...                      spacing_m=5.0, line_spacing_m=20.0)
    >>> len(found), float(found[0].northing_m.mean().round(1))
    (1, 203.0)
    """
    check_positive(spacing_m, name="spacing_m")
    check_positive(line_spacing_m, name="line_spacing_m")
    known = np.isfinite(values)
    if not known.any() or np.ptp(values[known]) == 0:
        raise InputError(
            "A grid without two different values has no ridge.",
            value=float(values[known][0]) if known.any() else "no value",
        )
    unit = line_spacing_m / spacing_m
    area = float(known.sum()) / unit**2
    sure = partial(_sure, area=area, level=max(least_evidence, SURE))
    lines = [unhooked(line) for line in _lines(values, unit, sd, sure)]
    least = (least_length_m or LEAST_LENGTH * line_spacing_m) / line_spacing_m
    found = []
    for line in lines:
        evidence = evidence_of(mass_of(line, go_on=GO_ON), area)
        if line.length >= least and evidence >= least_evidence:
            found.append(_ridge(line, evidence, (west_m, south_m, spacing_m, unit)))
    return sorted(found, key=lambda ridge: (-ridge.evidence, -ridge.length_m))


def _lines(
    values: FloatArray, unit: float, sd: FloatArray | None, sure: Callable[[Line], bool]
) -> list[Line]:
    """Return the lines of all widths, in line spacings."""
    found: list[Line] = []
    shape = (values.shape[0], values.shape[1])
    border = _border(np.isfinite(values))
    usual = float(np.nanmedian(sd)) if sd is not None and np.isfinite(sd).any() else 0.0
    for width in WIDTHS:
        across = max(width * unit, 1.0)
        along = max(LONG * across, LEAST_LONG * unit)
        response = oriented_gradient(
            values,
            across=across,
            along=along,
            relative_noise=None if sd is None or not usual else _relative(sd / usual),
            least_noise=usual * carried_error(across, along, length=ERROR_LENGTH * unit),
        )
        points = crest_points(response, side=SIDE * max(across, 0.5 * unit), least_ratio=GO_ON)
        points = _off_borders(points, border, unit)
        own = [
            unhooked(resampled(line))
            for chain in linked(points, shape, start_ratio=BEGIN)
            if (line := trimmed(_line(points, chain, unit, across / unit))) is not None
            and line.length >= PIECE
        ]
        found = _settled(found, own, sure)
    return found


def _relative(share: FloatArray) -> FloatArray:
    """Return how much noisier each node is; 1 where that isn't known."""
    return np.clip(np.where(np.isfinite(share), share, 1.0), 1.0, MOST_RELATIVE)


def carried_error(across: float, along: float, *, length: float) -> float:
    """Return the scale of the oriented gradient of a grid's error, for an error of one.

    Parameters
    ----------
    across, along : float
        Standard deviations of the filter [nodes].
    length : float
        Length over which the grid's errors go together [nodes].

    Returns
    -------
    float
        Scale of the Rayleigh distribution, a node.

    Notes
    -----
    Errors with the correlation ``exp(-d**2 / (4 c**2))`` have the power ``exp(-c**2 k**2)``; its
    integral with the filter's gain squared over that without is ``c**2 / (a**3 b)`` with
    ``a**2 = across**2 + c**2`` and ``b**2 = along**2 + c**2``, shared by two parts.

    Examples
    --------
    >>> round(carried_error(2.0, 5.0, length=2.0), 4)
    0.1281
    """
    wide, long_ = np.hypot(across, length), np.hypot(along, length)
    return float(np.sqrt(length**2 / (2 * wide**3 * long_)))


def _line(points: RidgePoints, chain: NDArray[np.int64], unit: float, width: float) -> Line:
    """Return a chain in line spacings."""
    place = np.column_stack([points.east[chain], points.north[chain]]) / unit
    return Line(place, points.ratio[chain], points.strength[chain], width)


def _border(known: BoolArray) -> FloatArray:
    """Return the distance of each node from the next without a value, and its slope."""
    distance = distance_transform_edt(np.pad(known, 1))
    slope = np.gradient(gaussian_filter(distance, 1.0))
    return np.stack([distance, *slope])[:, 1:-1, 1:-1]


def _off_borders(points: RidgePoints, border: FloatArray, unit: float) -> RidgePoints:
    """Return the points without those that follow the grid's border or that of a hole."""
    distance, north, east = border[:, points.row, points.column]
    turn = np.radians(points.azimuth)
    steep = np.abs(north * np.cos(turn) + east * np.sin(turn))
    size = np.maximum(np.hypot(north, east), 1e-9)
    kept = (distance > BORDER * unit) | (steep > np.sin(np.radians(_ALONG_DEG)) * size)
    return RidgePoints(*(part[kept] for part in points))


def _sure(line: Line, *, area: float, level: float) -> bool:
    """Tell whether a line by itself is more than noise."""
    return evidence_of(mass_of(line, go_on=GO_ON), area) >= level


def _settled(
    narrower: Sequence[Line], broader: Sequence[Line], sure: Callable[[Line], bool]
) -> list[Line]:
    """Return lines of narrower filters and of a broader one so that no crest is in both.

    Narrower ones go before, as they place a crest best; where that gives no sure line, but the
    broader filter by itself has one, the faint give way to it.
    """
    together = joined([*narrower, *_uncovered(broader, narrower)])
    if not narrower:
        return together
    told = [line for line in together if sure(line)]
    hidden = _uncovered([line for line in joined(broader) if sure(line)], told)
    if not hidden:
        return together
    faint = _uncovered([line for line in together if not sure(line)], hidden)
    return joined([*told, *hidden, *faint])


def _uncovered(lines: Sequence[Line], others: Sequence[Line]) -> list[Line]:
    """Return the parts of lines, long enough to be looked at, that lie beside no other line."""
    if not others:
        return list(lines)
    tree = cKDTree(np.concatenate([other.place for other in others]))
    parts: list[Line] = []
    for line in lines:
        far, _ = tree.query(line.place)
        free = np.concatenate([[False], far > max(_COVERS * line.width, 0.75), [False]])
        ends = np.flatnonzero(np.diff(free.astype(int))).reshape(-1, 2)
        parts.extend(line.part(slice(*own)) for own in ends)
    return [part for part in parts if part.length >= PIECE]


def _ridge(line: Line, evidence: float, place: tuple[float, float, float, float]) -> Ridge:
    """Return a line with its places in metres."""
    west, south, spacing, unit = place
    east, north = line.place[-1] - line.place[0]
    line = line.reversed() if (east, north) < (0.0, 0.0) else line
    metres = line.place * unit * spacing
    return Ridge(
        west + metres[:, 0],
        south + metres[:, 1],
        line.response / spacing,
        line.ratio,
        line.width * unit * spacing,
        evidence,
    )
