"""In which direction to walk: how wide a body shows across lines of each direction."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from lodewalk.validation import FloatArray, check_positive, check_within

#: Parts of the anomaly's own range that a line has to show; the width is the mean over them,
#: since each alone favours a direction by its luck. They stand for bodies that show, at their best,
#: two to five times what can be told from noise.
SHOWN: Final = (0.2, 0.3, 0.4, 0.5)

#: A direction that widens the reach by less than this isn't worth a choice.
WORTH: Final = 0.1

#: Along the strike a body longer than this, in depths, is taken as this long.
LONGEST: Final = 30.0

#: Below this part of its amplitude across the field, a long body is called hidden along it.
HIDDEN: Final = 0.3

_BEYOND, _CELL, _COARSE_CELL, _BEAD, _TURN_DEG = 5.0, 0.1, 0.2, 0.5, 15.0


@dataclass(frozen=True)
class LineDirection:
    """Recommended direction of lines, with what it rests on.

    Parameters
    ----------
    azimuth_deg : float
        From grid north, 0 to below 180 [deg].
    width_depths : float
        Width across such lines in which the body shows [depths below the sensor].
    gain : float
        That width over the one of the worst direction.
    amplitude_left : float
        Of a long body, its amplitude over that of the same body across the field; 1 for a compact
        one.
    reason : str
        Why, in a sentence or two.
    """

    azimuth_deg: float
    width_depths: float
    gain: float
    amplitude_left: float
    reason: str


def detectable_width(
    azimuth_deg: float,
    *,
    inclination_deg: float,
    strike_deg: float = 0.0,
    length_depths: float = 0.0,
) -> float:
    """Return how wide, across lines of a direction, an induced body shows.

    Parameters
    ----------
    azimuth_deg : float
        Azimuth of the lines from **magnetic** north [deg].
    inclination_deg : float
        Inclination of the field [deg], positive down.
    strike_deg : float
        Strike of the body from magnetic north [deg]; of no meaning for a compact one.
    length_depths : float
        Length along the strike over depth below the sensor; 0 (the default) for a compact body.

    Returns
    -------
    float
        Width, in depths below the sensor: lines so far apart see on the average one body each.

    Raises
    ------
    InputError
        For an inclination outside -90 to 90 or a negative length.

    Notes
    -----
    The body is a dipole along the field, or a row of them along the strike. A line shows it where
    the range of the anomaly along the line is at least a part of the range of the whole anomaly;
    the width is the mean over the parts in `SHOWN`. The rule is our own; it favours a direction
    as one line sees it, not as a map does.

    Examples
    --------
    At the magnetic equator north lines serve at least twice as well as east lines.

    >>> north, east = (detectable_width(a, inclination_deg=0.0) for a in (0.0, 90.0))
    >>> north > 2 * east
    True
    """
    check_within(inclination_deg, name="Inclination", low=-90, high=90, unit="degrees")
    check_within(length_depths, name="Length", low=0, high=np.inf)
    length = min(length_depths, LONGEST)
    half = _BEYOND + 0.5 * length
    cell = _CELL if length == 0.0 else _COARSE_CELL
    steps = np.arange(-half, half + 0.5 * cell, cell)
    anomaly = _row(steps, azimuth_deg, inclination_deg, strike_deg, length)
    shown = np.ptp(anomaly, axis=0) / np.ptp(anomaly)
    return float(np.mean([np.count_nonzero(shown >= part) for part in SHOWN]) * cell)


def line_direction(
    *,
    inclination_deg: float,
    declination_deg: float,
    strike_deg: float | None = None,
    length_m: float = 0.0,
    depth_m: float = 1.0,
) -> LineDirection:
    """Return the direction of lines in which an induced body shows best.

    Parameters
    ----------
    inclination_deg, declination_deg : float
        Of the field [deg]; declination from **grid** north.
    strike_deg : float, optional
        Azimuth of the strike from grid north [deg]; left out for a compact body.
    length_m : float
        Length along the strike [m].
    depth_m : float
        Depth of the top below the sensor [m], above zero.

    Returns
    -------
    LineDirection
        Across the strike for a long body, magnetic north for a compact one, unless another
        direction, 15 degrees apart, is 10 % wider; then magnetic north or the widest.

    Raises
    ------
    InputError
        For a depth not above zero, or as `detectable_width`.

    Notes
    -----
    See `detectable_width`; a body counts as long from four depths on.

    Examples
    --------
    >>> line_direction(inclination_deg=60.0, declination_deg=0.0, strike_deg=30.0, length_m=400.0,
    ...                depth_m=20.0).azimuth_deg
    120.0
    """
    check_positive(depth_m, name="Depth below the sensor")
    long = strike_deg is not None and length_m >= 4.0 * depth_m
    strike = 0.0 if strike_deg is None else strike_deg - declination_deg
    usual = (strike + 90.0) % 180.0 if long else 0.0
    tried = [usual, *np.arange(0.0, 180.0, _TURN_DEG)]
    length = length_m / depth_m if long else 0.0
    widths = [
        detectable_width(
            azimuth, inclination_deg=inclination_deg, strike_deg=strike, length_depths=length
        )
        for azimuth in tried
    ]
    best = next(
        (place for place in (0, 1) if (1.0 + WORTH) * widths[place] >= max(widths)),
        int(np.argmax(widths)),
    )
    gain = widths[best] / min(widths)
    left = strike_amplitude(strike, inclination_deg=inclination_deg) if long else 1.0
    reason = _reason_long(best == 0, gain, left) if long else _reason_compact(best == 0, gain)
    azimuth = round((tried[best] + declination_deg) % 180.0, 6) % 180.0
    return LineDirection(float(azimuth), widths[best], float(gain), left, reason)


def strike_amplitude(strike_deg: float, *, inclination_deg: float) -> float:
    """Return the amplitude of a long induced body over that of the same body across the field.

    Parameters
    ----------
    strike_deg : float
        Strike from magnetic north [deg].
    inclination_deg : float
        Inclination of the field [deg].

    Returns
    -------
    float
        ``1 - cos(I)**2 cos(strike)**2``: 1 across the field, 0 along a level field.

    Notes
    -----
    Only the part of the field across the strike magnetises a long body and is felt from it; both
    go with the sine of the angle between strike and field. It is the factor ``c`` of the formula
    of the dyke [1]_.

    References
    ----------
    .. [1] Reford, M. S. (1964). Magnetic anomalies over thin sheets. Geophysics 29, 532-536 (from
       memory), doi:10.1190/1.1439399.

    Examples
    --------
    >>> round(strike_amplitude(0.0, inclination_deg=30.0), 3)
    0.25
    """
    along = np.cos(np.radians(inclination_deg)) * np.cos(np.radians(strike_deg))
    return float(1.0 - along**2)


def oblique_loss(line_deg: float, strike_deg: float) -> float:
    """Return the share of crossings with a long body that lines oblique to it keep.

    Parameters
    ----------
    line_deg, strike_deg : float
        Azimuths from the same north [deg].

    Returns
    -------
    float
        Sine of the angle between them: 1 across the strike, 0 along it. Lines of one spacing cross
        the body that many times as often, and its anomaly looks longer along them by the inverse,
        and so deeper and nearer to the wavelengths of the diurnal variation.

    Examples
    --------
    >>> round(oblique_loss(30.0, 0.0), 3)
    0.5
    """
    return float(abs(np.sin(np.radians(line_deg - strike_deg))))


def _row(
    steps: FloatArray, azimuth_deg: float, inclination_deg: float, strike_deg: float, length: float
) -> FloatArray:
    """Return the anomaly of a row of dipoles at places along (rows) and across (columns) lines."""
    turn, strike = np.radians(azimuth_deg), np.radians(strike_deg)
    along, across = np.meshgrid(steps, steps, indexing="ij")
    north = along * np.cos(turn) - across * np.sin(turn)
    east = along * np.sin(turn) + across * np.cos(turn)
    # Here, since the room of bodies brings its kernels along, which cost 0.4 s.
    from lodewalk.methods.bodies.anomaly import ambient_vector, projected_anomaly
    from lodewalk.methods.bodies.dipole import dipole_field

    ambient = ambient_vector(strength_nT=1.0, inclination_deg=inclination_deg)
    total: FloatArray = np.zeros(north.shape)
    beads = int(np.ceil(length / _BEAD)) + 1
    for place in np.linspace(-0.5 * length, 0.5 * length, beads) if length else np.zeros(1):
        centre = [place * np.sin(strike), place * np.cos(strike), -1.0]
        field = dipole_field(east, north, 0.0, centre=centre, moment=ambient)
        total += projected_anomaly(field, ambient_nT=ambient)
    return total


def _reason_compact(usual: bool, gain: float) -> str:
    """Say why the lines of a compact body lie as they do."""
    if gain < 1.0 + WORTH:
        return (
            "For a compact body no direction is better than another here; along magnetic north its "
            "high and low both lie on the line. Let access and geology decide."
        )
    where = "Along magnetic north" if usual else "Oblique to magnetic north"
    return f"{where} a compact body shows {gain:.1f} times as wide as in the worst direction."


def _reason_long(usual: bool, gain: float, left: float) -> str:
    """Say why the lines of a long body lie as they do."""
    if usual:
        text = f"Across the strike a line meets it {gain:.1f} times as often as in the worst case."
    else:
        text = "It runs along the field, so its ends show rather than its length."
    if left < HIDDEN:
        text += (
            f" It has {left:.0%} of the amplitude that it would have across the field: it may "
            "not show at all, whatever the direction."
        )
    return text
