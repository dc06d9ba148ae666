"""Where a lineament crosses a line, and which readings of the line make the profile across it."""

from dataclasses import dataclass, field
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from lodewalk.methods.bodies.dyke import profile_distance
from lodewalk.methods.inversion.line_gradient import LineGradient
from lodewalk.validation import FloatArray, check_same_length

IntArray = NDArray[np.int64]

#: A line that meets the strike under less than this is too oblique (common practice) [deg].
LEAST_ANGLE_DEG: Final = 30.0
#: Fewer readings than this don't hold a body with its level and slope.
LEAST_READINGS: Final = 12
#: Shortest profile, and shortest side of it, in depths of the first look: below that level,
#: slope and body can't be told apart (common practice).
LEAST_LENGTH: Final = 3.0
LEAST_SIDE: Final = 1.0
#: Fall of chi square that an anomaly brings over a straight line, at least; by chance it exceeds
#: this once in 3e5 (two degrees of freedom).
LEAST_FALL: Final = 25.0
#: Readings nearer to each other than this share of the usual distance are of one who stands.
STANDS: Final = 0.3
#: The slope of the anomaly is smoothed over this share of the depth.
SLOPE_REACH: Final = 0.25
#: Sd of a normal variable over its median absolute deviation.
SD_PER_MAD: Final = 1.4826


class Crossing(NamedTuple):
    """A place where a lineament crosses a line, and the row of the reading just before it."""

    easting_m: float
    northing_m: float
    row: int


def crossings(corners: FloatArray, track: FloatArray, *, apart_m: float) -> list[Crossing]:
    """Return where a polyline crosses a walked line.

    Parameters
    ----------
    corners : array, shape (m, 2)
        Easting and northing of the polyline's corners [m], in order.
    track : array, shape (n, 2)
        Easting and northing of the line's readings [m], in order of walking.
    apart_m : float
        Crossings nearer to each other than this are one: a track wavers [m].

    Returns
    -------
    list of Crossing
        In order of walking.

    Examples
    --------
    >>> found = crossings(np.array([[0.0, 5.0], [20.0, 5.0]]),
    ...                   np.array([[10.0, 0.0], [10.0, 4.0], [10.0, 8.0]]), apart_m=5.0)
    >>> found
    [Crossing(easting_m=10.0, northing_m=5.0, row=1)]
    """
    if len(corners) < 2 or len(track) < 2:
        return []
    start, walked = track[:-1], np.diff(track, axis=0)
    found = []
    for first, run in zip(corners[:-1], np.diff(corners, axis=0), strict=True):
        cross = walked[:, 0] * run[1] - walked[:, 1] * run[0]
        away = first - start
        with np.errstate(divide="ignore", invalid="ignore"):
            along = (away[:, 0] * run[1] - away[:, 1] * run[0]) / cross
            share = (away[:, 0] * walked[:, 1] - away[:, 1] * walked[:, 0]) / cross
        hits = np.flatnonzero((along >= 0) & (along < 1) & (share >= 0) & (share <= 1))
        found += [(int(row), *(start[row] + along[row] * walked[row])) for row in hits]
    apart: list[Crossing] = []
    for row, east, north in sorted(found):
        near = apart and np.hypot(east - apart[-1][0], north - apart[-1][1]) < apart_m
        if not near:
            apart.append(Crossing(float(east), float(north), row))
    return apart


def angle_between_deg(first_deg: float, second_deg: float) -> float:
    """Return the angle between two directions without an arrow, 0 to 90 [deg].

    Examples
    --------
    >>> angle_between_deg(350.0, 40.0)
    50.0
    """
    turn = abs(first_deg - second_deg) % 180.0
    return min(turn, 180.0 - turn)


@dataclass(frozen=True)
class PickedProfile:
    """The readings of a line that make a profile across the strike.

    Parameters
    ----------
    rows : int array, shape (n,)
        Rows of the line's readings, in order of distance.
    distance_m : array, shape (n,)
        Distance across the strike from the pick, towards strike and 90 degrees [m].
    half_window_m : float
        Half the length that was wanted [m].
    depth_m : float
        Depth below the sensor at a first look [m].
    problem : str
        Why it can't be used: one sentence; empty where it can.
    slope_nT_m : array, shape (n,)
        Slope of the anomaly along the profile [nT/m].
    """

    rows: IntArray
    distance_m: FloatArray
    half_window_m: float
    depth_m: float
    problem: str = ""
    slope_nT_m: FloatArray = field(default_factory=lambda: np.zeros(0))


def pick_profile(
    line: LineGradient,
    place: tuple[float, float],
    *,
    strike_deg: float,
    window: float,
    neighbours_m: FloatArray | None = None,
) -> PickedProfile:
    """Return the readings of a line across a body, out to where a neighbour's anomaly begins.

    Parameters
    ----------
    line : LineGradient
        The line with its total gradient.
    place : tuple = (easting, northing)
        Where the body crosses the line [m].
    strike_deg : float
        Its strike there [deg].
    window : float
        Half the length of the profile, in depths of the first look.
    neighbours_m : array, optional
        Places of other bodies along the line [m].

    Returns
    -------
    PickedProfile
        With a problem where the readings can't hold the body.

    Notes
    -----
    The first look is the half width of the total gradient across the strike, which is the depth
    of a thin sheet, 1.7 depths of a contact, and about depth and half width of a dyke. Where a
    neighbour stands within the window the profile ends at the smallest gradient between the two,
    if that is below half the lesser of their gradients; otherwise the two are of one anomaly.

    Examples
    --------
    >>> along = np.arange(-100.0, 101.0)
    >>> line = LineGradient(along, 0 * along, 9e3 / (along**2 + 144), sd_nT=np.full(201, 0.1))
    >>> found = pick_profile(line, (1.0, 0.0), strike_deg=0.0, window=4.0)
    >>> round(found.depth_m), found.rows.size, found.problem
    (12, 101, '')
    """
    across = angle_between_deg(line.azimuth_deg, strike_deg)
    if across < LEAST_ANGLE_DEG:
        nothing = np.zeros(0, dtype=np.int64)
        told = (
            f"The line meets the strike under {across:.0f} degrees; a profile needs "
            f"{LEAST_ANGLE_DEG:.0f}."
        )
        return PickedProfile(nothing, np.zeros(0), 0.0, float("nan"), told)
    share = float(np.sin(np.radians(across)))
    at = line.along(*place)
    depth = share * line.half_width(at)
    half = window * depth
    low, high = at - half / share, at + half / share
    for other in np.zeros(0) if neighbours_m is None else neighbours_m:
        end = line.parting(at, float(other))
        if end is not None and low < end < high:
            low, high = (max(low, end), high) if other < at else (low, min(high, end))
    inside = np.flatnonzero((line.along_m >= low) & (line.along_m <= high))
    return taken(line, inside, place, strike_deg=strike_deg, half_window_m=half, depth_m=depth)


def taken(
    line: LineGradient,
    inside: IntArray,
    place: tuple[float, float],
    *,
    strike_deg: float,
    half_window_m: float,
    depth_m: float,
) -> PickedProfile:
    """Return some readings of a line as a profile across the strike, and what speaks against it.

    Parameters
    ----------
    line : LineGradient
        The line.
    inside : int array
        Rows of its readings that are wanted.
    place, strike_deg, half_window_m, depth_m
        See `pick_profile`.

    Returns
    -------
    PickedProfile
        Sorted by distance, without the readings of one who stands.
    """
    distance = profile_distance(
        line.easting_m[inside], line.northing_m[inside], point=place, strike_deg=strike_deg
    )
    order = np.argsort(distance, kind="stable")
    order = order[moving(distance[order])]
    rows, distance = inside[order], distance[order]
    problem = profile_problem(
        distance, line.anomaly_nT[rows], sd_nT=line.sd_nT[rows], depth_m=depth_m
    )
    anomaly = line.anomaly_nT[rows]
    slope = local_slope(distance, anomaly, reach_m=SLOPE_REACH * depth_m)
    return PickedProfile(rows, distance, half_window_m, depth_m, problem, slope)


def local_slope(distance_m: FloatArray, values: FloatArray, *, reach_m: float) -> FloatArray:
    """Return the slope of values along a profile, smoothed.

    Parameters
    ----------
    distance_m, values : array, shape (n,)
        Profile in order of distance [m], and values in any unit.
    reach_m : float
        Neighbours count by ``exp(-distance**2 / (2 reach**2))`` [m]; at least those beside.

    Returns
    -------
    array, shape (n,)
        Slope of the straight line through the weighed neighbours, in units a metre; zeros for
        fewer than three readings.

    Examples
    --------
    >>> local_slope(np.arange(5.0), 3.0 * np.arange(5.0), reach_m=2.0).round(9).tolist()
    [3.0, 3.0, 3.0, 3.0, 3.0]
    """
    if distance_m.size < 3:
        return np.zeros(distance_m.size)
    step = float(np.ptp(distance_m)) / (distance_m.size - 1)
    reach = max(reach_m if np.isfinite(reach_m) else 0.0, step, 1e-9)
    apart = distance_m[None, :] - distance_m[:, None]
    weight = np.exp(-0.5 * (apart / reach) ** 2)
    weight /= weight.sum(axis=1, keepdims=True)
    centred = apart - (weight * apart).sum(axis=1, keepdims=True)
    rest = values[None, :] - (weight @ values)[:, None]
    found: FloatArray = (weight * centred * rest).sum(axis=1) / (weight * centred**2).sum(axis=1)
    return found


def moving(distance_m: FloatArray) -> IntArray:
    """Return the places of sorted readings without those of one who stands.

    Examples
    --------
    >>> moving(np.array([0.0, 1.0, 1.1, 1.2, 2.0, 3.0])).tolist()
    [0, 1, 4, 5]
    """
    if distance_m.size < 3:
        return np.arange(distance_m.size)
    gaps = np.sort(np.diff(distance_m))
    # Half of the way is walked in steps longer than this, however long somebody stands.
    usual = gaps[np.searchsorted(np.cumsum(gaps), gaps.sum() / 2.0)]
    least = STANDS * float(usual)
    kept = [0]
    for place in range(1, distance_m.size):
        if distance_m[place] - distance_m[kept[-1]] >= least:
            kept.append(place)
    return np.array(kept, dtype=np.int64)


def profile_problem(
    distance_m: FloatArray, anomaly_nT: FloatArray, *, sd_nT: FloatArray, depth_m: float
) -> str:
    """Return why a profile can't hold the body at its zero, in one sentence; empty where it can.

    Parameters
    ----------
    distance_m, anomaly_nT, sd_nT : array, shape (n,)
        Profile, in order of distance [m, nT].
    depth_m : float
        Depth at a first look [m].

    Returns
    -------
    str
        Too few readings, a flat profile, a short one, or an anomaly cut by an end.

    Examples
    --------
    >>> along = np.arange(-4.0, 5.0)
    >>> profile_problem(along, along**2, sd_nT=np.ones(9), depth_m=3.0)
    'The profile has 9 readings; a fit needs 12.'
    """
    check_same_length(distance_m=distance_m, anomaly_nT=anomaly_nT, sd_nT=sd_nT)
    if distance_m.size < LEAST_READINGS:
        return f"The profile has {distance_m.size} readings; a fit needs {LEAST_READINGS}."
    length = float(np.ptp(distance_m))
    if (
        not depth_m > 0
        or not length > 0
        or _fall(distance_m, anomaly_nT, sd_nT, depth_m) < (LEAST_FALL)
    ):
        return "No anomaly stands out of the noise here: the profile is flat."
    if length < LEAST_LENGTH * depth_m:
        return (
            f"The profile is {np.floor(length):.0f} m long; a body about {depth_m:.0f} m below the "
            f"sensor needs {np.ceil(LEAST_LENGTH * depth_m):.0f} m."
        )
    side = min(float(distance_m[-1]), -float(distance_m[0]))
    if side < LEAST_SIDE * depth_m:
        return (
            f"The profile ends {max(side, 0.0):.0f} m from the body, less than its depth of about "
            f"{depth_m:.0f} m, so the anomaly is cut by the edge."
        )
    return ""


def _fall(distance: FloatArray, anomaly: FloatArray, sd_nT: FloatArray, depth_m: float) -> float:
    """Return by how much the curve of a sheet at that depth lowers chi square below a line's.

    The error is the sensor's or, if larger, what the second differences tell.
    """
    second = np.diff(anomaly, 2)
    rough = SD_PER_MAD * float(np.median(np.abs(second - np.median(second)))) / np.sqrt(6.0)
    error = max(float(np.median(sd_nT)), rough, 1e-12)
    square = distance**2 + depth_m**2
    plain = np.stack([np.ones(distance.size), distance], axis=1)
    curved = np.column_stack([plain, depth_m / square, distance / square])
    left = [
        anomaly - basis @ np.linalg.lstsq(basis, anomaly, rcond=None)[0]
        for basis in (plain, curved)
    ]
    return float((np.sum(left[0] ** 2) - np.sum(left[1] ** 2)) / error**2)
