"""The section of a pick and the depth along a lineament, as they are drawn."""

import numpy as np
import polars as pl
import pytest

from lodewalk.errors import InputError
from lodewalk.figures.depth_along import draw_depth_along
from lodewalk.figures.section import draw_section, panel_height
from lodewalk.figures.section_body import body_words
from lodewalk.records.interpreted import Bodies, Depths, Picks
from planted_rocks import DYKES, GROUND_M, LINES, SENSOR_M, planted_rocks, rise_at


@pytest.fixture(scope="module")
def rocks():
    return planted_rocks()


@pytest.fixture(scope="module")
def dipping():
    return planted_rocks(magnetisation="along the present field")


def section(records, pick="R1-L01"):
    return draw_section(
        records.picks,
        records.profiles,
        records.curves,
        records.bodies,
        pick=pick,
        dips=records.dips,
    )


def axes(figure, name):
    return next(item for item in figure.axes if item.get_gid() == name)


def marked(panel, name):
    return [item for item in (*panel.lines, *panel.patches) if item.get_gid() == name]


def texts(figure):
    inside = [text.get_text() for panel in figure.axes for text in panel.texts]
    return " ".join([*inside, *(text.get_text() for text in figure.texts)])


def test_the_body_stands_in_its_depth_and_width(rocks):
    """The top of R1: 14 m deep, 17 m wide, and 12.8 to 15.2 m at the ends of 5 % of its depth."""
    panel = axes(section(rocks), "section")
    top = marked(panel, "body")[0].get_xy()
    assert np.ptp(top[:2, 0]) == pytest.approx(17.0)
    assert top[:, 1].min() == pytest.approx(14.0)
    ends = sorted(line.get_ydata()[0] for line in marked(panel, "interval"))
    assert ends == pytest.approx([14 - 1.645 * 0.7, 14 + 1.645 * 0.7])


def test_ground_and_sensor_follow_the_terrain(rocks):
    panel = axes(section(rocks), "section")
    (ground,), (sensor,) = marked(panel, "ground"), marked(panel, "sensor")
    distance = np.asarray(ground.get_xdata())
    assert np.asarray(ground.get_ydata()) == pytest.approx(
        rise_at(0.0) - rise_at(distance), abs=1e-2
    )
    assert np.asarray(ground.get_ydata() - sensor.get_ydata()) == pytest.approx(SENSOR_M)


def test_a_body_beside_the_pick_is_drawn_beside_it(rocks):
    """4 m to the right of the strike: the profile of R1 runs towards 218 degrees."""
    turn = np.radians(DYKES[0].strike + 90)
    moved = rocks.bodies.frame.with_columns(
        easting_m=pl.col("easting_m") + 4 * np.sin(turn),
        northing_m=pl.col("northing_m") + 4 * np.cos(turn),
    )
    figure = draw_section(rocks.picks, rocks.profiles, rocks.curves, Bodies(moved), pick="R1-L01")
    corners = marked(axes(figure, "section"), "body")[0].get_xy()
    assert corners[:2, 0].mean() == pytest.approx(4.0)


@pytest.mark.parametrize(("pick", "lean"), [("R1-L01", 1), ("R2-L01", -1)])
def test_a_dip_is_drawn_under_a_magnetisation_only(rocks, dipping, pick, lean):
    """76 degrees lean to the right going down, 97 to the left; without one all is upright."""

    def shift(records):
        parts = marked(axes(section(records, pick), "section"), "body")
        points = [p.get_xy()[[0, 3]] if hasattr(p, "get_xy") else p.get_xydata() for p in parts]
        return points[-1][1][0] - points[0][0][0]

    assert np.sign(shift(dipping)) == lean
    assert shift(rocks) == pytest.approx(0.0)
    assert "No dip without a magnetisation" in texts(section(rocks, pick))
    said = texts(section(dipping, pick))
    assert "if magnetised: along the present field" in said
    assert "under remanence" in said


def test_the_lean_is_that_of_the_dip(dipping):
    """76 degrees: 1 m to the right in tan(76) = 4.011 m down."""
    parts = marked(axes(section(dipping), "section"), "body")
    foot, top = parts[-1].get_xy()[3], parts[0].get_xy()[0]
    assert (foot[1] - top[1]) / (foot[0] - top[0]) == pytest.approx(4.011, abs=0.01)


def test_a_width_that_is_not_resolved_is_outlined_and_said(rocks):
    figure = section(rocks, "R2-L02")
    (outline,) = marked(axes(figure, "section"), "widest")
    assert np.ptp(outline.get_xdata()) == pytest.approx(1.6 * 7.0)
    assert "Width not resolved, at most 11.2 m" in texts(figure)


def test_the_curves_are_those_of_the_records(rocks):
    field = axes(section(rocks), "field")
    own = rocks.curves.frame.filter(pl.col("pick") == "R1-L01")
    drawn = {line.get_label(): np.asarray(line.get_ydata()) for line in field.lines}
    assert drawn["curve of the dyke"] == pytest.approx(own["model_nT"].to_numpy())
    assert drawn["regional level and slope"] == pytest.approx(own["regional_nT"].to_numpy())
    assert {"90 % band of the curve", "readings ± 1.645 sd"} <= {
        text.get_text() for text in field.get_legend().get_texts()
    }


def test_residuals_are_in_sd(rocks):
    """Drawn from a normal distribution: their rms is 1."""
    (bars,) = [
        c for c in axes(section(rocks), "residuals").collections if hasattr(c, "get_segments")
    ]
    off = np.array([segment[1][1] for segment in bars.get_segments()])
    assert np.sqrt(np.mean(off**2)) == pytest.approx(1.0, abs=0.2)


def test_the_vertical_scale_is_true_or_said(rocks):
    figure = section(rocks)
    assert "vertical scale as the horizontal" in texts(figure)
    panel = axes(figure, "section")
    box = panel.get_position()
    size = figure.get_size_inches() * (box.width, box.height)
    (left, right), (foot, top) = panel.get_xlim(), panel.get_ylim()
    assert size[0] / (right - left) == pytest.approx(size[1] / (foot - top), rel=1e-6)
    shallow = rocks.bodies.frame.with_columns(pl.col("depth_m", "depth_low_m", "depth_high_m") / 5)
    figure = draw_section(rocks.picks, rocks.profiles, rocks.curves, Bodies(shallow), pick="R1-L01")
    panel = axes(figure, "section")
    box = panel.get_position()
    size = figure.get_size_inches() * (box.width, box.height)
    (left, right), (foot, top) = panel.get_xlim(), panel.get_ylim()
    times = size[1] / (foot - top) / (size[0] / (right - left))
    assert times > 1.2
    assert f"vertical exaggeration {times:g}" in texts(figure)


def test_a_section_too_deep_for_the_page_says_how_flat_it_is():
    assert panel_height(400.0, mm_per_m=1.0) == (80.0, 0.2)


def test_heights_stand_on_the_right(rocks):
    figure = section(rocks)
    figure.canvas.draw()
    panel = axes(figure, "section")
    (side,) = panel.child_axes
    low, high = sorted(side.get_ylim())
    foot, top = panel.get_ylim()
    assert (low, high) == pytest.approx((GROUND_M - foot, GROUND_M - top))


def test_nothing_to_draw_says_why(rocks):
    problem = "The anomaly is cut by the end of the line."
    picks = Picks(rocks.picks.frame.with_columns(problem=pl.lit(problem)))
    none = Bodies(rocks.bodies.frame.filter(pl.col("pick") != "R1-L01"))
    with pytest.raises(InputError, match="cut by the end"):
        draw_section(picks, rocks.profiles, rocks.curves, none, pick="R1-L01")
    with pytest.raises(InputError, match="No body was fitted"):
        draw_section(rocks.picks, rocks.profiles, rocks.curves, none, pick="R1-L01")


@pytest.mark.parametrize("kind", ["contact", "step", "cylinder", "sphere"])
def test_every_kind_is_drawn(rocks, kind):
    frame = rocks.bodies.frame.with_columns(kind=pl.lit(kind))
    figure = draw_section(rocks.picks, rocks.profiles, rocks.curves, Bodies(frame), pick="R1-L01")
    assert marked(axes(figure, "section"), "body")
    told = rocks.told_bodies.with_columns(kind=pl.lit(kind))
    words = " ".join(body_words(told.row(0, named=True)))
    assert "Width" not in words
    assert ("No dip without" in words) == (kind in ("contact", "step"))


def test_depth_along_shows_intervals_band_and_methods(rocks):
    figure = draw_depth_along(
        rocks.lineaments, rocks.picks, rocks.depths, rocks.bodies, lineament="R1"
    )
    panel = axes(figure, "depths")
    assert panel.get_ylim()[1] == 0
    labels = {text.get_text() for text in panel.get_legend().get_texts()}
    assert {"joint fit, 90 % band", "answer, 90 % interval", "half slope", "Euler"} <= labels
    assert "tilt depth" not in labels
    assert {text.get_text() for text in panel.texts} == set(LINES)
    euler = next(line for line in panel.lines if line.get_label() == "Euler")
    assert np.asarray(euler.get_ydata()) == pytest.approx(1.3 * 14)
    with pytest.raises(InputError, match="No pick of this lineament has a depth"):
        draw_depth_along(
            rocks.lineaments, rocks.picks, Depths.empty(), rocks.bodies, lineament="R1"
        )


def test_distance_along_is_that_between_the_lines(rocks):
    """Lines 25 m apart, crossed at 128 degrees: 25 / cos(52) = 40.6 m along the strike."""
    figure = draw_depth_along(
        rocks.lineaments, rocks.picks, rocks.depths, rocks.bodies, lineament="R1"
    )
    bars = axes(figure, "depths").containers[0]
    along = np.sort(np.asarray(bars[0].get_xdata()))
    assert np.diff(along) == pytest.approx(40.607, abs=0.01)


def test_a_level_top_lies_deeper_where_the_ground_is_higher(rocks):
    """The ground of the last line 5 m higher: the joint fit lies 5 m deeper there."""
    last = pl.col("pick") == "R1-L07"
    lift = pl.when(last).then(5.0).otherwise(0.0)
    depths = Depths(rocks.depths.frame.with_columns(pl.col("top_height_m") + lift))
    joint = pl.col("pick").is_null() & (pl.col("lineament") == "R1")
    said = pl.when(joint).then(pl.lit("Its top is taken as level.")).otherwise("not_resolved")
    bodies = Bodies(rocks.bodies.frame.with_columns(not_resolved=said))
    figure = draw_depth_along(rocks.lineaments, rocks.picks, depths, bodies, lineament="R1")
    (line,) = [item for item in axes(figure, "depths").lines if item.get_color() == "#0b4f8a"]
    assert sorted(line.get_ydata()) == pytest.approx([14.0] * 6 + [19.0])
    assert "(13.5 to 14.5) below mean ground, level at height 866.0 m" in texts(figure)


def test_a_curve_breaks_where_there_is_no_reading(rocks):
    """30 m without a reading, steps of 1.5 m."""
    gap = pl.col("distance_m").is_between(20, 50)
    curves = type(rocks.curves)(rocks.curves.frame.filter(~gap))
    profiles = type(rocks.profiles)(rocks.profiles.frame.filter(~gap))
    figure = draw_section(rocks.picks, profiles, curves, rocks.bodies, pick="R1-L01")
    field = axes(figure, "field")
    (curve,) = [line for line in field.lines if line.get_label() == "curve of the dyke"]
    assert np.isnan(np.asarray(curve.get_ydata())).sum() == 1
    whole = axes(section(rocks), "field")
    (curve,) = [line for line in whole.lines if line.get_label() == "curve of the dyke"]
    assert np.isfinite(np.asarray(curve.get_ydata())).all()
