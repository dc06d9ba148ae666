"""The report comes however little there is; a figure that can't be drawn is named as missing."""

import re
from pathlib import Path

import pytest

from lodewalk.services.add import add_files
from lodewalk.services.new import new_survey
from lodewalk.services.report import report
from lodewalk.survey.folder import open_folder
from small_survey import CRS, write_small_survey


@pytest.fixture(scope="module")
def rows(tmp_path_factory):
    """Return the rows of a base and a rover file, names first."""
    truth = write_small_survey(tmp_path_factory.mktemp("raw"))
    return {role: getattr(truth, role).read_text().splitlines() for role in ("base", "rover")}


def at_one_time(lines):
    """Return the rows with the time of the first."""
    time = lines[1].split(",")[0]
    return [lines[0], *(",".join([time, *row.split(",")[1:]]) for row in lines[1:])]


def at_one_place(lines):
    """Return the rows with the place of the first."""
    place = lines[1].split(",")[1:4]
    cells = [row.split(",") for row in lines[1:]]
    return [lines[0], *(",".join([row[0], *place, *row[4:]]) for row in cells)]


LITTLE = {
    "one reading": lambda base, rover: (base, rover[:2]),
    "one base reading, at a reading's time": lambda base, rover: ([base[0], base[91]], rover),
    "one of each, at one time": lambda base, rover: ([base[0], base[91]], rover[:2]),
    "all readings at one time": lambda base, rover: (base, at_one_time(rover)),
    "one reading a line": lambda base, rover: (base, [rover[0], *rover[1::61]]),
}
LITTLE_BUT_DRAWN = {
    "two readings": lambda base, rover: (base, rover[:3]),
    "one base reading, before all": lambda base, rover: (base[:2], rover),
    "all base readings at one time": lambda base, rover: (at_one_time(base), rover),
    "all readings at one place": lambda base, rover: (base, at_one_place(rover)),
    "no base": lambda _, rover: ([], rover[:2]),
    "no rover": lambda base, _: (base[:2], []),
    "nothing": lambda *_: ([], []),
}


def report_of(base, rover, tmp_path):
    """Return the result of the report on a survey of these rows, and what it says is missing."""
    new_survey(tmp_path / "survey", name="Little", crs=CRS)
    folder = open_folder(tmp_path / "survey")
    for role, lines in (("base", base), ("rover", rover)):
        if lines:
            path = tmp_path / f"{role}.csv"
            path.write_text("\n".join(lines) + "\n")
            add_files(folder, [path], role=role)
    made = report(folder)
    page = Path(made.report).read_text()
    return made, re.findall("Missing:</strong> (.*?)</p>", page)


@pytest.mark.parametrize("case", LITTLE)
def test_the_report_says_which_figure_is_missing(case, rows, tmp_path):
    made, missing = report_of(*LITTLE[case](rows["base"], rows["rover"]), tmp_path)
    assert "no stacked profiles. No line has two readings with an anomaly." in missing
    assert Path(made.profiles).read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize("case", LITTLE_BUT_DRAWN)
def test_the_report_comes(case, rows, tmp_path):
    made, missing = report_of(*LITTLE_BUT_DRAWN[case](rows["base"], rows["rover"]), tmp_path)
    assert not any("stacked" in text for text in missing)
    assert made.map is None


def test_the_profiles_have_a_page_for_each_line(rows, tmp_path):
    made, _ = report_of(rows["base"], rows["rover"], tmp_path)
    assert Path(made.profiles).read_bytes().count(b"/Type /Page ") == 6
    assert not list(Path(made.profiles).parent.glob(".*"))


@pytest.mark.parametrize(
    ("zones", "own", "told"),
    [
        (("+02:00", "+02:00"), "", "UTC; local time is +02:00."),
        (("+02:00", "UTC"), "", "UTC."),
        (("UTC", "UTC"), "", "UTC."),
        (("+02:00", "+02:00"), "Africa/Accra", "UTC; local time is Africa/Accra."),
    ],
)
def test_local_time_is_told_by_the_base_where_the_survey_has_no_zone(tmp_path, zones, own, told):
    new_survey(tmp_path / "hill", name="Hill", crs=CRS)
    settings = tmp_path / "hill" / "survey.toml"
    if own:
        settings.write_text(
            settings.read_text().replace("[survey]", f"[survey]\ntime_zone = '{own}'")
        )
    folder = open_folder(tmp_path / "hill")
    for number, zone in enumerate(zones):
        record = tmp_path / f"base{number}.csv"
        rows = "".join(f"2026-03-1{number} 12:{m:02d}:00,22950.{m}\n" for m in range(20))
        record.write_text(f"time,total_field_nT\n{rows}")
        add_files(folder, [record], role="base", time_zone=zone)
    page = Path(report(folder).report).read_text()
    assert f"Times in this report are {told}" in page
