"""A plan that was adopted, as it was walked: repeat line, other plans' names, lines in pieces.

The legs of each walk are laid down here; what was covered follows from them by hand.
"""

import pytest

from lodewalk.services.check import check
from lodewalk.services.new import new_survey
from lodewalk.services.plan import plan
from lodewalk.services.plan_files import PlanFiles
from lodewalk.services.run import run
from lodewalk.survey.folder import open_folder
from lodewalk.survey.store import read_product
from planned_area import CRS
from walked_area import geojson, legs, spaced, walk

SIZE_M = (300.0, 500.0)


@pytest.fixture(autouse=True)
def _few_files(monkeypatch):
    def nothing(*_, adopting=None, **__):
        if adopting:
            adopting()
        return PlanFiles((), ())

    monkeypatch.setattr("lodewalk.services.plan.write_plan_files", nothing)


@pytest.fixture
def survey(tmp_path):
    settings = {"plan": {"line_spacing_m": 50.0, "line_azimuth_deg": 0.0, "repeat_length_m": 150.0}}
    new_survey(tmp_path / "survey", name="Hill", crs=CRS, settings=settings)
    folder = open_folder(tmp_path / "survey")
    east, north = SIZE_M
    plan(
        folder,
        area=[geojson(tmp_path / "a.geojson", [(0, 0), (east, 0), (east, north), (0, north)])],
    )
    return folder


def host_of(survey):
    ((_, (east, _), _),) = legs(survey, "R01")
    return next(name for name in lines_of(survey) if abs(legs(survey, name)[0][1][0] - east) < 0.01)


def lines_of(survey):
    frame = read_product(survey, "planned_lines").frame
    return sorted(frame.filter(frame["kind"] == "line")["line"].to_list())


def texts(found, kind):
    return [item.text for item in found.findings if item.kind == kind]


def day_with_repeats(survey, *names):
    """Return R01, the lines and R01 again, the lines to and fro."""
    walked = [
        leg if n % 2 == 0 else (leg[0], leg[2], leg[1])
        for n, leg in enumerate(legs(survey, *names))
    ]
    return [*legs(survey, "R01"), *walked, *legs(survey, "R01")]


@pytest.mark.parametrize("named", [False, True])
def test_the_repeat_line_is_known_and_never_asked_for(survey, tmp_path, named):
    host = host_of(survey)
    others = [name for name in lines_of(survey) if name != host]
    walk(survey, tmp_path, day_with_repeats(survey, *others[:3]), named=named)
    found = check(survey)
    lines = [line.line for day in found.days for line in day.lines]
    assert sorted(lines) == sorted([*others[:3], "R01", "R01"])
    assert {row.line for row in found.coverage} == set(others[:3])
    assert found.rewalk.length_m == 0
    (repeat,) = [test for test in found.tests if test.test == "repeat-line"]
    assert (repeat.item, repeat.passed) == ("R01", True)


@pytest.mark.parametrize("named", [False, True])
def test_the_line_under_the_repeat_line_walked_whole_stays_that_line(survey, tmp_path, named):
    host = host_of(survey)
    walk(survey, tmp_path, day_with_repeats(survey, host), named=named)
    found = check(survey)
    assert [line.line for day in found.days for line in day.lines] == ["R01", host, "R01"]
    (row,) = found.coverage
    assert (row.line, row.covered_share) == (host, pytest.approx(1.0, abs=0.01))


def test_a_short_span_of_the_line_walked_again_stays_that_line(survey, tmp_path):
    """R01 is 150 m long; 60 m within it are less than half of it."""
    host = host_of(survey)
    ((_, first, last),) = legs(survey, "R01")
    assert abs(last[1] - first[1]) == pytest.approx(150.0, abs=0.1)
    low = min(first[1], last[1])
    span = (host, (first[0], low + 40.0), (first[0], low + 100.0))
    away = (None, (first[0] + 24.0, low), (first[0] + 24.0, low + 5.0))
    walk(survey, tmp_path, [*legs(survey, host), away, span])
    assert set(check_names(survey)) == {host}


def check_names(survey):
    run(survey, to="lines")
    return read_product(survey, "lines").frame["line"].to_list()


def test_repeat_line_tests_have_one_row_a_rover_and_day(survey, tmp_path):
    """Two rovers, two days, twice a day: the second day's pairs take in the first day's.

    R2 reads 4 nT more on its second day, so that this day's worst pair is across the days.
    """
    for day in (0, 1):
        for instrument in ("R1", "R2"):
            level = 4.0 if (instrument, day) == ("R2", 1) else 0.0
            walk(
                survey, tmp_path, day_with_repeats(survey, "L001"), day=day,
                instrument=instrument, named=True, level_nT=level,
            )  # fmt: skip
    tests = [t for t in check(survey).tests if (t.test, t.item) == ("repeat-line", "R01")]
    passed = {(t.instrument, t.day): t.passed for t in tests}
    assert len(tests) == 4
    assert passed == {
        ("R1", "2026-12-07"): True, ("R1", "2026-12-08"): True,
        ("R2", "2026-12-07"): True, ("R2", "2026-12-08"): False,
    }  # fmt: skip
    (worst,) = [t for t in tests if t.passed is False]
    assert abs(worst.figure_nT) == pytest.approx(4.0, abs=0.2)
    assert "the worst of 5 pairs" in worst.text


def test_names_of_another_plan_send_nobody_out(survey, tmp_path):
    """Lines 50 m apart, named; then lines 60 m apart: only L003 of both lie at 150 m or so."""
    names = lines_of(survey)
    walk(survey, tmp_path, day_with_repeats(survey, *names), named=True)
    wider = spaced(survey, 60.0)
    told = plan(wider, replaces=True)
    assert any("walked under" in text for text in told.warnings)
    found = check(wider)
    assert found.rewalk.length_m == 0
    assert not any(
        "has no reading" in reason
        for day in found.days for line in day.lines for reason in line.reasons
    )  # fmt: skip
    odd = [item for item in found.findings if item.kind == "line names"]
    (text,) = [item.text for item in odd if item.severity == "doubt"]
    assert "names of another plan" in text


def test_lines_walked_without_names_off_the_new_plan_are_told_in_kilometres(survey, tmp_path):
    """Lines at 25, 75, …, 275 m; then at 30, 90, …, 270 m: at most 25/30 and 275/270 agree."""
    names = lines_of(survey)
    walk(survey, tmp_path, day_with_repeats(survey, *names))
    before = [item for item in check(survey).findings if item.kind == "off the plan"]
    assert [item for item in before if item.severity == "doubt"] == []  # ways between lines only
    wider = spaced(survey, 60.0)
    plan(wider, replaces=True)
    (after,) = [item for item in check(wider).findings if item.kind == "off the plan"]
    assert after.severity == "doubt"
    new = [leg[1][0] for leg in legs(wider, *lines_of(wider))]
    off_line_m = wider.settings.lines.off_line_m
    lost = [n for n in range(6) if min(abs(25.0 + 50.0 * n - e) for e in new) > off_line_m]
    assert len(lost) >= 3
    more = kilometres(after) - sum(map(kilometres, before))
    # The former repeat line, walked twice, may lie off the new plan as well: 0.3 km.
    assert 0.9 * 0.5 * len(lost) < more < 1.1 * 0.5 * len(lost) + 0.3


def kilometres(finding):
    return float(finding.text.split(": ")[1].split(" km")[0])


def test_one_line_walked_off_its_place_is_still_asked_for(survey, tmp_path):
    names = lines_of(survey)
    walked = legs(survey, *names[:4])
    name, (e1, n1), (e2, n2) = walked[2]
    walked[2] = (name, (e1 + 18.0, n1), (e2 + 18.0, n2))
    walk(survey, tmp_path, walked, named=True)
    found = check(survey)
    rows = {row.line: row.covered_share for row in found.coverage}
    assert rows[name] == 0.0
    assert texts(found, "line names") == []


@pytest.mark.parametrize(("aside", "told"), [(6.0, False), (17.0, True), (45.0, False)])
def test_a_walk_beside_a_planned_line_that_nobody_walked_is_told(survey, tmp_path, aside, told):
    """Lines 50 m apart of 500 m each, to and fro; within 10 m of one a reading counts for it."""
    ((_, first, last),) = legs(survey, "L005")
    walked = [("L005", *((east + aside, north) for east, north in (first, last)))]
    for name in ("L003", "L002"):
        walked += [(name, *ends[::-1]) if len(walked) % 2 else (name, *ends)
                   for _, *ends in legs(survey, name)]  # fmt: skip
    walk(survey, tmp_path, walked)
    found = [item for item in check(survey).findings if item.kind == "beside a planned line"]
    assert bool(found) == told, [one.text for one in found]
    for item in found:
        assert item.severity == "doubt"
        off = item.text.split(" m beside L005")[0].rpartition(" lie ")
        assert float(off[2]) == pytest.approx(aside, abs=1.5)
        assert float(off[0].rpartition(" ")[0].rpartition(" ")[2]) == pytest.approx(500.0, abs=25)


def test_a_whole_line_s_name_counts_for_its_pieces(tmp_path):
    """A pond parts the lines in the middle; the rover names each by its whole line."""
    settings = {"plan": {"line_spacing_m": 50.0, "line_azimuth_deg": 0.0}}
    new_survey(tmp_path / "survey", name="Hill", crs=CRS, settings=settings)
    survey = open_folder(tmp_path / "survey")
    area = geojson(tmp_path / "a.geojson", [(0, 0), (300, 0), (300, 500), (0, 500)])
    pond = geojson(
        tmp_path / "p.geojson", [(-9, 220), (309, 220), (309, 280), (-9, 280)], kind="water"
    )
    plan(survey, area=[area], exclude=[pond])
    pieces = [name for name in lines_of(survey) if name.startswith("L00")]
    assert {"L001A", "L001B"} <= set(pieces)
    walked = [
        (f"L00{n}", (25.0 + 50.0 * (n - 1), 0.0), (25.0 + 50.0 * (n - 1), 500.0)) for n in (1, 2, 3)
    ]
    walk(survey, tmp_path, walked, named=True)
    found = check(survey)
    rows = {row.line: row.covered_share for row in found.coverage}
    assert {f"L00{n}{piece}" for n in (1, 2, 3) for piece in "AB"} <= set(rows)
    assert all(share > 0.97 for share in rows.values())
    assert texts(found, "line names") == []
    assert found.rewalk.length_m == 0


def test_a_name_that_the_plan_lacks_is_told(survey, tmp_path):
    ((_, first, last),) = legs(survey, "L002")
    walk(survey, tmp_path, [("X9", first, last), *legs(survey, "L003")], named=True)
    found = check(survey)
    (text,) = texts(found, "line names")
    assert "no line named X9" in text
    assert {row.line for row in found.coverage} == {"L002", "L003"}
