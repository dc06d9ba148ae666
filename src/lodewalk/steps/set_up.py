"""Words of setting up: the tests that a span can be marked as, and the checklists.

The lists are common practice, in our own words.
"""

import re
from dataclasses import dataclass
from functools import cache
from typing import Literal

TestName = Literal[
    "static", "side-by-side", "turn-around", "with", "without", "check-station", "repeat-line"
]

#: Points of the compass, clockwise from north.
COMPASS = (
    "n", "nne", "ne", "ene", "e", "ese", "se", "sse", "s", "ssw", "sw", "wsw", "w", "wnw", "nw",
    "nnw",
)  # fmt: skip

#: How people write the tests, in marks of files and in notes; the first that fits counts.
WORDS: tuple[tuple[TestName, str], ...] = (
    ("side-by-side", r"side[ _-]?by[ _-]?side|beside (the )?base"),
    ("turn-around", r"turn[ _-]?around|heading test|clover ?leaf"),
    ("check-station", r"check([ _-]?(station|point))?"),
    ("repeat-line", r"repeat([ _-]?line)?"),
    ("static", r"static([ _-]?run)?|standing test"),
    ("without", r"without"),
    ("with", r"with"),
)


@dataclass(frozen=True)
class Mark:
    """What a mark or a note says of a test: which, of what, and whether it starts or ends."""

    test: TestName
    item: str = ""
    start: bool = False
    end: bool = False
    minutes: float | None = None


@cache
def read_mark(text: str | None) -> Mark | None:
    """Return what a text says of a test, or None when it names none.

    Parameters
    ----------
    text : str or None
        Mark of a line in a file, or a note such as ``test: with radio start``.

    Examples
    --------
    >>> read_mark("test: with radio start")
    Mark(test='with', item='radio', start=True, end=False, minutes=None)
    >>> read_mark("check").test, read_mark("side by side 10 min").minutes
    ('check-station', 10.0)
    >>> read_mark("walked with care")
    """
    words = re.sub(r"^test\s*[:,]?\s+", "", (text or "").strip().casefold())
    for test, pattern in WORDS:
        found = re.match(rf"(?:{pattern})\b\s*[:,]?\s*", words)
        if found:
            mark = _rest(test, words[found.end() :])
            named = words != (text or "").strip().casefold()
            plain = test not in ("with", "without")
            faced = test == "turn-around" and bool(facings(mark.item))
            return mark if named or faced or (plain and not mark.item) else None
    return None


def facings(item: str) -> tuple[float, ...]:
    """Return the directions that the item of a turn-around test names, in the order faced [deg].

    They are points of the compass; empty where any word is something else.

    Examples
    --------
    >>> facings("N, NE, E"), facings("ssw"), facings("radio")
    ((0.0, 45.0, 90.0), (202.5,), ())
    """
    words = re.split(r"[\s,;/-]+", item.strip(" .,;:-").casefold())
    if not all(word in COMPASS for word in words):
        return ()
    return tuple(COMPASS.index(word) * 360.0 / len(COMPASS) for word in words)


def _rest(test: TestName, rest: str) -> Mark:
    """Return the mark from what follows the test's name."""
    minutes = re.search(r"(\d+(?:\.\d+)?)\s*min\w*", rest)
    start = re.search(r"\b(starts?|begins?|from here)\b", rest)
    end = re.search(r"\b(ends?|stops?|done)\b", rest)
    for found in (minutes, start, end):
        if found:
            rest = rest.replace(found[0], "")
    item = re.sub(r"\(.*?\)|\b\d+\b", "", rest).strip(" .,;:-_")
    return Mark(test, item, bool(start), bool(end), float(minutes[1]) if minutes else None)


@dataclass(frozen=True)
class Item:
    """One item of a set-up checklist."""

    name: str
    text: str


BASE_LIST = (
    Item("copies", "The last data stand in two places and both open; only then is memory erased."),
    Item("site", "The field within a metre of the sensor was read and is even; no road near."),
    Item("fixed", "Sensor fixed and still, its height written down, its spot marked."),
    Item("tuning", "Tuned to the field expected here; signal strong."),
    Item("clock", "Clock set from GPS time, zone written down, compared with the rover's."),
    Item("interval", "Reading interval set, as short as the day's field may need."),
    Item("cables", "Cables tied down, dry, out of the way of animals."),
    Item("power", "Power for longer than the day; a spare is at hand."),
    Item("running", "Seen recording for some minutes before leaving; values steady."),
)
ROVER_LIST = (
    Item("copies", "The last data stand in two places and both open; only then is memory erased."),
    Item("mode", "Walking or station recording chosen, interval set."),
    Item("tuning", "Tuned to the field expected here; signal strong."),
    Item("clock", "Clock set from GPS time, zone written down, compared with the base's."),
    Item("clean", "Nothing magnetic on the operator: keys, phone, knife, belt, boots, glasses."),
    Item("apart", "Sensor and GPS apart, as they were when tested; companion where tested."),
    Item("height", "Sensor height measured and written down."),
    Item("position", "GPS has a fix and records; its reference system is the survey's."),
    Item("side-by-side", "Ten minutes recorded beside the base, at the start."),
    Item("power", "Power for longer than the day; a spare is at hand."),
)  # fmt: skip
CHECKLISTS: dict[str, tuple[Item, ...]] = {"base": BASE_LIST, "rover": ROVER_LIST}
