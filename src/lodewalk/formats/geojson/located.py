"""JSON whose arrays and objects know where in the text they began.

The decoder of the standard library forgets places, and an error without its line helps nobody,
so its own parts are joined anew here; they parse, these only note the place.
"""

import json
from bisect import bisect_left
from json import decoder, scanner
from pathlib import Path
from typing import Any, NoReturn

from lodewalk.errors import InputError

MAX_FILE_BYTES = 64 * 1024**2


class Array(list[Any]):
    """A JSON array and the offset of its bracket."""

    at: int = 0


class Object(dict[str, Any]):
    """A JSON object and the offset of its brace."""

    at: int = 0


class Text:
    """The text of a file, which tells the line of an offset."""

    def __init__(self, text: str, file: str) -> None:
        self.text, self.file = text, file
        self.ends = [place for place, letter in enumerate(text) if letter == "\n"]

    def line(self, at: int) -> int:
        """Return the line of an offset, counted from 1."""
        return bisect_left(self.ends, at) + 1

    def refuse(self, rule: str, *, at: int = 0, value: object = None, remedy: str = "") -> NoReturn:
        """Raise with the line of an offset."""
        raise InputError(rule, file=self.file, line=self.line(at), value=value, remedy=remedy)


class _Decoder(json.JSONDecoder):
    """The decoder in plain Python, whose arrays and objects are noted."""

    def __init__(self) -> None:
        super().__init__(parse_constant=_refuse_constant)
        self.parse_array = _array
        self.parse_object = _object
        self.scan_once = scanner.py_make_scanner(self)  # type: ignore[attr-defined]


def _refuse_constant(name: str) -> NoReturn:
    """Refuse NaN and Infinity, which JSON doesn't have."""
    raise ValueError(f"{name} is no number of JSON")


def _array(start: tuple[str, int], scan: Any) -> tuple[Array, int]:
    """Return an array with its place."""
    values, end = decoder.JSONArray(start, scan)  # type: ignore[attr-defined]
    found = Array(values)
    found.at = start[1] - 1
    return found, end


def _object(start: tuple[str, int], *rest: Any) -> tuple[Object, int]:
    """Return an object with its place."""
    values, end = decoder.JSONObject(start, *rest)  # type: ignore[attr-defined]
    found = Object(values)
    found.at = start[1] - 1
    return found, end


def load(path: Path) -> tuple[Any, Text]:
    """Return the value of a JSON file and its text.

    Raises
    ------
    InputError
        For a file that is too long, not UTF-8, or not JSON, with the line.
    """
    size = path.stat().st_size
    if size > MAX_FILE_BYTES:
        raise InputError(
            "A GeoJSON file may hold at most 64 MiB.",
            file=path,
            value=f"{size} bytes",
            remedy="Cut it to the surroundings of the area first.",
        )
    raw = path.read_bytes()
    try:
        text = Text(raw.decode("utf-8-sig"), path.name)
    except UnicodeDecodeError as error:
        raise InputError(
            "GeoJSON must be UTF-8.", file=path, line=raw.count(b"\n", 0, error.start) + 1
        ) from None
    try:
        return _Decoder().decode(text.text), text
    except json.JSONDecodeError as error:
        text.refuse(
            f"The file must be valid JSON ({error.msg}).",
            at=error.pos,
            remedy="It may be cut short or damaged; export it again.",
        )
    except (ValueError, RecursionError) as error:
        reason = "nested too deeply" if isinstance(error, RecursionError) else str(error)
        raise InputError(f"The file must be valid JSON ({reason}).", file=path) from None
