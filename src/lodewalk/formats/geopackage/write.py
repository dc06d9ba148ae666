"""The writer of GeoPackage: layers of shapes with their columns, through GDAL."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.errors import InputError

#: Time of the last change that the file names, so that the same layers give the same bytes.
_CHANGED = "2000-01-01T00:00:00.000Z"
_GEOMETRY = {"point": "Point", "line": "LineString", "polygon": "Polygon", "any": "Unknown"}


@dataclass(frozen=True)
class Shape:
    """One shape: point, line or polygon, and easting and northing of its rings [m]."""

    geometry: str
    rings: tuple[NDArray[np.float64], ...]


@dataclass(frozen=True)
class Layer:
    """One layer: its name, form (point, line, polygon or any), shapes and columns."""

    name: str
    geometry: str
    shapes: tuple[Shape, ...]
    columns: Mapping[str, NDArray[Any]] = field(default_factory=dict)


def write(path: Path, layers: Sequence[Layer], *, crs: str) -> None:
    """Write layers to a GeoPackage.

    Parameters
    ----------
    path : Path
        The file; an existing one is replaced.
    layers : sequence of Layer
        At least one; a layer without shapes is written empty.
    crs : str
        Reference system of all shapes, such as ``EPSG:31982``.

    Raises
    ------
    InputError
        When there is no layer, or a column has another length than the shapes.
    OSError
        When it can't be written, such as on a full disk.

    Notes
    -----
    The time of the last change, which the standard demands, is fixed, so that the same layers
    give the same bytes with the same GDAL.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> base = Shape("point", (np.array([[560000.0, 7245000.0]]),))
    >>> layer = Layer("points", "point", (base,), {"name": np.array(["BASE"], dtype=object)})
    >>> with TemporaryDirectory() as folder:
    ...     write(Path(folder) / "plan.gpkg", [layer], crs="EPSG:31982")
    ...     (Path(folder) / "plan.gpkg").read_bytes()[68:72]
    b'GPKG'
    """
    if not layers:
        raise InputError("A GeoPackage needs at least one layer.")
    with TemporaryDirectory(prefix="lodewalk-") as folder, _fixed_time(), _as_system_error():
        made = Path(folder) / "plan.gpkg"  # GDAL wants this ending
        for index, layer in enumerate(layers):
            _write_layer(made, layer, crs, append=index > 0)
        path.write_bytes(made.read_bytes())


@contextmanager
def _as_system_error() -> Iterator[None]:
    """Raise what GDAL complains of while writing as an error of the system."""
    from pyogrio.errors import DataLayerError, DataSourceError, FeatureError

    try:
        yield
    except (DataLayerError, DataSourceError, FeatureError) as error:
        first = (
            str(error).strip().splitlines()[0].rstrip(".") if str(error).strip() else "no reason"
        )
        raise OSError(f"The GeoPackage can't be written ({first}); the disk may be full") from error


@contextmanager
def _fixed_time() -> Iterator[None]:
    """Let GDAL write a fixed time of the last change."""
    import pyogrio

    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": _CHANGED})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": before})


def _write_layer(path: Path, layer: Layer, crs: str, *, append: bool) -> None:
    """Add one layer to the file."""
    from pyogrio.raw import write as write_raw

    for name, values in layer.columns.items():
        if len(values) != len(layer.shapes):
            raise InputError(
                f"Column {name} of layer {layer.name} must have a value for each shape.",
                value=f"{len(values)} for {len(layer.shapes)}",
            )
    write_raw(
        str(path),
        geometry=np.array([_wkb(shape) for shape in layer.shapes], dtype=object),
        field_data=list(layer.columns.values()),
        fields=np.array(list(layer.columns), dtype=object),
        geometry_type=_GEOMETRY[layer.geometry],
        layer=layer.name,
        crs=crs,
        driver="GPKG",
        append=append,
        encoding="utf-8",
    )


def _wkb(shape: Shape) -> bytes:
    """Return a shape as well-known binary."""
    import shapely

    first = shape.rings[0]
    if shape.geometry == "point":
        made = shapely.points(first[0])
    elif shape.geometry == "line":
        made = shapely.linestrings(first)
    else:
        made = shapely.polygons(first, holes=list(shape.rings[1:]) or None)
    return bytes(shapely.to_wkb(made))
