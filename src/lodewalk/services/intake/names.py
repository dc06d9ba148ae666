"""Names of files that come from elsewhere: made safe, and what they say of role and instrument."""

import re
import unicodedata
from collections.abc import Collection, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from lodewalk.services.add import DEFAULT_INSTRUMENT

if TYPE_CHECKING:
    from lodewalk.survey.ledger import RawFile

#: Names that some systems keep for devices.
DEVICES = re.compile(r"(?:con|prn|aux|nul|com\d|lpt\d)(?:\.|$)", re.IGNORECASE)
#: Signs that some file systems refuse.
ODD = re.compile(r'[<>:"|?*\x00-\x1f\x7f-\x9f\u2028-\u202f\u2060-\u206f\ufeff]+')
MOST_BYTES = 150


def safe_name(name: str) -> str:
    r"""Return a plain file name: no folders, no odd signs, not too long.

    Examples
    --------
    >>> safe_name("../../etc/passwd"), safe_name("C:\\data\\day 1.csv"), safe_name("..")
    ('passwd', 'day 1.csv', 'file')
    >>> safe_name("nul.csv"), safe_name("a\nb?.txt"), safe_name(".hidden")
    ('_nul.csv', 'a_b_.txt', 'hidden')
    """
    whole = name.encode("utf-8", "replace").decode("utf-8")
    last = re.split(r"[/\\]", whole)[-1]
    plain = ODD.sub("_", unicodedata.normalize("NFC", last)).strip(" .")
    if DEVICES.match(plain):
        plain = f"_{plain}"
    stem, suffix = Path(plain).stem, Path(plain).suffix[:20]
    room = MOST_BYTES - len(suffix.encode())
    return stem.encode()[:room].decode("utf-8", "ignore") + suffix or "file"


def instrument_in(name: str, known: Collection[str]) -> str | None:
    """Return the instrument that a file's name begins with or holds, a known one first.

    Examples
    --------
    >>> instrument_in("R2_track_2026-03-10.gpx", ["R1"]), instrument_in("base_west.txt", ["west"])
    ('R2', 'west')
    >>> instrument_in("day1.csv", []) is None
    True
    """
    parts = [part for part in re.split(r"[_\s.+-]+", Path(name).stem) if part]
    by_letters = {item.casefold(): item for item in known}
    for part in parts:
        if part.casefold() in by_letters:
            return by_letters[part.casefold()]
    return next((part for part in parts[:1] if re.fullmatch(r"[A-Z]{1,3}\d{1,2}", part)), None)


def likely_instrument(
    name: str,
    *,
    role: str,
    known: "RawFile | None",
    like: str | None,
    entries: "Sequence[RawFile]",
) -> str:
    """Return the likeliest name of the instrument of a file, never that of another role.

    `known` is the same file in the survey, `like` the instrument of one with the same columns.
    """
    others = {usual for other, usual in DEFAULT_INSTRUMENT.items() if other != role}
    if known and known.instrument not in others:
        return known.instrument
    if role not in DEFAULT_INSTRUMENT:
        return ""
    names = [entry.instrument for entry in entries if entry.instrument not in ("", *others)]
    in_name = instrument_in(name, names)
    return in_name or (like if like in names else None) or DEFAULT_INSTRUMENT[role]
