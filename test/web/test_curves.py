"""Columns of numbers as pages get them, unpacked as a browser does."""

import json
import math

import numpy as np
import polars as pl
import pytest

from lodewalk.services.add import add_files
from lodewalk.services.curves.base import thinned
from lodewalk.services.new import new_survey
from lodewalk.services.opening import open_survey
from lodewalk.services.run import run
from small_survey import CRS, write_small_survey
from web_client import client_of

TYPES = {"f4": "<f4", "f8": "<f8", "i4": "<i4"}


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
    assert sum(one["count"] for one in about["passages"]) == (found["passage"] >= 0).sum()
    assert {one["verdict"] for one in about["passages"]} <= {"keep", "doubt", "re-walk"}


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
