"""One pass over the bytes of a raw file: its hash, its lines and whether they are plain."""

import hashlib
import mmap
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from lodewalk.errors import InputError

MAX_LINE_BYTES = 65_536
MAX_FILE_BYTES = 2 * 1024**3
BLOCK_BYTES = 1 << 18
_WINDOW = MAX_LINE_BYTES // 2
# C0 controls that no text file holds: all but tab, line feed, form feed, carriage return and
# the substitute character that ends old text files.
CONTROL_BYTES = bytes(set(range(32)) - {0x09, 0x0A, 0x0C, 0x0D, 0x1A})


@dataclass(frozen=True)
class Scan:
    """What one pass over a file found.

    Parameters
    ----------
    sha256 : str
        SHA-256 of the bytes.
    lines_ok : bool
        Whether no line is longer than `MAX_LINE_BYTES`.
    newlines : int
        Number of line feeds.
    size : int
        Bytes in the file.
    ends_with_newline : bool
        Whether the last byte is a line feed.
    ascii_only : bool
        Whether every byte is below 128.
    has_nul : bool
        Whether a byte is 0, as in binary files and UTF-16.
    has_quote : bool
        Whether a double quote occurs.
    counted : int
        How often the byte asked for occurs.
    """

    sha256: str
    lines_ok: bool
    newlines: int
    size: int
    ends_with_newline: bool
    ascii_only: bool
    has_nul: bool
    has_quote: bool
    counted: int

    @property
    def lines(self) -> int:
        """Number of lines, an unfinished last one included."""
        return self.newlines + (self.size > 0 and not self.ends_with_newline)


def hash_and_scan(path: Path, *, count: bytes = b"") -> Scan:
    r"""Hash a file and look at its lines in blocks, so that its size does not matter.

    Hashing and counting release the interpreter's lock, so a thread may scan while another
    parses.

    Parameters
    ----------
    path : path
        The raw file.
    count : bytes
        One byte to count as well, such as the delimiter; none by default.

    Examples
    --------
    >>> import tempfile
    >>> raw = Path(tempfile.mkdtemp(), "day1.csv")
    >>> _ = raw.write_bytes(b"time,field\n08:00:00,22950.1\n")
    >>> scan = hash_and_scan(raw, count=b",")
    >>> scan.lines, scan.counted, scan.lines_ok
    (2, 2, True)
    """
    total = hashlib.sha256()
    newlines = size = counted = 0
    ascii_only, has_nul, has_quote, last = True, False, False, b""
    with path.open("rb") as stream:
        while block := stream.read(BLOCK_BYTES):
            total.update(block)
            codes = np.frombuffer(block, dtype=np.uint8)
            newlines += int(np.count_nonzero(codes == 10))
            counted += int(np.count_nonzero(codes == count[0])) if count else 0
            ascii_only = ascii_only and block.isascii()
            has_nul = has_nul or b"\0" in block
            has_quote = has_quote or b'"' in block
            size += len(block)
            last = block[-1:]
    return Scan(
        sha256=total.hexdigest(),
        lines_ok=long_line_at(path) is None,
        newlines=newlines,
        size=size,
        ends_with_newline=last == b"\n",
        ascii_only=ascii_only,
        has_nul=has_nul,
        has_quote=has_quote,
        counted=counted,
    )


def long_line_at(path: Path) -> int | None:
    """Return the offset of the first line longer than `MAX_LINE_BYTES`, None where all are short.

    A longer line covers a whole window of half that length, so one search a window is enough.
    A carriage return alone ends a line too, as in old files.
    """
    size = path.stat().st_size
    if size <= MAX_LINE_BYTES:
        return None
    with path.open("rb") as stream, mmap.mmap(stream.fileno(), 0, access=mmap.ACCESS_READ) as data:
        for start in range(0, size, _WINDOW):
            if _line_end(data, start, start + _WINDOW) is None:
                begin = max(data.rfind(b"\n", 0, start), data.rfind(b"\r", 0, start)) + 1
                end = _line_end(data, start, begin + MAX_LINE_BYTES + 2)
                if (size if end is None else end) - begin > MAX_LINE_BYTES:
                    return begin
    return None


def _line_end(data: mmap.mmap, start: int, stop: int) -> int | None:
    """Return the first line end from `start` to before `stop`, None where there is none."""
    for sign in (b"\n", b"\r"):
        place = data.find(sign, start, stop)
        if place >= 0:
            return place
    return None


def check_name(path: Path) -> None:
    """Raise when the name of a file can't be written into other files.

    Raises
    ------
    InputError
        For a name that is not UTF-8, as on disks of old computers.
    """
    if not is_utf8(path.name):
        raise InputError(
            "The name of a file must be UTF-8.",
            value=path.name.encode(errors="backslashreplace").decode(),
            remedy="Rename the file.",
        )


def is_utf8(text: str) -> bool:
    r"""Tell whether a text can be written as UTF-8, as a path of odd bytes can't.

    Examples
    --------
    >>> is_utf8("março.csv"), is_utf8("m\udce4rz.csv")
    (True, False)
    """
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True


def check_size(path: Path) -> None:
    """Raise when a file or one of its lines is too long to be a table of text.

    Raises
    ------
    InputError
        With the line, or for a name that is not UTF-8.
    """
    check_name(path)
    size = path.stat().st_size
    if size > MAX_FILE_BYTES:
        raise InputError(
            "A raw file may hold at most 2 GiB.",
            file=path,
            value=f"{size} bytes",
            remedy="Split it, for instance by day.",
        )
    begin = long_line_at(path)
    if begin is not None:
        raise InputError(
            f"A line may hold at most {MAX_LINE_BYTES:,} bytes.",
            file=path,
            line=_lines_before(path, begin) + 1,
            remedy="Is this a table of text?",
        )


def _lines_before(path: Path, offset: int) -> int:
    """Count the line ends before an offset; carriage returns where there are no line feeds."""
    feeds = returns = 0
    with path.open("rb") as stream:
        while offset > 0 and (block := stream.read(min(BLOCK_BYTES, offset))):
            feeds += block.count(b"\n")
            returns += block.count(b"\r")
            offset -= len(block)
    return feeds or returns
