"""Verdicts and findings that a run changed."""

from lodewalk.services.changed.evening import evening_changes


def line(name, verdict, *, start="2026-03-10T09:00:00Z", rover="R1"):
    return {"line": name, "instrument": rover, "start_utc": start, "verdict": verdict}


def told(*lines, verdict="keep", findings=(), rewalk=0.0, date="2026-03-10"):
    """Return what a check said of one day."""
    day = {"date": date, "verdict": verdict, "lines": list(lines)}
    found = [
        {"kind": kind, "instrument": rover, "start_utc": start, "severity": severity}
        for kind, rover, start, severity in findings
    ]
    return {"days": [day], "findings": found, "rewalk": {"length_m": rewalk}}


def test_the_same_is_no_change():
    one = told(line("L01", "keep"), findings=[("spikes", "R1", "a", "doubt")], rewalk=120.0)
    assert evening_changes(one, one) == ([], [])


def test_lines_of_one_change_stand_together():
    before = told(line("L01", "doubt"), line("L02", "doubt"), line("L03", "keep"), verdict="doubt")
    after = told(line("L01", "keep"), line("L02", "keep"), line("L03", "re-walk"), verdict="doubt")
    assert evening_changes(before, after)[0] == [
        "2026-03-10, L01, L02: doubt became keep.",
        "2026-03-10, L03: keep became re-walk.",
    ]


def test_a_line_walked_twice_keeps_its_passages_apart():
    early, late = "2026-03-10T09:00:00Z", "2026-03-10T11:00:00Z"
    before = told(line("L01", "re-walk", start=early), line("L01", "keep", start=late))
    after = told(line("L01", "keep", start=late), line("L01", "doubt", start=early))
    assert evening_changes(before, after)[0] == ["2026-03-10, L01: re-walk became doubt."]


def test_days_come_change_and_go():
    before = told(line("L01", "keep"), verdict="keep")
    after = told(line("L01", "keep"), verdict="doubt")
    assert evening_changes(before, after)[0] == ["2026-03-10, the day: keep became doubt."]
    other = told(line("L05", "keep"), line("L06", "doubt"), verdict="doubt", date="2026-03-11")
    assert evening_changes(before, other)[0] == [
        "2026-03-11 is new: doubt, lines: 1 keep, 1 doubt.",
        "2026-03-10 is gone.",
    ]


def test_lines_come_and_go():
    before, after = told(line("L01", "keep")), told(line("L02", "doubt"))
    assert evening_changes(before, after)[0] == [
        "2026-03-10, L01: gone.",
        "2026-03-10, L02: new, doubt.",
    ]


def test_less_to_walk_again_is_told_and_a_metre_is_not():
    assert evening_changes(told(rewalk=1204.7), told(rewalk=330.2))[0] == [
        "To walk again: 1,205 m became 330 m."
    ]
    assert evening_changes(told(rewalk=1204.7), told(rewalk=1206.0)) == ([], [])


def test_findings_that_ask_for_something_are_counted_wherever_they_begin():
    before = [("dropout", "R1", "a", "doubt"), ("dropout", "R1", "b", "doubt"),
              ("lag", "R2", "a", "re-walk")]  # fmt: skip
    after = [("dropout", "R1", "c", "doubt"), ("spikes", "R1", "a", "doubt"),
             ("base range", "B1", "a", "information")]  # fmt: skip
    assert evening_changes(told(findings=before), told(findings=after))[1] == [
        "Findings gone: dropout (R1), lag (R2).",
        "Findings new: spikes (R1).",
    ]
