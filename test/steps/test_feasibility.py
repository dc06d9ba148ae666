"""Feasibility from settings, area and hand meter: polarity, odds, verdict and what is told."""

import json

import numpy as np
import pytest
from pyproj import Geod

from lodewalk.adapters.projection import to_projected
from lodewalk.errors import InputError
from lodewalk.methods.bodies import dyke_anomaly
from lodewalk.methods.planning.expected import expected_curve
from lodewalk.records.recorded import HandMeter, Shapes
from lodewalk.services.feasibility import feasibility, feasibility_of
from lodewalk.services.run import run
from lodewalk.steps.declarations import step_named
from lodewalk.steps.feasibility import source_of
from lodewalk.steps.going_place import going_place
from lodewalk.steps.rock_contrast import rock_contrast
from lodewalk.survey.folder import open_folder
from lodewalk.survey.settings import check_settings, picked
from small_survey import CRS

#: Cheap to reckon: a compact body, lines far apart, a small square.
SPHERE = {"kind": '"sphere"', "depth_m": 12.0, "radius_m": 4.0, "susceptibility": 0.1}
PLACE = {"latitude_deg": -24.98, "longitude_deg": -50.01, "line_spacing_m": 20.0}


@pytest.fixture
def going(bench):
    """Return a function that sets body, host and plan and returns the feasibility."""

    def ask(body=None, host=None, plan=None, noise=None):
        for section, values in (
            ("body", {**SPHERE, **(body or {})}),
            ("host", host or {}),
            ("plan", {**PLACE, **(plan or {})}),
            ("survey_noise", noise or {}),
        ):
            bench.set(section, **{key: v for key, v in values.items() if v is not None})
        return feasibility(open_folder(bench.path))

    return ask


def area(west, south, side, *, crs=None):
    ring = [[west, south], [west + side, south], [west + side, south + side],
            [west, south + side], [west, south]]  # fmt: skip
    return json.dumps({"type": "Polygon", "coordinates": [ring]})


def test_a_strong_shallow_body_goes(going, bench):
    found = going(plan={"line_spacing_m": 8.0})
    assert found.verdict == "go"
    assert found.probability >= found.wanted
    assert found.summary.startswith("Go: ")
    # in the south a body by induction has its high on the north side and its low on the south
    assert found.anomaly.high_north_m > 0.0 > found.anomaly.low_north_m
    assert "m north of its middle and a low" in found.anomaly.text
    made = bench.path / "products" / "plan"
    assert (made / "feasibility.json").exists()
    assert (made / "expected.nc").exists()
    assert (made / "expected.png").read_bytes().startswith(b"\x89PNG")
    assert found.figure == "products/plan/expected.png"


def test_a_weak_deep_body_does_not(going):
    found = going(body={"susceptibility": 0.002, "depth_m": 40.0})
    assert found.verdict == "no-go"
    assert found.probability < 0.2
    assert "small beside the noise" in found.reasons[0]


def test_changes_stand_by_their_gain_and_cases_in_order(going):
    found = going(body={"susceptibility": 0.02, "depth_m": 14.0}, plan={"line_spacing_m": 40.0})
    gains = [change.gain for change in found.changes]
    assert gains == sorted(gains, reverse=True)
    assert found.changes[0].name == "closer lines"  # lines three depths apart miss most spheres
    assert found.changes[0].gain > 0.1
    assert found.changes[0].probability == pytest.approx(
        found.probability + found.changes[0].gain, abs=2e-4
    )
    depth = [row for row in found.cases if row.what == "depth"]
    assert [row.end for row in depth] == ["low", "typical", "high"]
    assert [row.value for row in depth] == pytest.approx([14 / 1.3, 14, 14 * 1.3])
    assert depth[0].probability > depth[2].probability


def test_expected_grid_is_the_body_under_the_area(going, bench):
    going()
    grid = bench.product("expected_grids").named("expected_anomaly")
    high = np.unravel_index(np.argmax(grid.values), grid.values.shape)
    middle = bench.product("feasibility")["middle"]
    place = grid.eastings[high[1]] - middle["easting_m"]
    assert abs(place) < 12.0
    assert grid.crs == "EPSG:31982"


def test_area_tells_the_place(bench, going):
    bench.add("area.geojson", area(-50.012, -24.982, 0.004), "area")
    found = going(plan={"latitude_deg": None, "longitude_deg": None})
    assert found.site.latitude_deg == pytest.approx(-24.98, abs=1e-4)
    assert found.site.longitude_deg == pytest.approx(-50.01, abs=1e-4)
    # 0.004 degrees: 443 m by 404 m on the ellipsoid
    assert found.site.area_m2 == pytest.approx(443.1 * 403.8, rel=5e-3)
    assert not any("No area" in text for text in found.assumed)


def test_without_area_or_place(going):
    with pytest.raises(InputError, match=r"Neither an area nor a place.*role area"):
        going(plan={"latitude_deg": None, "longitude_deg": None})


def test_nothing_tells_how_magnetic_the_body_is(going):
    with pytest.raises(InputError, match=r"how magnetic the body is.*body\.rock"):
        going(body={"susceptibility": None})


def test_unknown_rock(going):
    with pytest.raises(InputError, match=r"no such rock.*basalt"):
        going(body={"susceptibility": None, "rock": '"bassalt"'})


def test_body_like_its_host(going):
    with pytest.raises(InputError, match="equally magnetic"):
        going(host={"susceptibility": 0.1})


METER = """part,rock,place,k_SI,readings
target,gabbro,A,0.03,10
target,gabbro,B,0.05,10
target,gabbro,C,0.02,10
target,gabbro,C,0.02,10
host,shale,D,0.0005,10
host,shale,E,0.0003,10
host,shale,F,0.0004,10
"""


def test_hand_meter_takes_the_place_of_the_table(bench, going):
    bench.add("meter.csv", METER, "hand_meter")
    found = going(body={"susceptibility": None, "rock": '"basalt"'}, host={"rock": '"granite"'})
    target = found.susceptibility.target
    assert target.places == 3
    assert target.source == "hand meter, 40 readings at 3 places"
    # arithmetic mean of the three places is 0.033; the table's typical basalt is 0.0067
    assert target.typical == pytest.approx(0.033, rel=0.3)
    assert target.low < 0.033 < target.high
    assert found.susceptibility.host.typical == pytest.approx(0.0004, rel=0.3)


def test_setting_takes_the_place_of_the_hand_meter(bench, going):
    bench.add("meter.csv", METER, "hand_meter")
    assert going().susceptibility.target.source == "as set"


def test_a_body_less_magnetic_than_its_host_has_a_low(going):
    found = going(body={"susceptibility": 0.0}, host={"susceptibility": 0.1})
    # the induced anomaly of a hole has the signs turned round
    assert found.anomaly.low_north_m > 0.0 > found.anomaly.high_north_m
    assert found.anomaly.low_nT < -found.anomaly.high_nT


def test_contrast_of_unknown_sign_is_told(going):
    found = going(body={"susceptibility": None, "rock": '"diabase"'}, host={"rock": '"basalt"'})
    assert any("as magnetic as the body or more" in text for text in found.warnings)
    assert any("hand meter" in text for text in found.warnings)


def test_dyke_along_a_level_field(going):
    dyke = {"kind": '"dyke"', "length_m": 120.0, "strike_deg": 0.0}
    found = going(body=dyke, plan={"latitude_deg": -8.0, "longitude_deg": -48.0})
    assert abs(found.site.inclination_deg) < 20.0
    assert any("Low magnetic latitude" in text for text in found.warnings)
    assert found.strike_share < 0.5
    told = next(text for text in found.warnings if "near the field's direction" in text)
    assert f"{found.strike_share:.0%}" in told


def test_remanence_against_the_field_turns_the_anomaly(going):
    found = going(
        body={
            "koenigsberger": 5.0,
            "remanence_inclination_deg": 38.0,
            "remanence_declination_deg": 160.0,
        }
    )
    assert found.anomaly.low_north_m > 0.0 > found.anomaly.high_north_m
    assert found.magnetisation.remanence_A_m == pytest.approx(5.0 * found.magnetisation.induced_A_m)
    assert found.magnetisation.inclination_deg == pytest.approx(38.0, abs=3.0)


def test_usual_lines_are_told(going):
    found = going(plan={"line_spacing_m": None})
    assert found.plan.line_spacing_m == pytest.approx(14.0)  # 12 m below ground, sensor at 2 m
    assert any("14 m apart: depth of the body below the sensor" in text for text in found.assumed)
    assert any("magnetic north" in text for text in found.assumed)


def test_deep_rocks_tilt_the_lines_and_are_no_noise_of_one_reading():
    body = {"susceptibility": 0.0015, "length_m": 100.0, "strike_deg": 60.0}
    level, tilted = (
        feasibility_of(-24.9, -50.4, settings={"body": body, "host": {"regional_nT": size}})
        for size in (0.0, 50.0)
    )
    assert tilted.noise.reading_nT == level.noise.reading_nT
    # What a slope can imitate of the body doesn't count: a little is lost, nothing gained.
    assert level.probability - 0.1 < tilted.probability <= level.probability + 0.01


def test_noise_of_one_reading(going):
    found = going(host={"noise_nT": 3.0, "soil_noise_nT": 0.0},
                  noise={"instrument_nT": 1.0, "walking_nT": 2.0, "diurnal_nT": 2.0})  # fmt: skip
    assert found.noise.reading_nT == pytest.approx(np.sqrt(9 + 1 + 4 + 4))
    assert found.noise.largest == "geology"
    assert found.noise.ratio == pytest.approx(
        found.anomaly.peak_to_trough_nT / found.noise.reading_nT
    )


def test_profile_over_a_long_dyke_is_the_closed_form():
    """The step's curve against the two-dimensional dyke in the IGRF field of the place."""
    body = {"length_m": 3000.0, "strike_deg": 25.0, "dip_deg": 65.0, "depth_m": 12.0,
            "width_m": 6.0, "susceptibility": 0.001}  # fmt: skip
    values = {"survey": {"name": "A", "crs": CRS}, "body": body, "plan": PLACE}
    settings = picked(check_settings(values), step_named("feasibility").settings)
    place = going_place(Shapes.empty(), settings["plan"], crs=CRS)
    contrast = rock_contrast(HandMeter.empty(), settings["body"], settings["host"])
    source = source_of(place, contrast, settings["body"])
    curve = expected_curve(source, azimuth_deg=115.0, sensor_height_m=2.0)
    expected = dyke_anomaly(
        curve.distance_m,
        depth_m=14.0,
        bottom_depth_m=212.0 + 2.0,
        half_width_m=3.0,
        dip_deg=65.0,
        susceptibility=0.001,
        strength_nT=place.site.total_field_nT,
        inclination_deg=place.site.inclination_deg,
        profile_azimuth_deg=115.0 - place.site.declination_deg + place.convergence_deg,
    )
    # the ends, 1.5 km off, and demagnetisation of 0.1 %
    np.testing.assert_allclose(curve.anomaly_nT, expected, atol=0.01 * np.ptp(expected))


def test_magnetic_north_on_the_grid():
    """By a walk of 100 m along the declination on the ellipsoid, projected: no convergence used."""
    crs, latitude, longitude = "EPSG:32632", 69.5, 13.5  # three degrees from the middle of its zone
    plan = {"latitude_deg": latitude, "longitude_deg": longitude, "first_day": None}
    place = going_place(Shapes.empty(), plan, crs=crs)
    walk = Geod(ellps="WGS84").fwd(longitude, latitude, place.site.declination_deg, 100.0)
    start, end = (to_projected(*at, crs=crs) for at in ((longitude, latitude), walk[:2]))
    azimuth = np.arctan2(end[0] - start[0], end[1] - start[1])
    north, east, down = place.ambient_nT
    assert np.arctan2(east, north) == pytest.approx(float(azimuth), abs=1e-4)
    assert abs(place.convergence_deg) > 4.0
    assert down == pytest.approx(place.site.down_nT)


@pytest.mark.parametrize("day", ["2031-01-01", "1899-12-31"])
def test_a_day_outside_the_model(going, day):
    with pytest.raises(InputError, match="1900"):
        going(plan={"first_day": f'"{day}"'})


def test_body_and_host_of_one_rock(going):
    rock = {"susceptibility": None, "rock": '"basalt"'}
    found = going(body=rock, host={"rock": '"basalt"'})
    # their median difference is nothing; what is shown has the usual size of a difference
    assert found.anomaly.peak_to_trough_nT > 0.1
    assert any("as magnetic as the body or more" in text for text in found.warnings)


def test_an_area_narrower_than_the_spacing_is_told(bench, going):
    bench.add("area.geojson", area(-50.012, -24.982, 0.001), "area")
    found = going(plan={"line_spacing_m": 300.0})
    assert any("one line is reckoned with" in text for text in found.assumed)


def test_a_run_without_a_step_leaves_it_out(bench):
    steps = {step.step for step in run(open_folder(bench.path)).steps}
    assert "feasibility" not in steps


def test_nothing_runs_twice(going, bench):
    going()
    made = (bench.path / "products" / "plan" / "expected.png").stat().st_mtime_ns
    again = run(open_folder(bench.path), to="feasibility")
    assert not any(step.ran for step in again.steps)
    feasibility(open_folder(bench.path))
    assert (bench.path / "products" / "plan" / "expected.png").stat().st_mtime_ns == made
