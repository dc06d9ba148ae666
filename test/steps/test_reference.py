"""A survey that lies far off the reference field says so: wrong place, unit or tuning."""

import re

import pytest

from lodewalk.services.add import add_files
from lodewalk.services.check import check
from lodewalk.services.new import new_survey
from lodewalk.survey.folder import open_folder
from small_survey import CRS, write_small_survey

KIND = "far from the reference field"


def found(tmp_path, *, off=0.0, crs=CRS, tolerances=None):
    """Return what the check finds of the small survey, its readings off by so many nT.

    Its positions stand as easting and northing, so that the reference system tells where it is.
    """
    truth = write_small_survey(tmp_path)
    rows = [row.split(",") for row in truth.rover.read_text().splitlines()[1:]]
    places = zip(rows, truth.easting, truth.northing, strict=True)
    lines = [
        f"{time},{easting:.2f},{northing:.2f},{height},{line},{float(field) + off:.3f}"
        for (time, _, _, height, line, field), easting, northing in places
    ]
    head = "time_utc,easting_m,northing_m,height_m,line,total_field_nT"
    truth.rover.write_text("\n".join([head, *lines]) + "\n")
    settings = {"tolerances": tolerances} if tolerances else None
    new_survey(tmp_path / "survey", name="Small", crs=crs, settings=settings)
    folder = open_folder(tmp_path / "survey")
    add_files(folder, [truth.base], role="base", instrument="B1")
    add_files(folder, [truth.rover], role="rover", instrument="R1")
    return [one for one in check(folder).findings if one.kind == KIND]


# The small survey's main field is that of an independent library; its bump's median is small.
@pytest.mark.parametrize(
    ("off", "severity"),
    [(0.0, None), (300.0, None), (600.0, "information"), (-600.0, "information"),
     (-1500.0, "doubt")],
)  # fmt: skip
def test_a_constant_is_told_by_its_size(tmp_path, off, severity):
    told = found(tmp_path, off=off)
    assert [one.severity for one in told] == ([severity] if severity else [])
    for one in told:
        assert one.instrument == "R1"
        [size, side] = re.search(r"lie ([\d,]+) nT (above|below)", one.text).groups()
        assert int(size.replace(",", "")) == pytest.approx(abs(off), abs=20)
        assert side == ("above" if off > 0 else "below")


def test_the_wrong_zone_of_the_reference_system_is_told(tmp_path):
    # three zones further east the independent library has 23,930 nT instead of 22,435 nT
    [told] = found(tmp_path, crs="EPSG:31985")
    assert told.severity == "doubt"
    assert re.search(r"lie 1,\d+ nT below .* 23,9\d\d nT.*reference system", told.text)


def test_the_limit_is_a_setting(tmp_path):
    [told] = found(tmp_path, off=600.0, tolerances={"reference_nT": 500.0})
    assert told.severity == "doubt"
