"""What a run changed, in words: two standings of a survey compared."""

from lodewalk.services.changed.change import About, Change
from lodewalk.services.changed.evening import evening_changes
from lodewalk.services.changed.map import reading_changes
from lodewalk.services.changed.rocks import depth_changes, lineament_changes, same_lineaments
from lodewalk.services.changed.standing import Standing


def changes(before: Standing, after: Standing) -> list[Change]:
    """Return what changed between two standings of a survey, the evening's things first.

    What wasn't there before is no change: a first run has none.

    Examples
    --------
    >>> changes(Standing(), Standing())
    []
    """
    found: list[tuple[About, list[str]]] = []
    if before.check and after.check:
        verdicts, findings = evening_changes(before.check, after.check)
        found += [("verdicts", verdicts), ("findings", findings)]
    both = [name for name in before.tables if name in after.tables]
    pairs = {name: (before.tables[name], after.tables[name]) for name in both}
    if "readings" in pairs:
        found.append(("readings", reading_changes(*pairs["readings"])))
    if "lineaments" in pairs:
        same = same_lineaments(*pairs["lineaments"])
        found.append(("lineaments", lineament_changes(*pairs["lineaments"], same)))
        if "depths" in pairs:
            found.append(("depths", depth_changes(*pairs["depths"], same)))
    return [Change(about, text) for about, texts in found for text in texts]
