"""Guess how a delimited text file is laid out, from its first and last lines."""

import csv
import re
from collections import Counter
from dataclasses import dataclass

from lodewalk.formats.delimited.column_map import WHITESPACE, ColumnMap
from lodewalk.formats.delimited.layout import split_names
from lodewalk.formats.delimited.vocabulary import meaning

COMMENT_SIGNS = ("#", "//", "%", "!", ";", "/", "*")
DELIMITERS = (";", "\t", "|", ",", WHITESPACE)
NUMBER = re.compile(r"[+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?")
CLOCK = re.compile(
    r"\d{1,2}:\d\d(?::\d\d(?:[.,]\d*)?)?(?: ?[AaPp][Mm])?(?: ?(?:Z|UTC|GMT|[+-]\d\d:?\d\d))?"
)
DATE = re.compile(
    r"\d{1,4}(?P<sign>[-/.])(?:\d{1,2}|[A-Za-z]{3})(?P=sign)\d{1,4}|\d{1,2} [A-Za-z]{3} \d{4}"
)
STAMP = re.compile(rf"(?:{DATE.pattern})[T ]{CLOCK.pattern}|\d{{8}}T\d{{6}}(?:[.,]\d*)?Z?")
DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+")
DECIMAL_POINT = re.compile(r"[+-]?\d+\.\d+")
FEW_ROWS = 3
#: The names of the columns are looked for in this many lines.
HEAD_LINES = 20
MARK = re.compile(r"(?:tie ?line|line|profile)\b[ :=]+", re.IGNORECASE)


@dataclass(frozen=True)
class Layout:
    """How a file seems to be laid out.

    Parameters
    ----------
    column_map : ColumnMap
        The map without columns.
    names : tuple of str, optional
        Names of the columns.
    rows : tuple of tuple of str
        Fields of the rows that were looked at.
    share : float
        Part of all lines like rows that have the same number of columns.
    head : str
        Everything above the rows.
    start : int
        Lines above the rows.
    lost : tuple of int
        Those of them that look like rows of another layout, counted from 1.
    """

    column_map: ColumnMap
    names: tuple[str, ...] | None
    rows: tuple[tuple[str, ...], ...]
    share: float
    head: str
    start: int
    lost: tuple[int, ...]


def guess_layout(first: list[str], last: list[str]) -> Layout | None:
    """Guess the layout, None where no delimiter gives columns.

    Parameters
    ----------
    first, last : list of str
        Lines from the beginning of the file, and others from its end.
    """
    sign = _comment_sign(first)
    scored = [
        (_score(first, delimiter, sign), -order, delimiter)
        for order, delimiter in enumerate(DELIMITERS)
    ]
    best, _, delimiter = max(scored)
    delimiter = _joined_by(first, sign) if delimiter == WHITESPACE else delimiter
    if best <= 0.5:
        return None
    count = _usual_count(first, delimiter, sign)
    start = _first_row(first, delimiter, count, sign)
    mark = _mark([*first, *last], delimiter, count)
    body = [line for line in [*first[start:], *last] if _is_plain(line, sign, mark)]
    rows = _rows(body, delimiter, count, sign)
    if not rows:
        return None
    header, names = _header(first[:start], delimiter, count, sign, mark)
    settings = {
        "skip": 0 if header is True else start,
        "header": header,
        "comment": [sign] if sign and _used(first, last, sign) else [],
        "delimiter": delimiter,
        "decimal": _decimal(rows, delimiter),
        "lines": {"mark": mark},
    }
    column_map = ColumnMap.from_dict(settings)
    lost = _rows_above(first[:start], column_map, names)
    share = len(rows) / (len(body) + len(lost))
    return Layout(column_map, names, rows, share, "\n".join(first[:start]), start, lost)


def split(line: str, delimiter: str) -> tuple[str, ...]:
    """Split one line as a reader of delimited text does, or plainly where its quotes are odd."""
    try:
        return split_names(line, _plain_map(delimiter))
    except csv.Error:
        return tuple(part.strip() for part in line.split(delimiter))


_MAPS: dict[str, ColumnMap] = {}


def _plain_map(delimiter: str) -> ColumnMap:
    """Return a map with this delimiter only."""
    if delimiter not in _MAPS:
        _MAPS[delimiter] = ColumnMap.from_dict({"delimiter": delimiter})
    return _MAPS[delimiter]


def is_value(text: str) -> bool:
    """Tell whether a field is a number, a time, a date or both."""
    return any(form.fullmatch(text) for form in (NUMBER, CLOCK, DATE, STAMP))


def _comment_sign(lines: list[str]) -> str | None:
    """Return the sign before comments, if lines begin with one."""
    for sign in COMMENT_SIGNS:
        found = [line for line in lines if line.lstrip().startswith(sign)]
        if found and len(found) <= 0.5 * len(lines):
            return sign
    return None


def _is_comment(line: str, sign: str | None) -> bool:
    """Tell whether a line is a comment."""
    return sign is not None and line.lstrip().startswith(sign)


def _is_plain(line: str, sign: str | None, mark: str | None) -> bool:
    """Tell whether a line is neither blank, nor a comment, nor a line mark."""
    named = mark is not None and line.strip().startswith(mark)
    return bool(line.strip()) and not _is_comment(line, sign) and not named


def _used(first: list[str], last: list[str], sign: str) -> bool:
    """Tell whether a line begins with the sign."""
    return any(_is_comment(line, sign) for line in [*first, *last])


def _lower_part(lines: list[str], sign: str | None) -> list[str]:
    """Return the lower two thirds of the lines that are no comments, where rows must be."""
    plain = [line for line in lines if line.strip() and not _is_comment(line, sign)]
    return plain[len(plain) // 3 :]


def _usual_count(lines: list[str], delimiter: str, sign: str | None) -> int:
    """Return the number of columns that most rows have."""
    counts = Counter(len(split(line, delimiter)) for line in _lower_part(lines, sign))
    return counts.most_common(1)[0][0] if counts else 0


def _score(lines: list[str], delimiter: str, sign: str | None) -> float:
    """Return how well a delimiter explains the lines, 0 to 1."""
    part = _lower_part(lines, sign)
    count = _usual_count(lines, delimiter, sign)
    if count < 2:
        return 0.0
    rows = [fields for fields in (split(line, delimiter) for line in part) if len(fields) == count]
    texts = [text for fields in rows for text in fields]
    # Words between blanks speak against a delimiter, unless it parts a head of known names.
    blanks = 0 if _parts_names(lines, delimiter, count) else 1
    whole = 1 - blanks * sum(1 for text in texts if " " in text and not is_value(text)) / len(texts)
    values = sum(1 for text in texts if is_value(text)) / len(texts)
    return len(rows) / len(part) * whole * (0.5 + 0.5 * min(1.0, 2 * values))


def _parts_names(lines: list[str], delimiter: str, count: int) -> bool:
    """Tell whether a delimiter parts one of the first lines into known names only."""
    heads = (split(line, delimiter) for line in lines[:HEAD_LINES])
    return any(len(names) == count and all(meaning(name) for name in names) for names in heads)


def _joined_by(lines: list[str], sign: str | None) -> str:
    """Return the delimiter that joins words between blanks, as in ``fence,wire 7``."""
    part = _lower_part(lines, sign)
    for delimiter in DELIMITERS:
        counts = {len(split(line, delimiter)) for line in part}
        if len(counts) == 1 and all(_joins(line, delimiter) for line in part):
            return delimiter
    return WHITESPACE


def _joins(line: str, delimiter: str) -> bool:
    """Tell whether a delimiter stands between a word and another field without blanks."""
    return any(
        delimiter in field
        and not is_value(field.strip("NSEWnsew"))
        and not all(is_value(text) for text in field.split(delimiter))
        for field in line.split(" ")
    )


def _rows_above(
    head: list[str], column_map: ColumnMap, names: tuple[str, ...] | None
) -> tuple[int, ...]:
    """Return the lines of the head that look like rows of another layout, counted from 1."""
    delimiter, sign = str(column_map.delimiter), next(iter(column_map.comment), None)
    named = next((n for n, line in enumerate(head) if names == split(line, delimiter)), None)
    whole, partly = [], []
    for place, line in enumerate(head):
        fields = [text for text in split(line, delimiter) if text]
        values = sum(1 for text in fields if is_value(text))
        if len(fields) < 2 or not _is_plain(line, sign, column_map.lines.mark):
            continue
        if values == len(fields):
            whole.append(place + 1)
        # Above the names, words beside values are a head: "Start 2025-03-04 08:00:00".
        elif values > len(fields) / 2 and (named is None or place > named):
            partly.append(place + 1)
    return tuple(sorted(whole + partly)) if whole or len(partly) >= FEW_ROWS else ()


def _rows(
    lines: list[str], delimiter: str, count: int, sign: str | None
) -> tuple[tuple[str, ...], ...]:
    """Return the fields of lines that look like rows."""
    found = (split(line, delimiter) for line in lines if line and not _is_comment(line, sign))
    return tuple(fields for fields in found if len(fields) == count and _looks_like_row(fields))


def _looks_like_row(fields: tuple[str, ...]) -> bool:
    """Tell whether a third of the fields that are filled in, and one at least, are values."""
    filled = [text for text in fields if text]
    found = sum(1 for text in filled if is_value(text))
    return found >= max(1, len(filled) / 3)


def _first_row(lines: list[str], delimiter: str, count: int, sign: str | None) -> int:
    """Return the place of the first line that looks like a row."""
    for place, line in enumerate(lines):
        if _is_comment(line, sign):
            continue
        fields = split(line, delimiter)
        if len(fields) == count and _looks_like_row(fields):
            return place
    return len(lines)


def _header(
    head: list[str], delimiter: str, count: int, sign: str | None, mark: str | None
) -> tuple[bool | int, tuple[str, ...] | None]:
    """Return where the names stand, and the names."""
    best, found = (0, 0), None
    for place, line in enumerate(head):
        bare = line.lstrip().removeprefix(sign) if sign and _is_comment(line, sign) else line
        fields = split(bare, delimiter)
        if len(fields) != count or not any(fields):
            continue
        # The line that has most known words, and of those the one nearest to the rows.
        known = sum(1 for text in fields if meaning(text))
        if (known, place) >= best and not all(is_value(text) for text in fields):
            best, found = (known, place), tuple(fields)
    if found is None:
        return False, None
    place = best[1]
    plain = [number for number, line in enumerate(head) if _is_plain(line, sign, mark)]
    return (True if plain == [place] else place + 1), found


def _mark(lines: list[str], delimiter: str, count: int) -> str | None:
    """Return the words that begin rows naming a line, such as "Line "."""
    found = [
        match[0]
        for line in lines
        if (match := MARK.match(line.strip())) and len(split(line, delimiter)) != count
    ]
    return found[0] if found and len(set(found)) == 1 else None


def _decimal(rows: tuple[tuple[str, ...], ...], delimiter: str) -> str:
    """Return the decimal sign."""
    texts = [text for fields in rows for text in fields]
    commas = sum(1 for text in texts if DECIMAL_COMMA.fullmatch(text))
    points = sum(1 for text in texts if DECIMAL_POINT.fullmatch(text))
    return "," if delimiter != "," and commas > points else "."
