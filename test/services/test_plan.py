"""Planning a survey from its polygon: the plan becomes an input, and nothing is lost unasked."""

import json
from dataclasses import asdict
from datetime import UTC, datetime, timedelta

import gpxpy
import numpy as np
import pytest
from jsonschema import validate
from pyproj import Transformer
from typer.testing import CliRunner

from lodewalk.cli.main import app
from lodewalk.errors import CancelledError, InputError
from lodewalk.services.add import add_files
from lodewalk.services.new import new_survey
from lodewalk.services.plan import PlanResult, plan
from lodewalk.services.plan_files import PlanFiles
from lodewalk.services.run import run
from lodewalk.survey.folder import open_folder
from lodewalk.survey.ledger import read_ledger
from lodewalk.survey.store import read_product
from planned_area import CRS, SOUTH, WEST

SETTINGS = {"plan": {"line_spacing_m": 50.0, "line_azimuth_deg": 0.0, "first_day": "2026-12-07"}}


def geojson(path, rings, **properties):
    """Write polygons given by metres from the corner of the survey as GeoJSON."""
    to_wgs84 = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    features = [
        {
            "type": "Feature",
            "properties": properties,
            "geometry": {
                "type": "Polygon",
                "coordinates": [
                    [list(to_wgs84.transform(WEST + e, SOUTH + n)) for e, n in [*ring, ring[0]]]
                ],
            },
        }
        for ring in rings
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return path


@pytest.fixture(autouse=True)
def _few_files(request, monkeypatch):
    """Leave the plan's files unwritten, which takes seconds, but where a test looks at them."""
    if "files" not in request.fixturenames:
        monkeypatch.setattr("lodewalk.services.plan.write_plan_files", _nothing_written)


def _nothing_written(*_, adopting=None, **__):
    if adopting:
        adopting()
    return PlanFiles((), ())


@pytest.fixture
def files():
    """Let the plan's files be written."""


@pytest.fixture
def area(tmp_path):
    return geojson(tmp_path / "area.geojson", [[(0, 0), (600, 0), (600, 400), (0, 400)]])


@pytest.fixture
def survey(tmp_path):
    new_survey(tmp_path / "survey", name="Hill", crs=CRS, settings=SETTINGS)
    return open_folder(tmp_path / "survey")


def reopened(survey, **changes):
    """Return the survey with other settings of section plan."""
    text = survey.settings_file.read_text()
    for name, value in changes.items():
        old = SETTINGS["plan"][name]
        text = text.replace(f"\n{name} = {old!r}", f"\n{name} = {value!r}")
    survey.settings_file.write_text(text)
    return open_folder(survey.path)


def roles(survey):
    return {entry.name: entry.role for entry in read_ledger(survey)}


def walk(survey, tmp_path, easting):
    """Add a rover file without line names, walked northwards at an easting."""
    to_wgs84 = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    start = datetime(2026, 12, 7, 12, tzinfo=UTC)
    rows = ["time_utc,latitude,longitude,height_m,total_field_nT"]
    for step in range(201):
        longitude, latitude = to_wgs84.transform(WEST + easting + 0.5, SOUTH + 2 * step)
        stamp = (start + timedelta(seconds=2 * step)).strftime("%Y-%m-%dT%H:%M:%SZ")
        rows.append(f"{stamp},{latitude:.8f},{longitude:.8f},800.0,{22950 + step % 3:.2f}")
    file = tmp_path / "rover.csv"
    file.write_text("\n".join(rows) + "\n")
    base = tmp_path / "base.csv"
    stamps = [
        (start + timedelta(seconds=10 * n - 900)).strftime("%Y-%m-%dT%H:%M:%SZ") for n in range(225)
    ]
    base.write_text(
        "\n".join(["time_utc,total_field_nT", *(f"{t},22900.0" for t in stamps)]) + "\n"
    )
    add_files(survey, [file], role="rover", instrument="R1")
    add_files(survey, [base], role="base", instrument="B1")


def test_a_plan_from_a_polygon_becomes_the_survey_s_planned_lines(survey, area, tmp_path):
    result = plan(survey, area=[area])
    assert (result.lines, result.adopted) == (12, "raw/adopted-plan.gpx")
    assert roles(survey) == {"area.geojson": "area", "adopted-plan.gpx": "plan"}
    routes = gpxpy.parse((survey.raw / "adopted-plan.gpx").read_text()).routes
    assert [route.name for route in routes if route.name[0] == "L"] == [
        f"L{n:03d}" for n in range(1, 13)
    ]
    assert "R01" in {route.name for route in routes}
    walk(survey, tmp_path, easting=225)  # lines lie at 25, 75, … : this is the fifth
    run(survey, to="walked")
    lines = read_product(survey, "lines").frame
    assert lines["line"].to_list() == ["L005"]
    walked = read_product(survey, "walked")["lines"]
    by_name = {row["line"]: row for row in walked}
    assert by_name["L005"]["covered_share"] > 0.98
    assert by_name["L005"]["off_line_m"] == pytest.approx(0.5, abs=0.1)


@pytest.mark.usefixtures("files")
def test_the_plan_s_files_are_written_and_named(survey, area):
    result = plan(survey, area=[area])
    assert all((survey.path / name).exists() for name in result.files)
    assert any(name.endswith(".gpx") for name in result.files)
    assert (survey.products / "plan" / "plan.json").exists()


def test_planning_again_changes_nothing(survey, area):
    first = plan(survey, area=[area])
    before = roles(survey)
    again = plan(survey, area=[area])
    assert roles(survey) == before
    assert again.added == []
    assert again.superseded == []
    assert asdict(again) == asdict(first) | {"added": []}


def test_a_plan_before_is_set_aside_and_can_come_back(survey, area):
    plan(survey, area=[area])
    wider = reopened(survey, line_spacing_m=75.0)
    result = plan(wider)
    assert result.superseded == ["raw/adopted-plan.gpx"]
    assert sorted(roles(survey).values()) == ["area", "plan", "set_aside"]
    run(wider, to="lines")
    names = set(read_product(wider, "plan_recorded").strings("line"))
    assert len(names - {"R01"}) == result.pieces
    wider.settings_file.write_text(
        wider.settings_file.read_text().replace("line_spacing_m = 75.0", "line_spacing_m = 50.0")
    )
    back = plan(open_folder(survey.path))
    assert back.adopted == "raw/adopted-plan.gpx"
    assert roles(survey)["adopted-plan.gpx"] == "plan"
    assert sorted(roles(survey).values()) == ["area", "plan", "set_aside"]


def test_after_the_first_rover_file_a_new_plan_waits_for_replace(survey, area, tmp_path):
    plan(survey, area=[area])
    walk(survey, tmp_path, easting=225)
    assert plan(survey).adopted == "raw/adopted-plan.gpx"  # the same plan is no new one
    wider = reopened(survey, line_spacing_m=75.0)
    with pytest.raises(InputError, match=r"Rover files are in the survey.*replace it.*a draft"):
        plan(wider)
    assert roles(survey)["adopted-plan.gpx"] == "plan"
    draft = plan(wider, draft=True)
    assert (draft.draft, draft.adopted, draft.lines) == (True, None, 8)
    assert "set_aside" not in roles(survey).values()
    assert plan(wider, replaces=True).superseded == ["raw/adopted-plan.gpx"]


def test_a_plan_added_by_hand_isn_t_replaced_unasked(survey, area, tmp_path):
    plan(survey, area=[area], draft=True)
    own = tmp_path / "own.gpx"
    point = '<rtept lat="-24.9" lon="-50.4"/><rtept lat="-24.91" lon="-50.4"/>'
    own.write_text(
        '<gpx version="1.1" creator="hand" xmlns="http://www.topografix.com/GPX/1/1">'
        f"<rte><name>A</name>{point}</rte></gpx>"
    )
    add_files(survey, [own], role="plan")
    more = geojson(tmp_path / "more.geojson", [[(700, 0), (900, 0), (900, 300)]])
    with pytest.raises(InputError, match=r"own\.gpx: A plan that was added by hand"):
        plan(survey, area=[more])
    assert "more.geojson" not in roles(survey)
    with pytest.raises(InputError, match="added by hand"):
        plan(survey)
    assert plan(survey, replaces=True).superseded == ["raw/own.gpx"]


def test_exclusions_and_terrain_are_added_with_their_roles(survey, area, tmp_path):
    pond = geojson(
        tmp_path / "pond.geojson", [[(200, 150), (300, 150), (300, 250), (200, 250)]], kind="water"
    )
    result = plan(survey, area=[area], exclude=[pond])
    assert roles(survey)["pond.geojson"] == "exclusion"
    assert result.pieces > result.lines + result.ties
    assert result.walkable_m2 == pytest.approx(240_000 - 110**2, rel=0.002)


def test_without_an_area_the_remedy_is_named(survey):
    with pytest.raises(InputError, match=r"no area to survey.*file of role area"):
        plan(survey)


def test_the_command_says_it_in_short_and_its_json_keeps_the_schema(survey, area):
    runner = CliRunner()
    shown = runner.invoke(app, ["plan", str(survey.path), "--area", str(area)])
    assert shown.exit_code == 0, shown.output
    for word in ("Where:", "Lines: 12", "Kilometres:", "Days:", "Base:", "Adopted as"):
        assert word in shown.output
    told = runner.invoke(app, ["plan", str(survey.path), "--json"])
    values = json.loads(told.stdout)
    from pydantic import TypeAdapter

    validate(values, TypeAdapter(PlanResult).json_schema(mode="serialization"))
    assert values["adopted"] == "raw/adopted-plan.gpx"
    draft = runner.invoke(app, ["plan", str(survey.path), "--draft"])
    assert "Draft:" in draft.output


def test_routes_of_the_plan_end_where_its_lines_do(survey, area):
    plan(survey, area=[area])
    lines = read_product(survey, "planned_lines").frame
    to_grid = Transformer.from_crs("EPSG:4326", CRS, always_xy=True)
    for route in gpxpy.parse((survey.raw / "adopted-plan.gpx").read_text()).routes:
        row = lines.filter(line=route.name).to_dicts()[0]
        ends = [to_grid.transform(point.longitude, point.latitude) for point in route.points]
        wanted = [(row[f"easting_{n}_m"], row[f"northing_{n}_m"]) for n in (1, 2)]
        assert np.allclose(ends, wanted, atol=1e-3)


class Stopper:
    """Hears the progress, and asks to stop once two of the plan's files are there."""

    def __init__(self):
        self.stop = False

    def began(self, step, why):
        """Hear that a step begins."""

    def progress(self, step, done, total):
        self.stop |= step == "plan files" and done == 2


def test_a_plan_stopped_while_its_files_are_written_changes_none_of_them(survey, area, files):
    plan(survey, area=[area])
    place = survey.products / "plan"
    kept = {path: path.read_bytes() for path in place.iterdir() if path.suffix in (".gpx", ".pdf")}
    before = roles(survey)
    wider, stopper = reopened(survey, line_spacing_m=75.0), Stopper()
    with pytest.raises(CancelledError, match="none of its files"):
        plan(wider, reporter=stopper, cancelled=lambda: stopper.stop)
    assert {path: path.read_bytes() for path in kept} == kept
    assert roles(survey) == before
    assert not (place / ".writing").exists()
