"""What the anomaly of a body that is sought will look like at a site."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.methods.bodies import Body, body_anomaly, body_outline
from lodewalk.validation import FloatArray, check_positive

#: Profile and map reach so many depths below the sensor beyond the body; ten for a contact.
REACH: Final = 6.0
CONTACT_REACH: Final = 10.0
#: Of the length of a body so many depths to either side of its middle are shown at most.
LONGEST: Final = 15.0
#: Nodes of the map for a depth below the sensor, and the most of them along a side.
NODES_A_DEPTH, MOST_NODES = 8.0, 161
#: Below this inclination the anomaly of a body is no high above it any more [deg].
LOW_LATITUDE_DEG: Final = 20.0
#: A strike that shows less than this share of what the best strike would show is told of.
POOR_STRIKE: Final = 0.5
#: Bodies at least so many times longer than wide have a strike that counts.
ELONGATED: Final = 3.0


@dataclass(frozen=True)
class Source:
    """What is magnetised, and by what.

    Parameters
    ----------
    body : Body
        The body.
    ambient_nT : array, shape (3,)
        Ambient field towards grid north, grid east and down [nT].
    susceptibility : float
        Susceptibility of the body less that of its host [SI].
    remanence_A_m : array, shape (3,)
        Remanence in the same order [A/m].
    """

    body: Body
    ambient_nT: FloatArray
    susceptibility: float
    remanence_A_m: FloatArray

    def anomaly(
        self, easting_m: ArrayLike, northing_m: ArrayLike, *, sensor_height_m: float
    ) -> FloatArray:
        """Return the anomaly at points from the body's middle [nT]."""
        return body_anomaly(
            self.body,
            easting_m,
            northing_m,
            sensor_height_m,
            ambient_nT=self.ambient_nT,
            susceptibility=self.susceptibility,
            remanence_A_m=self.remanence_A_m,
        )


@dataclass(frozen=True)
class Curve:
    """The anomaly along a level profile through the body's middle.

    Parameters
    ----------
    azimuth_deg : float
        Azimuth of growing distance from grid north [deg].
    distance_m, anomaly_nT : array, shape (n,)
        Distance from the body's middle [m] and anomaly [nT].
    """

    azimuth_deg: float
    distance_m: FloatArray
    anomaly_nT: FloatArray

    @property
    def peak_to_trough(self) -> float:
        """Highest less lowest value [nT]."""
        return float(np.ptp(self.anomaly_nT))

    @property
    def high_m(self) -> float:
        """Distance of the highest value [m]."""
        return float(self.distance_m[np.argmax(self.anomaly_nT)])

    @property
    def low_m(self) -> float:
        """Distance of the lowest value [m]."""
        return float(self.distance_m[np.argmin(self.anomaly_nT)])

    def place_at(self, distance_m: float) -> tuple[float, float]:
        """Return easting and northing from the body's middle at a distance [m]."""
        turn = np.radians(self.azimuth_deg)
        return float(distance_m * np.sin(turn)), float(distance_m * np.cos(turn))

    @property
    def width_m(self) -> float:
        """Full width at half of the greatest departure from the level between the two ends [m].

        Only the stretch about the greatest departure counts, to the nearest points of the curve.
        """
        level = np.interp(self.distance_m, self.distance_m[[0, -1]], self.anomaly_nT[[0, -1]])
        away = self.anomaly_nT - level
        top = int(np.argmax(np.abs(away)))
        if away[top] == 0.0:
            return 0.0
        above = np.sign(away[top]) * away >= 0.5 * abs(away[top])
        outside = np.flatnonzero(~above)
        left = outside[outside < top].max(initial=0)
        right = outside[outside > top].min(initial=above.size - 1)
        return float(self.distance_m[right] - self.distance_m[left])


@dataclass(frozen=True)
class MapOfAnomaly:
    """The anomaly on an even mesh about the body's middle; row 0 is its southern edge.

    Parameters
    ----------
    anomaly_nT : array, shape (n, n)
        Anomaly [nT].
    half_side_m, spacing_m : float
        Half the side of the mesh and the distance between nodes [m].
    """

    anomaly_nT: FloatArray
    half_side_m: float
    spacing_m: float

    def place_of(self, index: int) -> tuple[float, float]:
        """Return easting and northing of an extreme from the body's middle [m].

        Between nodes a parabola through the extreme node and its neighbours tells the place.
        """
        row, column = (int(part) for part in np.unravel_index(index, self.anomaly_nT.shape))
        return (
            self._vertex(self.anomaly_nT[row], column) * self.spacing_m - self.half_side_m,
            self._vertex(self.anomaly_nT[:, column], row) * self.spacing_m - self.half_side_m,
        )

    @staticmethod
    def _vertex(values: FloatArray, at: int) -> float:
        """Return the place of the extreme near a node, in nodes."""
        if not 0 < at < values.size - 1:
            return float(at)
        before, middle, after = (float(v) for v in values[at - 1 : at + 2])
        bend = before - 2.0 * middle + after
        return at + (0.5 * (before - after) / bend if bend else 0.0)

    @property
    def high_at(self) -> tuple[float, float]:
        """Easting and northing of the highest node [m]."""
        return self.place_of(int(np.argmax(self.anomaly_nT)))

    @property
    def low_at(self) -> tuple[float, float]:
        """Easting and northing of the lowest node [m]."""
        return self.place_of(int(np.argmin(self.anomaly_nT)))


def expected_curve(source: Source, *, azimuth_deg: float, sensor_height_m: float) -> Curve:
    """Return the expected anomaly along a profile through the body's middle.

    Parameters
    ----------
    source : Source
        The body and what magnetises it.
    azimuth_deg : float
        Azimuth of the profile from grid north [deg].
    sensor_height_m : float
        Height of the sensor above ground [m].

    Returns
    -------
    Curve
        Six depths below the sensor beyond the body on both sides, ten for a contact.

    Raises
    ------
    InputError
        For a sensor that isn't above zero.

    Examples
    --------
    >>> source = Source(Body(), np.array([0.0, 0.0, 50000.0]), 0.01, np.zeros(3))
    >>> curve = expected_curve(source, azimuth_deg=90.0, sensor_height_m=2.0)
    >>> curve.high_m
    0.0
    """
    check_positive(sensor_height_m, name="Height of the sensor")
    body = source.body
    below = body.depth_m + sensor_height_m
    turn = np.radians(azimuth_deg)
    along = np.array([np.sin(turn), np.cos(turn)])
    reach = (
        _extent(body, along, below_m=below)
        + (CONTACT_REACH if body.kind == "contact" else REACH) * below
    )
    steps = int(np.clip(np.ceil(20.0 * reach / below), 120, 1000))
    distance = np.linspace(-reach, reach, 2 * steps + 1)
    east, north = distance * along[0], distance * along[1]
    anomaly = source.anomaly(east, north, sensor_height_m=sensor_height_m)
    return Curve(azimuth_deg, distance, anomaly)


def expected_map(source: Source, *, sensor_height_m: float) -> MapOfAnomaly:
    """Return the expected anomaly on a map about the body's middle.

    Parameters
    ----------
    source : Source
        The body and what magnetises it.
    sensor_height_m : float
        Height of the sensor above ground [m].

    Returns
    -------
    MapOfAnomaly
        Eight nodes for a depth below the sensor, 161 along a side at most.

    Raises
    ------
    InputError
        For a sensor that isn't above zero.

    Examples
    --------
    >>> source = Source(Body(kind="pipe"), np.array([0.0, 0.0, 50000.0]), 0.01, np.zeros(3))
    >>> [round(abs(part), 6) for part in expected_map(source, sensor_height_m=2.0).high_at]
    [0.0, 0.0]
    """
    check_positive(sensor_height_m, name="Height of the sensor")
    body = source.body
    below = body.depth_m + sensor_height_m
    sides = max(_extent(body, axis, below_m=below) for axis in np.eye(2))
    half = sides + (CONTACT_REACH if body.kind == "contact" else REACH) * below
    steps = int(min(np.ceil(NODES_A_DEPTH * half / below), (MOST_NODES - 1) // 2))
    axis = np.linspace(-half, half, 2 * steps + 1)
    east, north = np.meshgrid(axis, axis)
    return MapOfAnomaly(
        source.anomaly(east, north, sensor_height_m=sensor_height_m), half, half / steps
    )


def strike_counts(body: Body) -> bool:
    """Return whether a body is so long that its strike counts.

    Examples
    --------
    >>> strike_counts(Body(kind="sphere")), strike_counts(Body(width_m=5.0, length_m=300.0))
    (False, True)
    """
    if body.kind in ("sphere", "pipe"):
        return False
    return body.kind in ("contact", "folded bed") or body.length_m >= ELONGATED * body.width_m


def main_azimuth(source: Source) -> float:
    """Return the azimuth of the profile that shows most: across the strike, or magnetic north.

    Parameters
    ----------
    source : Source
        The body and what magnetises it.

    Returns
    -------
    float
        Azimuth from grid north [deg].

    Examples
    --------
    >>> ambient = np.array([20000.0, 0.0, 30000.0])
    >>> main_azimuth(Source(Body(strike_deg=30.0), ambient, 0.01, np.zeros(3)))
    120.0
    >>> main_azimuth(Source(Body(kind="sphere"), ambient, 0.01, np.zeros(3)))
    0.0
    """
    if strike_counts(source.body):
        return (source.body.strike_deg + 90.0) % 360.0
    north, east, _ = source.ambient_nT
    return float(np.degrees(np.arctan2(east, north)))


def share_of_best_strike(source: Source, *, sensor_height_m: float) -> tuple[float, float]:
    """Return how much a body shows beside the same body with the best strike.

    Parameters
    ----------
    source : Source
        The body and what magnetises it.
    sensor_height_m : float
        Height of the sensor above ground [m].

    Returns
    -------
    share, best_strike_deg : float
        Peak-to-trough across the strike over that of the strike, in steps of 15 degrees, that
        shows most; and that strike [deg].

    Examples
    --------
    A dyke along a level field shows almost nothing.

    >>> source = Source(Body(strike_deg=0.0), np.array([30000.0, 0.0, 0.0]), 0.01, np.zeros(3))
    >>> share, best = share_of_best_strike(source, sensor_height_m=2.0)
    >>> share < 0.05, best
    (True, 90.0)
    """

    def shown(strike: float) -> float:
        turned = replace(source, body=replace(source.body, strike_deg=strike))
        curve = expected_curve(turned, azimuth_deg=strike + 90.0, sensor_height_m=sensor_height_m)
        return curve.peak_to_trough

    strikes = np.arange(0.0, 180.0, 15.0)
    sizes = [shown(float(strike)) for strike in strikes]
    own = shown(source.body.strike_deg)
    best = int(np.argmax(sizes))
    if own >= sizes[best] or sizes[best] == 0.0:
        return 1.0, source.body.strike_deg
    return own / sizes[best], float(strikes[best])


def _extent(body: Body, direction: FloatArray, *, below_m: float) -> float:
    """Return how far a body's top reaches along a direction, of its length the middle [m]."""
    if body.kind == "contact":
        return 0.0
    turn = np.radians(body.strike_deg)
    along = np.array([np.sin(turn), np.cos(turn)])
    across = np.array([along[1], -along[0]])
    rings = np.vstack(body_outline(body))
    length = min(float(np.abs(rings @ along).max()), LONGEST * below_m)
    width = float(np.abs(rings @ across).max())
    if body.kind in ("sphere", "pipe"):
        return width
    return float(length * abs(direction @ along) + width * abs(direction @ across))
