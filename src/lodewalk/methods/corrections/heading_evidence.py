"""What tells of the heading error: turn-around tests, crossings and neighbouring passages."""

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.checks.clocks.zigzag_fit import neighbour_shares
from lodewalk.methods.checks.clocks.zigzag_passages import Passages, Track, parallel_passages
from lodewalk.methods.checks.spans import IntArray
from lodewalk.methods.corrections.linear import interpolate_linear
from lodewalk.methods.corrections.lines import passage_geometry
from lodewalk.methods.corrections.mixed_model import NORMAL_SCALE
from lodewalk.validation import FloatArray, check_positive, check_same_length

Kind = Literal["turn", "crossing", "neighbour"]

#: Step between the places at which neighbouring passages are compared [m].
STEP_M: Final = 2.0

#: Least length over which passages lie side by side [m].
LEAST_BESIDE_M: Final = 60.0


@dataclass(frozen=True)
class HeadingEvidence:
    """Pieces of evidence of one kind: each a sum of readings, with shares, at known headings.

    Parameters
    ----------
    kind : {"turn", "crossing", "neighbour"}
        Kind of all of them.
    value_nT : float array, shape (n,)
        Value of the sum [nT].
    sd_nT : float array, shape (n,)
        Expected sd of each, of its own errors alone [nT]. The fit rescales them together.
    row : int array, shape (m,)
        Piece that each member belongs to.
    heading_deg : float array, shape (m,)
        Heading of the member, clockwise from grid north [degrees].
    share : float array, shape (m,)
        By which it enters the sum.
    place : int array, shape (m,)
        The test or passage whose level the member shares.
    """

    kind: Kind
    value_nT: FloatArray
    sd_nT: FloatArray
    row: IntArray
    heading_deg: FloatArray
    share: FloatArray
    place: IntArray


def turn_evidence(
    heading_deg: ArrayLike, value_nT: ArrayLike, test: ArrayLike, *, sd_nT: ArrayLike
) -> HeadingEvidence:
    """Make evidence of turn-around tests: one point read facing several ways.

    Parameters
    ----------
    heading_deg : array_like, shape (n,)
        Heading of each stand, clockwise from grid north [degrees].
    value_nT : array_like, shape (n,)
        Mean of the stand, the daily variation taken off [nT]; NaN is left out.
    test : array_like, shape (n,)
        Name or number of the test; each has its own level.
    sd_nT : array_like, shape (n,) or one
        Expected sd of a stand's mean, what is left of the daily variation included [nT].

    Returns
    -------
    HeadingEvidence

    Raises
    ------
    InputError
        When lengths differ or an sd isn't above zero.

    Examples
    --------
    >>> turn_evidence([0, 90, 180], [5.0, 4.0, 3.0], [1, 1, 1], sd_nT=0.1).share.tolist()
    [1.0, 1.0, 1.0]
    """
    check_same_length(heading_deg=heading_deg, value_nT=value_nT, test=test)
    heading, value = _floats(heading_deg), _floats(value_nT)
    number = np.unique(np.atleast_1d(np.asarray(test)), return_inverse=True)[1]
    kept = np.flatnonzero(np.isfinite(heading + value))
    return HeadingEvidence(
        kind="turn",
        value_nT=value[kept],
        sd_nT=_sd(sd_nT, value.size)[kept],
        row=np.arange(kept.size),
        heading_deg=heading[kept],
        share=np.ones(kept.size),
        place=number[kept].astype(np.int64),
    )


def crossing_evidence(
    first_heading_deg: ArrayLike,
    second_heading_deg: ArrayLike,
    difference_nT: ArrayLike,
    first_line: ArrayLike,
    second_line: ArrayLike,
    *,
    sd_nT: ArrayLike,
) -> HeadingEvidence:
    """Make evidence of crossings and repeats: one place read twice, walking two ways.

    Parameters
    ----------
    first_heading_deg, second_heading_deg : array_like, shape (n,)
        Headings of the passages there, clockwise from grid north [degrees]. The direction of the
        whole passage is better than that of a few readings, whose noise would pass for a turn.
    difference_nT : array_like, shape (n,)
        Reading on the first passage less that on the second, all other corrections made [nT];
        NaN is left out.
    first_line, second_line : array_like, shape (n,)
        Names or numbers of the passages; each has a level of its own, such as what the diurnal
        correction left.
    sd_nT : array_like, shape (n,) or one
        Expected sd of the difference: noise of two readings, and position error times gradient
        [nT]. Only their proportions matter much.

    Returns
    -------
    HeadingEvidence

    Raises
    ------
    InputError
        When lengths differ or an sd isn't above zero.

    Examples
    --------
    >>> crossing_evidence([0.0], [90.0], [1.5], ["L1"], ["T1"], sd_nT=0.7).share.tolist()
    [1.0, -1.0]
    """
    check_same_length(
        first_heading_deg=first_heading_deg,
        second_heading_deg=second_heading_deg,
        difference_nT=difference_nT,
        first_line=first_line,
        second_line=second_line,
    )
    first, second, value = map(_floats, (first_heading_deg, second_heading_deg, difference_nT))
    names = np.concatenate([np.atleast_1d(np.asarray(a)) for a in (first_line, second_line)])
    number = np.unique(names, return_inverse=True)[1].astype(np.int64)
    kept = np.flatnonzero(np.isfinite(first + second + value))
    rows = np.arange(kept.size)
    return HeadingEvidence(
        kind="crossing",
        value_nT=value[kept],
        sd_nT=_sd(sd_nT, value.size)[kept],
        row=np.concatenate([rows, rows]),
        heading_deg=np.concatenate([first[kept], second[kept]]),
        share=np.repeat([1.0, -1.0], kept.size),
        place=np.concatenate([number[: value.size][kept], number[value.size :][kept]]),
    )


def neighbour_evidence(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    value_nT: ArrayLike,
    passage: ArrayLike,
    *,
    max_spacing_m: float = 75.0,
) -> HeadingEvidence:
    """Make evidence of passages that lie side by side, as where lines are walked to and fro.

    Parameters
    ----------
    easting_m, northing_m : array_like, shape (n,)
        Positions of the readings in the order walked [m].
    value_nT : array_like, shape (n,)
        Anomaly, all other corrections made [nT]; NaN where missing.
    passage : int array, shape (n,)
        Number of the passage of each reading; -1 off the lines.
    max_spacing_m : float
        Passages further apart are no neighbours [m] (default 75).

    Returns
    -------
    HeadingEvidence
        One piece for each passage with a neighbour on either side.

    Raises
    ------
    InputError
        When lengths differ or `max_spacing_m` isn't above zero.

    Notes
    -----
    A passage is compared with the straight line between its two neighbours at places each 2 m
    along. So a slope of the field across the lines cancels. The piece is the median along the
    passage, its sd from the spread, one independent value for each two spacings of lines. What
    the ground adds to a whole line stays in: the fit gives each line a level of its own and takes
    its size from the evidence.

    Examples
    --------
    >>> along, line = np.tile(np.arange(100.0), 5), np.repeat(np.arange(5), 100)
    >>> north = np.where(line % 2 == 0, along, 99.0 - along)
    >>> found = neighbour_evidence(20.0 * line, north, 3.0 * line + (line % 2), line)
    >>> found.value_nT.round(6).tolist()
    [1.0, -1.0, 1.0]
    """
    check_same_length(
        easting_m=easting_m, northing_m=northing_m, value_nT=value_nT, passage=passage
    )
    check_positive(max_spacing_m, name="max_spacing_m")
    east, north, value = map(_floats, (easting_m, northing_m, value_nT))
    number = np.where(
        np.isfinite(east + north), np.atleast_1d(np.asarray(passage, dtype=np.int64)), -1
    )
    order = np.arange(east.size, dtype=np.float64)
    passages = parallel_passages(
        Track(order, east, north),
        number,
        step_m=STEP_M,
        max_spacing_m=max_spacing_m,
        window_m=LEAST_BESIDE_M / 1.5,
    )
    if passages is None or value.size == 0:
        return _no_neighbours()
    names = _names(passages, number)
    azimuth = {
        name: passage_geometry(east[number == name], north[number == name]).azimuth_deg
        for name in names.tolist()
    }
    shape = passages.time_s.shape
    profile = interpolate_linear(passages.time_s.ravel(), order, value, max_gap=10.0)
    return _from_profiles(
        profile.reshape(shape), passages, np.array([azimuth[name] for name in names.tolist()])
    )


def _names(passages: Passages, number: IntArray) -> IntArray:
    """Return the number of each passage; its times are places among the readings."""
    middle = np.nanmedian(passages.time_s, axis=1)
    return number[np.rint(middle).astype(np.int64)]


def _from_profiles(
    profile: FloatArray, passages: Passages, azimuth_deg: FloatArray
) -> HeadingEvidence:
    """Compare each profile with the straight line between its neighbours."""
    shares, beside = neighbour_shares(passages), passages.beside
    off = profile - np.einsum("ij,ijk->ik", shares, profile[beside])
    known = np.isfinite(off)
    used = np.flatnonzero(known.sum(axis=1) * STEP_M >= LEAST_BESIDE_M)
    if not used.size:
        return _no_neighbours()
    middle = np.nanmedian(off[used], axis=1)
    spread = NORMAL_SCALE * np.nanmedian(np.abs(off[used] - middle[:, None]), axis=1)
    gap = np.abs(passages.across_m[beside[used]] - passages.across_m[used, None]).mean(axis=1)
    pieces = np.maximum(known[used].sum(axis=1) * STEP_M / np.maximum(2 * gap, STEP_M), 1.0)
    rows = np.arange(used.size)
    place = np.concatenate([used, beside[used, 0], beside[used, 1]])
    return HeadingEvidence(
        kind="neighbour",
        value_nT=middle,
        sd_nT=np.maximum(spread / np.sqrt(pieces), 1e-3),
        row=np.tile(rows, 3),
        heading_deg=azimuth_deg[place],
        share=np.concatenate([np.ones(used.size), -shares[used, 0], -shares[used, 1]]),
        place=place,
    )


def _no_neighbours() -> HeadingEvidence:
    """Return evidence without a piece."""
    nothing, none = np.empty(0), np.empty(0, dtype=np.int64)
    return HeadingEvidence("neighbour", nothing, nothing, none, nothing, nothing, none)


def _floats(values: ArrayLike) -> FloatArray:
    return np.atleast_1d(np.asarray(values, dtype=np.float64))


def _sd(sd_nT: ArrayLike, count: int) -> FloatArray:
    """Return one sd for each piece."""
    sd = np.asarray(sd_nT, dtype=np.float64)
    if sd.ndim and sd.size != count:
        raise InputError("There must be one sd_nT, or one for each value.", value=sd.size)
    if not np.all(sd > 0):
        raise InputError("sd_nT must be above zero.", value=float(np.min(sd)))
    return np.broadcast_to(sd, (count,)).astype(np.float64)
