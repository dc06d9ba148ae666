"""The base's site with alternatives, check station and turn-around spot of a plan."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.adapters.surroundings import depths_m, distances_m, mesh_places
from lodewalk.methods.planning.base_site import BaseSite, Candidates, base_sites, turn_spot
from lodewalk.methods.planning.layout import ring_around
from lodewalk.steps.plan_area import PlanArea
from lodewalk.steps.plan_ground import Ground

Floats = NDArray[np.float64]
#: The base may stand this far outside the area, or twice the distance from a track [m].
AROUND_M = 250.0
#: Ends of lines to which ways are averaged: no more than these are taken.
MOST_ENDS = 400
#: Least distance of alternatives from each other, and share of the area's size [m].
APART_M, APART_SHARE = 100.0, 0.15
#: The check station stands this far from the base [m] (common practice).
CHECK_M = 30.0
#: Open ground around the turn-around spot, and its distance from the base [m] (common practice).
OPEN_M, TURNS_APART_M = 20.0, 50.0


@dataclass(frozen=True)
class Stand:
    """Where the crew stands.

    Parameters
    ----------
    sites : list of BaseSite
        The base's site and alternatives.
    places : array, shape (sites, 2)
        Where they are [m].
    slopes_deg : array, shape (sites,)
        Slope there; NaN where it isn't known [deg].
    check : array, shape (2,)
        The check station [m].
    turns : array, shape (2,), or None
        The turn-around spot [m].
    """

    sites: list[BaseSite]
    places: Floats
    slopes_deg: Floats
    check: Floats
    turns: Floats | None


def stand_of(area: PlanArea, ends: Floats, ground: Ground, plan: Mapping[str, Any]) -> Stand:
    """Return base, check station and turn-around spot of a plan.

    Parameters
    ----------
    area : PlanArea
        What is surveyed and what is kept clear of.
    ends : array, shape (n, 2)
        Ends of all lines [m].
    ground : Ground
        The ground.
    plan : mapping
        Settings of section ``plan``.
    """
    around = max(AROUND_M, 2 * plan["base_from_track_m"])
    places = mesh_places(area.outline, around_m=around)
    candidates = _candidates(area, places, ends, ground)
    west, south, east, north = area.bounds
    apart = max(APART_M, APART_SHARE * float(np.hypot(east - west, north - south)))
    sites = base_sites(candidates, track_m=plan["base_from_track_m"], apart_m=apart)
    numbers = [site.number for site in sites]
    base = places[numbers[0]]
    return Stand(
        sites,
        places[numbers],
        candidates.slope_deg[numbers],
        _check_station(area, base, ends),
        _turns(area, base, ground),
    )


def _candidates(area: PlanArea, places: Floats, ends: Floats, ground: Ground) -> Candidates:
    """Return what is around each place where the base could stand."""
    some = ends[:: -(-len(ends) // MOST_ENDS)]
    to_track = distances_m(places, area.tracks)
    to_lines = np.hypot(
        places[:, np.newaxis, 0] - some[np.newaxis, :, 0],
        places[:, np.newaxis, 1] - some[np.newaxis, :, 1],
    ).mean(axis=1)
    return Candidates(
        places,
        to_track,
        depths_m(places, area.clear_but_tracks),
        distances_m(places, area.sources),
        ground.slopes(places),
        to_lines,
        np.where(np.isfinite(to_track), to_track, np.nan),
    )


def _check_station(area: PlanArea, base: Floats, ends: Floats) -> Floats:
    """Return a place near the base, towards the lines, out of what is kept clear of."""
    ring = ring_around(base, radius_m=CHECK_M)
    inside = depths_m(ring, area.kept_clear)
    away = np.hypot(*(ring - ends.mean(axis=0)).T)
    best: Floats = ring[int(np.lexsort((away, inside))[0])]
    return best


def _turns(area: PlanArea, base: Floats, ground: Ground) -> Floats | None:
    """Return the turn-around spot, None where there is no room for one."""
    places = mesh_places(area.walkable)
    spot = turn_spot(
        places,
        depths_m(places, area.walkable),
        ground.slopes(places),
        base,
        open_m=OPEN_M,
        apart_m=TURNS_APART_M,
    )
    return None if spot is None else places[spot]


def not_checked(area: PlanArea, plan: Mapping[str, Any]) -> list[str]:
    """Say which rules for the base couldn't be checked."""
    if not area.tracks.is_empty or not plan["base_from_track_m"]:
        return []
    return [
        f"no road or vehicle track is given: the {plan['base_from_track_m']:g} m were not checked"
    ]


def base_row(stand: Stand, number: int) -> dict[str, Any]:
    """Return what a plan says of one site of the base."""
    site, place, slope = stand.sites[number], stand.places[number], stand.slopes_deg[number]
    return {
        "easting_m": round(float(place[0]), 1),
        "northing_m": round(float(place[1]), 1),
        "slope_deg": None if np.isnan(slope) else round(float(slope), 1),
        "score_m": round(site.score_m, 1),
        "to_lines_m": round(site.to_lines_m, 1),
        "way_in_m": round(site.way_in_m, 1),
        "slope_counts_m": round(site.slope_m, 1),
        "nearness_counts_m": round(site.near_m, 1),
        "broken": list(site.broken),
    }
