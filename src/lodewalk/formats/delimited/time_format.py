"""Formats of times and dates: a word of our own or strptime directives."""

import re
from dataclasses import dataclass

import polars as pl

from lodewalk.errors import SettingsError

WORDS = ("iso", "unix")
DIRECTIVE = re.compile(r"%(:z|#z|\.[369]?f|[A-Za-z%])")
LONG_FORMS = {"%F": "%Y-%m-%d", "%T": "%H:%M:%S", "%R": "%H:%M"}
DIGITS = {"Y": 4, "y": 2, "m": 2, "d": 2, "j": 3, "H": 2, "M": 2, "S": 2}
FRACTIONS = (".f", ".3f", ".6f", ".9f")
OFFSETS = ("z", ":z", "#z")
KNOWN = frozenset((*DIGITS, *FRACTIONS, *OFFSETS, *"eIpPbB%"))


@dataclass(frozen=True)
class TimeFormat:
    """One strptime format, taken apart.

    Parameters
    ----------
    text : str
        The format without a zone directive, long forms spelt out.
    directives : tuple of str
        Its directives in order, without the percent sign.
    """

    text: str
    directives: tuple[str, ...]

    def has(self, *names: str) -> bool:
        """Tell whether one of the directives is in the format."""
        return any(name in self.directives for name in names)

    @property
    def has_day(self) -> bool:
        """Whether it gives the day: day and month, or day of year."""
        return self.has("j") or (self.has("d", "e") and self.has("m", "b", "B"))

    @property
    def has_year(self) -> bool:
        """Whether it gives the year."""
        return self.has("Y", "y")

    @property
    def has_clock(self) -> bool:
        """Whether it gives hour and minute of the day."""
        return self.has("M") and (self.has("H") or (self.has("I") and self.has("p", "P")))

    @property
    def has_clock_part(self) -> bool:
        """Whether any part of it is of the time of day."""
        return self.has(*"HIMSpP", *FRACTIONS)

    @property
    def has_offset(self) -> bool:
        """Whether each value ends with its own offset from UTC."""
        return self.has(*OFFSETS)

    @property
    def digits(self) -> int:
        """Digits before any fraction when there are no separators, else 0."""
        plain = re.sub(r"%\.[369]?f$", "", self.text)
        if re.fullmatch(r"(?:%[YymdjHMS])+", plain):
            return sum(DIGITS[name] for name in plain.replace("%", ""))
        return 0


def time_format(text: str, *, key: str) -> TimeFormat:
    """Take a strptime format apart.

    Parameters
    ----------
    text : str
        Such as ``%d/%m/%Y %H:%M:%S%.f``; ``%.f`` is an optional fraction of a second, ``%z``
        an offset from UTC, which may only stand last.
    key : str
        The setting that is named in the error.

    Raises
    ------
    SettingsError
        For an unknown directive, or a format that gives neither a day nor an hour.

    Examples
    --------
    >>> time_format("%H%M%S%.f", key="time.format").digits
    6
    """
    for short, long in LONG_FORMS.items():
        text = text.replace(short, long)
    directives = tuple(DIRECTIVE.findall(text))
    if text.count("%") != sum(2 if name == "%" else 1 for name in directives):
        raise _wrong(key, text, "has a percent sign without a directive")
    for name in directives:
        if name not in KNOWN:
            raise _wrong(key, text, f"has the unknown directive %{name}")
    plain = re.sub(r"\s*%(?:z|:z|#z)$", "", text)
    found = TimeFormat(plain, directives)
    if any(f"%{name}" in plain for name in OFFSETS):
        raise _wrong(key, text, "may have the offset %z at its end only")
    if not (found.has_day or found.has_clock):
        raise _wrong(key, text, "gives neither a day nor hour and minute")
    _check_usable(found, key)
    return found


def _check_usable(found: TimeFormat, key: str) -> None:
    """Raise when the table library can't parse by the format, completed to a whole time."""
    whole = found.text
    if not found.has_day:
        whole = f"%Y-%m-%d {whole}"
    elif not found.has_year:
        whole = f"%Y {whole}"
    if not found.has_clock:
        whole = f"{whole} %H:%M"
    try:
        pl.Series(["a"]).str.to_datetime(whole, strict=False)
    except pl.exceptions.PolarsError as error:
        raise _wrong(key, found.text, "can't be parsed") from error


def _wrong(key: str, text: str, what: str) -> SettingsError:
    """Return the error for a format."""
    return SettingsError(
        f"{key} {what}.",
        value=text,
        remedy='Use "iso", "unix" (seconds since 1970) or strptime directives: '
        "%Y %y %m %d %j %b %B %H %I %p %M %S %.f %z.",
    )
