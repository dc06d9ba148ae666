"""Which readings make a grid, and how far apart their lines are."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.methods.corrections.lines import line_spacing
from lodewalk.methods.gridding.along_strike import AlongStrike
from lodewalk.methods.gridding.equivalent_sources import fit_layer
from lodewalk.methods.gridding.ground import Region
from lodewalk.methods.gridding.interface import ALONG_STRIKE, grid_readings
from lodewalk.methods.gridding.line_folds import line_folds
from lodewalk.methods.gridding.piece_folds import piece_folds
from lodewalk.methods.gridding.source_layer import SourceLayer
from lodewalk.records import Table

Floats = NDArray[np.float64]
#: Engines that need to be told a surface: see the step of that name.
CURVATURE, LAYER = "minimum curvature", "equivalent sources"
#: Engines of minimum curvature; the second is told the lines.
CURVED = (CURVATURE, ALONG_STRIKE)
#: Line spacing assumed where there is a single line [m].
LONE_LINE_SPACING_M = 20.0


@dataclass(frozen=True)
class Used:
    """The readings that a grid is made of: the kept ones on lines, or all where none is.

    `sd_nT` is the noise of the sensor, by which readings are weighed: what a line's readings share,
    such as level, place and the variation with time, says nothing of how well each follows the
    ground, and a part that grows with the anomaly would flatten its peaks.
    `rows` tells where each stands among all readings.
    """

    easting_m: Floats
    northing_m: Floats
    anomaly_nT: Floats
    sd_nT: Floats
    passage: NDArray[np.int64]
    rows: NDArray[np.int64]

    @property
    def line_spacing_m(self) -> float:
        """Distance between lines, or the assumed one where there is a single line [m]."""
        return spacing_or_usual(self.easting_m, self.northing_m, self.passage)

    @property
    def weighing_sd(self) -> Floats | None:
        """Errors that can serve as weights: an unknown one counts as the largest [nT].

        None where no error is above zero.
        """
        above = self.sd_nT[self.sd_nT > 0]
        if not above.size:
            return None
        known: Floats = np.where(
            np.isnan(self.sd_nT), above.max(), np.maximum(self.sd_nT, above.min())
        )
        return known

    @property
    def line_folds(self) -> NDArray[np.int64]:
        """Fold of each reading's line; all -1 where none can be left out, of very few lines."""
        try:
            return line_folds(
                self.easting_m, self.northing_m, self.passage, line_spacing_m=self.line_spacing_m
            )
        except InputError:
            return np.full(self.passage.size, -1)

    @property
    def piece_folds(self) -> NDArray[np.int64]:
        """Fold of each reading's piece of line, a line spacing long."""
        return piece_folds(
            self.easting_m, self.northing_m, self.passage, length_m=self.line_spacing_m
        )


def on_nodes(
    readings: tuple[Floats, Floats, Floats],
    sd: Floats | None,
    passage: NDArray[np.int64],
    region: Region,
    *,
    spacing_m: float,
    reach_m: float,
    line_spacing_m: float,
    method: str,
    surface: Mapping[str, Any],
) -> Floats:
    """Return the grid of easting, northing and anomaly by an engine with what was chosen for it."""
    chosen: dict[str, Any] = {}
    if method in CURVED:
        chosen = {name: surface[name] for name in ("tension", "damping_m2", "tension_length_m")}
    if method == ALONG_STRIKE:
        chosen["along_strike"] = AlongStrike(
            passage, line_spacing_m, surface["strength"], surface["longest_m"]
        )
    return grid_readings(
        *readings,
        sd=sd,
        west_m=region.west_m,
        south_m=region.south_m,
        shape=region.shape,
        spacing_m=spacing_m,
        reach_m=reach_m,
        method=method,
        **chosen,
    )


def fitted_layer(
    easting: Floats, northing: Floats, value: Floats, *, sd: Floats | None, layer: Mapping[str, Any]
) -> SourceLayer:
    """Return the layer of equivalent sources that readings give with the chosen settings."""
    return fit_layer(
        easting,
        northing,
        value,
        sd=sd,
        depth_m=layer["depth_m"],
        damping=layer["damping"],
        layers=layer["layers"],
        rounds=layer["rounds"],
    )


def spacing_or_usual(easting_m: Floats, northing_m: Floats, passage: NDArray[np.int64]) -> float:
    """Return the distance between lines, or the assumed one where there is a single line [m]."""
    between = line_spacing(easting_m, northing_m, passage)
    return between if np.isfinite(between) else LONE_LINE_SPACING_M


def used_readings(readings: Table, passage: NDArray[np.int64]) -> Used:
    """Return the readings to grid."""
    used = readings.booleans("kept") & np.isfinite(readings.floats("anomaly_nT"))
    used &= np.isfinite(readings.floats("easting_m"))
    if (used & (passage >= 0)).any():
        used &= passage >= 0
    return Used(
        readings.floats("easting_m")[used],
        readings.floats("northing_m")[used],
        readings.floats("anomaly_nT")[used],
        readings.floats("sd_sensor_nT")[used],
        passage[used],
        np.flatnonzero(used),
    )
