"""From bytes to text: the encodings that are accepted, and line ends."""

import codecs
from dataclasses import dataclass
from pathlib import Path

from lodewalk.errors import InputError
from lodewalk.formats.scan import CONTROL_BYTES

UTF16_MARKS = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
# Latin-1 gives a character to every byte; 0x80 to 0x9F are controls that no text holds.
_NOT_LATIN_1 = frozenset(CONTROL_BYTES + bytes(range(0x80, 0xA0)))


@dataclass(frozen=True)
class Decoded:
    """The text of a file with line feeds as line ends, and its encoding in words."""

    text: str
    encoding: str


def decode(data: bytes, *, file: str | Path) -> Decoded:
    r"""Decode the bytes of a text file.

    Accepted are UTF-8 with or without a byte order mark, UTF-16 with one, and Latin-1 where the
    bytes are not UTF-8 and hold no control characters.

    Parameters
    ----------
    data : bytes
        The whole file, or a head of it.
    file : str or path
        Named in an error.

    Raises
    ------
    InputError
        For binary data or an unknown encoding, with the line.

    Examples
    --------
    >>> decode(b"S\xe3o Bento\r\n", file="notes.csv")
    Decoded(text='São Bento\n', encoding='Latin-1')
    """
    text, encoding = _decoded(data, file)
    nul = text.find("\0")
    if nul >= 0:
        raise _not_text(file, text.count("\n", 0, nul) + 1)
    text = text.rstrip("\x1a")  # end-of-file character of old text files
    if "\r" in text:
        text = text.replace("\r\n", "\n")
        if "\n" not in text:
            text = text.replace("\r", "\n")
    return Decoded(text, encoding)


def _decoded(data: bytes, file: str | Path) -> tuple[str, str]:
    """Return text and encoding by the first that fits."""
    if data.startswith(UTF16_MARKS):
        try:
            return data.decode("utf-16"), "UTF-16"
        except UnicodeDecodeError as error:
            raise _not_text(file, data.count(b"\n", 0, error.start) + 1) from error
    try:
        marked = data.startswith(codecs.BOM_UTF8)
        return data.decode("utf-8-sig"), "UTF-8 with a byte order mark" if marked else "UTF-8"
    except UnicodeDecodeError as error:
        controls = [data.find(code) for code in _NOT_LATIN_1]
        found = [place for place in controls if place >= 0]
        if found:
            raise _not_text(file, data.count(b"\n", 0, min(found)) + 1) from error
        return data.decode("latin-1"), "Latin-1"


def _not_text(file: str | Path, line: int) -> InputError:
    """Return the error for bytes that are no text."""
    return InputError(
        "The file is not plain text in UTF-8, UTF-16 or Latin-1.",
        file=file,
        line=line,
        remedy="Export it again as plain text, best in UTF-8.",
    )
