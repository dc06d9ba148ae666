"""The reader of GeoPackage; the file itself is opened by a library."""

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from lodewalk.adapters.projection import crs_from_wkt, is_geographic
from lodewalk.errors import InputError
from lodewalk.formats.content import Content
from lodewalk.formats.shapes import (
    MAX_CORNERS,
    Corner,
    Feature,
    Part,
    check_degrees,
    content_of,
)
from lodewalk.formats.shapes import from_properties as feature_from

if TYPE_CHECKING:
    from shapely import Geometry

SQLITE = b"SQLite format 3\x00"
WORDS = {"Polygon": "polygon", "LineString": "line", "LinearRing": "line", "Point": "point"}
#: Which kinds of layers serve a role, by the beginning or end of their geometry's name.
WANTED = {"area": ("Polygon",), "plan": ("LineString",), "notes": ("Point",)}
CUT = "It may be cut short or damaged; copy it again."


def recognise(head: bytes) -> float:
    """Return how sure it is that a file beginning with `head` is a GeoPackage.

    Examples
    --------
    >>> recognise(b"SQLite format 3" + bytes(53) + b"GPKG")
    1.0
    """
    if not head.startswith(SQLITE):
        return 0.0
    return 1.0 if head[68:72] in (b"GPKG", b"GP10", b"GP11") else 0.8


def read(path: Path, *, role: str, column_map: object = None) -> Content:
    """Read the first layer that serves a role.

    Parameters
    ----------
    path : Path
        The file.
    role : {"area", "exclusion", "plan", "notes"}
        An area takes polygons, an exclusion everything, a plan lines, notes points.
    column_map : None
        Not used: the format says itself what it holds.

    Returns
    -------
    Content
        `Shapes` in the system of the layer, or `Route` or `Waypoints` on WGS84.

    Raises
    ------
    InputError
        For a file that is cut short, without a layer or a reference system, with curved shapes,
        or without a shape for the role.

    Notes
    -----
    A row of the database has no line; the number told in its place is the row's own (``fid``).
    """
    del column_map
    _check_whole(path)
    layer, notes = _layer(path, role)
    with _opened(path):
        import pyogrio.raw

        meta, rows, shapes, columns = pyogrio.raw.read(
            path,
            layer=layer,
            force_2d=True,
            return_fids=True,
            max_features=MAX_CORNERS + 1,
        )
    crs = _crs(meta["crs"], path.name)
    features = list(_features(rows, shapes, meta["fields"], columns, file=path.name))
    if is_geographic(crs):
        _check_degrees(features, path.name)
    return content_of(features, role=role, crs=crs, file=path.name, title="GeoPackage", notes=notes)


def _check_whole(path: Path) -> None:
    """Raise when the file is shorter than its own header says (SQLite file format, 1.3)."""
    with path.open("rb") as stream:
        head = stream.read(100)
    if not head.startswith(SQLITE) or len(head) < 100:
        raise InputError("A GeoPackage must be a SQLite file.", file=path, remedy=CUT)
    page = int.from_bytes(head[16:18], "big")
    page = 65_536 if page == 1 else page
    told = head[24:28] == head[92:96]
    wanted = page * int.from_bytes(head[28:32], "big") if told else 0
    size = path.stat().st_size
    if size < wanted:
        raise InputError(
            "The file is shorter than it says itself.",
            file=path,
            value=f"{size} of {wanted} bytes",
            remedy=CUT,
        )


@contextmanager
def _opened(path: Path) -> Iterator[None]:
    """Turn the errors of the library into ours, and keep its warnings still."""
    from pyogrio.errors import (
        CRSError,
        DataLayerError,
        DataSourceError,
        FeatureError,
        GeometryError,
    )

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except GeometryError:
        raise InputError(
            "Shapes must be points, lines and polygons without curves.", file=path
        ) from None
    except (CRSError, DataLayerError, DataSourceError, FeatureError) as error:
        said = " ".join(str(error).replace(str(path), path.name).split())[:120]
        raise InputError(f"The GeoPackage can't be read ({said}).", file=path, remedy=CUT) from None


def _layer(path: Path, role: str) -> tuple[str, list[str]]:
    """Return the layer to take and what is to be told of the others."""
    import pyogrio

    with _opened(path):
        layers = [(str(name), kind) for name, kind in pyogrio.list_layers(path)]
    placed = [(name, str(kind)) for name, kind in layers if kind is not None]
    if not placed:
        raise InputError(
            "The GeoPackage must have a layer with shapes.",
            file=path,
            value=[name for name, _ in layers] or "no layers",
        )
    wanted = WANTED.get(role, ())
    serving = [
        name for name, kind in placed if not wanted or any(word in kind for word in wanted)
    ] or [name for name, kind in placed if kind in ("Unknown", "GeometryCollection")]
    taken = (serving or [placed[0][0]])[0]
    if len(layers) == 1:
        return taken, [f"Layer {taken}."]
    others = ", ".join(name for name, _ in layers if name != taken)
    return taken, [
        f"Layer {taken} is taken, the first of {len(layers)} that serves; others: {others}. "
        "Export one by itself to take it."
    ]


def _crs(wkt: str | None, file: str) -> str:
    """Return the reference system of the layer, or raise where it has none."""
    if not wkt or '"Undefined' in wkt.split(",")[0]:
        raise InputError(
            "The layer must have a reference system.",
            file=file,
            value=wkt.split(",")[0] if wkt else None,
            remedy="Set it in the program that wrote the file, and export it again.",
        )
    return crs_from_wkt(wkt) if not wkt.startswith("EPSG:") else wkt


def _features(rows: Any, shapes: Any, names: Any, columns: Any, *, file: str) -> Iterator[Feature]:
    """Yield a feature for each row that has a shape."""
    import shapely

    corners = 0
    for place, (row, raw) in enumerate(zip(rows, shapes, strict=True)):
        if raw is None:
            continue
        line = int(row)
        try:
            shape = shapely.from_wkb(raw)
        except (shapely.errors.GEOSException, TypeError):
            raise InputError("The shape of a row can't be read.", file=file, line=line) from None
        corners += shapely.get_num_coordinates(shape)
        if corners > MAX_CORNERS:
            raise InputError(f"A file may have {MAX_CORNERS:,} corners at most.", file=file)
        properties = {
            str(name): _plain(values[place]) for name, values in zip(names, columns, strict=True)
        }
        parts = tuple(_part(one, line, file) for one in _singles(shape))
        yield feature_from(parts, properties, file=file, line=line)


def _plain(value: Any) -> Any:
    """Return a value of a column as one of Python's own."""
    return value.item() if isinstance(value, np.generic) else value


def _singles(shape: "Geometry") -> Iterator["Geometry"]:
    """Yield the single shapes of a collection, empty ones left out."""
    import shapely

    for one in shapely.get_parts(shape):
        if shapely.get_type_id(one) > 3:
            yield from _singles(one)
        elif not one.is_empty:
            yield one


def _part(shape: Any, line: int, file: str) -> Part:
    """Return a single shape as a part."""
    import shapely

    geometry = WORDS[shape.geom_type]
    rings = [shape.exterior, *shape.interiors] if geometry == "polygon" else [shape]
    arrays = [shapely.get_coordinates(ring) for ring in rings]
    if not all(np.isfinite(array).all() for array in arrays):
        raise InputError("The coordinates of a shape must be finite.", file=file, line=line)
    return Part(
        geometry,
        tuple(tuple(Corner(line, float(a), float(b)) for a, b in array) for array in arrays),
    )


def _check_degrees(features: list[Feature], file: str) -> None:
    """Raise for a place out of range in a system of degrees."""
    for feature in features:
        for part in feature.parts:
            for ring in part.rings:
                for corner in ring:
                    check_degrees(corner, file=file)
