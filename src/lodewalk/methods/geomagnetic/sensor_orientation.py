"""How to carry a sensor so that it works in the field of a place: plain physics, no maker's."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from lodewalk.validation import FloatArray, check_within

#: An optically pumped sensor of one cell is best at this angle between its axis and the field.
BEST_ANGLE_DEG: Final = 45.0

#: It is silent near the axis and near the plane across it: within about this angle (common
#: practice; instruments differ, the manual counts).
DEAD_DEG: Final = 20.0

_FLATTEST_WORTH_DEG = 1.0


@dataclass(frozen=True)
class ProtonAxis:
    """Axis of a proton sensor's coil.

    Parameters
    ----------
    best : str
        How the axis lies best.
    any_facing : str
        How it may lie whichever way the walker faces.
    any_facing_signal : float
        Signal then, at worst, over the best.
    """

    best: str
    any_facing: str
    any_facing_signal: float

    @property
    def best_words(self) -> str:
        """How the axis lies best, as it is told everywhere."""
        return f"best {self.best} (common practice)"

    @property
    def any_facing_words(self) -> str:
        """How it may lie whichever way the walker faces, as it is told everywhere."""
        return f"{self.any_facing}: at least {self.any_facing_signal:.0%} of the best signal"


@dataclass(frozen=True)
class PumpedTilt:
    """Tilt of an optically pumped sensor that is carried both ways along lines.

    Parameters
    ----------
    line_from_magnetic_north_deg : float
        Direction of the lines from magnetic north [deg].
    tilt_deg : float
        Of the sensor's axis from upright [deg].
    towards : str
        "none", "ahead" (or behind) or "sideways" of the walker.
    angle_out_deg, angle_back_deg : float
        Between axis and field, 0 to 90, on the way out and back [deg].
    usable : bool
        Whether both stay clear of the dead zones.
    """

    line_from_magnetic_north_deg: float
    tilt_deg: float
    towards: str
    angle_out_deg: float
    angle_back_deg: float
    usable: bool

    @property
    def words(self) -> str:
        """The tilt and its angles to the field, as it is told everywhere."""
        upright = self.towards == "none"
        lean = "upright" if upright else f"{self.tilt_deg:.0f} degrees {self.towards}"
        angles = f"{self.angle_out_deg:.0f} and {self.angle_back_deg:.0f} degrees to the field"
        rest = "" if self.usable else ", in a dead zone: turn it at the end of each line"
        return f"{lean}: {angles} out and back{rest}"


def proton_axis(inclination_deg: float) -> ProtonAxis:
    """Return how to hold the coil of a proton sensor.

    Parameters
    ----------
    inclination_deg : float
        Inclination of the field [deg].

    Returns
    -------
    ProtonAxis
        The signal of a plain coil goes with the square of the sine of the angle between its axis
        and the field: polarisation and pick-up each with the sine of it (common practice). A
        ring-shaped coil has no dead direction.

    Raises
    ------
    InputError
        For an inclination outside -90 to 90.

    Examples
    --------
    >>> proton_axis(70.0).any_facing
    'level'
    >>> round(proton_axis(70.0).any_facing_signal, 2)
    0.88
    """
    check_within(inclination_deg, name="Inclination", low=-90, high=90, unit="degrees")
    level = float(np.sin(np.radians(inclination_deg)) ** 2)
    steep = level >= 0.5
    return ProtonAxis(
        best="level, along magnetic east-west",
        any_facing="level" if steep else "upright",
        any_facing_signal=level if steep else 1.0 - level,
    )


def pumped_tilt(inclination_deg: float, *, line_from_magnetic_north_deg: float) -> PumpedTilt:
    """Return the tilt of a pumped sensor that suits both directions of walking.

    Parameters
    ----------
    inclination_deg : float
        Inclination of the field [deg].
    line_from_magnetic_north_deg : float
        Direction of the lines from magnetic north [deg].

    Returns
    -------
    PumpedTilt
        The least tilt, ahead or sideways, fixed to the walker, whose angle to the field stays
        nearest to 45 degrees out and back (within a degree).

    Raises
    ------
    InputError
        For an inclination outside -90 to 90.

    Notes
    -----
    A sensor of one cell whose signal goes with ``sin(2 angle)`` is silent along its axis and
    across it [1]_. Where no tilt is usable both ways, turn the sensor at the end of each line.

    References
    ----------
    .. [1] Budker, D. and Romalis, M. (2007). Optical magnetometry. Nature Physics 3, 227-234 (from
       memory), doi:10.1038/nphys566

    Examples
    --------
    >>> found = pumped_tilt(65.0, line_from_magnetic_north_deg=0.0)
    >>> round(found.tilt_deg), found.towards, found.usable
    (38, 'sideways', True)
    """
    check_within(inclination_deg, name="Inclination", low=-90, high=90, unit="degrees")
    tilts = np.arange(0.0, 90.5, 1.0)
    ways = {
        towards: _angles(tilts, inclination_deg, line_from_magnetic_north_deg + turn)
        for towards, turn in (("ahead", 0.0), ("sideways", 90.0))
    }
    off = {name: np.abs(angles - BEST_ANGLE_DEG).max(axis=0) for name, angles in ways.items()}
    least = min(float(away.min()) for away in off.values())
    tilt, towards = min(
        (float(tilts[np.flatnonzero(away <= least + _FLATTEST_WORTH_DEG)[0]]), name)
        for name, away in off.items()
        if away.min() <= least + _FLATTEST_WORTH_DEG
    )
    out, back = (float(angle) for angle in ways[towards][:, round(tilt)])
    return PumpedTilt(
        line_from_magnetic_north_deg,
        tilt,
        towards if tilt else "none",
        out,
        back,
        usable=all(DEAD_DEG < angle < 90.0 - DEAD_DEG for angle in (out, back)),
    )


def _angles(tilts: FloatArray, inclination_deg: float, azimuth_deg: float) -> FloatArray:
    """Return the angle of axis and field, out and back (rows), for each tilt to an azimuth."""
    tilt, dip = np.radians(tilts), np.radians(inclination_deg)
    level = np.cos(dip) * np.sin(tilt) * np.cos(np.radians(azimuth_deg))
    upright = np.sin(dip) * np.cos(tilt)
    cosines = np.abs(np.stack([upright + level, upright - level]))
    return np.asarray(np.degrees(np.arccos(np.clip(cosines, 0.0, 1.0))))
