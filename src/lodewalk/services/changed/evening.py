"""What a run changed in the evening's decision: verdicts of days and lines, findings, re-walk."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

#: So many lines are named, the others counted.
MOST_NAMED = 6
#: Length to walk again that counts as another [m].
LEAST_LENGTH_M = 10.0


def evening_changes(
    before: Mapping[str, Any], after: Mapping[str, Any]
) -> tuple[list[str], list[str]]:
    """Return what changed in verdicts, and in findings, as sentences.

    Parameters
    ----------
    before, after : mapping
        What the check said: `days`, `findings`, `rewalk`.
    """
    verdicts = _verdicts(before["days"], after["days"]) + _rewalk(before, after)
    return verdicts, _findings(before["findings"], after["findings"])


def named(names: Sequence[str]) -> str:
    """Return names in a row, the first ones where there are many.

    Examples
    --------
    >>> named(["L01", "L02"]), named([f"L{n}" for n in range(9)])
    ('L01, L02', 'L0, L1, L2, L3, L4, L5 and 3 more')
    """
    more = len(names) - MOST_NAMED
    return ", ".join(names[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")


def _verdicts(before: Sequence[Any], after: Sequence[Any]) -> list[str]:
    """Return which days and lines have another verdict."""
    told = []
    days = {day["date"]: day for day in before}
    for day in after:
        old = days.pop(day["date"], None)
        if old is None:
            told.append(f"{day['date']} is new: {day['verdict']}, {_counted(day['lines'])}.")
            continue
        if old["verdict"] != day["verdict"]:
            told.append(f"{day['date']}, the day: {old['verdict']} became {day['verdict']}.")
        told += [f"{day['date']}, {text}" for text in _lines(old["lines"], day["lines"])]
    return told + [f"{date} is gone." for date in days]


def _counted(lines: Sequence[Any]) -> str:
    """Return how many lines have each verdict."""
    counts = Counter(line["verdict"] for line in lines)
    parts = [f"{counts[one]} {one}" for one in ("keep", "doubt", "re-walk") if counts[one]]
    return f"lines: {', '.join(parts)}" if parts else "no lines"


def _lines(before: Sequence[Any], after: Sequence[Any]) -> list[str]:
    """Return which lines of a day have another verdict, those of one change together."""
    old, new = _by_passage(before), _by_passage(after)
    groups: dict[str, list[str]] = defaultdict(list)
    for passage, verdict in new.items():
        if passage not in old:
            groups[f"new, {verdict}"].append(passage[0])
        elif old[passage] != verdict:
            groups[f"{old[passage]} became {verdict}"].append(passage[0])
    for passage in old.keys() - new.keys():
        groups["gone"].append(passage[0])
    return [f"{named(sorted(names))}: {what}." for what, names in sorted(groups.items())]


def _by_passage(lines: Sequence[Any]) -> dict[tuple[str, str, int], str]:
    """Return the verdict of each passage: line, instrument and which time it was walked."""
    found: dict[tuple[str, str, int], str] = {}
    times: Counter[tuple[str, str]] = Counter()
    for line in sorted(lines, key=lambda one: str(one["start_utc"])):
        walked = (str(line["line"]), str(line["instrument"]))
        found[*walked, times[walked]] = line["verdict"]
        times[walked] += 1
    return found


def _rewalk(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[str]:
    """Return how much less or more there is to walk again."""
    old, new = (float(one["rewalk"]["length_m"]) for one in (before, after))
    if abs(old - new) < LEAST_LENGTH_M:
        return []
    return [f"To walk again: {old:,.0f} m became {new:,.0f} m."]


def _findings(before: Sequence[Any], after: Sequence[Any]) -> list[str]:
    """Return which findings that ask for something are new or gone."""
    old, new = _asking(before), _asking(after)
    told = []
    for word, more in (("gone", old - new), ("new", new - old)):
        kinds = Counter[str]()
        for (instrument, kind), count in more.items():
            kinds[f"{kind} ({instrument})" if instrument else kind] += count
        parts = [kind if count == 1 else f"{count} {kind}" for kind, count in sorted(kinds.items())]
        if parts:
            told.append(f"Findings {word}: {named(parts)}.")
    return told


def _asking(findings: Sequence[Any]) -> Counter[tuple[str, str]]:
    """Count the findings that are more than information; a clock set right moves their begin."""
    return Counter(
        (str(one["instrument"] or ""), str(one["kind"]))
        for one in findings
        if one["severity"] != "information"
    )
