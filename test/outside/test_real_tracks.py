"""The GPX reader on tracks that handheld receivers recorded, beside an independent parser."""

from collections.abc import Callable
from datetime import UTC
from itertools import pairwise
from pathlib import Path

import gpxpy
import numpy as np
import pytest

from lodewalk.adapters.projection import geodesic_lengths_m
from lodewalk.errors import InputError
from lodewalk.formats import gpx
from lodewalk.formats.content import Content
from lodewalk.formats.registry import recognise
from lodewalk.records.table import Table


def track_of(folder: Path, name: str) -> Content:
    return gpx.read(folder / name, role="track", column_map=None)


def length_km(table: Table) -> float:
    """Return the walked length [km] within segments."""
    steps = geodesic_lengths_m(table.floats("longitude_deg"), table.floats("latitude_deg"))
    return float(steps[np.diff(table.floats("segment")) == 0].sum() / 1000)


# Points and lengths as seen in the files with separate tools.
@pytest.mark.parametrize(
    ("name", "points", "length"),
    [("korita-zbevnica.gpx", 871, 14.9), ("ExampleTrack.gpx", 5120, 19.4)],
)
def test_points_and_length(
    handheld_tracks: Path, figures: Callable[[str], None], name: str, points: int, length: float
) -> None:
    table = track_of(handheld_tracks, name).table
    found = length_km(table)
    figures(f"GPX, {name}: {len(table)} points, {found:.2f} km")
    assert len(table) == points
    assert found == pytest.approx(length, abs=0.05)


def test_waypoints(handheld_tracks: Path) -> None:
    content = gpx.read(handheld_tracks / "korita-zbevnica.gpx", role="notes", column_map=None)
    assert content.table.frame["name"].to_list() == ["001", "002"]
    assert content.understood[0].startswith("GPX 1.0: 2 waypoints")


def test_track_without_times(handheld_tracks: Path) -> None:
    content = track_of(handheld_tracks, "ExampleTrack_NoTime.gpx")
    assert content.table.frame["recorded_time"].is_null().all()
    assert "no times" in content.understood[0]


def test_track_with_a_broken_year(handheld_tracks: Path) -> None:
    content = track_of(handheld_tracks, "Mojstrovka.gpx")
    assert content.table.frame["recorded_time"].is_null().all()
    assert content.understood[1].startswith("184 times can't be of a GPS receiver, first in line")


def test_every_file_agrees_with_an_independent_parser(
    handheld_tracks: Path, figures: Callable[[str], None]
) -> None:
    paths = sorted(handheld_tracks.rglob("*.gpx"))
    compared = sum(compare(path) for path in paths)
    figures(f"GPX, {len(paths)} files: {compared} track points equal to an independent parser's")
    assert compared > 7000


def compare(path: Path) -> int:
    """Compare the track points of one file with those that gpxpy gives; return how many."""
    with path.open(encoding="utf-8-sig") as stream:
        other = gpxpy.parse(stream)
    points = [point for track in other.tracks for part in track.segments for point in part.points]
    if not points:
        with pytest.raises(InputError, match="holds no track points"):
            gpx.read(path, role="track", column_map=None)
        return 0
    assert recognise(path, role="track").name == "gpx"
    frame = gpx.read(path, role="track", column_map=None).table.frame
    assert frame["latitude_deg"].to_list() == [point.latitude for point in points]
    assert frame["longitude_deg"].to_list() == [point.longitude for point in points]
    assert frame["height_m"].to_list() == [point.elevation for point in points]
    times = [point.time and point.time.astimezone(UTC).replace(tzinfo=None) for point in points]
    expected = [time if time and time.year > 1980 else None for time in times]
    if all(point.time is None or point.time.tzinfo for point in points):
        assert frame["recorded_time"].to_list() == expected
    return len(points)


def test_lines_of_the_points(handheld_tracks: Path) -> None:
    path = handheld_tracks / "korita-zbevnica.gpx"
    lines = path.read_text("utf-8").splitlines()
    frame = track_of(handheld_tracks, path.name).table.frame
    assert all(a < b for a, b in pairwise(frame["line_in_file"].to_list()))
    for row in frame.iter_rows(named=True):
        assert f'lat="{row["latitude_deg"]:.9f}"' in lines[row["line_in_file"] - 1]
