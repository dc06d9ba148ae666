"""Names that a handheld takes.

A device cuts a name that is too long, and two names that were cut alike become one waypoint. Here
a name is shortened so that its figures stay, and no two names are ever alike.
"""

import re
import unicodedata
from collections.abc import Sequence

from lodewalk.errors import InputError

#: Letters that Unicode doesn't take apart into a plain letter and a mark.
_PLAIN = str.maketrans({"Ø": "O", "Ł": "L", "Đ": "D", "Æ": "AE", "Œ": "OE", "Þ": "TH", "Ð": "D"})


def device_names(wanted: Sequence[str], *, length: int) -> tuple[str, ...]:
    """Return names of capitals, figures and hyphens within a length, no two alike.

    Parameters
    ----------
    wanted : sequence of str
        The full names, in order.
    length : int
        Letters that a name may have, at least 4.

    Returns
    -------
    tuple of str
        One name each. A name that fits as it is comes first, whatever its place; of two that
        would be alike the later one ends in a number from 2 on.

    Raises
    ------
    InputError
        When there are more points than names of this length.

    Notes
    -----
    Marks on letters go, all else but letters and figures becomes a hyphen. Then, until the name
    fits: words lose their vowels but the first letter, numbers their leading zeros, hyphens
    between a letter and a figure go, words lose letters from their ends, the longest first, of
    equals the first one. Figures are cut last, from the left.

    Examples
    --------
    >>> device_names(["L0120-300", "Café da Serra", "café da serra"], length=8)
    ('L120-300', 'CF-D-SRR', 'CF-D-S-2')
    """
    if length < 4:
        raise InputError("A name needs room for at least 4 letters.", value=length)
    clean = [_clean(name) or "P" for name in wanted]
    short = [_shortened(name, length) for name in clean]
    given: list[str | None] = [None] * len(clean)
    taken: set[str] = set()
    for index, name in enumerate(clean):
        if name == short[index] and name not in taken:
            taken.add(name)
            given[index] = name
    counters: dict[str, int] = {}
    return tuple(
        name or _free(short[index], length, taken, counters) for index, name in enumerate(given)
    )


def _clean(name: str) -> str:
    """Return a name in capitals, figures and single hyphens."""
    plain = unicodedata.normalize("NFKD", name.upper().translate(_PLAIN))
    plain = "".join(letter for letter in plain if not unicodedata.combining(letter))
    return re.sub(r"[^A-Z0-9]+", "-", plain).strip("-")


def _shortened(name: str, length: int) -> str:
    """Return a clean name shortened to a length."""
    if len(name) <= length:
        return name
    name = re.sub(r"(?<=[A-Z])[AEIOU]+", "", name)
    if len(name) > length:
        name = re.sub(r"(?<!\d)0+(?=\d)", "", name)
    if len(name) > length:
        name = re.sub(r"(?<=[A-Z])-(?=\d)|(?<=\d)-(?=[A-Z])", "", name)
    while len(name) > length:
        words = max(re.findall(r"[A-Z]{2,}", name), key=len, default="")
        if not words:
            break
        name = re.sub(rf"(?<![A-Z]){words}(?![A-Z])", words[:-1], name, count=1)
    return name if len(name) <= length else name[-length:].strip("-")


def _free(stem: str, length: int, taken: set[str], counters: dict[str, int]) -> str:
    """Return the stem, or the stem with the first free number, and take it."""
    name = stem
    while name in taken:
        number = counters.get(stem, 1) + 1
        counters[stem] = number
        mark = f"-{number}" if len(str(number)) < length - 1 else str(number)
        if len(mark) > length:
            raise InputError(
                "There are more waypoints than names of this length.",
                value=f"{len(taken)} names, {length} letters",
                remedy="Raise handheld.name_length or handheld.waypoint_each_m.",
            )
        name = stem[: length - len(mark)].rstrip("-") + mark
    taken.add(name)
    return name
