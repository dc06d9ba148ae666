"""The shape of the anomaly that a compact body magnetised by induction makes at a place."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from lodewalk.validation import FloatArray, check_within

#: Reach of the profile to each side [depths], and its steps before they are refined.
_REACH, _STEP = 8.0, 0.01

#: Highs and lows below this part of the strongest aren't told.
_LEAST: Final = 0.01

#: Farther than this from the body, in depths, a feature has a side.
_ABOVE: Final = 0.02

#: Steeper than this the low goes all round the body, within a tenth of its size.
RING_INCLINATION_DEG: Final = 88.5


@dataclass(frozen=True)
class Extreme:
    """A high or a low of an anomaly.

    Parameters
    ----------
    kind : str
        "high" or "low".
    side : str
        Where it lies from the body, by magnetic north: "north", "south", "above" or "all round".
    bearing_deg : float or None
        That direction from true north, 0 to 360 [deg]; None above and all round.
    distance_depths : float
        Distance from the point above the body [depths below the sensor].
    relative : float
        Its value over the size of the strongest, -1 to 1.
    """

    kind: str
    side: str
    bearing_deg: float | None
    distance_depths: float
    relative: float


@dataclass(frozen=True)
class AnomalyShape:
    """The anomaly of a compact, induced body.

    Parameters
    ----------
    extremes : tuple of Extreme
        Highs and lows, the strongest first.
    low_over_high : float
        Size of the deepest low over the highest high.
    range_of_pole : float
        From lowest to highest, over that of the same body in a vertical field of the same strength.
    """

    extremes: tuple[Extreme, ...]
    low_over_high: float
    range_of_pole: float


def anomaly_shape(*, inclination_deg: float, declination_deg: float) -> AnomalyShape:
    """Return where the high and the low of a compact, induced body lie.

    Parameters
    ----------
    inclination_deg, declination_deg : float
        Of the field [deg]: positive down, and positive east of true north.

    Returns
    -------
    AnomalyShape
        For a body stronger in susceptibility than its host; for a weaker one high and low change
        places.

    Raises
    ------
    InputError
        For an inclination outside -90 to 90.

    Notes
    -----
    Highs and lows of the projected anomaly of a dipole along the field, on the magnetic meridian
    through it: there they lie, since the anomaly is even across it. Found on a profile of
    `dipole_field`, refined by a parabola. Remanence, dip and length change them.

    Examples
    --------
    >>> shape = anomaly_shape(inclination_deg=65.0, declination_deg=0.0)
    >>> [(extreme.kind, extreme.side) for extreme in shape.extremes[:2]]
    [('high', 'south'), ('low', 'north')]
    """
    check_within(inclination_deg, name="Inclination", low=-90, high=90, unit="degrees")
    places = np.arange(-_REACH, _REACH + 0.5 * _STEP, _STEP)
    anomaly = _meridian(places, inclination_deg)
    found = sorted(_turns(places, anomaly), key=lambda turn: -abs(turn[1]))
    largest = abs(found[0][1])
    values = [value for _, value in found]
    over_pole = np.ptp(_meridian(places, 90.0))
    told = [turn for turn in found if abs(turn[1]) >= _LEAST * largest]
    extremes = [_extreme(*turn, largest, declination_deg) for turn in told]
    if abs(inclination_deg) >= RING_INCLINATION_DEG:
        extremes = _ringed(extremes)
    return AnomalyShape(
        extremes=tuple(extremes),
        low_over_high=float(-min(values) / max(values)),
        range_of_pole=float((max(values) - min(values)) / over_pole),
    )


def _meridian(north: FloatArray, inclination_deg: float) -> FloatArray:
    """Return the anomaly along the magnetic meridian, one depth above a dipole along the field."""
    # Here, since the room of bodies brings its kernels along, which cost 0.4 s.
    from lodewalk.methods.bodies.anomaly import ambient_vector, projected_anomaly
    from lodewalk.methods.bodies.dipole import dipole_field

    ambient = ambient_vector(strength_nT=1.0, inclination_deg=inclination_deg)
    field = dipole_field(np.zeros_like(north), north, 0.0, centre=[0, 0, -1.0], moment=ambient)
    return projected_anomaly(field, ambient_nT=ambient)


def _turns(places: FloatArray, values: FloatArray) -> list[tuple[float, float]]:
    """Return place and value of each highest and lowest point, through a parabola of three."""
    before, here, after = values[:-2], values[1:-1], values[2:]
    turns = []
    for i in np.flatnonzero((here - before) * (after - here) <= 0.0):
        slope, bend = 0.5 * (after[i] - before[i]), after[i] - 2.0 * here[i] + before[i]
        turns.append(
            (
                float(places[i + 1] - _STEP * slope / bend),
                float(here[i] - 0.5 * slope * slope / bend),
            )
        )
    return turns


def _extreme(place: float, value: float, largest: float, declination_deg: float) -> Extreme:
    """Say where a high or low lies."""
    kind = "high" if value > 0 else "low"
    relative = value / largest
    if abs(place) < _ABOVE:
        return Extreme(kind, "above", None, abs(place), relative)
    side, turn = ("north", 0.0) if place > 0 else ("south", 180.0)
    return Extreme(kind, side, (declination_deg + turn) % 360.0, abs(place), relative)


def _ringed(extremes: list[Extreme]) -> list[Extreme]:
    """Return the main extreme, and the weak ones around it as one ring."""
    main, *rest = extremes
    if not rest:
        return [main]
    return [main, Extreme(rest[0].kind, "all round", None, rest[0].distance_depths,
                          rest[0].relative)]  # fmt: skip
