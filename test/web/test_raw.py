"""Raw files over the API: previewed without a trace, added whole or not at all, set aside."""

import json
import re
import tempfile

import pytest

from lodewalk.services.opening import open_survey
from lodewalk.survey.ledger import read_ledger
from web_client import ended

#: A made-up logger's layout: semicolons, decimal comma, day first, no names that are known.
LOGGER = "Tag;Uhr;Profil;Wert;Guete\n" + "".join(
    f"0{day}.04.2026;10:00:{second:02d};N{day};22950,{second};0,9\n"
    for day in (5, 6)
    for second in range(10, 40)
)
MAP = {
    "delimiter": ";",
    "decimal": ",",
    "columns": {"date": 1, "time": 2, "line": 3, "field": 4, "quality": 5},
    "time": {"date_format": "%d.%m.%Y", "format": "iso", "zone": "-03:00"},
}
BASE = "time_utc,field_nT\n" + "".join(
    f"2026-03-10T12:{minute:02d}:00Z,22950.{minute}\n" for minute in range(30)
)


def sent(text, name="base.csv"):
    """Return a file as a form sends it."""
    return {"file": (name, text if isinstance(text, bytes) else text.encode())}


def preview(client, text, name="base.csv", **form):
    """Return what is understood of one file."""
    answer = client.post("/api/files/preview", files=sent(text, name), data=form)
    assert answer.status_code == 200, answer.text
    (found,) = answer.json()
    return found


def survey_bytes(session):
    """Return every file of the survey with its content."""
    return {path: path.read_bytes() for path in session.path.rglob("*") if path.is_file()}


def test_a_preview_says_what_stands_in_the_file_and_leaves_no_trace(empty, tmp_path, monkeypatch):
    session, client = empty
    temporary = tmp_path / "temporary"
    temporary.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(temporary))
    before = survey_bytes(session)
    found = preview(client, BASE)
    assert found["refused"] is None
    assert (found["role"], found["readings"], found["zone"]) == ("base", 30, "UTC")
    assert found["span"]["start_utc"] == "2026-03-10T12:00:00Z"
    assert found["span"]["end_utc"] == "2026-03-10T12:29:00Z"
    assert [(c["name"], c["meaning"]) for c in found["columns"]] == [
        ("time_utc", "time"), ("field_nT", "field"),
    ]  # fmt: skip
    assert found["columns"][1]["values"][:2] == ["22950.0", "22950.1"]
    assert found["first"]["rows"][1][found["first"]["columns"].index("raw_nT")] == "22950.1"
    assert survey_bytes(session) == before
    assert not list(temporary.iterdir())


def test_local_time_stands_beside_utc(empty):
    session, client = empty
    file = session.path / "survey.toml"
    text = file.read_text()
    file.write_text(
        re.sub(r"(?m)^#? ?time_zone = .*$", 'time_zone = "America/Bahia"', text, count=1)
    )
    span = preview(client, BASE)["span"]
    assert span["local_zone"] == "America/Bahia"
    assert span["start_local"] == "2026-03-10T09:00:00"  # three hours behind, all the year


def test_a_made_up_layout_is_asked_about_then_mapped_then_known_again(empty):
    _, client = empty
    first = preview(client, LOGGER, "R1_a.csv", role="rover")
    assert first["refused"]["field"] == "columns"
    assert "what each column is" in first["refused"]["remedy"]
    assert "lodewalk" not in first["refused"]["text"]
    assert any("either order" in doubt for doubt in first["doubts"])
    assert [c["name"] for c in first["columns"]] == ["Tag", "Uhr", "Profil", "Wert", "Guete"]
    told = preview(client, LOGGER, "R1_a.csv", role="rover", columns=json.dumps(MAP))
    assert told["refused"] is None
    # Local noon less three hours and the file's first second, by hand.
    assert told["span"]["start_utc"] == "2026-04-05T13:00:10Z"
    assert told["first"]["rows"][0][told["first"]["columns"].index("raw_nT")] == "22950.1"
    form = {"role": "rover", "instrument": "R1", "columns": json.dumps(MAP)}
    added = client.post("/api/files", files=sent(LOGGER, "R1_a.csv"), data=form)
    assert added.status_code == 201, added.text
    assert added.json()["files"][0]["rows"] == 60
    again = preview(client, LOGGER.replace("2026", "2027"), "evening.csv")
    assert again["refused"] is None
    assert (again["map_from"], again["like"]) == ("like", "R1_a.csv")
    assert (again["role"], again["instrument"]) == ("rover", "R1")
    assert again["span"]["start_utc"] == "2027-04-05T13:00:10Z"


def test_the_date_of_a_first_row_is_not_taken_over_to_another_file(empty):
    _, client = empty
    text = "Uhr;Wert\n" + "".join(
        f"10:00:{second:02d};22950,{second}\n" for second in range(10, 30)
    )
    columns = {"delimiter": ";", "decimal": ",", "columns": {"time": 1, "field": 2},
               "time": {"date": "2026-04-05", "zone": "UTC"}}  # fmt: skip
    form = {"role": "base", "columns": json.dumps(columns)}
    assert client.post("/api/files", files=sent(text), data=form).status_code == 201
    found = preview(client, text.replace("22950", "22951"), "next.csv", role="base")
    assert found["like"] == "base.csv"
    assert found["refused"]["field"] == "columns"  # asked, not taken for the other file's day


@pytest.mark.parametrize(
    ("content", "name", "form", "words", "field", "line"),
    [
        (b"", "base.csv", {}, "The file is empty.", None, None),
        (b"\n \n", "base.csv", {}, "The file is empty.", None, None),
        (b"ab\n\x00\x01\x02" * 99, "base.csv", {}, "The file is binary, not text.", None, 2),
        (b"PK\x03\x04rest", "day.zip", {}, "The file is an archive.", None, None),
        (BASE.encode(), "base.csv", {"role": "plan"}, "A file of role plan can't be", "role", None),
        (BASE.encode(), "base.csv", {"role": "king"}, "A role is one of", "role", None),
        (BASE.replace("Z", "").replace("_utc", "").encode(), "base.csv", {"role": "base"},
         "doesn't say the time zone", "time_zone", None),
        (BASE.replace("22950.7", "wrong").encode(), "base.csv", {}, "", "columns", 9),
        (BASE.encode(), "base.csv", {"time_zone": "Moon"}, "zone is unknown", "time_zone", None),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_refused_in_words_beside_its_field(
    empty, content, name, form, words, field, line
):
    session, client = empty
    refused = preview(client, content, name, **form)["refused"]
    assert words in refused["rule"]
    assert (refused["field"], refused["line"]) == (field, line)
    before = survey_bytes(session)
    answer = client.post("/api/files", files=sent(content, name), data={"role": "base"} | form)
    assert answer.status_code == 400
    assert answer.json()["problem"]["text"]
    assert {k: v for k, v in survey_bytes(session).items() if k.name != ".lock"} == before


def test_several_files_go_in_together_or_not_at_all(empty):
    session, client = empty
    files = [("file", ("a.csv", BASE.encode())), ("file", ("b.csv", b"\x00\x01rubbish"))]
    assert client.post("/api/files", files=files, data={"role": "base"}).status_code == 400
    assert client.get("/api/files").json()["files"] == []
    assert not list((session.path / "raw").glob("[!.]*"))


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("../../../outside.csv", "outside.csv"),
        ("..\\..\\outside.csv", "outside.csv"),
        ("/etc/passwd", "passwd"),
        (".hidden", "hidden"),
        ("ledger.json", None),
        ("nul.csv", "_nul.csv"),
        ("ä" * 300 + ".csv", None),
        ("a\u202egpj.csv", "a_gpj.csv"),
    ],
)
def test_a_name_leads_nowhere_else(empty, name, kept):
    session, client = empty
    added = client.post("/api/files", files=sent(BASE, name), data={"role": "base"})
    assert added.status_code == 201, added.text
    (entry,) = read_ledger(open_survey(session.path))
    place = session.path / "raw" / entry.name
    assert place.read_bytes() == BASE.encode()
    assert place.resolve().parent == (session.path / "raw").resolve()
    assert len(entry.name.encode()) <= 200
    assert kept is None or entry.name == kept
    assert not (session.path.parent / "outside.csv").exists()


def test_the_same_file_twice_is_told_before_and_refused_after(empty):
    _, client = empty
    assert client.post("/api/files", files=sent(BASE), data={"role": "base"}).status_code == 201
    found = preview(client, BASE, "copy.csv")
    assert (found["held"], found["unchanged"], found["refused"]) == ("raw/base.csv", True, None)
    answer = client.post("/api/files", files=sent(BASE, "copy.csv"), data={"role": "base"})
    assert answer.status_code == 400
    assert "in the survey already" in answer.json()["problem"]["rule"]
    other = preview(client, BASE, "copy.csv", instrument="B2")
    assert not other["unchanged"]


def test_the_list_has_spans_and_a_file_is_set_aside_and_brought_back(empty):
    session, client = empty
    client.post("/api/files", files=sent(BASE), data={"role": "base", "instrument": "B1"})
    (row,) = client.get("/api/files").json()["files"]
    assert (row["role"], row["instrument"], row["size_bytes"]) == ("base", "B1", len(BASE))
    assert row["span"]["end_utc"] == "2026-03-10T12:29:00Z"
    body = {"stored_as": row["stored_as"]}
    assert client.post("/api/files/aside", json=body).status_code == 422
    body |= {"reason": "the base fell over", "who": "K. L."}
    assert client.post("/api/files/aside", json=body).status_code == 200
    (aside,) = client.get("/api/files").json()["files"]
    assert aside["role"] == "set_aside"
    assert aside["note"].startswith("the base fell over (K. L., 20")
    assert client.post("/api/files/aside", json=body).status_code == 400
    shown = client.post("/api/files/preview", data={"held": row["stored_as"], "role": "base"})
    assert (shown.json()[0]["held_role"], shown.json()[0]["readings"]) == ("set_aside", 30)
    back = client.post("/api/files", data={"held": row["stored_as"], "role": "base"})
    assert back.status_code == 201, back.text
    (again,) = client.get("/api/files").json()["files"]
    assert (again["role"], again["note"]) == ("base", "")
    assert (session.path / "raw" / "base.csv").read_bytes() == BASE.encode()


def read_two_bases(client):
    """Add two records of a base, and run the steps that read files."""
    for name, text in (("base.csv", BASE), ("other.csv", BASE.replace("2295", "2296"))):
        client.post("/api/files", files=sent(text, name), data={"role": "base"})
    for step in ("ingest_base", "ingest_rover"):
        client.post("/api/run", json={"to": step})
        ended(client)


def test_what_runs_without_a_file_is_told_before_it_is_set_aside(empty):
    """What is told before is what is told once it was done."""
    _, client = empty
    read_two_bases(client)
    assert client.get("/api/run/pending", params={"to": "ingest_base"}).json()["steps"] == []
    asked = {"to": "time", "aside": "raw/other.csv"}
    told = client.get("/api/run/pending", params=asked).json()["steps"]
    why = {row["step"]: row["why"] for row in told}
    assert why["ingest_base"] == ["raw file other.csv was removed"]
    assert "step ingest_base has to run first" in why["time"]
    assert "ingest_rover" not in why
    assert [row["role"] for row in client.get("/api/files").json()["files"]] == ["base", "base"]
    body = {"stored_as": "raw/other.csv", "reason": "twice", "who": "K"}
    assert client.post("/api/files/aside", json=body).status_code == 200
    assert client.get("/api/run/pending", params={"to": "time"}).json()["steps"] == told


@pytest.mark.parametrize("change", [{"instrument": "B9"}, {"role": "rover"}])
def test_what_runs_after_a_file_is_read_anew_is_told_before(empty, change):
    """What is told before is what is told once it was done, whether name or role are others."""
    _, client = empty
    read_two_bases(client)
    asked = {"anew": "raw/other.csv", **{key: change[key] for key in change if key == "role"}}
    told = client.get("/api/run/pending", params=asked).json()["steps"]
    wanted = "was removed" if "role" in change else "is read in another way"
    assert {"step": "ingest_base", "why": [f"raw file other.csv {wanted}"]} in [
        {key: row[key] for key in ("step", "why")} for row in told
    ]
    body = {"held": "raw/other.csv", "role": "base", **change}
    assert client.post("/api/files", data=body).status_code == 201
    assert client.get("/api/run/pending").json()["steps"] == told


def test_what_runs_after_a_file_is_brought_back_is_told_before(empty):
    _, client = empty
    client.post("/api/files", files=sent(BASE, "base.csv"), data={"role": "base"})
    body = {"stored_as": "raw/base.csv", "reason": "twice", "who": "K"}
    client.post("/api/files/aside", json=body)
    client.post("/api/run", json={"to": "ingest_base"})
    ended(client)
    told = client.get("/api/run/pending", params={"anew": "raw/base.csv"}).json()["steps"]
    assert ["raw file base.csv was added"] in [row["why"] for row in told]


@pytest.mark.parametrize("name", ["../survey.toml", "nosuch.csv", "raw/../survey.toml"])
def test_only_files_of_the_ledger_can_be_read_again(empty, name):
    _, client = empty
    for path in ("files", "files/preview"):
        answer = client.post(f"/api/{path}", data={"held": name, "role": "base"})
        assert answer.status_code == 400
        assert "no such file" in answer.json()["problem"]["rule"]
    for change in ("aside", "anew"):
        answer = client.get("/api/run/pending", params={change: name})
        assert answer.status_code == 400


def test_a_file_brought_back_has_the_role_that_it_had(empty):
    """A base's record that was added as a rover's: by its looks it would be a base's again."""
    _, client = empty
    client.post("/api/files", files=sent(BASE), data={"role": "rover", "instrument": "R7"})
    (row,) = client.get("/api/files").json()["files"]
    why = {"reason": "as a test", "who": "K"}
    client.post("/api/files/aside", json={"stored_as": row["stored_as"], **why})
    (back,) = client.post("/api/files/preview", data={"held": row["stored_as"]}).json()
    assert (back["role"], back["instrument"]) == ("rover", "R7")


def test_a_column_map_goes_both_ways(empty):
    _, client = empty
    text = client.post("/api/column-map", json={"columns": MAP}).json()["toml"]
    back = client.post("/api/column-map", json={"toml": text}).json()["columns"]
    assert {key: back["time"][key] for key in MAP["time"]} == MAP["time"]
    assert back["columns"] == MAP["columns"]
    wrong = client.post("/api/column-map", json={"toml": "delimiter = \n"})
    assert wrong.status_code == 400
    for columns in ({"nosuch": 1}, {"columns": {"king": 1}}, {"time": {"zone": "Moon"}}):
        assert client.post("/api/column-map", json={"columns": columns}).status_code == 400


def test_a_wrong_map_is_refused_with_the_columns_still_shown(empty):
    _, client = empty
    wrong = MAP | {"columns": {"date": 1, "time": 2, "field": 3}}
    found = preview(client, LOGGER, "R1.csv", role="rover", columns=json.dumps(wrong))
    assert found["refused"]["line"] == 2
    assert len(found["columns"]) == 5
    for text in ("{", "[1]"):
        answer = client.post(
            "/api/files/preview", files=sent(LOGGER, "R1.csv"), data={"columns": text}
        )
        assert answer.status_code == 400


def test_likely_roles_of_the_usual_files(empty):
    _, client = empty
    gpx = '<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">{}</gpx>'
    point = '<trk><trkseg><trkpt lat="-24.9" lon="-50.4"><time>2026-03-10T12:00:00Z</time></trkpt>'
    rover = "time_utc,latitude,longitude,field_nT\n2026-03-10T12:00:00Z,-24.9,-50.4,22950.1\n" * 1
    rover += "2026-03-10T12:00:01Z,-24.9,-50.4,22950.2\n2026-03-10T12:00:02Z,-24.9,-50.4,22950.3\n"
    asked = [
        (rover, "day1.csv", "rover"),
        (BASE, "day1.csv", "base"),
        (LOGGER, "R3 evening.csv", "rover"),
        (gpx.format(f"{point}</trkseg></trk>"), "x.gpx", "track"),
        (gpx.format('<rte><name>L1</name><rtept lat="-24.9" lon="-50.4"/></rte>'), "x.gpx", "plan"),
    ]
    for text, name, role in asked:
        assert preview(client, text, name)["role"] == role, name


#: A walk whose positions, and line, have names that tell nothing.
WALK = "stamp,xx,yy,btot,leg\n" + "".join(
    f"2026-06-17 07:20:{second:02d},{469999 + second}.62,{4984999 - second}.88,47650.{second},1\n"
    for second in range(10, 40)
)


def walked(**columns):
    """Return the walk's column map as a form sends it."""
    return json.dumps({"columns": {"time": "stamp", "field": "btot"} | columns})


def test_a_walk_without_positions_that_are_read_says_what_is_not_read(empty):
    _, client = empty
    found = preview(client, WALK, "walk_june.csv", time_zone="UTC")
    assert (found["role"], found["instrument"], found["refused"]) == ("rover", "rover", None)
    assert found["unread"] == ["xx", "yy", "leg"]
    (lacking,) = found["lacking"]
    assert lacking.startswith("No position is read: a track of its GPS must be added")
    assert preview(client, WALK, "walk.csv", role="base", time_zone="UTC")["lacking"] == []
    placed = walked(easting="xx", northing="yy")
    found = preview(client, WALK, "w.csv", role="rover", columns=placed, time_zone="UTC")
    assert (found["unread"], found["lacking"]) == (["leg"], [])


def test_a_base_with_other_sensors_is_still_taken_for_a_base(empty):
    _, client = empty
    text = "stamp,btot,temp,volts,count\n" + "".join(
        f"2026-06-17 07:20:{second:02d},47650.{second},21.{second},12.{second},{20000 + second}\n"
        for second in range(10, 40)
    )
    assert preview(client, text, "day.csv", time_zone="UTC")["role"] == "base"


def test_a_rover_whose_track_is_there_lacks_no_position(empty):
    _, client = empty
    track = "time_utc,latitude,longitude\n" + "".join(
        f"2026-06-17T07:20:{second:02d}Z,-24.9,-50.4{second}\n" for second in range(10, 40)
    )
    added = client.post(
        "/api/files", files=sent(track, "R2.csv"), data={"role": "track", "instrument": "R2"}
    )
    assert added.status_code == 201, added.text
    asked = {"role": "rover", "time_zone": "UTC"}
    assert preview(client, WALK, "walk.csv", instrument="R2", **asked)["lacking"] == []
    assert len(preview(client, WALK, "walk.csv", instrument="R3", **asked)["lacking"]) == 1


@pytest.mark.parametrize(
    ("here", "lacking"),
    [("easting", "northing"), ("northing", "easting"), ("longitude", "latitude")],
)
def test_half_a_position_is_refused_beside_the_columns_and_by_adding(empty, here, lacking):
    session, client = empty
    asked = {"role": "rover", "columns": walked(**{here: "xx"}), "time_zone": "UTC"}
    refused = preview(client, WALK, "walk.csv", **asked)["refused"]
    assert refused["rule"] == (
        f"columns.{here} stands without columns.{lacking}: a position has both."
    )
    assert (refused["field"], refused["value"]) == ("columns", "column xx")
    assert refused["remedy"] == f"Say which column is the {lacking}, or leave the {here} out."
    answer = client.post("/api/files", files=sent(WALK, "walk.csv"), data=asked)
    assert answer.status_code == 400
    assert answer.json()["problem"]["rule"] == refused["rule"]
    assert read_ledger(open_survey(session.path)) == []


def test_a_rover_added_as_a_base_is_not_called_base_when_it_is_read_anew(empty):
    _, client = empty
    client.post("/api/files", files=sent(WALK, "w.csv"), data={"role": "base", "time_zone": "UTC"})
    (row,) = client.get("/api/files").json()["files"]
    assert row["instrument"] == "base"
    asked = {"held": row["stored_as"], "role": "rover"}
    (found,) = client.post("/api/files/preview", data=asked).json()
    assert found["instrument"] == "rover"


def test_files_sent_leave_nothing_behind_when_the_survey_is_locked(empty, tmp_path, monkeypatch):
    from lodewalk.survey.lock import locked

    session, client = empty
    temporary = tmp_path / "temporary"
    temporary.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(temporary))
    with locked(open_survey(session.path)):
        answer = client.post("/api/files", files=sent(BASE), data={"role": "base"})
    assert answer.status_code == 409
    assert not list(temporary.iterdir())
    assert not list((session.path / "raw").glob("[!.]*"))
