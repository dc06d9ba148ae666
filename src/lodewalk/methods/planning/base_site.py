"""Where the base may stand, by rules, with what speaks for and against each place."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lodewalk.errors import InputError

Floats = NDArray[np.float64]
#: Steepest ground on which a base is set up [degrees] (common practice).
GENTLE_DEG: Final = 10.0
#: Weights that turn what speaks against a place into metres of walking (common practice).
SLOPE_M_PER_DEG: Final = 20.0
NEAR_M: Final = 200.0


@dataclass(frozen=True)
class Candidates:
    """Places where the base could stand, and what is around them.

    Parameters
    ----------
    place : array, shape (n, 2)
        Easting and northing [m].
    to_track_m : array, shape (n,)
        Distance to the nearest road or vehicle track [m]; infinity where there is none.
    inside_clear_m : array, shape (n,)
        How far it lies inside what is kept clear of power lines, fences, buildings, water and
        others [m]; 0 outside.
    to_source_m : array, shape (n,)
        Distance to the nearest of these [m]; infinity where there is none.
    slope_deg : array, shape (n,)
        Slope of the ground [deg]; NaN where it isn't known.
    to_lines_m : array, shape (n,)
        Mean way to the ends of the lines [m].
    way_in_m : array, shape (n,)
        Way from the nearest road or track [m]; NaN where none is known.
    """

    place: Floats
    to_track_m: Floats
    inside_clear_m: Floats
    to_source_m: Floats
    slope_deg: Floats
    to_lines_m: Floats
    way_in_m: Floats


@dataclass(frozen=True)
class BaseSite:
    """A place for the base.

    Parameters
    ----------
    number : int
        Which candidate it is.
    score_m : float
        What speaks against it, in metres of walking [m]; the least is the best.
    to_lines_m, way_in_m, slope_m, near_m : float
        Its parts: mean way to the lines, way in, slope, nearness to tracks and other sources [m].
    broken : tuple of str
        Rules that it breaks; empty where it breaks none.
    """

    number: int
    score_m: float
    to_lines_m: float
    way_in_m: float
    slope_m: float
    near_m: float
    broken: tuple[str, ...]


def base_sites(
    candidates: Candidates, *, track_m: float, apart_m: float, count: int = 3
) -> list[BaseSite]:
    """Return the best place for the base and alternatives well apart from it and each other.

    Parameters
    ----------
    candidates : Candidates
        At least one.
    track_m : float
        Least distance from a road or vehicle track [m].
    apart_m : float
        Least distance between the places returned [m].
    count : int
        Most places that are returned.

    Returns
    -------
    list of BaseSite
        The best first. A place that breaks a rule stands behind all that break none, by how
        badly it breaks them.

    Raises
    ------
    InputError
        When there is no candidate.

    Notes
    -----
    The score is a sum of metres: mean way to the lines, way in, 20 m for each degree of slope,
    and 200 m at the least distance from a track, less in proportion to the distance beyond.
    Rules and weights are common practice.

    Examples
    --------
    >>> far = np.full(2, np.inf)
    >>> found = base_sites(Candidates(np.array([[0.0, 0], [500, 0]]), np.array([50.0, 400]),
    ...     np.zeros(2), far, np.zeros(2), np.array([100.0, 300]), np.zeros(2)),
    ...     track_m=100, apart_m=10)
    >>> [site.number for site in found], found[1].broken
    ([1, 0], ('it lies 50 m from a road or track, nearer than 100 m',))
    """
    if not len(candidates.place):
        raise InputError("There is no place where the base could stand.")
    parts = _parts(candidates, track_m)
    score = np.sum(parts, axis=0)
    short = _shortfalls(candidates, track_m)
    badly = sum(short.values(), np.zeros(len(score)))
    order = np.lexsort((score, badly))
    taken: list[int] = []
    for place in order.tolist():
        away = np.hypot(*(candidates.place[taken] - candidates.place[place]).T)
        if not taken or away.min() >= apart_m:
            taken.append(place)
        if len(taken) == count:
            break
    found = []
    for place in taken:
        to_lines, way_in, slope, near = (float(part[place]) for part in parts)
        broken = _broken(candidates, short, place, track_m)
        total = float(score[place])
        found.append(BaseSite(place, total, to_lines, way_in, slope, near, broken))
    return found


def _parts(candidates: Candidates, track_m: float) -> tuple[Floats, ...]:
    """Return the parts of the score: way to the lines, way in, slope, nearness [m]."""
    nearest = np.minimum(candidates.to_track_m, candidates.to_source_m)
    near = NEAR_M * max(track_m, 1.0) / np.maximum(nearest, max(track_m, 1.0))
    return (
        candidates.to_lines_m,
        np.nan_to_num(candidates.way_in_m, nan=0.0),
        SLOPE_M_PER_DEG * np.nan_to_num(candidates.slope_deg, nan=0.0),
        near,
    )


def _shortfalls(candidates: Candidates, track_m: float) -> dict[str, Floats]:
    """Return by how much each rule is broken, as a share of it."""
    too_near = np.maximum(0.0, track_m - candidates.to_track_m) / max(track_m, 1.0)
    inside = np.where(candidates.inside_clear_m > 0, 1 + candidates.inside_clear_m / 10, 0.0)
    steep = np.maximum(0.0, np.nan_to_num(candidates.slope_deg, nan=0.0) - GENTLE_DEG)
    return {"track": too_near, "clear": inside, "slope": steep / GENTLE_DEG}


def _broken(
    candidates: Candidates, short: dict[str, Floats], place: int, track_m: float
) -> tuple[str, ...]:
    """Say which rules a place breaks."""
    words = {
        "track": f"it lies {candidates.to_track_m[place]:.0f} m from a road or track, nearer than "
        f"{track_m:.0f} m",
        "clear": f"it lies {candidates.inside_clear_m[place]:.0f} m inside what is to be kept "
        "clear of an exclusion",
        "slope": f"the ground slopes by {candidates.slope_deg[place]:.0f} degrees, more than "
        f"{GENTLE_DEG:.0f}",
    }
    return tuple(text for rule, text in words.items() if short[rule][place] > 0)


def turn_spot(
    place: Floats,
    clearance_m: Floats,
    slope_deg: Floats,
    base: Floats,
    *,
    open_m: float,
    apart_m: float = 0.0,
) -> int | None:
    """Return which place is best for turn-around tests: open, gentle and near the base.

    Parameters
    ----------
    place : array, shape (n, 2)
        Places inside the area that may be walked [m].
    clearance_m : array, shape (n,)
        Distance to the edge of what may be walked [m].
    slope_deg : array, shape (n,)
        Slope [deg]; NaN where it isn't known.
    base : array, shape (2,)
        The base [m].
    open_m : float
        Open ground wanted around it [m].
    apart_m : float
        Least distance from the base, which the turning operator would disturb [m].

    Returns
    -------
    int or None
        The nearest to the base, though not too near, that is open and gentle; else the most open
        one; None where there is no place.

    Examples
    --------
    >>> turn_spot(np.array([[0.0, 0.0], [90.0, 0.0]]), np.array([5.0, 40.0]), np.full(2, np.nan),
    ...           np.zeros(2), open_m=20.0)
    1
    """
    if not len(place):
        return None
    gentle = ~(slope_deg > GENTLE_DEG)
    away = np.hypot(*(place - base).T)
    good = np.flatnonzero((clearance_m >= open_m) & gentle & (away >= apart_m))
    if not good.size:
        return int(np.argmax(np.where(gentle, clearance_m, clearance_m / 10)))
    return int(good[np.argmin(away[good])])
