"""Tracks: whose they are, and which one serves a rover without positions of its own."""

from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from lodewalk.adapters.projection import to_projected
from lodewalk.errors import InputError
from lodewalk.methods.checks.fixes import find_wild_fixes
from lodewalk.records import Document, Table
from lodewalk.steps.rows import FileRows, at_distinct_times, in_time_order

Floats = NDArray[np.float64]
Track = dict[str, Floats]
NO_TRACK: Track = {
    f"track_{name}": np.zeros(0) for name in ("time_s", "easting_m", "northing_m", "height_m")
}


def no_fix(table: Table) -> NDArray[np.bool_]:
    """Tell which rows say themselves that they have no fix, or lie at 0 N 0 E."""
    lost = np.array([fix == "none" for fix in table.strings("fix")], dtype=bool)
    nowhere = (table.floats("latitude_deg") == 0) & (table.floats("longitude_deg") == 0)
    marked: NDArray[np.bool_] = lost | nowhere
    return marked


def tracks_of(
    recorded: Table, seconds: Floats, files: Document, *, crs: str, max_speed_m_s: float
) -> dict[str, Track]:
    """Return the track of each instrument in order of time, projected, without wild fixes."""
    easting, northing = to_projected(
        recorded.floats("longitude_deg"), recorded.floats("latitude_deg"), crs=crs
    )
    height, lost = recorded.floats("height_m"), no_fix(recorded)
    tracks = {}
    for name, rows in in_time_order(files, seconds):
        good = at_distinct_times(rows[~lost[rows]], seconds)
        wild = find_wild_fixes(
            seconds[good], easting[good], northing[good], max_speed_m_s=max_speed_m_s
        )
        good = good[~wild]
        tracks[name] = {
            "track_time_s": seconds[good],
            "track_easting_m": easting[good],
            "track_northing_m": northing[good],
            "track_height_m": height[good],
        }
    return tracks


def track_for(
    span: FileRows, seconds: Floats, tracks: Mapping[str, Track], rovers: Iterable[str]
) -> Track:
    """Return the track that a rover was walked with: its own, or the only one that is free.

    Raises
    ------
    InputError
        When several tracks that belong to no rover cover the time of the file.
    """
    if span.instrument in tracks:
        return tracks[span.instrument]
    times = seconds[np.isfinite(seconds)]
    if not times.size:
        return NO_TRACK
    free = {
        name: track
        for name, track in tracks.items()
        if name not in set(rovers) and _meets(track["track_time_s"], times)
    }
    if len(free) > 1:
        raise InputError(
            f"Several tracks ({', '.join(sorted(free))}) could tell where {span.instrument} was.",
            file=span.name,
            remedy=f"Add the right one again with --instrument {span.instrument}.",
        )
    return next(iter(free.values()), NO_TRACK)


def _meets(track: Floats, times: Floats) -> bool:
    """Tell whether a track and a file have time in common."""
    return bool(track.size and track[0] <= times.max() and track[-1] >= times.min())
