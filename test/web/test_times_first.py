"""What the evening begins with where times are wrong, or nothing was walked."""

from types import SimpleNamespace

from lodewalk.services.check import CheckedLine, RewalkSpan
from lodewalk.services.evening.day import EveningFinding, to_do

START = "2026-09-15T05:40:00.000Z"


def finding(kind, name):
    return EveningFinding(
        kind, name, START, START, "loss", f"{name}: words", today=True, lines=[], answered=None,
        standing=None,
    )  # fmt: skip


def day_of(lines):
    base = SimpleNamespace(intervals=[])
    return SimpleNamespace(date="2026-09-15", lines=lines, base=base)


def test_a_base_at_other_times_is_looked_at_before_anything_is_walked_again():
    line = CheckedLine("L1", "R1", START, "re-walk", ["no base"], 500.0, None, None)
    spans = [RewalkSpan("L1", True, 500.0, "no base", 0.0, 0.0, 0.0, 500.0)]
    check = SimpleNamespace(rewalk=SimpleNamespace(spans=spans), tests=[])
    found = to_do(check, day_of([line]), [finding("base and rover never overlap", "R1")])
    assert found[0].where == "files"
    assert "R1: the base never recorded at its times. Before walking again" in found[0].text
    assert found[1].text.startswith("Walk again: L1")
    plain = to_do(check, day_of([line]), [finding("base stuck", "B1")])
    assert plain[0].text.startswith("Walk again: L1")


def test_a_day_without_a_line_has_something_to_do():
    check = SimpleNamespace(rewalk=SimpleNamespace(spans=[]), tests=[])
    (only,) = to_do(check, day_of([]), [])
    assert only.text.startswith("No line was walked.")
    assert "base's record" in only.text
