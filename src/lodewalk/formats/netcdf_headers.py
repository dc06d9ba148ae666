"""What grids a NetCDF file holds, and one of them, without reading the others.

Reads what `lodewalk.formats.netcdf.write_grids` writes; a file from elsewhere is read whole by
`read_grids`.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from lodewalk.errors import InputError
from lodewalk.formats.netcdf import UDUNITS
from lodewalk.records.grid import Grid

if TYPE_CHECKING:
    import h5py

_OURS = ("west_m", "south_m", "spacing_m", "crs", "units")


@dataclass(frozen=True)
class GridHeader:
    """Name, unit and mesh of a grid in a file; `shape` is nodes to the north, to the east."""

    name: str
    unit: str
    crs: str
    west_m: float
    south_m: float
    spacing_m: float
    shape: tuple[int, int]


def read_headers(path: Path) -> list[GridHeader]:
    """Return the grids of a file in its order, without their values.

    Parameters
    ----------
    path : Path
        A file that `write_grids` wrote.

    Raises
    ------
    InputError
        For a file that can't be read.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from lodewalk.formats.netcdf import write_grids
    >>> grid = Grid(np.zeros((2, 3)), 500.0, 900.0, 10.0, "EPSG:31982", "nT", "anomaly")
    >>> with TemporaryDirectory() as folder:
    ...     write_grids(Path(folder, "grids.nc"), [grid])
    ...     read_headers(Path(folder, "grids.nc"))[0].shape
    (2, 3)
    """
    with _opened(path) as file:
        return [_header(name, file[name]) for name in _gridded(file)]


def read_grid(path: Path, name: str) -> Grid:
    """Return one grid of a file.

    Parameters
    ----------
    path : Path
        A file that `write_grids` wrote.
    name : str
        One of its grids.

    Raises
    ------
    InputError
        For a file that can't be read or holds no such grid.
    """
    with _opened(path) as file:
        if name not in _gridded(file):
            raise InputError("The file holds no such grid.", file=path.name, value=name)
        head = _header(name, file[name])
        values = np.array(file[name][...], dtype=np.float64)
    return Grid(values, head.west_m, head.south_m, head.spacing_m, head.crs, head.unit, name)


def _opened(path: Path) -> "h5py.File":
    """Open a file to read."""
    import h5py

    try:
        return h5py.File(path, "r")
    except OSError as error:
        rule = "The file must be NetCDF 4."
        raise InputError(rule, file=path.name, value=str(error).split("\n")[0]) from None


def _gridded(file: "h5py.File") -> list[str]:
    """Return the names of the variables that are grids of ours, in the order of the file."""
    import h5py

    names: list[str] = []

    def take(name: bytes) -> None:
        names.append(name.decode())

    if _ordered(file):
        file.id.links.iterate(take, idx_type=h5py.h5.INDEX_CRT_ORDER)
    else:
        names.extend(file)
    return [name for name in names if all(key in file[name].attrs for key in _OURS)]


def _ordered(file: "h5py.File") -> bool:
    """Tell whether the file keeps the order in which its variables were written."""
    import h5py

    flags = file.id.get_create_plist().get_link_creation_order()
    return bool(flags & h5py.h5p.CRT_ORDER_TRACKED)


def _header(name: str, variable: Any) -> GridHeader:
    """Return the header of one variable."""
    attributes = variable.attrs
    west, south, spacing = (float(np.ravel(attributes[key])[0]) for key in _OURS[:3])
    crs, unit = (_text(attributes[key]) for key in _OURS[3:])
    spelled = {theirs: ours for ours, theirs in UDUNITS.items()}
    north, east = variable.shape
    return GridHeader(
        name, spelled.get(unit, unit), crs, west, south, spacing, (int(north), int(east))
    )


def _text(value: Any) -> str:
    """Return an attribute as text."""
    return value.decode() if isinstance(value, bytes) else str(value)
