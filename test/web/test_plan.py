"""Room Plan: a plan that is only thought of writes nothing; only its files are served."""

import pytest

from lodewalk.services.add import add_files

SQUARE = [[560000, 7245000], [560390, 7245000], [560390, 7245300], [560000, 7245300]]
CHANGES = {"plan.line_spacing_m": 50.0, "plan.line_azimuth_deg": 0.0}


def everything(folder):
    return {path: path.read_bytes() for path in folder.path.rglob("*") if path.is_file()}


def test_a_sketch_has_the_lines_of_its_rectangle_and_writes_nothing(empty):
    session, client = empty
    before = everything(session.survey())
    found = client.post("/api/plan/sketch", json={"changes": CHANGES, "corners": SQUARE}).json()
    assert found["area_m2"] == pytest.approx(390 * 300, rel=1e-6)
    assert found["azimuth_deg"] == 0.0
    assert found["lines"] == 8  # 390 m of width, a line for each 50 m
    lines = [piece for piece in found["pieces"] if piece["kind"] == "line"]
    assert sum(piece["length_m"] for piece in lines) == pytest.approx(8 * 300, abs=1)
    assert everything(session.survey()) == before


def test_refusals_are_beside_their_field(empty):
    _, client = empty
    wrong = {"changes": {"plan.line_spacing_m": -1.0}, "corners": SQUARE}
    answer = client.post("/api/plan/sketch", json=wrong)
    assert answer.json()["problem"]["field"] == "plan.line_spacing_m"
    answer = client.post("/api/plan", json={"corners": SQUARE[:2]})
    assert (answer.status_code, answer.json()["problem"]["field"]) == (400, "corners")
    assert client.post("/api/plan/sketch", json={}).status_code == 400


def test_only_files_of_the_plan_are_served(empty):
    session, client = empty
    place = session.survey().products / "plan"
    place.mkdir(parents=True)
    (place / "lines.csv").write_text("line\n")
    (place / "private.txt").write_text("no")
    (place / "plan.pdf").symlink_to(session.survey().settings_file)
    assert client.get("/api/plan/files/lines.csv").text == "line\n"
    assert [row["name"] for row in client.get("/api/plan").json()["files"]] == ["lines.csv"]
    for name in ("private.txt", "plan.pdf", "..%2F..%2Fsurvey.toml", "%2Fetc%2Fpasswd", "..%5Cx"):
        assert client.get(f"/api/plan/files/{name}").status_code == 404


def test_a_file_of_an_area_is_read_and_not_added(empty):
    session, client = empty
    before = everything(session.survey())
    ring = "[[-50.405,-24.9],[-50.4,-24.9],[-50.4,-24.895],[-50.405,-24.9]]"
    text = f'{{"type":"Polygon","coordinates":[{ring}]}}'
    found = client.post("/api/plan/outlines", files={"file": ("a.geojson", text)}).json()
    assert len(found["outlines"][0]["corners_m"]) >= 4
    answer = client.post("/api/plan/outlines", files={"file": ("a.geojson", "{")})
    assert (answer.status_code, answer.json()["problem"]["field"]) == (400, "file")
    assert everything(session.survey()) == before


def test_planned_lines_of_a_file_are_told_in_the_surveys_metres(empty, tmp_path):
    """On the zone's central meridian the easting is 500 km, and a degree as long as its arc."""
    session, client = empty
    assert client.get("/api/plan/outlines").json()["lines"] == []
    ends = "".join(f'<rtept lat="{lat}" lon="-51"/>' for lat in (-24.91, -24.90))
    path = tmp_path / "lines.gpx"
    path.write_text(
        '<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">'
        f"<rte><name>L1</name>{ends}</rte></gpx>"
    )
    add_files(session.survey(), [path], role="plan")
    (line,) = client.get("/api/plan/outlines").json()["lines"]
    assert line["line"] == "L1"
    assert [corner[0] for corner in line["corners_m"]] == pytest.approx([5e5, 5e5], abs=0.01)
    # Length of a degree of latitude on GRS80 at 24.9 degrees: 110 771 m, scaled by 0.9996.
    assert line["length_m"] == pytest.approx(0.01 * 110_771 * 0.9996, abs=0.3)


def test_a_sketch_tells_each_waypoint_of_the_lines_ends(empty):
    _, client = empty
    found = client.post("/api/plan/sketch", json={"changes": CHANGES, "corners": SQUARE}).json()
    starts = [point for point in found["waypoints"] if point["kind"] == "start"]
    tops = {
        point["place_m"][1] for point in found["waypoints"] if point["kind"] in ("start", "end")
    }
    assert len(starts) >= found["lines"]
    assert {7245000.0, 7245300.0} <= tops  # lines run from edge to edge
    assert [point["kind"] for point in found["waypoints"]].count("base") == 1


def test_a_plan_that_is_stopped_changes_neither_files_nor_lines(empty):
    session, client = empty
    client.patch("/api/settings", json={"changes": CHANGES, "reason": "a test", "who": "N. N."})
    assert client.post("/api/plan", json={"corners": SQUARE}).status_code == 202
    session.jobs.stop()
    session.jobs._last.join(60)
    assert session.jobs.state().status == "stopped"
    made = client.get("/api/plan").json()
    assert (made["files"], made["adopted"]) == ([], [])


def test_the_plan_that_is_made_has_the_lines_that_were_sketched(empty):
    """The width is a whole number of spacings but for a hair: the file must not tip it over."""
    session, client = empty
    client.patch("/api/settings", json={"changes": CHANGES, "reason": "a test", "who": "N. N."})
    square = [[560000 if east == 560000 else 560300, north] for east, north in SQUARE]
    sketched = client.post("/api/plan/sketch", json={"corners": square}).json()
    client.post("/api/plan", json={"corners": square})
    session.jobs._last.join(120)
    made = session.jobs.state().result
    assert (made["lines"], made["ties"]) == (sketched["lines"], sketched["ties"])
    assert made["kilometres"] == sketched["kilometres"]
