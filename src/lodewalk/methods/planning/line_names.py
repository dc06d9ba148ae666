"""Names of lines and their pieces, short enough for a handheld."""

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError

#: Capitals, which handhelds give back as they are.
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def line_names(number: ArrayLike, *, letter: str, longest: int) -> list[str]:
    """Return the name of each piece of a line, such as ``L004``, or ``L004B`` where it has parts.

    Parameters
    ----------
    number : array-like, shape (n,)
        Number of the line that each piece belongs to, from 0, pieces of one line together.
    letter : str
        First letter of the name.
    longest : int
        Letters that a name may have.

    Raises
    ------
    InputError
        When the names would be longer.

    Notes
    -----
    Numbers have two digits for tie lines (``T``) and three for others, more where there are more
    lines; pieces are lettered from A, after Z follow AA, AB and so on.

    Examples
    --------
    >>> line_names([0, 1, 1, 2], letter="L", longest=10)
    ['L001', 'L002A', 'L002B', 'L003']
    """
    lines = np.asarray(number, dtype=np.int64)
    if not lines.size:
        return []
    digits = max(2 if letter == "T" else 3, len(str(int(lines.max()) + 1)))
    count = np.bincount(lines)
    names, piece, last = [], 0, -1
    for line in lines.tolist():
        piece = piece + 1 if line == last else 0
        part = piece_letters(piece) if count[line] > 1 else ""
        names.append(f"{letter}{line + 1:0{digits}d}{part}")
        last = line
    longer = max(names, key=len)
    if len(longer) > longest:
        raise InputError(
            f"Names of lines have {len(longer)} letters here, but handheld.name_length is "
            f"{longest}.",
            value=longer,
            remedy="Raise it, or plan fewer lines and pieces.",
        )
    return names


def piece_letters(piece: int) -> str:
    """Return the letters of a piece counted from 0.

    Examples
    --------
    >>> [piece_letters(place) for place in (0, 25, 26, 701, 702)]
    ['A', 'Z', 'AA', 'ZZ', 'AAA']
    """
    letters, left = "", piece + 1
    while left:
        left, place = divmod(left - 1, 26)
        letters = LETTERS[place] + letters
    return letters
