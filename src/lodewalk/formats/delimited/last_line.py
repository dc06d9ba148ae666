"""A file that breaks off inside its last value, so that a shorter number is left."""

from pathlib import Path

from lodewalk.errors import InputError
from lodewalk.formats.delimited.column_map import WHITESPACE, ColumnMap
from lodewalk.formats.delimited.encoding import UTF16_MARKS, decode

TAIL_BYTES = 1 << 14
#: So many rows above the last must agree on their decimals.
FEWEST_ROWS = 10


def check_last_value(path: Path, column_map: ColumnMap, *, lines: int) -> None:
    r"""Raise where the last line has no end and its last value lacks decimals that all others have.

    Parameters
    ----------
    path : path
        A text file whose last byte is no line feed.
    column_map : ColumnMap
        How it is laid out.
    lines : int
        Lines of the file, the last one included.

    Raises
    ------
    InputError
        With the last line.

    Examples
    --------
    >>> import tempfile
    >>> raw = Path(tempfile.mkdtemp(), "base.csv")
    >>> _ = raw.write_text("8,22950.25\n" * 20 + "8,22950.2")
    >>> check_last_value(raw, ColumnMap(), lines=21)
    Traceback (most recent call last):
    lodewalk.errors.InputError: base.csv, line 21: The last line is cut off. ...
    """
    rows = _tail(path)
    decimals = [_decimals(row, column_map) for row in rows]
    usual = set(decimals[:-1])
    if len(rows) > FEWEST_ROWS and len(usual) == 1 and decimals[-1] < usual.pop():
        raise cut_off(path.name, lines, rows[-1])


def cut_off(file: str, line: int, raw: str) -> InputError:
    """Return the error for a file that breaks off."""
    return InputError(
        "The last line is cut off.",
        file=file,
        line=line,
        value=raw,
        remedy="Download the file again, or copy it without its last line.",
    )


def _tail(path: Path) -> list[str]:
    """Return the last whole lines of a file and what stands after them."""
    size = path.stat().st_size
    with path.open("rb") as stream:
        if stream.read(2) in UTF16_MARKS:
            return []
        stream.seek(max(size - TAIL_BYTES, 0))
        tail = stream.read()
    whole = tail if size <= TAIL_BYTES else tail.partition(b"\n")[2]
    lines = decode(whole, file=path.name).text.split("\n")
    return lines[-2 * FEWEST_ROWS :]


def _decimals(row: str, column_map: ColumnMap) -> int:
    """Return how many digits stand behind the decimal sign of a row's last value; 0 for none."""
    delimiter = column_map.delimiter
    value = row.split(None if delimiter == WHITESPACE else delimiter)[-1:] or [""]
    tail = value[0].strip().rpartition(column_map.decimal)
    return len(tail[2]) if tail[1] and tail[2].isdigit() else 0
