"""Which readings make a grid, and how far apart their lines are."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lodewalk.methods.corrections.lines import line_spacing
from lodewalk.records import Table

Floats = NDArray[np.float64]
#: Line spacing assumed where there is a single line [m].
LONE_LINE_SPACING_M = 20.0


@dataclass(frozen=True)
class Used:
    """The readings that a grid is made of: the kept ones on lines, or all where none is.

    `sd_nT` leaves out the errors of level and heading, which all readings of a line share: they say
    nothing of how well each follows the ground.
    """

    easting_m: Floats
    northing_m: Floats
    anomaly_nT: Floats
    sd_nT: Floats
    passage: NDArray[np.int64]

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
        _own_sd(readings)[used],
        passage[used],
    )


def _own_sd(readings: Table) -> Floats:
    """Return the error of each reading without what its line shares [nT]."""
    shared = [np.nan_to_num(readings.floats(f"sd_{name}_nT")) for name in ("level", "heading")]
    square = readings.floats("sd_nT") ** 2 - shared[0] ** 2 - shared[1] ** 2
    own: Floats = np.sqrt(np.maximum(square, 0.0))
    return own
