"""Grids in NetCDF with the CF conventions.

Each mesh has its own easting and northing coordinates and its own grid mapping variable with the
coordinate reference system as well-known text; grids on the same mesh share them. The standard
name table has no name for a magnetic quantity, so the values carry a long name and a unit only.

References
----------
NetCDF Climate and Forecast Metadata Conventions 1.11, sections 3.1 to 3.3, 4 and 5.6.
"""

import re
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.adapters.projection import cf_attributes, check_projected, crs_from_wkt
from lodewalk.errors import InputError
from lodewalk.records.grid import Grid

if TYPE_CHECKING:
    import xarray

CONVENTIONS = "CF-1.11"
NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]*", re.ASCII)

#: Units that the conventions, by way of UDUNITS, spell in another way than we do.
UDUNITS = {"": "1", "deg": "degree"}

#: A step between nodes may differ from the spacing by this part of it.
EVENNESS = 1e-6

Mesh = tuple[float, float, float, tuple[int, ...], str]


def write_grids(path: Path, grids: Sequence[Grid], *, title: str = "Grids of a survey") -> None:
    """Write grids to one NetCDF file.

    Parameters
    ----------
    path : Path
        The file; an existing one is replaced.
    grids : sequence of Grid
        Names must differ; none makes a file without variables. Meshes and systems may differ too.
    title : str
        What the file is called in itself.

    Raises
    ------
    InputError
        For a name that is taken or isn't letters, digits and underscores, or a
        coordinate reference system that isn't projected in metres.

    Notes
    -----
    Nothing in the file depends on the time of day, the machine or the path. The attributes
    `spacing_m`, `west_m`, `south_m` and `crs` of each variable are ours: they keep exactly what
    the coordinates hold to the last rounding only. A unit of nothing is written as ``1``, and
    ``deg`` as ``degree``; reading turns both back.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> grid = Grid(np.zeros((2, 3)), 500.0, 900.0, 10.0, "EPSG:31982", "nT", "anomaly")
    >>> with TemporaryDirectory() as folder:
    ...     write_grids(Path(folder, "grids.nc"), [grid])
    ...     read_grids(Path(folder, "grids.nc"))[0].digest() == grid.digest()
    True
    """
    import xarray

    suffixes = _suffixes(grids)
    variables: dict[str, Any] = {}
    for mesh, suffix in suffixes.items():
        first = next(grid for grid in grids if _mesh(grid) == mesh)
        variables |= _mesh_variables(first, suffix)
    for grid in grids:
        if not NAME.fullmatch(grid.name) or grid.name in variables:
            rule = "The name of a grid must be new, of letters, digits and underscores."
            raise InputError(rule, value=grid.name)
        variables[grid.name] = _values_variable(grid, suffixes[_mesh(grid)])
    dataset = xarray.Dataset(variables, attrs={"Conventions": CONVENTIONS, "title": title})
    dataset.to_netcdf(path, engine="h5netcdf", encoding=_encoding(dataset))


def read_grids(path: Path) -> list[Grid]:
    """Read the grids of a file that `write_grids` wrote, or of another on even projected meshes.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    list of Grid
        In the order of the file.

    Raises
    ------
    InputError
        For a file that isn't NetCDF 4, holds no grid on a projected mesh, or whose coordinates
        aren't even, the same both ways and increasing.
    """
    import xarray

    try:
        with xarray.open_dataset(path, engine="h5netcdf", decode_times=False) as dataset:
            grids = [_grid(dataset, name, file=path.name) for name in _gridded(dataset)]
            empty = not dataset.variables
    except InputError:
        raise
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RuntimeError) as error:
        raise InputError(
            "The file must be NetCDF 4.", file=path.name, value=str(error).split("\n")[0]
        ) from None
    if not (grids or empty):
        raise InputError("The file holds no grid on easting and northing.", file=path.name)
    return grids


def _mesh(grid: Grid) -> Mesh:
    """Return what makes two grids share their coordinates."""
    return grid.west_m, grid.south_m, grid.spacing_m, grid.values.shape, grid.crs


def _suffixes(grids: Iterable[Grid]) -> dict[Mesh, str]:
    """Return for each mesh what is added to the names of its coordinates."""
    meshes = dict.fromkeys(_mesh(grid) for grid in grids)
    return {mesh: f"_{n}" if n > 1 else "" for n, mesh in enumerate(meshes, start=1)}


def _mesh_variables(grid: Grid, suffix: str) -> dict[str, Any]:
    """Return the coordinates of a mesh and its grid mapping."""
    check_projected(grid.crs)
    easting, northing = f"easting{suffix}", f"northing{suffix}"
    return {
        easting: (easting, grid.eastings, _axis("easting", "x", "X")),
        northing: (northing, grid.northings, _axis("northing", "y", "Y")),
        f"crs{suffix}": ((), np.int32(0), cf_attributes(grid.crs)),
    }


def _axis(name: str, letter: str, axis: str) -> dict[str, str]:
    """Return the attributes of a coordinate."""
    return {
        "standard_name": f"projection_{letter}_coordinate",
        "long_name": name,
        "units": "m",
        "axis": axis,
    }


def _values_variable(grid: Grid, suffix: str) -> tuple[Any, ...]:
    """Return the variable of the values."""
    attributes = {
        "long_name": grid.name.replace("_", " "),
        "units": UDUNITS.get(grid.unit, grid.unit),
        "grid_mapping": f"crs{suffix}",
        "west_m": grid.west_m,
        "south_m": grid.south_m,
        "spacing_m": grid.spacing_m,
        "crs": grid.crs,
    }
    return (f"northing{suffix}", f"easting{suffix}"), grid.values, attributes


def _encoding(dataset: "xarray.Dataset") -> dict[str, dict[str, Any]]:
    """Return compression and fill value: NaN for grids, none for coordinates."""
    packed = {"_FillValue": np.nan, "zlib": True, "complevel": 4, "shuffle": True}
    return {
        str(name): packed if variable.ndim == 2 else {"_FillValue": None}
        for name, variable in dataset.variables.items()
    }


def _gridded(dataset: "xarray.Dataset") -> list[str]:
    """Return the names of the variables on two projected axes, northing first."""
    wanted = ["projection_y_coordinate", "projection_x_coordinate"]
    return [
        str(name)
        for name, variable in dataset.data_vars.items()
        if [dataset[dim].attrs.get("standard_name") for dim in variable.dims] == wanted
    ]


def _grid(dataset: "xarray.Dataset", name: str, *, file: str) -> Grid:
    """Return one grid of the file."""
    variable = dataset[name]
    northing, easting = (_coordinate(dataset[dim]) for dim in variable.dims)
    attributes = variable.attrs
    spacing = float(attributes.get("spacing_m", _spacing(northing, easting)))
    west, south = (
        float(attributes.get(key, nodes[0]))
        for key, nodes in (("west_m", easting), ("south_m", northing))
    )
    for first, nodes in ((west, easting), (south, northing)):
        even = first + spacing * np.arange(len(nodes))
        if not (spacing > 0 and np.all(np.abs(nodes - even) <= EVENNESS * spacing)):
            raise InputError(
                "Easting and northing must increase evenly, with one spacing.",
                file=file,
                value=name,
            )
    spelled = {theirs: ours for ours, theirs in UDUNITS.items()}
    unit = str(attributes.get("units", ""))
    crs = _crs(dataset, variable, file=file)
    values = np.array(variable.values, dtype=np.float64)
    return Grid(values, west, south, spacing, crs, spelled.get(unit, unit), name)


def _coordinate(variable: "xarray.DataArray") -> NDArray[np.float64]:
    """Return the nodes along one axis [m]."""
    return np.asarray(variable.values, dtype=np.float64)


def _spacing(northing: NDArray[np.float64], easting: NDArray[np.float64]) -> float:
    """Return the spacing along the longer axis, zero where there is but one node."""
    nodes = max(northing, easting, key=len)
    return float((nodes[-1] - nodes[0]) / (len(nodes) - 1)) if len(nodes) > 1 else 0.0


def _crs(dataset: "xarray.Dataset", variable: "xarray.DataArray", *, file: str) -> str:
    """Return the coordinate reference system of a variable."""
    if "crs" in variable.attrs:
        return str(variable.attrs["crs"])
    mapping = variable.attrs.get("grid_mapping", variable.encoding.get("grid_mapping"))
    wkt = dataset[mapping].attrs.get("crs_wkt") if mapping in dataset.variables else None
    if wkt is None:
        raise InputError(
            "A grid must name its coordinate reference system.",
            file=file,
            value=str(variable.name),
        )
    return crs_from_wkt(str(wkt))
