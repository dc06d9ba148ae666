"""An older survey joined in the main job: epoch, height and offset from independent formulas."""

import shutil
from datetime import datetime

import numpy as np
import ppigrf
import pytest
from pyproj import Transformer

from lodewalk.errors import InputError
from small_survey import CRS, HEIGHT, SOUTH, WEST, main_field, stamp
from tied_survey import base

OFFSET_NT = -35.0
SENSOR_M = 2.0
EPOCH = datetime(2003, 7, 1)
#: A southern site.
TO_DEGREES = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)


def dipole(easting, northing, up_m=0.0):
    """A vertical dipole 40 m below the sensor, seen `up_m` higher: a harmonic bump [nT]."""
    depth = 40.0 + up_m
    away = (easting - WEST - 100) ** 2 + (northing - SOUTH - 100) ** 2
    return 80 * 40.0**3 * (2 * depth**2 - away) / (2 * (away + depth**2) ** 2.5)


def old_field(easting, northing, height_m):
    """The main field of 2003 by the independent library [nT]."""
    longitude, latitude = TO_DEGREES.transform(easting, northing)
    parts = [part[0] for part in ppigrf.igrf(longitude, latitude, height_m / 1000, EPOCH)]
    return np.sqrt(sum(part**2 for part in parts))


@pytest.fixture(scope="module")
def walked_job(bench_at, tmp_path_factory):
    """Eleven lines of 200 m, 20 m apart, over the dipole, run once; not to be changed."""
    bench = bench_at(tmp_path_factory.mktemp("walked"))
    rng = np.random.default_rng(2)
    rows, second = [], 0.0
    way = np.arange(0.0, 201.0, 2.0)
    for number in range(11):
        east, north = WEST + 20.0 * number + 0 * way, SOUTH + (way if number % 2 else way[::-1])
        time = second + 2.0 * np.arange(way.size)
        second = time[-1] + 20.0
        main, longitude, latitude = main_field(east, north)
        value = main + dipole(east, north) + 8 * np.sin(time / 2400.0) + rng.normal(0, 0.1, 101)
        rows += [
            f"{stamp(t)},{lat:.8f},{lon:.8f},{HEIGHT:.1f},L{number + 1},{v:.3f}"
            for t, lat, lon, v in zip(time, latitude, longitude, value, strict=True)
        ]
    head = "time_utc,latitude,longitude,height_m,line,total_field_nT"
    bench.add("rover.csv", [head, *rows], "rover", "R1")
    base(bench, "B1", (np.arange(-600.0, second + 600.0, 10.0), 22_950.0))
    bench.run()
    return bench.root


@pytest.fixture
def walked(walked_job, bench_at, tmp_path):
    """A copy of it to join older surveys to."""
    return bench_at(shutil.copytree(walked_job, tmp_path / "walked"))


def older_rows(up_m=0.0, *, total=True, east_m=0.0, seed=3):
    """A grid of 15 m over 260 m, whose values are 35 nT too low."""
    rng = np.random.default_rng(seed)
    axis = np.arange(-30.0, 231.0, 15.0)
    east, north = (part.ravel() for part in np.meshgrid(axis + east_m, axis))
    east, north = WEST + east, SOUTH + north
    value = dipole(east, north, up_m) + OFFSET_NT + rng.normal(0, 1.0, east.size)
    value += old_field(east, north, HEIGHT + up_m) if total else 0.0
    return [
        "easting,northing,total_field_nT",
        *(f"{e:.2f},{n:.2f},{v:.2f}" for e, n, v in zip(east, north, value, strict=True)),
    ]


def joined(bench):
    bench.run()
    (row,) = bench.product("join")["surveys"]
    return row


def test_without_an_older_survey_the_step_is_empty(walked):
    assert walked.product("join")["surveys"] == []
    assert not len(walked.product("joined"))
    assert not len(walked.product("join_findings"))


def test_a_total_field_of_another_year_is_joined_at_its_epoch(walked):
    before = walked.readings()
    walked.add("old.csv", older_rows(), "older", "A2003")
    walked.set("older.A2003", epoch='"2003-07-01"', height_m=SENSOR_M, sd_nT=1.5)
    row = joined(walked)
    # The datum is the base's median, so this survey's own level is not zero: compare with that.
    own = before.filter("kept")
    level = np.median(own["anomaly_nT"] - dipole(own["easting_m"], own["northing_m"]))
    assert row["offset_nT"] == pytest.approx(OFFSET_NT - level, abs=2 * row["sd_nT"])
    # 1 nT over 144 patches is 0.08; beside the dipole the field between lines errs by 0.3 nT, alike
    # over several patches, of which there are few.
    assert 0.03 < row["sd_nT"] < 1.0
    assert row["misfit_nT"] == pytest.approx(1.0, abs=0.4)
    assert row["continued_up_m"] == 0.0
    # The overlap is the walked square of 200 m and at most one line spacing around it.
    assert 0.8 * 200**2 < row["area_m2"] < 260.0**2
    table = walked.product("joined")
    points = table.frame.filter(source="A2003")
    truth = dipole(points["easting_m"].to_numpy(), points["northing_m"].to_numpy()) + level
    assert np.std(points["anomaly_nT"].to_numpy() - truth) == pytest.approx(1.0, abs=0.15)
    assert np.mean(points["anomaly_nT"].to_numpy() - truth) == pytest.approx(0.0, abs=0.4)
    assert points["sd_nT"][0] == pytest.approx(np.hypot(1.5, row["sd_nT"]), abs=1e-3)
    assert (table.frame.filter(source="this survey").height) == own.height
    assert walked.readings().equals(before)


def test_an_anomaly_is_taken_as_it_is_and_continued_to_the_higher_sensor(walked):
    walked.add("air.csv", older_rows(30.0, total=False), "older", "air")
    walked.set("older.air", values='"anomaly"', height_m=SENSOR_M + 30.0)
    row = joined(walked)
    own = walked.readings().filter("kept")
    level = np.median(own["anomaly_nT"] - dipole(own["easting_m"], own["northing_m"]))
    assert row["continued_up_m"] == pytest.approx(30.0)
    # The field continued beyond the survey's edge is guessed by the layer, which the patches'
    # scatter can't see: 1 nT of the 80 nT bump is allowed for it.
    assert row["offset_nT"] == pytest.approx(OFFSET_NT - level, abs=1.0 + 2 * row["sd_nT"])
    (text,) = walked.product("join_findings").frame["text"].to_list()
    assert "continued upward by 30 m" in text


def test_the_report_tells_the_older_survey(walked):
    from lodewalk.services.report import report
    from lodewalk.survey.folder import open_folder

    walked.add("air.csv", older_rows(total=False), "older", "air")
    walked.set("older.air", values='"anomaly"', height_m=SENSOR_M)
    made = report(open_folder(walked.path))
    page = (walked.path / "report" / "report.html").read_text()
    assert made.report
    assert "Older survey air" in page
    assert "older.air.height_m" in page


def test_no_overlap_gives_no_offset(walked):
    walked.add("far.csv", older_rows(east_m=3000.0), "older", "far")
    walked.set("older.far", epoch='"2003-07-01"')
    row = joined(walked)
    assert row["offset_nT"] is None
    assert not len(walked.product("joined"))
    found = walked.product("join_findings").frame.to_dicts()
    assert [f["kind"] for f in found] == ["older survey not joined"]
    assert "shares no place" in found[0]["text"]


def test_what_can_t_be_a_total_field_is_refused(walked):
    walked.add("old.csv", older_rows(total=False), "older", "air")
    walked.set("older.air", epoch='"2003-07-01"')
    with pytest.raises(InputError, match=r"old\.csv.*can't be total field.*anomaly"):
        walked.run()


def test_a_total_field_without_a_date_is_refused(walked):
    walked.add("old.csv", older_rows(), "older", "A2003")
    with pytest.raises(InputError, match=r"old\.csv.*needs its date.*older\.A2003\.epoch"):
        walked.run()


def test_wrong_columns_are_refused_when_added(bench):
    with pytest.raises(InputError, match="position"):
        bench.add("old.csv", ["total_field_nT,depth", "23000.1,2", "23000.2,3", "23001,4"], "older")


def test_all_readings_rejected_gives_no_offset(walked):
    from lodewalk.services.decide import decide
    from lodewalk.survey.folder import open_folder

    decide(
        open_folder(walked.path), kind="drop", instrument="R1", whole=True, reason="wrong", who="AB"
    )
    walked.add("old.csv", older_rows(), "older", "A2003")
    walked.set("older.A2003", epoch='"2003-07-01"')
    row = joined(walked)
    assert row["offset_nT"] is None
    (found,) = walked.product("join_findings").frame["text"].to_list()
    assert "too few kept readings" in found


def test_latitude_longitude_height_and_time_of_its_own(walked):
    """The date comes from its times, the height for the reference field from its heights."""
    east, north = (part.ravel() for part in np.meshgrid(np.arange(0.0, 201.0, 20.0), [40.0, 120.0]))
    east, north = WEST + east, SOUTH + north
    longitude, latitude = TO_DEGREES.transform(east, north)
    value = old_field(east, north, 1200.0) + dipole(east, north) + OFFSET_NT
    rows = [
        f"2003-07-01T10:00:{i:02d}Z,{lat:.8f},{lon:.8f},1200.0,{v:.2f}"
        for i, (lat, lon, v) in enumerate(zip(latitude, longitude, value, strict=True))
    ]
    walked.add("old.csv", ["time_utc,latitude,longitude,height_m,total_field_nT", *rows], "older")
    row = joined(walked)
    own = walked.readings().filter("kept")
    level = np.median(own["anomaly_nT"] - dipole(own["easting_m"], own["northing_m"]))
    assert row["epoch"] == "2003-07-01"
    assert row["offset_nT"] == pytest.approx(OFFSET_NT - level, abs=0.3)
