"""Start page, hints, guided path and frame: what a newcomer is told, from what there is."""

import csv
import json
import re
from urllib.parse import urljoin

import polars as pl
import pytest
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_utm_crs_info

from lodewalk.services.new import new_survey
from lodewalk.services.settings import change_settings
from lodewalk.services.tour import _crossings, _truth
from web_client import client_of, ended

ROOMS = ["site", "plan", "days", "map", "rocks", "handover", "settings"]


@pytest.mark.parametrize(
    ("latitude", "longitude"),
    [(-24.9, -50.4), (0.5, 179.9), (-33.9, 151.2), (83.0, 13.0), (12.0, -179.9), (-79.0, 0.1)],
)
def test_a_place_gets_the_utm_zone_that_the_register_says(on_shelf, latitude, longitude):
    """The register itself is asked for the zones of this place, by another way."""
    _, client = on_shelf
    asked = {"latitude_deg": latitude, "longitude_deg": longitude}
    found = client.get("/api/systems", params=asked).json()["systems"]
    place = AreaOfInterest(longitude, latitude, longitude, latitude)
    known = query_utm_crs_info("WGS 84", area_of_interest=place, contains=True)
    assert [row["code"] for row in found] == [f"EPSG:{known[0].code}"]


def test_systems_are_found_by_words_in_any_order_and_only_usable_ones(on_shelf):
    _, client = on_shelf
    codes = [
        row["code"] for row in client.get("/api/systems?find=22s+sirgas+2000").json()["systems"]
    ]
    assert codes[0] == "EPSG:31982"
    assert client.get("/api/systems?find=zebra+volcano").json()["systems"] == []
    mercator = client.get("/api/systems?find=3857").json()["systems"]
    assert "EPSG:3857" not in [row["code"] for row in mercator]


@pytest.mark.parametrize(
    "query", ["", "latitude_deg=91&longitude_deg=0", "latitude_deg=85&longitude_deg=3", "find=%20"]
)
def test_a_place_or_name_that_is_none_is_refused_in_words(on_shelf, query):
    _, client = on_shelf
    answer = client.get(f"/api/systems?{query}")
    assert answer.status_code in (400, 422)
    assert answer.json()["problem"]["text"]


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"folder": "a/b", "name": "A", "crs": "EPSG:31982"}, "folder"),
        ({"folder": "full", "name": "A", "crs": "EPSG:31982"}, "folder"),
        ({"folder": "file", "name": "A", "crs": "EPSG:31982"}, "folder"),
        ({"folder": "a", "name": " ", "crs": "EPSG:31982"}, "name"),
        ({"folder": "a", "name": "A", "crs": "EPSG:4326"}, "crs"),
        ({"folder": "a", "name": "A", "crs": "Gauss"}, "crs"),
    ],
)
def test_what_is_wrong_with_a_new_survey_is_said_beside_its_field(on_shelf, shelf, body, field):
    _, client = on_shelf
    (shelf / "full").mkdir()
    (shelf / "full" / "notes.txt").write_text("kept")
    (shelf / "file").write_text("kept")
    answer = client.post("/api/surveys", json=body)
    assert answer.status_code == 400
    assert answer.json()["problem"]["field"] == field
    assert sorted(path.name for path in shelf.iterdir()) == ["file", "full"]


def test_a_demo_is_not_begun_in_a_folder_that_holds_something(on_shelf, shelf):
    session, client = on_shelf
    (shelf / "full").mkdir()
    (shelf / "full" / "notes.txt").write_text("kept")
    answer = client.post("/api/demo", json={"folder": "full"})
    assert answer.json()["problem"]["field"] == "folder"
    assert session.jobs.state() is None


def test_a_survey_of_a_newer_format_is_listed_with_its_rule(on_shelf, shelf):
    _, client = on_shelf
    new_survey(shelf / "hill", name="Hill", crs="EPSG:31982")
    file = shelf / "hill" / "survey.toml"
    file.write_text(file.read_text().replace("format = 1", "format = 2"))
    row = client.get("/api/surveys").json()["surveys"][0]
    assert "format" in row["problem"]
    assert client.post("/api/surveys/open", json={"folder": "hill"}).status_code == 400


def test_rooms_are_shut_until_a_survey_is_open(on_shelf, shelf):
    session, client = on_shelf
    page = client.get("/start").text
    assert page.count('aria-disabled="true"') == len(ROOMS)
    assert 'href="/days"' not in page
    assert client.get("/days", follow_redirects=False).headers["location"] == "/start"
    new_survey(shelf / "hill", name="Hill", crs="EPSG:31982")
    session.open(shelf / "hill")
    page = client.get("/days").text
    assert "aria-disabled" not in page
    places = [page.index(f'href="/{room}"') for room in ROOMS]
    assert places == sorted(places)
    assert page.count("aria-current") == 1


def test_each_room_has_a_hint_that_leads_on(empty):
    _, client = empty
    found = client.get("/api/guide").json()
    assert [hint["room"] for hint in found["hints"]] == ROOMS
    assert found["truth"] is False
    for hint in found["hints"]:
        assert hint["text"]
        assert hint["to"] in ROOMS
        assert bool(hint["link"]) == (hint["to"] != hint["room"])
    by_room = {hint["room"]: hint for hint in found["hints"]}
    assert "base" in by_room["days"]["text"]
    assert by_room["map"]["to"] == "days"
    assert client.get("/api/tour").json() == {"stops": []}


def test_the_path_tells_what_the_check_found_and_nothing_that_is_absent(empty):
    """A check written here: the path names its worst day and line, and has no stop for the rest."""
    session, client = empty
    lines = [
        {"line": "A1", "verdict": "keep", "reasons": []},
        {"line": "A2", "verdict": "doubt", "reasons": ["half of it is noisy"]},
    ]
    days = [
        {"date": "2026-05-01", "verdict": "keep", "lines": lines[:1],
         "base": {"range_nT": 12.0, "worst_chord_nT": 0.4}},
        {"date": "2026-05-02", "verdict": "doubt", "lines": lines,
         "base": {"range_nT": 80.0, "worst_chord_nT": 9.5}},
    ]  # fmt: skip
    file = session.path / "products" / "check.json"
    file.write_text(json.dumps({"days": days, "clock": []}))
    stops = {stop["name"]: stop for stop in client.get("/api/tour").json()["stops"]}
    assert list(stops) == ["place", "plan", "day", "package"]
    assert stops["day"]["selection"] == {"day": "2026-05-02", "line": "A2"}
    assert "9.5 nT" in stops["day"]["seen"]
    assert "half of it is noisy" in stops["day"]["seen"]
    file.write_text("{")
    assert [stop["name"] for stop in client.get("/api/tour").json()["stops"]] == [
        "place",
        "plan",
        "package",
    ]


def test_a_true_depth_is_that_of_the_nearest_crossing_on_the_same_line(empty):
    session, _ = empty
    (session.path / "truth").mkdir()
    names = ["body", "line", "easting_m", "northing_m", "depth_below_ground_m"]
    rows = [["D1", "L1", 100, 100, 5], ["D2", "L1", 109, 100, 6], ["D3", "L2", 108, 100, 7]]
    with (session.path / "truth" / "dyke_crossings.csv").open("w", newline="") as text:
        csv.writer(text).writerows([names, *rows])
    known = _crossings(session.survey())
    here = {"pick": "R1-L1", "easting_m": 107.0, "northing_m": 100.0}
    assert _truth(known, here) == 6.0
    assert _truth(known, here | {"easting_m": 140.0}) is None
    assert _truth(known, here | {"pick": "R1-L9"}) is None


def write_depths(session, rows):
    """Write bodies and depths: line, easting, kind decided, fitted and calibrated depth."""
    names = [f"R1-{line}" for line, *_ in rows]
    east, decided, fitted, told = (list(part) for part in list(zip(*rows, strict=True))[1:])
    place = {"pick": names, "easting_m": east, "northing_m": [100.0] * len(rows)}
    ends = lambda values: {  # noqa: E731
        "depth_m": values, "depth_low_m": [value - 1.0 for value in values],
        "depth_high_m": [value + 1.0 for value in values],
    }  # fmt: skip
    bodies = pl.DataFrame(place | ends(fitted)).with_columns(
        pl.Series("decidable", decided), kind=pl.lit("dyke"), probability=pl.lit(0.99)
    )
    bodies.write_parquet(session.path / "products" / "bodies.parquet")
    methods = [pl.DataFrame(place | ends(values)).with_columns(method=pl.lit(name))
               for name, values in (("answer", told), ("fit", fitted))]  # fmt: skip
    pl.concat(methods).write_parquet(session.path / "products" / "depths.parquet")


def test_the_path_quotes_the_depth_to_use_and_counts_its_own_intervals(empty):
    """The surest of the decided kinds is named, though the truth lies outside its interval."""
    session, client = empty
    products = session.path / "products"
    (products / "check.json").write_text(json.dumps({"days": [], "clock": []}))
    write_depths(
        session,
        [
            ("L1", 100.0, True, 9.0, 5.0),
            ("L2", 100.0, True, 5.0, 8.0),
            ("L3", 100.0, False, 5.0, 20.0),
        ],
    )
    (session.path / "truth").mkdir()
    names = ["body", "line", "easting_m", "northing_m", "depth_below_ground_m"]
    depths = {"L1": 5.5, "L2": 5.5, "L3": 20.2}
    rows = [["D1", line, 101, 100, depth] for line, depth in depths.items()]
    with (session.path / "truth" / "dyke_crossings.csv").open("w", newline="") as text:
        csv.writer(text).writerows([names, *rows])
    stops = {stop["name"]: stop for stop in client.get("/api/tour").json()["stops"]}
    seen = stops["depth"]["seen"]
    assert stops["depth"]["selection"] == {"pick": "R1-L2"}
    assert "8.0 m below ground, 7.0 to 9.0 m (90 %), by the calibrated depth" in seen
    assert "The demo's truth is 5.5 m here." in seen
    assert "Of 3 calibrated depths beside a true dyke, 2 intervals hold" in seen


@pytest.mark.parametrize(("rock", "words"), [("", "Odds come once"), ("basalt", "effort and odds")])
def test_the_path_promises_odds_only_where_the_survey_has_a_rock_to_seek(empty, rock, words):
    session, client = empty
    (session.path / "products" / "check.json").write_text(json.dumps({"days": [], "clock": []}))
    if rock:
        change_settings(session.survey(), {"body.rock": rock}, reason="known", who="A")
    stops = {stop["name"]: stop for stop in client.get("/api/tour").json()["stops"]}
    assert words in stops["plan"]["todo"]


def test_a_survey_that_was_moved_away_is_told_as_gone(empty):
    session, client = empty
    session.path.rename(session.path.with_name("elsewhere"))
    assert client.get("/api/state").json()["mark"] == "gone"
    assert client.get("/api/guide").status_code == 400
    session.path.with_name("elsewhere").rename(session.path)
    assert client.get("/api/state").json()["mark"] != "gone"


def test_a_run_that_meets_another_one_says_so_in_words(empty):
    from lodewalk.survey.lock import locked

    session, client = empty
    with locked(session.survey()):
        client.post("/api/run", json={"to": "ingest_rover"})
        job = ended(client)
    assert job["status"] == "failed"
    assert "in use" in job["problem"]["text"]


def test_who_comes_without_a_key_reads_words_and_a_script_reads_json(tmp_path):
    _, client = client_of(tmp_path)
    client.cookies.clear()
    page = client.get("/days", headers={"accept": "text/html"})
    assert page.status_code == 401
    assert page.headers["content-type"].startswith("text/html")
    assert "lodewalk printed" in page.text
    assert client.get("/api/state").json()["problem"]["text"]
    refused = client.get("/enter?token=wrong")
    assert refused.status_code == 403
    assert "<script" not in refused.text


def test_every_script_that_a_page_needs_is_named_at_once(empty):
    """No script waits for another to name it: each import is in the page's list."""
    _, client = empty
    for room in ("days", "map", "settings"):
        named = set(re.findall(r'rel="modulepreload" href="([^"]+)"', client.get(f"/{room}").text))
        assert f"/static/rooms/{room}.js" in named
        for name in named:
            text = client.get(name).text
            for item in re.findall(r'^import [^;]*?"(\.\.?/[^"]+)"', text, re.M):
                assert urljoin(name, item) in named, (name, item)


@pytest.mark.parametrize(("name", "words"), [("nosuch", "no such folder"), ("file", "a folder")])
def test_what_is_no_folder_is_not_opened(tmp_path, name, words):
    from lodewalk.errors import InputError
    from lodewalk.web.serve import serve

    (tmp_path / "file").write_text("kept")
    with pytest.raises(InputError, match=words):
        serve(tmp_path / name, port=0, browser=False, ready=lambda *_: None)


def test_room_plan_doesn_t_ask_for_an_area_that_is_there(empty):
    _, client = empty
    hints = {hint["room"]: hint["text"] for hint in client.get("/api/guide").json()["hints"]}
    assert "area first" in hints["plan"]
    ring = "[[-50.405,-24.9],[-50.4,-24.9],[-50.4,-24.895],[-50.405,-24.9]]"
    text = f'{{"type":"Polygon","coordinates":[{ring}]}}'
    client.post("/api/files", files={"file": ("a.geojson", text)}, data={"role": "area"})
    hints = {hint["room"]: hint["text"] for hint in client.get("/api/guide").json()["hints"]}
    assert "area first" not in hints["plan"]
    assert "make the plan" in hints["plan"]
