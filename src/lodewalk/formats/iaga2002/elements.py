"""From the elements of an IAGA-2002 file to the columns of an observatory's table."""

import numpy as np
from numpy.typing import NDArray

from lodewalk.formats.iaga2002.layout import COLUMN_OF

FloatArray = NDArray[np.float64]

#: Elements that are understood; I is the inclination, G vector length minus scalar.
ELEMENTS = (*COLUMN_OF, "I", "G")


def columns_of(values: dict[str, FloatArray]) -> tuple[dict[str, FloatArray], list[str]]:
    """Return the columns of the table and a sentence for each that was computed.

    Parameters
    ----------
    values : dict of arrays, shape (n,)
        Elements as in the file [nT, minutes of arc], NaN where missing.

    Returns
    -------
    columns : dict of arrays
        By name, in the units of the table [nT, deg].
    notes : list of str
        What was computed from what.

    Examples
    --------
    >>> columns, notes = columns_of({"D": np.array([90.0])})
    >>> columns["declination_deg"].tolist(), notes
    ([1.5], [])
    """
    columns = {
        COLUMN_OF[letter][0]: array / COLUMN_OF[letter][1]
        for letter, array in values.items()
        if letter in COLUMN_OF
    }
    notes = []
    for name, array, note in (*_from_inclination(values), *_from_difference(values)):
        if name not in columns:
            columns[name] = array
            notes.append(note)
    return columns, notes


def vector_length(values: dict[str, FloatArray]) -> tuple[FloatArray | None, str]:
    """Return the length of the field vector [nT] and the elements it is of; None without three.

    Examples
    --------
    >>> length, names = vector_length({"H": np.array([3.0]), "Z": np.array([4.0])})
    >>> length.tolist(), names
    ([5.0], 'H and Z')
    """
    for letters in ("XYZ", "HEZ", "HZ"):
        if set(letters) <= set(values):
            length = np.sqrt(sum(values[letter] ** 2 for letter in letters))
            return length, f"{', '.join(letters[:-1])} and {letters[-1]}"
    if {"H", "I"} <= set(values):
        return values["H"] / np.cos(_radians(values["I"])), "H and I"
    return None, ""


def _from_inclination(values: dict[str, FloatArray]) -> list[tuple[str, FloatArray, str]]:
    """Return what the inclination gives together with H or the total field."""
    if "I" not in values:
        return []
    angle = _radians(values["I"])
    if "H" in values:
        return [("down_nT", values["H"] * np.tan(angle), "Z was computed from H and I.")]
    total = values.get("F", values.get("S"))
    if total is None:
        return []
    return [
        ("horizontal_nT", total * np.cos(angle), "H was computed from the total field and I."),
        ("down_nT", total * np.sin(angle), "Z was computed from the total field and I."),
    ]


def _from_difference(values: dict[str, FloatArray]) -> list[tuple[str, FloatArray, str]]:
    """Return the scalar total field that G, the vector length minus it, gives."""
    length, names = vector_length(values)
    if "G" not in values or length is None:
        return []
    note = f"The scalar total field was computed as the length of {names} minus G."
    return [("total_field_nT", length - values["G"], note)]


def _radians(minutes: FloatArray) -> FloatArray:
    """Turn minutes of arc into radians."""
    return np.deg2rad(minutes / 60.0)
