"""A planted dyke that leans, as a sum of its parts: neither fit nor field is lodewalk's own.

The body is a heap of line dipoles along the field of an independent library, inclined to the right
of its strike.
"""

from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
import ppigrf
from pyproj import Proj, Transformer

from dyked_survey import Dyke
from small_survey import CRS, HEIGHT, SOUTH, WEST

DIP = 60.0


def field_from_grid_north():
    """Return the unit vector east, north, down of the field on the grid, by ppigrf and pyproj."""
    place = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True).transform(
        WEST + 50.0, SOUTH + 120.0
    )
    parts = ppigrf.igrf(*place, HEIGHT / 1000, datetime(2026, 3, 10, 14, 30))
    east, north, up = (float(part.item()) for part in parts)
    # The azimuth of true north on the grid is minus the meridian's convergence.
    turn = np.radians(Proj(CRS).get_factors(*place).meridian_convergence)
    vector = np.array(
        [
            east * np.cos(turn) - north * np.sin(turn),
            east * np.sin(turn) + north * np.cos(turn),
            -up,
        ]
    )
    return vector / np.linalg.norm(vector)


@dataclass(frozen=True)
class Leaning(Dyke):
    """A dyke that dips to the right of its strike, magnetised along the field."""

    depth: float = 8.0
    half_width: float = 10.0
    magnetisation: float = 40.0
    toward: np.ndarray = field(default_factory=field_from_grid_north)

    def curve(self, x):
        """Sum of line dipoles ``2 (m.r) (t.r) / r**4 - (m.t) / r**2``, m along t."""
        edges = self.depth + 0.4 * (np.geomspace(1.0, 6000.0, 260) - 1.0)
        below, thick = 0.5 * (edges[1:] + edges[:-1]), np.diff(edges)
        inside = self.half_width * (np.arange(-20, 20) + 0.5) / 20.0
        turn = np.radians(self.strike)
        across = self.toward[0] * np.cos(turn) - self.toward[1] * np.sin(turn)
        down = self.toward[2]
        total = np.zeros(x.size)
        for depth, height in zip(below, thick, strict=True):
            middle = inside + (depth - self.depth) / np.tan(np.radians(DIP))
            # From the part to the sensor: to the right, and down, which is below 0.
            right, under = x[:, None] - middle, -depth
            square = right**2 + under**2
            along = across * right + down * under
            part = 2.0 * along**2 / square**2 - (across**2 + down**2) / square
            total += height * part.sum(axis=1)
        return self.magnetisation * total * self.half_width / 20.0 * 2.0
