import itertools
import time

import numpy as np
import polars as pl
import pytest
from matplotlib.collections import LineCollection
from matplotlib.colors import to_hex, to_rgb

from lodewalk.errors import InputError
from lodewalk.figures.error_parts import PARTS, draw_error_parts, runs_of, variances
from lodewalk.figures.save import png_bytes
from lodewalk.records.products import Readings

WORDS = {
    "title": "The largest part of the error, an invented block",
    "crs_title": "SIRGAS 2000 / UTM zone 22S (EPSG:31982)",
    "convergence_deg": -0.42,
    "declination_deg": -19.87,
}
NAMES = ("sensor", "diurnal", "clock", "position", "heading", "level")
BUDGET = {
    "parts": [
        {"part": name, "median_nT": 0.1 * (place + 1), "share_of_variance": share}
        for place, (name, share) in enumerate(
            zip(NAMES, (0.1, 0.25, 0.05, 0.4, 0.15, 0.05), strict=True)
        )
    ]
}
#: Simulated dichromats: Machado, Oliveira and Fernandes (2009), doi:10.1109/TVCG.2009.113, table
#: for severity 1.0, on linear RGB.
SEEN = {
    "usual": np.eye(3),
    "protanope": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deuteranope": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritanope": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}


def with_parts(readings, **parts):
    """Return readings with these standard deviations, the others 0."""
    zero = dict.fromkeys(NAMES, 0.0)
    columns = {f"sd_{name}_nT": pl.lit(value) for name, value in (zero | parts).items()}
    return Readings(readings.frame.with_columns(**columns))


def drawn(figure, look):
    """Return colour and points of each stretch."""
    panel = look.axes(figure, "map")
    (lines,) = (c for c in panel.collections if isinstance(c, LineCollection))
    return list(zip(map(to_hex, lines.get_colors()), lines.get_segments(), strict=True))


def lab(colours, matrix):
    """Return CIE 1976 L*, a*, b* under D65 of colours as somebody sees them."""
    rgb = np.array([to_rgb(colour) for colour in colours])
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    linear = np.clip(linear @ np.array(matrix).T, 0, 1)
    to_xyz = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    xyz = linear @ np.array(to_xyz).T / [0.95047, 1.0, 1.08883]
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.column_stack(
        (116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2]))
    )


@pytest.mark.parametrize("reader", SEEN)
def test_the_colours_are_apart_for_every_reader(reader):
    """A difference of 2.3 is just noticed; seven times that is plain even on thin lines."""
    colours = [colour for _, colour in PARTS.values()] + ["#ffffff"]
    seen = lab(colours, SEEN[reader])
    for one, two in itertools.combinations(range(len(colours)), 2):
        assert np.linalg.norm(seen[one] - seen[two]) > 16, (colours[one], colours[two])


def test_each_stretch_has_the_colour_of_its_largest_part(make, look):
    """Along one line from south to north, position rules south of 200 m, sensor north of it."""
    readings, _ = make.readings(1)
    north = readings.floats("northing_m") - make.south
    readings = with_parts(readings, sensor=0.5, clock=0.3)
    readings = Readings(
        readings.frame.with_columns(
            sd_position_nT=pl.Series(np.where(north < 200, 2.0, 0.1)),
            kept=pl.lit(True), anomaly_nT=pl.lit(1.0), sd_nT=pl.lit(1.0),
        )
    )  # fmt: skip
    stretches = drawn(draw_error_parts(readings, budget=BUDGET, **WORDS), look)
    assert [colour for colour, _ in stretches] == [
        PARTS[name][1].lower() for name in ("position", "sensor")
    ]
    (_, south), (_, rest) = stretches
    assert south[-1, 1] - make.south == pytest.approx(200, abs=5)
    assert np.array_equal(south[-1], rest[0])


def test_pieces_add_variances_not_sd():
    """3 nT once against 1.7 nT twice: 9 against 5.78, so the first part rules; 3 against 3.4
    would say the second."""
    place = np.column_stack((np.arange(3.0), np.zeros(3)))
    ((part, points),) = runs_of(place, np.array([[9.0, 0], [0, 2.89], [0, 2.89]]), 10.0)
    assert part == 0
    assert np.array_equal(points, place)


def test_readings_without_an_error_are_left_out(scenario, make, look):
    readings = with_parts(scenario.readings, sensor=0.5)
    figure = draw_error_parts(readings, budget=BUDGET, **WORDS)
    left_out = (readings.frame["line"] == "L1250") & readings.frame["anomaly_nT"].is_null()
    places = readings.frame.filter(left_out).select("easting_m", "northing_m").to_numpy()
    assert len(places) > 40
    points = np.concatenate([points for _, points in drawn(figure, look)])
    assert not {tuple(p) for p in places} & {tuple(p) for p in points}
    assert "Left out: readings without an error." in " ".join(
        text.get_text() for text, _ in look.texts(figure)
    )
    ends = [points[-1] for _, points in drawn(figure, look)]
    starts = [points[0] for _, points in drawn(figure, look)]
    longest = max(np.hypot(*np.diff(p, axis=0).T).max() for _, p in drawn(figure, look))
    assert longest < 12, "a stretch spans a gap"
    assert len(ends) == len(starts) > 25


def test_variances_are_squares_and_missing_where_there_is_no_error(scenario):
    readings = with_parts(scenario.readings, sensor=0.5, heading=2.0)
    found = variances(readings)
    used = readings.booleans("kept") & np.isfinite(readings.floats("anomaly_nT"))
    assert np.array_equal(np.isfinite(found[:, 0]), used)
    assert found[used][0].tolist() == [0.25, 0, 0, 0, 4.0, 0]


@pytest.mark.parametrize("declination", [-19.87, None])
@pytest.mark.parametrize("gridded", [True, False])
def test_every_text_is_whole_and_apart(scenario, look, declination, gridded):
    figure = draw_error_parts(
        scenario.readings, budget=BUDGET, grid=scenario.grid if gridded else None,
        **WORDS | {"declination_deg": declination},
    )  # fmt: skip
    look.readable(figure)


@pytest.mark.parametrize("across", ["one line to the north", "one line to the east", "a dot"])
def test_a_tall_a_wide_and_a_tiny_survey_are_drawn_at_one_scale(make, look, across):
    readings, _ = make.readings(1)
    frame = with_parts(readings, sensor=0.5).frame
    if across == "one line to the east":
        frame = frame.with_columns(easting_m=pl.col("northing_m"), northing_m=pl.col("easting_m"))
    if across == "a dot":
        frame = frame[:2].with_columns(easting_m=pl.lit(5.0), northing_m=pl.lit(7.0))
    figure = draw_error_parts(Readings(frame), budget=BUDGET, **WORDS)
    look.readable(figure)
    panel = look.axes(figure, "map")
    box = panel.get_window_extent()
    assert box.width / np.ptp(panel.get_xlim()) == pytest.approx(
        box.height / np.ptp(panel.get_ylim()), rel=1e-6
    )


def test_the_key_names_each_part_with_share_and_median(scenario, look):
    figure = draw_error_parts(scenario.readings, budget=BUDGET, **WORDS)
    told = [text.get_text() for text, _ in look.texts(figure)]
    for word in ("Sensor", "Diurnal", "Clock", "Position", "Heading", "Levelling"):
        assert word in told
    for number in ("10.0", "25.0", "40.0", "15.0", "0.40", "0.60"):
        assert number in told


def test_a_budget_without_figures_has_dashes(scenario, look):
    empty = {"parts": [{"part": "sensor", "median_nT": None, "share_of_variance": None}]}
    figure = draw_error_parts(scenario.readings, budget=empty, **WORDS)
    assert sum(text.get_text() == "–" for text, _ in look.texts(figure)) == 12


@pytest.mark.parametrize("lacking", ["no reading", "no error", "one reading a line", "all zero"])
def test_without_errors_it_says_why_not(make, lacking):
    readings, _ = make.readings(3)
    frame = with_parts(readings, sensor=0.5).frame
    frame = {
        "no reading": frame[:0],
        "no error": frame.with_columns(sd_nT=pl.lit(None, dtype=pl.Float64)),
        "one reading a line": frame[::364],
        "all zero": with_parts(readings).frame,
    }[lacking]
    with pytest.raises(InputError, match="No line has two readings with an error"):
        draw_error_parts(Readings(frame), budget=BUDGET, **WORDS)


def test_many_readings_are_quick_to_draw_and_small(make):
    """A hundred thousand readings: seconds on a field laptop, under a megabyte."""
    readings, _ = make.readings(280)
    rng = np.random.default_rng(5)
    frame = with_parts(readings, sensor=0.5).frame
    frame = frame.with_columns(sd_position_nT=pl.Series(rng.gamma(1.0, 0.5, frame.height)))
    begun = time.perf_counter()
    size = len(png_bytes(draw_error_parts(Readings(frame), budget=BUDGET, **WORDS), dpi=160))
    assert frame.height > 100_000
    assert time.perf_counter() - begun < 8
    assert size < 1_000_000
