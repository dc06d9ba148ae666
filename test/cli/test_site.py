"""What `lodewalk site` tells of places all over the Earth."""

import json

import numpy as np
import pytest

#: Keys that outside checks read, in the order of the contract.
CONTRACT = [
    "total_field_nT",
    "inclination_deg",
    "declination_deg",
    "north_nT",
    "east_nT",
    "down_nT",
    "horizontal_nT",
    "change_nT_per_year",
    "precession_Hz",
    "tuning_uT",
    "model",
]
DATE = "2026-06-01"


@pytest.fixture
def told(lodewalk):
    """Return the JSON of a site."""

    def call(latitude, longitude, *words, date=DATE):
        shown = lodewalk(
            "site", "--lat", latitude, "--lon", longitude, "--date", date, *words, "--json"
        )
        assert shown.code == 0, shown.err
        return json.loads(shown.out)

    return call


def test_keys_of_the_contract_come_first(told):
    values = told(52.0, -3.0)
    assert list(values)[: len(CONTRACT)] == CONTRACT
    assert {type(values[key]) for key in CONTRACT} == {float, str}


def test_change_of_the_angles_by_two_dates(told):
    """Dates a year apart; the change is constant within the model's five years."""
    first, last = told(48.0, 15.0, date="2026-01-01"), told(48.0, 15.0, date="2027-01-01")
    for angle in ("declination", "inclination"):
        change = last[f"{angle}_deg"] - first[f"{angle}_deg"]
        assert first[f"change_{angle}_deg_per_year"] == pytest.approx(change, abs=2e-3)


def test_bearings_on_a_grid(told):
    """Ten degrees east of a central meridian: convergence atan(tan(10) sin(lat)) on a sphere."""
    values = told(51.0, 13.0, "--crs", "EPSG:32631")  # central meridian 3 degrees
    compass = values["compass"]
    expected = np.degrees(np.arctan(np.tan(np.radians(10.0)) * np.sin(np.radians(51.0))))
    assert compass["convergence_deg"] == pytest.approx(expected, abs=0.03)
    assert compass["grid_declination_deg"] == pytest.approx(
        values["declination_deg"] - compass["convergence_deg"]
    )
    # Magnetic north on the grid is where a north line of the plan points.
    assert values["lines"]["azimuth_deg"] == pytest.approx(
        compass["grid_declination_deg"] % 180.0, abs=1e-5
    )
    assert told(51.0, 13.0)["compass"]["convergence_deg"] is None


def test_high_and_low_change_places_between_the_hemispheres(told):
    for latitude, sides in ((55.0, ["south", "north"]), (-40.0, ["north", "south"])):
        extremes = told(latitude, 20.0)["anomaly"]["extremes"]
        assert [one["kind"] for one in extremes[:2]] == ["high", "low"]
        assert [one["side"] for one in extremes[:2]] == sides


@pytest.mark.parametrize("place", [(90, 0), (-90, 0), (0, 180), (0, -180), (16, 40), (-64.3, 137)])
def test_any_place_is_told_in_full(place, told, lodewalk):
    values = told(*place)
    shown = lodewalk("site", "--lat", place[0], "--lon", place[1], "--date", DATE, "--explain")
    assert shown.code == 0
    assert max(map(len, shown.out.splitlines())) <= 96
    for title in ("Reference field", "Compass", "Proton", "Optically", "Anomaly", "Quiet", "Words"):
        assert f"\n{title}" in f"\n{shown.out}"
    assert 0 < values["quiet_day"]["low_nT"] < values["quiet_day"]["high_nT"]
    assert 0 < values["stand_by"]["days_low"] <= values["stand_by"]["days_high"] < 1


def test_both_sides_of_the_antimeridian_agree(told):
    east, west = told(-17.0, 180.0), told(-17.0, -180.0)
    for key in CONTRACT[:-1]:
        assert east[key] == pytest.approx(west[key])
    assert east["best_hours"] == west["best_hours"]
    assert not told(-17.0, -179.5, "--crs", "EPSG:3460")["cautions"][1:]  # Fiji, across it


@pytest.mark.parametrize(
    ("place", "words", "compass"),
    [
        ((-64.3, 137.0), "A compass is of no use here", "none"),
        ((-67.5, 137.0), "The compass is weak here", "with caution"),
        ((-12.0, -77.0), "Under the equatorial electrojet", "good"),
        ((0.0, -60.0), "Low inclination", "good"),
        ((65.0, 25.0), "Auroral latitudes", "good"),
    ],
)
def test_cautions(place, words, compass, told):
    values = told(*place)
    assert any(text.startswith(words) for text in values["cautions"])
    assert values["compass"]["use"] == compass


def test_a_quiet_place_has_no_caution(told, lodewalk):
    assert told(48.0, 15.0, "--crs", "EPSG:32633")["cautions"] == []
    shown = lodewalk("site", "--lat", 48, "--lon", 15, "--date", DATE)
    assert "Cautions" not in shown.out
    assert "Words" not in shown.out


def test_a_place_outside_the_system_is_told(told):
    (caution,) = told(48.0, 15.0, "--crs", "EPSG:32601")["cautions"]
    assert "outside the area" in caution


@pytest.mark.parametrize(
    ("words", "text"),
    [
        (("--crs", "EPSG:4326"), "must be projected, not in degrees"),
        (("--crs", "EPSG:32633", "--date", "2040-01-01"), "The last day of the model is 2030"),
        (("--crs", "EPSG:1"), "The coordinate reference system is unknown"),
    ],
)
def test_what_is_refused(words, text, tmp_path, refused):
    assert text in refused(tmp_path, "site", "--lat", "48", "--lon", "15", *words)


def test_the_uncertainty_is_that_of_another_model(told):
    off = told(48.0, 15.0)["uncertainty"]
    assert off["total_field_nT"] == 138.0
    assert "WMM2025" in off["source"]
    assert "rocks included" in off["source"]
