"""The time zone of a file over the API: said, put right, refused where the file knows better."""

import json

import pytest

from lodewalk.services.opening import open_survey
from lodewalk.survey.ledger import read_ledger

LOCAL = "Data;Hora;Campo_nT;Sinal\n" + "".join(
    f"15.09.2026;07:{minute:02d}:00;32879,{minute};91\n" for minute in range(30, 60)
)
MAP = {
    "delimiter": ";",
    "decimal": ",",
    "columns": {"date": 1, "time": 2, "field": 3, "quality": 4},
    "time": {"date_format": "%d.%m.%Y", "format": "iso", "zone": "-03:00"},
}


def add(client, text, **form):
    """Add the base's record; return the answer."""
    return client.post("/api/files", files={"file": ("base.txt", text.encode())}, data=form)


def look_again(client, **form):
    """Return what is understood of the base's record when it is read anew."""
    data = {"held": "raw/base.txt", "role": "base", **form}
    (found,) = client.post("/api/files/preview", data=data).json()
    return found


def test_a_wrong_zone_that_a_person_put_into_the_map_is_put_right(empty):
    session, client = empty
    assert add(client, LOCAL, role="base", columns=json.dumps(MAP)).status_code == 201
    found = look_again(client, time_zone="+03:00")
    assert found["refused"] is None
    assert not found["unchanged"]
    assert found["column_map"]["time"]["zone"] == "+03:00"
    assert found["span"]["start_utc"] == "2026-09-15T04:30:00Z"
    data = {"held": "raw/base.txt", "role": "base", "time_zone": "+03:00"}
    assert client.post("/api/files", data=data).status_code == 201
    (entry,) = read_ledger(open_survey(session.path))
    assert entry.zone == "+03:00"


def test_the_zone_of_a_file_with_the_same_columns_is_not_the_next_files_word(empty):
    _, client = empty
    add(client, LOCAL, role="base", columns=json.dumps(MAP))
    text = LOCAL.replace("15.09.", "16.09.")
    sent = {"file": ("next.txt", text.encode())}
    form = {"role": "base", "time_zone": "+03:00"}
    (found,) = client.post("/api/files/preview", files=sent, data=form).json()
    assert (found["map_from"], found["refused"], found["zone"]) == ("like", None, "+03:00")


def test_a_zone_that_the_file_itself_tells_stays(empty):
    _, client = empty
    text = LOCAL.replace("Hora", "Hora UTC-3")
    added = add(client, text, role="base", columns=json.dumps(MAP))
    assert added.status_code == 201, added.text
    refused = look_again(client, time_zone="+03:00")["refused"]
    assert refused["rule"].startswith("The file's times are -03:00")
    assert refused["field"] == "time_zone"


@pytest.mark.parametrize("written", ["UTC+3", "+3", "+0300", "gmt+03:00"])
def test_an_offset_is_understood_as_people_write_it(empty, written):
    session, client = empty
    columns = {**MAP, "time": {**MAP["time"], "zone": written}}
    assert add(client, LOCAL, role="base", columns=json.dumps(columns)).status_code == 201
    (entry,) = read_ledger(open_survey(session.path))
    assert (entry.zone, entry.column_map["time"]["zone"]) == ("+03:00", "+03:00")


def test_an_abbreviation_is_answered_with_the_offsets_that_it_stands_for(empty):
    _, client = empty
    columns = {**MAP, "time": {**MAP["time"], "zone": None}}
    answer = add(client, LOCAL, role="base", columns=json.dumps(columns), time_zone="EAT")
    problem = answer.json()["problem"]
    assert answer.status_code == 400
    assert "EAT is no name of a zone; it can stand for +03:00" in problem["remedy"]
    assert "WET" not in problem["remedy"]


ROVER = "time_utc,line,field_nT\n" + "".join(
    f"2026-09-15T10:{minute:02d}:00Z,L1,32880.{minute}\n" for minute in range(30, 60)
)


def doubts_of(client, zone, day="15"):
    """Return what is said to be lacking of a base's record in a zone, beside a rover."""
    rover = {"file": ("rover.csv", ROVER.encode())}
    client.post("/api/files", files=rover, data={"role": "rover", "instrument": "R1"})
    columns = {**MAP, "time": {**MAP["time"], "zone": zone}}
    sent = {"file": ("base.txt", LOCAL.replace("15.09.", f"{day}.09.").encode())}
    form = {"role": "base", "columns": json.dumps(columns)}
    (found,) = client.post("/api/files/preview", files=sent, data=form).json()
    assert found["refused"] is None
    return found["lacking"]


def test_a_base_that_overlaps_no_rover_is_told_before_it_is_added(empty):
    _, client = empty
    (told,) = doubts_of(client, "-04:00")
    assert told.startswith("It overlaps no record of a rover: R1 (rover.csv) lasts from")
    assert "2026-09-15 10:30 to 2026-09-15 10:59 UTC, this one from 2026-09-15 11:30" in told
    assert doubts_of(client, "-03:00") == []
    assert doubts_of(client, "-03:00", day="17") == []  # its rover may still come


def test_a_zone_far_from_the_sun_is_told(empty):
    _, client = empty  # 54 to 48 degrees west
    odd, _ = doubts_of(client, "+03:00")
    assert odd.startswith("Times in +03:00 are odd here")
    assert "Is the sign of the zone right?" in odd
    assert not any("odd" in one for one in doubts_of(client, "UTC"))


def test_places_in_another_zone_are_told_with_the_code_that_fits(empty):
    _, client = empty
    head = "time_utc,latitude,longitude,field_nT\n"
    rows = "".join(
        f"2026-09-15T10:00:{second:02d}Z,-25.1,-46.5{second:02d},22950.{second}\n"
        for second in range(10, 40)
    )
    sent = {"file": ("rover.csv", (head + rows).encode())}
    (found,) = client.post("/api/files/preview", files=sent, data={"role": "rover"}).json()
    assert found["refused"] is None
    assert any("WGS 84 / UTM zone 23S (EPSG:32723) fits them" in one for one in found["lacking"])
    far = (head + rows).replace("-46.5", "-36.5").encode()
    sent = {"file": ("rover.csv", far)}
    (found,) = client.post("/api/files/preview", files=sent, data={"role": "rover"}).json()
    assert "EPSG:32724" in found["refused"]["remedy"]


def test_a_reference_system_that_serves_elsewhere_is_doubted_before_it_is_taken(empty):
    _, client = empty
    place = {"plan.latitude_deg": -25.1, "plan.longitude_deg": -50.2}
    signed = {"reason": "there", "who": "K"}
    assert client.patch("/api/settings", json={"changes": place, **signed}).status_code == 200

    def cautions(crs):
        body = {"changes": {"survey.crs": crs}}
        return client.post("/api/settings/preview", json=body).json()["cautions"]

    (told,) = cautions("EPSG:32723")
    assert told.startswith(
        "The survey lies at 25.100° S, 50.200° W, outside the area of EPSG:32723"
    )
    assert "EPSG:32722" in told
    assert cautions("EPSG:32722") == []


def test_a_zone_as_people_write_it_is_answered_with_its_code(on_shelf):
    _, client = on_shelf
    body = {"name": "Ridge", "folder": "ridge", "crs": "UTM 37S"}
    problem = client.post("/api/surveys", json=body).json()["problem"]
    assert "EPSG:32737" in problem["remedy"]


def test_an_area_alone_is_nothing_to_run_on(empty):
    _, client = empty
    ring = [[-50.3, -25.1], [-50.29, -25.1], [-50.29, -25.09], [-50.3, -25.1]]
    shape = {"type": "Polygon", "coordinates": [ring]}
    sent = {"file": ("area.geojson", json.dumps(shape).encode())}
    added = client.post("/api/files", files=sent, data={"role": "area"})
    assert added.status_code == 201, added.text
    assert client.get("/api/run/pending").json()["files"] == 0
    assert add(client, LOCAL, role="base", columns=json.dumps(MAP)).status_code == 201
    assert client.get("/api/run/pending").json()["files"] == 1
