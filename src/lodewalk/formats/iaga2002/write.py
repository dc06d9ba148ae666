"""The writer of IAGA-2002."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.formats.iaga2002 import layout
from lodewalk.records.recorded import Observatory

#: Sets of elements in the order in which one is looked for.
SETS = ("XYZF", "DHZF", "HEZF")


def write(
    path: Path,
    observatory: Observatory,
    *,
    station: str,
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float | None = None,
    code: str = "",
    source: str = "",
    elements: str | None = None,
    orientation: str = "",
    sampling: str = "",
    interval: str = "",
    data_type: str = "variation",
) -> None:
    """Write an observatory series to a file of 70-character records.

    Parameters
    ----------
    path : Path
        The file; an existing one is replaced.
    observatory : Observatory
        The series [nT, deg], in universal time, whole milliseconds.
    station, code, source, orientation, sampling, interval, data_type : str
        Descriptions of the header records, at most 45 ASCII characters each.
    latitude_deg, longitude_deg : float
        Position of the station [deg].
    elevation_m : float, optional
        Height of the station above sea level [m].
    elements : str, optional
        Four letters of X, Y, Z, H, E, D, F and S in the order wanted; by default the first of
        XYZF, DHZF and HEZF whose vector the series holds.

    Raises
    ------
    InputError
        For a description that doesn't fit, a time between milliseconds, a value that the format
        can't hold, or elements that aren't four of those known.

    Notes
    -----
    Values are rounded to 0.01 nT and 0.01 minutes of arc. An element that the series doesn't
    hold is written as 88888.00, a missing value as 99999.00.
    """
    chosen = _chosen(observatory) if elements is None else elements.upper()
    known = set(chosen) <= set(layout.COLUMN_OF) and not {"F", "S"} <= set(chosen)
    if not (known and len(chosen) == len(set(chosen)) == layout.FIELDS):
        raise InputError("The elements must be four of X, Y, Z, H, E, D and F or S.", value=chosen)
    descriptions = (
        "IAGA-2002", source, station, code, f"{latitude_deg:.5f}", f"{longitude_deg:.5f}",
        "" if elevation_m is None else f"{elevation_m:g}", chosen, orientation, sampling,
        interval, data_type,
    )  # fmt: skip
    pairs = zip(layout.LABELS, descriptions, strict=True)
    records = [_header_record(label, text) for label, text in pairs]
    records += [_data_header(code, chosen), *_data_records(observatory, chosen)]
    path.write_text("\n".join(records) + "\n", encoding="ascii", newline="\n")


def _chosen(observatory: Observatory) -> str:
    """Return the first set of elements whose vector the series holds, else the first of all."""
    for letters in SETS:
        if all(observatory.has(layout.COLUMN_OF[letter][0]) for letter in letters[:3]):
            return letters
    return SETS[0]


def _header_record(label: str, text: str) -> str:
    """Return one header record of 70 characters."""
    width = layout.DESCRIPTION_END - layout.LABEL_END
    if len(text) > width or not (text.isascii() and text.isprintable()):
        raise InputError(
            f"A description may have {width} printable ASCII characters.", value=f"{label}: {text}"
        )
    return f" {label:<{layout.LABEL_END - 1}}{text:<{width}}|"


def _data_header(code: str, elements: str) -> str:
    """Return the data header; an element's name is the station code and its letter."""
    names = "".join(f"{code[:3] + letter:<10}" for letter in elements)
    text = f"{'DATE       TIME         DOY':<32}{names}"[: layout.DESCRIPTION_END]
    return f"{text:<{layout.DESCRIPTION_END}}|"


def _data_records(observatory: Observatory, elements: str) -> list[str]:
    """Return the data records."""
    times = observatory.frame["recorded_time"]
    micro = times.dt.timestamp("us").to_numpy()
    if np.any(micro % 1000):
        raise InputError("IAGA-2002 holds whole milliseconds only.", value=str(times[0]))
    heads = times.dt.strftime("%Y-%m-%d %H:%M:%S%.3f %j   ").to_list()
    fields = [_field(observatory, letter) for letter in elements]
    return [head + "".join(row) for head, *row in zip(heads, *fields, strict=True)]


def _field(observatory: Observatory, letter: str) -> list[str]:
    """Return the values of one element as text of ten characters."""
    name, factor = layout.COLUMN_OF[letter]
    if not observatory.has(name):
        return [f"{layout.NOT_RECORDED:10.2f}"] * len(observatory)
    values: NDArray[np.float64] = np.round(observatory.floats(name) * factor, 2)
    if np.any(np.abs(values) >= layout.NOT_RECORDED):
        worst = float(np.nanmax(np.abs(values)))
        raise InputError(f"Element {letter} must be below {layout.NOT_RECORDED:g}.", value=worst)
    filled = np.where(np.isnan(values), layout.MISSING, values)
    return [f"{value:10.2f}" for value in filled.tolist()]
