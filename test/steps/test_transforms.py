"""The transforms through the steps: products, units, refusals, settings, surveys without a grid."""

from types import SimpleNamespace

import numpy as np
import pytest

from lodewalk.records import Document, Grid, GridSet
from lodewalk.steps import transforms
from lodewalk.steps.context import Context

LINEAR = {
    "upward_continued": "nT",
    "vertical_derivative": "nT/m",
    "reduced_to_pole": "nT",
    "reduced_to_equator": "nT",
    "pseudo_gravity": "nT m",
}
OTHERS = {
    "horizontal_gradient": "nT/m",
    "total_gradient": "nT/m",
    "tilt_angle": "deg",
    "tilt_horizontal_derivative": "deg/m",
    "regional": "nT",
    "residual": "nT",
}
OWN = {
    "up_m": None,
    "separation": "matched filter",
    "magnetisation_inclination_deg": None,
    "magnetisation_declination_deg": None,
}


def heights(relief):
    """Return a table whose middle nine tenths rise by the relief [m]."""
    values = np.linspace(400.0, 400.0 + relief / 0.9, 2001)
    return SimpleNamespace(floats=lambda name: {"height_m": values}[name])


@pytest.fixture
def made(monkeypatch):
    """Return grids and notes of a survey at a place with this inclination."""

    def run(values, *, relief=3.0, shared=0.1, inclination=-38.0, depth=15.0, **own):
        dip, turn = np.radians([inclination, -20.0])
        level = np.cos(dip)
        field = 23000.0 * np.array([level * np.cos(turn), level * np.sin(turn), np.sin(dip)])
        monkeypatch.setattr(transforms, "ambient_on_grid", lambda inputs, crs: field)
        monkeypatch.setattr(transforms, "grid_turn", lambda inputs, crs: -0.5)
        grids = ()
        if values is not None:
            grid = Grid(values, 6e5, 7.2e6, 5.0, "EPSG:32722", "nT", transforms.NAME)
            sd = np.where(np.isnan(values), np.nan, 0.3)
            error = Grid(
                sd, 6e5, 7.2e6, 5.0, "EPSG:32722", "nT", f"{transforms.NAME}_standard_error"
            )
            grids = (grid, error)
        inputs = {
            "grids": GridSet(grids),
            "grid_notes": Document({"problem": "No reading.", "line_spacing_m": 20.0}),
            "error_notes": Document(
                {"depth_m": depth, "shared_nT": shared, "line_azimuth_deg": 10.0}
            ),
            "rover_heights": heights(relief),
        }
        settings = {"survey.crs": "EPSG:32722", "transforms": OWN | own}
        found = transforms.run(inputs, settings, Context(key="k"))
        notes = found["transform_notes"].values
        return SimpleNamespace(grids=found["transform_grids"], notes=notes)

    return run


def bump(count=48, peak=80.0):
    """Return a hill and a hollow with a gap [nT]."""
    north, east = (np.indices((count, count + 6)) - count / 2) * 5.0
    values = peak * np.exp(-(east**2 + north**2) / 900) - peak / 2 * np.exp(
        -((east - 10) ** 2 + (north - 50) ** 2) / 900
    )
    values[3:8, 4:9] = np.nan
    return values


def test_every_transform_stands_on_the_mesh_of_the_grid_in_its_unit(made):
    found = made(bump())
    assert found.notes["problem"] is None
    for name, unit in (LINEAR | OTHERS).items():
        grid = found.grids.named(name)
        assert grid.unit == unit, name
        assert np.array_equal(np.isnan(grid.values), np.isnan(bump())), name
    for name, unit in LINEAR.items():
        error = found.grids.named(f"{name}_standard_error")
        assert error.unit == unit
        assert np.nanmin(error.values) > 0
    parts = found.grids.named("regional").values + found.grids.named("residual").values
    assert np.nanmax(np.abs(parts - bump())) < 1e-9
    assert found.notes["up_m"] == 40.0
    assert found.notes["warnings"] == []


def test_at_the_equator_the_pole_is_refused_with_what_serves_instead(made):
    found = made(bump(), inclination=0.0)
    assert set(found.notes["refused"]) == {"reduced_to_pole", "pseudo_gravity"}
    assert "reduction to the equator" in found.notes["refused"]["reduced_to_pole"]
    for name in ("reduced_to_pole", "reduced_to_pole_standard_error", "pseudo_gravity"):
        assert found.grids.named(name) is None
    assert found.grids.named("reduced_to_equator") is not None
    assert found.grids.named("total_gradient") is not None


def test_a_direction_of_magnetisation_is_taken_from_true_north(made):
    notes = made(
        bump(), magnetisation_inclination_deg=20.0, magnetisation_declination_deg=70.0
    ).notes
    assert notes["magnetisation_inclination_deg"] == 20.0
    assert notes["magnetisation_grid_declination_deg"] == pytest.approx(70.5)
    assert notes["grid_declination_deg"] == pytest.approx(-20.0)


@pytest.mark.parametrize("way", ["upward continuation", "trend"])
def test_regional_and_residual_are_parted_as_set(made, way):
    found = made(bump(), separation=way, up_m=25.0)
    assert found.notes["separation"]["way"] == way
    if way == "upward continuation":
        up = found.grids.named("upward_continued").values
        assert np.array_equal(found.grids.named("regional").values, up, equal_nan=True)


def test_a_strong_anomaly_is_warned_of(made):
    (told,) = made(bump(peak=2500.0)).notes["warnings"]
    assert "5 % of the field" in told


@pytest.mark.parametrize(("relief", "told"), [(9.0, 0), (14.0, 1)])
def test_relief_over_half_a_line_spacing_is_told(made, relief, told):
    notes = made(bump(24), relief=relief).notes
    assert notes["relief_m"] == pytest.approx(relief)
    assert len(notes["warnings"]) == told
    assert all("level" in one and "14 m" in one for one in notes["warnings"])


def test_what_lines_share_makes_the_continuation_less_sure(made):
    one, other = (made(bump(24), shared=sd).grids for sd in (0.0, 0.3))
    name = "upward_continued_standard_error"
    assert np.nanmean(other.named(name).values) > np.nanmean(one.named(name).values)


@pytest.mark.parametrize(
    ("values", "problem"),
    [
        (None, "No reading"),
        (np.full((30, 30), np.nan), "32 nodes"),
        (np.full((30, 30), 5.0), "flat"),
        (np.eye(5), "8 nodes each way"),
    ],
    ids=["no grid", "no value", "flat", "small"],
)
def test_a_grid_that_tells_nothing_is_a_problem_that_is_told(made, values, problem):
    found = made(values)
    assert found.grids.grids == ()
    assert problem in found.notes["problem"]


def test_the_same_grid_gives_the_same_digest(made):
    assert made(bump()).grids.digest() == made(bump()).grids.digest()
