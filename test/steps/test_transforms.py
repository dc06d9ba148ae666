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
    "surface": "auto",
    "magnetisation_inclination_deg": None,
    "magnetisation_declination_deg": None,
}


def sensor(shape, relief):
    """Return places on every node and heights whose nine tenths rise by about the relief [m].

    Waves of two hundred metres: nine tenths of a sine lie within 0.988 of its amplitude.
    """
    north, east = np.indices(shape) * 5.0
    height = 400.0 + relief / 1.976 * np.sin(2 * np.pi * north / 200.0)
    columns = {
        "easting_m": 6e5 + east.ravel(),
        "northing_m": 7.2e6 + north.ravel(),
        "height_m": height.ravel(),
    }
    return SimpleNamespace(floats=columns.__getitem__)


@pytest.fixture
def made(monkeypatch):
    """Return grids and notes of a survey at a place with this inclination."""

    def run(values, *, relief=3.0, shared=0.1, inclination=-38.0, depth=15.0, sd=0.3, **own):
        dip, turn = np.radians([inclination, -20.0])
        level = np.cos(dip)
        field = 23000.0 * np.array([level * np.cos(turn), level * np.sin(turn), np.sin(dip)])
        monkeypatch.setattr(transforms, "ambient_on_grid", lambda inputs, crs: field)
        monkeypatch.setattr(transforms, "grid_turn", lambda inputs, crs: -0.5)
        grids = ()
        if values is not None:
            grid = Grid(values, 6e5, 7.2e6, 5.0, "EPSG:32722", "nT", transforms.NAME)
            spread = np.where(np.isnan(values), np.nan, sd or 0.0)
            error = Grid(
                spread, 6e5, 7.2e6, 5.0, "EPSG:32722", "nT", f"{transforms.NAME}_standard_error"
            )
            grids = (grid, error) if sd else (grid,)
        readings = sensor(np.shape(values) if values is not None else (9, 9), relief)
        inputs = {
            "grids": GridSet(grids),
            "grid_notes": Document({"problem": "No reading.", "line_spacing_m": 20.0}),
            "error_notes": Document(
                {"depth_m": depth, "shared_nT": shared, "line_azimuth_deg": 10.0}
            ),
            "rover_positions": readings,
            "rover_heights": readings,
        }
        settings = {"survey.crs": "EPSG:32722", "transforms": OWN | own}
        found = transforms.run(inputs, settings, Context())
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


@pytest.mark.parametrize(("relief", "taken"), [(9.0, "plane"), (14.0, "equivalent sources")])
def test_relief_over_half_a_line_spacing_takes_equivalent_sources(made, relief, taken):
    notes = made(bump(), relief=relief).notes
    assert notes["relief_m"] == pytest.approx(relief, rel=0.1)
    assert notes["surface"]["departure_m"] == pytest.approx(relief, rel=0.1)
    assert notes["surface"]["taken"] == taken
    assert "half a line spacing (10.0 m)" in notes["surface"]["why"]
    assert notes["warnings"] == []


def test_a_plane_that_is_asked_for_on_uneven_ground_is_warned_of(made):
    found = made(bump(), relief=14.0, surface="plane")
    (told,) = found.notes["warnings"]
    assert "departs from one by 1" in told
    other = made(bump(), relief=14.0).grids.named("vertical_derivative").values
    assert np.nanmax(np.abs(other - found.grids.named("vertical_derivative").values)) > 0.01
    level = made(bump(), relief=0.0, surface="equivalent sources").grids
    plain = made(bump(), relief=0.0).grids
    for name in LINEAR:
        assert np.allclose(level.named(name).values, plain.named(name).values, equal_nan=True)


def test_a_grid_without_an_error_gives_transforms_without_one(made):
    found = made(bump(), sd=None)
    (told,) = found.notes["warnings"]
    assert "no standard error" in told
    for name in LINEAR:
        assert np.isfinite(found.grids.named(name).values).any()
        assert np.isnan(found.grids.named(f"{name}_standard_error").values).all()


def test_transforms_without_an_error_say_why(made):
    found = made(bump())
    assert set(found.notes["without_error"]) == set(OTHERS)
    for name in OTHERS:
        assert found.grids.named(f"{name}_standard_error") is None


def test_a_damped_reduction_stands_in_where_it_can_be_told(made):
    """At the equator the plain one is refused; over noise alone the damped one is too."""
    assert made(bump()).notes["damped"] is None
    found = made(bump(), inclination=0.0)
    assert "reduced_to_pole" in found.notes["refused"]
    assert found.notes["damped"]["told"]
    assert "too weak" in found.notes["damped"]["why"]
    assert found.grids.named("reduced_to_pole_damped").unit == "nT"
    assert found.grids.named("reduced_to_pole_damped_standard_error") is not None
    noise = np.random.default_rng(1).normal(0, 0.1, (48, 54))
    found = made(noise, inclination=0.0)
    assert not found.notes["damped"]["told"]
    assert found.grids.named("reduced_to_pole_damped") is None


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
