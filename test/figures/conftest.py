"""An invented survey as records: 25 lines, three days, a few dykes, a disturbed base day, gaps.

The field of each dyke is a Lorentzian pair, made up for its looks; no test relies on its physics.
"""

import itertools
from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest
from matplotlib.axis import Axis
from matplotlib.text import Text

from day_sample import drawn, whole_page
from lodewalk.records.document import Document
from lodewalk.records.grid import Grid
from lodewalk.records.products import BaseRecord, Findings, Lines, Readings
from lodewalk.records.table import float_column, utc_column

DAY = 86_400.0
START = 1_773_014_400.0  # 2026-03-09T00:00:00Z
WEST, SOUTH = 600_000.0, 7_240_000.0
DATUM = 22_904.0
SPACING, LENGTH, COUNT = 25.0, 400.0, 25


@dataclass(frozen=True)
class Scenario:
    """The records of one invented survey."""

    readings: Readings
    lines: Lines
    findings: Findings
    base: BaseRecord
    grid: Grid
    datum: Document
    site: Document


def anomaly_at(east, north):
    """Return an invented anomaly [nT] of three dykes and a small iron object."""
    total = 0.02 * (east - 300)
    for size, at, lean, depth in ((210, 140, 0.25, 14), (-170, 330, -0.1, 22), (120, 480, 0.5, 9)):
        off = (east - at - lean * (north - 200)) / np.hypot(1, lean)
        total = total + size * depth * (depth - 0.7 * off) / (off**2 + depth**2)
    distance = (east - 400) ** 2 + (north - 90) ** 2 + 36
    return total + 380 * 6**3 * (north - 90 + 8) / distance**2


def diurnal_at(time):
    """Return the invented change of the field in time [nT]; the second day is disturbed."""
    hour = (time - START) / 3600
    quiet = -14 * np.cos(2 * np.pi * (hour - 3) / 24)
    storm = 26 * np.exp(-(((hour - 41.2) / 0.5) ** 2)) * np.sin(2 * np.pi * (hour - 41.2) / 0.35)
    pulse = 8 * np.exp(-(((hour - 41.2) / 0.4) ** 2)) * np.sin(2 * np.pi * hour / 0.045)
    return quiet + storm + pulse


def _line_rows(index, rng, west, south):
    """Return the columns of one line as arrays."""
    along = np.arange(0.0, LENGTH + 0.1, 1.1)
    if index % 2:
        along = along[::-1]
    east = index * SPACING + rng.normal(0, 0.4, along.size).cumsum() * 0.05
    day, place = divmod(index, 9)
    start = START + day * DAY + 14 * 3600 + place * 800
    time = start + np.arange(along.size)
    return {
        "east": east + west,
        "north": along + south,
        "time": time,
        "anomaly": anomaly_at(east, along) + rng.normal(0, 0.6, along.size),
        "line": np.full(along.size, f"L{1000 + 25 * index}"),
    }


def make_readings(count=COUNT, *, west=WEST, south=SOUTH, seed=7):
    """Return readings and lines of `count` lines."""
    rng = np.random.default_rng(seed)
    parts = [_line_rows(index, rng, west, south) for index in range(count)]
    east, north, time, anomaly, line = (
        np.concatenate([part[name] for part in parts])
        for name in ("east", "north", "time", "anomaly", "line")
    )
    size = east.size
    diurnal = diurnal_at(time)
    reason = np.full(size, None, dtype=object)
    reason[rng.choice(size, size // 200, replace=False)] = "spike"
    reason[(line == "L1075") & (north - south > 150) & (north - south < 180)] = "dropout"
    kept = np.array([text is None for text in reason])
    raw = DATUM + diurnal + anomaly + np.where(reason == "spike", 300.0, 0.0)
    uncorrected = (line == "L1250") & (north - south > 340)
    diurnal = np.where(uncorrected, np.nan, diurnal)
    reason[uncorrected & kept] = "outside the base record"
    anomaly = np.where(kept & ~uncorrected, anomaly, np.nan)
    sensor = np.full(size, 0.6)
    spread = np.where(time > START + DAY, 1.4, 0.5)
    nothing = np.zeros(size)
    frame = pl.DataFrame(
        {
            "reading_id": [f"{index:06d}:1" for index in range(size)],
            "file": ["rover.csv"] * size,
            "line_in_file": np.arange(size) + 2,
            "time_utc": utc_column(time),
            "instrument": ["rover 1"] * size,
            "line": line.tolist(),
            "easting_m": east,
            "northing_m": north,
            "height_above_ground_m": np.full(size, 2.0),
            "fix": ["3d"] * size,
            "quality": np.full(size, 99.0),
            "raw_nT": float_column(np.where(reason == "dropout", np.nan, raw)),
            "diurnal_nT": float_column(diurnal),
            "reference_nT": np.full(size, DATUM),
            **{f"{name}_nT": nothing for name in ("instrument", "heading", "level", "micro_level")},
            "anomaly_nT": float_column(anomaly),
            "sd_nT": float_column(np.where(np.isnan(anomaly), np.nan, np.hypot(sensor, spread))),
            "sd_sensor_nT": sensor,
            "sd_diurnal_nT": spread,
            **{f"sd_{name}_nT": nothing for name in ("clock", "position", "heading", "level")},
            "kept": kept,
            "reason": pl.Series(reason.tolist(), dtype=pl.String),
        }
    )
    return Readings(frame), _make_lines(frame)


def _make_lines(frame):
    """Return the table of lines that belongs to readings."""
    rows = frame.group_by("line", maintain_order=True).agg(
        pl.col("instrument").first(),
        pl.col("time_utc").min().dt.strftime("%Y-%m-%d").alias("day"),
        pl.col("time_utc").min().alias("start_utc"),
        pl.col("time_utc").max().alias("end_utc"),
        pl.len().cast(pl.Int64).alias("readings"),
        pl.col("kept").sum().cast(pl.Int64),
        pl.lit(LENGTH).alias("length_m"),
        pl.lit(0.0).alias("azimuth_deg"),
        pl.lit(0.31).alias("noise_nT"),
        pl.lit(False).alias("tie"),
    )
    return Lines(rows)


def make_base(step=2.0):
    """Return the base record of three days with a gap and a run of left-out readings."""
    pieces = [START + d * DAY + np.arange(13.5 * 3600, 17.5 * 3600, step) for d in range(3)]
    time = np.concatenate(pieces)
    hour = (time - START) % DAY / 3600
    day = (time - START) // DAY
    present = ~((day == 1) & (hour > 14.6) & (hour < 14.75))
    time, hour, day = time[present], hour[present], day[present]
    rng = np.random.default_rng(3)
    raw = DATUM + diurnal_at(time) + rng.normal(0, 0.05, time.size)
    bad = (day == 1) & (hour > 15.5) & (hour < 15.53)
    raw[bad] += 60
    chord = (diurnal_at(time - 30) + diurnal_at(time + 30)) / 2
    departure = diurnal_at(time) - chord
    return BaseRecord(
        pl.DataFrame(
            {
                "time_utc": utc_column(time),
                "instrument": ["base"] * time.size,
                "raw_nT": raw,
                "kept": ~bad,
                "reason": pl.Series(["spike" if b else None for b in bad], dtype=pl.String),
                "departure_nT": departure,
            }
        )
    )


def make_findings():
    """Return what an invented check found."""
    start = START + DAY
    rows = [
        (
            "chord departure",
            "base",
            16.75,
            17.5,
            "doubt",
            "The base departs from its chord by up to 5.1 nT over 60 s; the limit is 3 nT.",
        ),
        ("base gap", "base", 14.6, 14.75, "loss", "The base has no reading for 9 minutes."),
        ("noise", "rover 1", 15.0, 15.1, "information", "The noise of L1250 is 0.6 nT."),
    ]
    return Findings(
        pl.DataFrame(
            {
                "kind": [row[0] for row in rows],
                "instrument": [row[1] for row in rows],
                "start_utc": utc_column(np.array([start + 3600 * row[2] for row in rows])),
                "end_utc": utc_column(np.array([start + 3600 * row[3] for row in rows])),
                "severity": [row[4] for row in rows],
                "text": [row[5] for row in rows],
                "check": ["base quality", "base quality", "noise envelope"],
                "file": ["base.csv", "base.csv", "rover.csv"],
                "line_in_file": [120, 44, 7],
            }
        )
    )


def make_grid(*, spacing=6.0, west=WEST, south=SOUTH, count=COUNT):
    """Return a grid of the invented anomaly with a masked corner and a hole."""
    east = np.arange(0.0, max((count - 1) * SPACING, spacing) + 1e-6, spacing)
    north = np.arange(0.0, LENGTH + 1e-6, spacing)
    values = anomaly_at(east[None, :], north[:, None])
    values = np.where((east[None, :] + north[:, None]) > 920, np.nan, values)
    hole = np.hypot(east[None, :] - 250, north[:, None] - 310) < 28
    values = np.where(hole, np.nan, values)
    return Grid(values, west, south, spacing, "EPSG:31982", "nT", "total-field anomaly")


@pytest.fixture(scope="session")
def scenario():
    """Return the whole invented survey."""
    readings, lines = make_readings()
    datum = {"datum_nT": DATUM, "epoch_utc": "2026-03-09T15:00:00Z", "method": "quietest hours"}
    site = {
        "latitude_deg": -24.95,
        "longitude_deg": -50.01,
        "height_m": 870.0,
        "date": "2026-03-09",
        "total_field_nT": 22912.3,
        "inclination_deg": -37.62,
        "declination_deg": -19.87,
        "north_nT": 17064.1,
        "east_nT": -6166.8,
        "down_nT": -13984.0,
        "horizontal_nT": 18144.2,
        "change_nT_per_year": -31.5,
        "precession_Hz": 975.523,
        "tuning_uT": 23.0,
        "model": "IGRF-14",
    }
    return Scenario(
        readings, lines, make_findings(), make_base(), make_grid(), Document(datum), Document(site)
    )


@pytest.fixture(scope="session")
def make():
    """Return the makers of invented records."""
    return SimpleNamespace(
        readings=make_readings,
        base=make_base,
        findings=make_findings,
        grid=make_grid,
        datum=DATUM,
        start=START,
        west=WEST,
        south=SOUTH,
    )


def shown_texts(figure):
    """Return every text that a reader sees, with its box in pixels."""
    renderer = figure.canvas.get_renderer()
    figure.draw(renderer)
    hidden = set()
    for axis in figure.findobj(Axis):
        low, high = sorted(axis.get_view_interval())
        for tick in axis.get_major_ticks():
            if not low - 1e-9 <= tick.get_loc() <= high + 1e-9:
                hidden |= {id(tick.label1), id(tick.label2)}
    found = {}
    for text in figure.findobj(Text):
        if text.get_visible() and text.get_text().strip() and id(text) not in hidden:
            found[id(text)] = (text, text.get_window_extent(renderer))
    return list(found.values())


def assert_readable(figure):
    """Assert that no text is clipped by the page, overlaps another or is below 7 points."""
    page = figure.bbox
    shown = shown_texts(figure)
    assert shown
    for text, box in shown:
        assert text.get_fontsize() >= 7, text
        inside = box.x0 >= page.x0 and box.y0 >= page.y0 and box.x1 <= page.x1 and box.y1 <= page.y1
        assert inside, f"clipped: {text.get_text()!r} {box}"
    for (one, a), (two, b) in itertools.combinations(shown, 2):
        across = min(a.x1, b.x1) - max(a.x0, b.x0)
        along = min(a.y1, b.y1) - max(a.y0, b.y0)
        assert across < 1 or along < 1, f"overlap: {one.get_text()!r} and {two.get_text()!r}"


def axes_called(figure, gid):
    """Return the axes with a name."""
    return next(axes for axes in figure.axes if axes.get_gid() == gid)


@pytest.fixture(scope="session")
def look():
    """Return ways to look at a figure."""
    return SimpleNamespace(texts=shown_texts, readable=assert_readable, axes=axes_called)


@pytest.fixture(scope="module")
def whole(scenario, make):
    """Return all arguments of the page of the disturbed day."""
    return whole_page(scenario, make)


@pytest.fixture(scope="module")
def page(whole):
    """Return the page of the disturbed day."""
    return drawn(whole)
