"""Columns of numbers as pages get them, unpacked as a browser does."""

import json
import math
import shutil
from datetime import UTC, datetime, timedelta
from urllib.parse import quote

import numpy as np
import polars as pl
import pytest

from lodewalk.services.add import add_files
from lodewalk.services.curves.base import thinned
from lodewalk.services.curves.walks import why_lost
from lodewalk.services.new import new_survey
from lodewalk.services.opening import open_survey
from lodewalk.services.run import run
from lodewalk.survey.ledger import read_ledger
from small_survey import CRS, write_small_survey
from web_client import client_of

TYPES = {"f4": "<f4", "f8": "<f8", "i4": "<i4", "u1": "u1"}


def unpacked(body):
    """Return header and arrays of an answer."""
    length = int.from_bytes(body[:4], "little")
    about, place, found = json.loads(body[4 : 4 + length]), 4 + length, {}
    for column in about["columns"]:
        place += -place % 8
        dtype = np.dtype(TYPES[column["type"]])
        found[column["name"]] = np.frombuffer(body, dtype, column["count"], place)
        place += dtype.itemsize * column["count"]
    assert place == len(body)
    return about, found


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    """A small survey that was run to its grid, and a client for it."""
    folder = tmp_path_factory.mktemp("small")
    write_small_survey(folder)
    new_survey(folder / "survey", name="Small", crs=CRS)
    survey = open_survey(folder / "survey")
    add_files(survey, [folder / "base.csv"], role="base")
    add_files(survey, [folder / "rover.csv"], role="rover")
    for step in ("check", "grid"):
        run(survey, to=step)
    _, client = client_of(folder / "survey")
    return folder / "survey", client


def test_numbers_go_as_they_are_and_words_are_packed(served):
    client = served[1]
    for name in ("walks", "base", "lines/L1"):
        assert client.get(f"/api/{name}").headers["content-encoding"] == "identity", name
    assert client.get("/api/openapi.json").headers["content-encoding"] == "gzip"


def test_walks_are_all_places_in_local_metres(served):
    path, client = served
    about, found = unpacked(client.get("/api/walks").content)
    readings = pl.read_parquet(path / "products" / "readings.parquet").with_row_index("row")
    own = readings.filter(pl.col("easting_m").is_not_null()).to_dict(as_series=False)
    places = dict(
        zip(own["row"], zip(own["easting_m"], own["northing_m"], strict=True), strict=True)
    )
    assert found["row"].size == len(places)
    east = found["easting_m"].astype(float) + about["origin_easting_m"]
    north = found["northing_m"].astype(float) + about["origin_northing_m"]
    for row, x, y in zip(found["row"], east, north, strict=True):
        assert math.dist(places[row], (x, y)) < 1e-3
    lines = pl.read_parquet(path / "products" / "steps" / "rover_lines.parquet")["passage"]
    for number, one in enumerate(about["passages"]):
        rows = found["row"][one["first"] : one["first"] + one["count"]]
        assert set(lines[rows.tolist()]) <= {number}
    assert sum(one["count"] for one in about["passages"]) == lines[list(places)].is_not_null().sum()
    times = {row: time.timestamp() for row, time in zip(own["row"], own["time_utc"], strict=True)}
    for row, time in zip(found["row"], found["time_s"], strict=True):
        assert abs(times[row] - about["start_s"] - time) < 0.01
    assert {one["verdict"] for one in about["passages"]} <= {"keep", "doubt", "re-walk"}


def test_walks_tell_why_readings_are_not_kept(served):
    assert unpacked(served[1].get("/api/walks").content)[0]["lost"] == []
    start = datetime(2026, 3, 10, 13, 17, tzinfo=UTC)
    frame = pl.DataFrame(
        {
            "kept": [True, False, False, False, False],
            "reason": [None, "spike", "gap", "gap", "gap"],
            "line": ["L1", "L1", "L2", "L1", None],
            "time_utc": [start + timedelta(seconds=one) for one in range(5)],
        }
    )
    gap, spike = why_lost(frame)
    assert (gap["reason"], gap["readings"]) == ("gap", 3)
    assert gap["lines"] == ["L1", "L2"]
    assert [gap[end][:19] for end in ("start_utc", "end_utc")] == [
        "2026-03-10T13:17:02",
        "2026-03-10T13:17:04",
    ]
    assert (spike["reason"], spike["readings"], spike["lines"]) == ("spike", 1, ["L1"])


def test_a_line_has_its_readings_with_each_correction(served):
    path, client = served
    readings = pl.read_parquet(path / "products" / "readings.parquet")
    line = readings["line"].drop_nulls()[0]
    about, found = unpacked(client.get(f"/api/lines/{line}").content)
    own = readings.filter(pl.col("line") == line)
    assert sorted(about["readings"]) == sorted(own["reading_id"])
    told = dict(zip(about["readings"], found["anomaly_nT"], strict=True))
    for name, value in own.select("reading_id", "anomaly_nT").iter_rows():
        assert told[name] == pytest.approx(value, abs=1e-3, nan_ok=True)
    refused = client.get("/api/lines/nosuch")
    assert refused.status_code == 400
    assert line in refused.json()["problem"]["remedy"]


def test_a_grid_is_given_row_by_row_from_the_south_west(served):
    path, client = served
    import xarray as xr

    (listed, *_) = client.get("/api/grids").json()["grids"]
    about, found = unpacked(client.get(f"/api/grids/{listed['name']}").content)
    with xr.open_dataset(path / "products" / "grids.nc", engine="h5netcdf") as file:
        wanted = file[listed["name"]].values
    told = found["values"].reshape(about["nodes_north"], about["nodes_east"])
    assert np.allclose(told, wanted, rtol=1e-6, equal_nan=True)


def test_every_spike_of_the_base_stays_visible(served):
    _, client = served
    _, whole = unpacked(client.get("/api/base", params={"bins": 10_000}).content)
    _, few = unpacked(client.get("/api/base", params={"bins": 10}).content)
    assert few["time_s"].size < whole["time_s"].size
    assert few["high_nT"].max() == whole["high_nT"].max()
    assert few["low_nT"].min() == whole["low_nT"].min()


def test_a_gap_of_the_base_stays_open():
    times = np.r_[np.arange(0.0, 100.0), np.arange(500.0, 600.0)]
    for bins in (1000, 20):
        at, low, _ = thinned(times, np.sin(times), bins=bins, gap_s=3.0)
        inside = (at > 120.0) & (at < 480.0)
        assert np.isnan(low[inside]).all()
        assert inside.any()


def test_before_the_first_run_it_is_said_so(empty):
    _, client = empty
    for path in ("walks", "lines/L1", "check"):
        answer = client.get(f"/api/{path}")
        assert answer.status_code == 400, path
        assert "un" in answer.json()["problem"]["text"]
    assert client.get("/api/grids").json() == {"grids": []}


def test_the_list_of_grids_is_what_the_files_hold(served):
    import xarray as xr

    path, client = served
    listed = {one["name"]: one for one in client.get("/api/grids").json()["grids"]}
    for name in ("grids.nc", "targets.nc"):
        if not (path / "products" / name).exists():
            continue
        with xr.open_dataset(path / "products" / name, engine="h5netcdf") as file:
            for grid in (one for one in file.data_vars if file[one].ndim == 2):
                told = listed[grid]
                assert (told["nodes_north"], told["nodes_east"]) == file[grid].shape
                assert told["west_m"] == float(file[grid].attrs["west_m"])
                assert told["crs"] == CRS
                assert told["about"]


def test_a_new_grid_is_told_at_once(served):
    """What is kept between requests must not outlive its file."""
    path, client = served
    import shutil

    file = path / "products" / "grids.nc"
    spare = file.with_suffix(".spare")
    shutil.copy2(file, spare)
    before = client.get("/api/grids").json()["grids"]
    file.unlink()
    try:
        assert len(client.get("/api/grids").json()["grids"]) < len(before)
        gone = client.get("/api/grids/total_field_anomaly")
        assert gone.status_code == 400 or before[0]["name"] != "total_field_anomaly"
    finally:
        spare.replace(file)
    assert client.get("/api/grids").json()["grids"] == before


def test_contours_lie_where_the_grid_takes_their_level(served):
    path, client = served
    import xarray as xr

    about, found = unpacked(
        client.get("/api/grids/total_field_anomaly/contours", params={"interval": 5}).content
    )
    with xr.open_dataset(path / "products" / "grids.nc", engine="h5netcdf") as file:
        grid = file["total_field_anomaly"]
        spacing = float(grid.attrs["spacing_m"])
        grid = grid.assign_coords(
            easting=np.arange(grid.shape[1]) * spacing, northing=np.arange(grid.shape[0]) * spacing
        )
        values = grid.interp(
            easting=xr.DataArray(found["east_m"].astype(float), dims="p"),
            northing=xr.DataArray(found["north_m"].astype(float), dims="p"),
        ).values
    levels = np.repeat(found["levels"], np.diff(found["starts"]))
    assert levels.size
    assert set(levels % about["interval"]) == {0.0}
    known = np.isfinite(values)
    assert known.mean() > 0.9
    assert np.abs(values - levels)[known].max() < 0.02 * np.ptp(levels) + 0.1
    _, pieces = unpacked(
        client.get(
            "/api/grids/total_field_anomaly/contours", params={"interval": 5, "least": 1e5}
        ).content
    )
    assert pieces["levels"].size == 0
    assert pieces["starts"].tolist() == [0]
    refused = client.get(
        "/api/grids/total_field_anomaly/contours", params={"interval": 1e-6}
    ).json()["problem"]
    assert "nT" in refused["remedy"]


def test_a_place_has_latitude_longitude_and_its_nearest_reading(served):
    path, client = served
    from pyproj import Transformer

    readings = pl.read_parquet(path / "products" / "readings.parquet").drop_nulls("easting_m")
    row = readings.row(readings.height // 2, named=True)
    found = client.get(
        "/api/here", params={"easting_m": row["easting_m"], "northing_m": row["northing_m"]}
    ).json()
    assert found["nearest"]["distance_m"] < 1e-3
    assert math.dist(
        (found["nearest"]["easting_m"], found["nearest"]["northing_m"]),
        (row["easting_m"], row["northing_m"]),
    ) < 1e-3  # fmt: skip
    back = Transformer.from_crs("EPSG:4326", CRS, always_xy=True)
    placed = back.transform(found["longitude_deg"], found["latitude_deg"])
    assert math.dist(placed, (row["easting_m"], row["northing_m"])) < 1e-3
    far = client.get("/api/here", params={"easting_m": 9e6, "northing_m": 1.9e7})
    assert far.status_code in (200, 400)


def test_layers_are_empty_before_anything_is_traced(served):
    _, client = served
    found = client.get("/api/layers").json()
    assert set(found) == {"lineaments", "picks", "bodies"}


def test_products_of_different_runs_are_never_paired(served, tmp_path):
    """A rover file more, and a run that ends at the lines: the readings are still the old ones."""
    path, _ = served
    shutil.copytree(path, tmp_path / "survey")
    survey = open_survey(tmp_path / "survey")
    _, client = client_of(survey.path)
    asked = ("/api/walks", "/api/lines/L1", "/api/here?easting_m=560050&northing_m=7245060")
    lines = unpacked(client.get("/api/walks").content)[0]["passages"]
    assert lines
    write_small_survey(tmp_path, lines=2, seed=2)
    add_files(survey, [tmp_path / "rover.csv"], role="rover")
    run(survey, to="lines")
    for one in asked:
        answer = client.get(one)
        assert answer.status_code == 400, answer.text
        assert "Run the survey again" in answer.json()["problem"]["text"]
    run(survey, to="readings")
    assert client.get("/api/walks").status_code == 200


def test_a_base_record_half_made_anew_is_not_paired(served, tmp_path):
    path, _ = served
    shutil.copytree(path, tmp_path / "survey")
    survey = open_survey(tmp_path / "survey")
    _, client = client_of(survey.path)
    entry = next(one for one in read_ledger(survey) if one.role == "base")
    raw = "\n".join((survey.path / "raw" / entry.name).read_text().splitlines()[:40]) + "\n"
    (tmp_path / "more.csv").write_text(raw.replace("2026-03-10", "2026-03-11"))
    add_files(survey, [tmp_path / "more.csv"], role="base")
    run(survey, to="time")
    answer = client.get("/api/base")
    assert answer.status_code == 400, answer.text
    assert "Run the survey again" in answer.json()["problem"]["text"]


def test_a_reading_is_not_told_from_a_raw_file_that_lies_elsewhere(served, tmp_path):
    path, _ = served
    shutil.copytree(path, tmp_path / "survey")
    _, client = client_of(tmp_path / "survey")
    asked = f"/api/readings/{quote('rover.csv:9', safe='')}"
    assert client.get(asked).status_code == 200
    raw = tmp_path / "survey" / "raw" / "rover.csv"
    shutil.copy2(raw, tmp_path / "rover.csv")
    raw.unlink()
    raw.symlink_to(tmp_path / "rover.csv")
    answer = client.get(asked)
    assert answer.status_code == 400
    assert "outside the survey folder" in answer.json()["problem"]["text"]


def test_a_line_and_a_reading_may_have_a_slash_in_their_name(tmp_path):
    write_small_survey(tmp_path, lines=2)
    rover = tmp_path / "rover.csv"
    rover.write_text(rover.read_text().replace(",L1,", ",L1/north,"))
    new_survey(tmp_path / "survey", name="Small", crs=CRS)
    survey = open_survey(tmp_path / "survey")
    add_files(survey, [tmp_path / "base.csv"], role="base")
    add_files(survey, [rover], role="rover")
    run(survey, to="readings")
    _, client = client_of(survey.path)
    answer = client.get("/api/lines/" + quote("L1/north", safe=""))
    assert answer.status_code == 200, answer.text
    about, _ = unpacked(answer.content)
    assert about["line"] == "L1/north"
    reading = client.get("/api/readings/" + quote(about["readings"][0], safe=""))
    assert reading.json()["reading"]["reading_id"] == about["readings"][0]
    missing = client.get("/api/readings/" + quote("no/such:1", safe=""))
    assert missing.status_code == 400  # by the service, not by the way to it
