"""The writer of GeoJSON (RFC 7946): longitude and latitude on WGS84, seven decimals."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any, Final, Literal

#: A seventh decimal is a centimetre.
DECIMALS: Final = 7
Place = tuple[float, float]


@dataclass(frozen=True)
class Feature:
    """One shape with its properties.

    Parameters
    ----------
    geometry : {"Polygon", "LineString", "Point"}
        Kind of shape.
    places : sequence of pairs
        Longitude and latitude [deg]; the outline of a polygon need not be closed.
    properties : mapping
        Plain values by name.
    """

    geometry: Literal["Polygon", "LineString", "Point"]
    places: Sequence[Place]
    properties: Mapping[str, Any] = field(default_factory=dict)


def write(path: Path, features: Sequence[Feature]) -> None:
    """Write shapes to a GeoJSON file, one feature on a line.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     target = Path(folder) / "base.geojson"
    ...     write(target, [Feature("Point", [(-50.4, -24.9)], {"name": "base"})])
    ...     json.loads(target.read_text())["features"][0]["geometry"]["coordinates"]
    [-50.4, -24.9]
    """
    lines = ",\n".join(json.dumps(_member(item), ensure_ascii=False) for item in features)
    text = f'{{"type": "FeatureCollection", "features": [\n{lines}\n]}}\n'
    path.write_text(text, encoding="utf-8", newline="\n")


def _member(item: Feature) -> dict[str, Any]:
    """Return a feature as the standard has it: outlines closed and counter-clockwise."""
    places = [(round(float(x), DECIMALS), round(float(y), DECIMALS)) for x, y in item.places]
    coordinates: Any = places
    if item.geometry == "Polygon":
        coordinates = [_ring(places)]
    elif item.geometry == "Point":
        coordinates = places[0]
    geometry = {"type": item.geometry, "coordinates": coordinates}
    return {"type": "Feature", "properties": dict(item.properties), "geometry": geometry}


def _ring(places: list[Place]) -> list[Place]:
    """Return an outline closed and counter-clockwise (RFC 7946, section 3.1.6)."""
    ring = places if places[0] == places[-1] else [*places, places[0]]
    doubled = sum((x1 - x0) * (y1 + y0) for (x0, y0), (x1, y1) in pairwise(ring))
    return ring if doubled < 0 else ring[::-1]
