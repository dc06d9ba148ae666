"""What is sought: the expected anomaly of a body, what isn't known of it, and its tables."""

from dataclasses import dataclass
from functools import partial
from typing import Final, Protocol

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from lodewalk.errors import InputError
from lodewalk.methods.bodies.target import Body, body_anomaly, body_outline
from lodewalk.methods.planning.line_layout import frame_of
from lodewalk.validation import FloatArray, check_positive

#: Half width of a 90 % interval in standard deviations.
NINETY: Final = 1.6448536269514722

#: A body's length counts up to this many depths below the sensor to either side.
LONGEST: Final = 20.0

#: Step of the tables; along bodies whose half length is so many depths it is the second. How far
#: they reach beyond the body. In depths.
TABLE_STEP, LONG_STEP, LONG = 0.25, 0.4, 6.0
BEYOND_ALONG, BEYOND_ACROSS = 6.0, 8.0

#: Strikes that are tried: up to this many sd to either side, so far apart that the body's end
#: moves by so many depths, and at most so many.
STRIKE_REACH, STRIKE_STEP, MOST_STRIKES = 1.5, 1.5, 9

#: A block of line that is averaged, in depths below the sensor.
BLOCK: Final = 0.5


class Signature(Protocol):
    """The anomaly that is expected of the body."""

    def __call__(
        self,
        easting_m: FloatArray,
        northing_m: FloatArray,
        height_m: float,
        /,
        *,
        depth_m: float,
        strike_deg: float,
    ) -> FloatArray:
        """Return the anomaly [nT] at places from the body's middle, of the expected strength."""


@dataclass(frozen=True)
class Target:
    """A body that is sought, and what isn't known of it.

    Parameters
    ----------
    signature : Signature
        Its expected anomaly for a depth and a strike.
    depth_m : float
        Depth below ground that is expected [m], of which the signature is told.
    strike_deg : float
        Strike that is expected [deg].
    half_length_m, half_width_m : float
        Half its size along and across the strike [m].
    depth_factor : float
        The depth lies within this factor either way in nine cases of ten, log-normal.
    strike_sd_deg : float
        Sd of the strike [deg].
    strength_low, strength_high : float
        5th and 95th percentile of what the signature is multiplied with: log-normal where both
        are above zero, else normal.
    both_polarities : bool
        Look for anomalies of either sign, as where the remanence isn't known.

    Raises
    ------
    InputError
        For a number out of range.
    """

    signature: Signature
    depth_m: float
    strike_deg: float = 0.0
    half_length_m: float = 0.0
    half_width_m: float = 0.0
    depth_factor: float = 1.3
    strike_sd_deg: float = 0.0
    strength_low: float = 1.0
    strength_high: float = 1.0
    both_polarities: bool = False

    def __post_init__(self) -> None:
        """Raise when a number is out of range."""
        check_positive(self.depth_m, name="depth_m")
        for name, least in (
            ("half_length_m", 0.0),
            ("half_width_m", 0.0),
            ("strike_sd_deg", 0.0),
            ("depth_factor", 1.0),
        ):
            value = getattr(self, name)
            if not value >= least:
                raise InputError(f"{name} must be {least:g} or more.", value=value)
        if not self.strength_low <= self.strength_high:
            raise InputError(
                "The low strength must not be above the high one.",
                value=(self.strength_low, self.strength_high),
            )

    def strengths(self, share: ArrayLike) -> FloatArray:
        """Return the strengths that the target stays under with a probability.

        Parameters
        ----------
        share : array
            Probability, between 0 and 1.

        Returns
        -------
        array, shape of `share`

        Examples
        --------
        >>> target = Target(lambda *place, **known: place[0], 5.0, strength_low=0.5,
        ...                 strength_high=2.0)
        >>> target.strengths([0.05, 0.5]).round(6).tolist()
        [0.5, 1.0]
        """
        normal = ndtri(np.asarray(share, dtype=np.float64)) / NINETY
        low, high = self.strength_low, self.strength_high
        if low > 0:
            logs = 0.5 * np.log(low * high) + 0.5 * normal * np.log(high / low)
            return np.asarray(np.exp(logs))
        return np.asarray(0.5 * (low + high) + 0.5 * normal * (high - low))


def body_target(
    body: Body,
    *,
    ambient_nT: ArrayLike,
    susceptibility: tuple[float, float],
    remanence_A_m: ArrayLike | None = None,
    depth_factor: float = 1.3,
    strike_sd_deg: float = 0.0,
    both_polarities: bool = False,
) -> Target:
    """Return a body as the target of a survey.

    Parameters
    ----------
    body : Body
        The body as expected.
    ambient_nT : array, shape (3,)
        Ambient field towards grid north, grid east and down [nT].
    susceptibility : (float, float)
        5th and 95th percentile of its contrast with the host [SI], both of one sign and not 0.
    remanence_A_m : array, shape (3,), optional
        Remanence of a body with the contrast in the middle of the range [A/m]; it goes with
        the contrast.
    depth_factor, strike_sd_deg, both_polarities
        As in `Target`.

    Returns
    -------
    Target
        Its strength is the contrast over the geometric mean of the two.

    Raises
    ------
    InputError
        When a contrast is 0 or the two are of different signs.

    Notes
    -----
    The anomaly goes with the contrast while it is far below the ambient field. A sphere whose
    depth would let it stick out of the ground touches it instead.

    Examples
    --------
    >>> sphere = Body(kind="sphere", depth_m=18.0, radius_m=10.0)
    >>> target = body_target(sphere, ambient_nT=[0.0, 0.0, 50000.0],
    ...                      susceptibility=(0.005, 0.02))
    >>> place = np.array([0.0])
    >>> target.signature(place, place, 2.0, depth_m=18.0, strike_deg=0.0).round(2).tolist()
    [41.53]
    """
    first, second = sorted(susceptibility, key=abs)
    if not first * second > 0:
        raise InputError("Contrasts must be of one sign and not zero.", value=susceptibility)
    middle = float(np.sign(first) * np.sqrt(first * second))
    along, across = _sizes(body)
    signature = partial(_anomaly, body, ambient_nT, middle, remanence_A_m)
    return Target(
        signature,
        body.depth_m,
        body.strike_deg,
        along,
        across,
        depth_factor,
        strike_sd_deg,
        first / middle,
        second / middle,
        both_polarities,
    )


@dataclass(frozen=True)
class PreparedTarget:
    """A target with tables of its anomaly, for one height of the sensor.

    Parameters
    ----------
    target : Target
        The target.
    below_m : float
        Expected depth below the sensor [m].
    half_length_m : float
        Half length that counts [m].
    step_m : (float, float)
        Step of the places that are tried, across and along the strike [m].
    strikes_deg : float array, shape (n_strikes,)
        Strikes that are tried [deg].
    templates : float array, shape (n_strikes, n_across, n_along)
        Expected anomaly of each, in the frame of its strike [nT].
    draw_strikes_deg : float array, shape (n_draws,)
        Strikes drawn from what isn't known [deg].
    draws : float array, shape (n_draws, n_across, n_along)
        Anomaly of each draw of depth and strike [nT].
    """

    target: Target
    below_m: float
    half_length_m: float
    step_m: tuple[float, float]
    strikes_deg: FloatArray
    templates: FloatArray
    draw_strikes_deg: FloatArray
    draws: FloatArray

    @property
    def block_m(self) -> float:
        """Length of line that is averaged [m]."""
        return BLOCK * self.below_m

    @property
    def table_step_m(self) -> tuple[float, float]:
        """Steps of the tables, across and along the strike [m]."""
        return _table_step(self.half_length_m, self.below_m)

    def tolerance(self, spacing_m: float) -> tuple[float, float]:
        """Return how far from its true place, across and along, a target counts as found [m].

        The larger of its depth below the sensor and half a line spacing; along the strike also
        half its half length.
        """
        across = max(self.below_m, 0.5 * spacing_m)
        return across, max(across, 0.5 * self.half_length_m)


def prepare_target(
    target: Target, *, sensor_height_m: float, draws: int = 64, seed: int = 0
) -> PreparedTarget:
    """Make the tables of a target.

    Parameters
    ----------
    target : Target
        The target.
    sensor_height_m : float
        Height of the sensor above ground [m].
    draws : int
        How many depths and strikes are drawn from what isn't known (default 64).
    seed : int
        Start of the draws.

    Returns
    -------
    PreparedTarget

    Notes
    -----
    Strikes are tried as far apart as moves the end of the body by 1.5 depths, within 1.5 sd; one
    strike where that is less than half a depth. Depth and strike are drawn on the points
    ``frac(seed + k a)`` of a plane that are spread evenly (a = 1/p, 1/p^2 with
    p = 1.3247..., additive recurrence, common practice).

    Examples
    --------
    >>> body = Body(kind="sphere", depth_m=8.0, radius_m=3.0)
    >>> target = body_target(body, ambient_nT=[0.0, 0.0, 5e4], susceptibility=(0.01, 0.1))
    >>> prepare_target(target, sensor_height_m=2.0, draws=4).draws.shape[0]
    4
    """
    check_positive(sensor_height_m, name="sensor_height_m")
    below = target.depth_m + sensor_height_m
    length = min(target.half_length_m, LONGEST * below)
    strikes = _strikes(target, length, below)
    depth, strike = _drawn(target, draws, seed)
    steps = _table_step(length, below)
    across = _axis(target.half_width_m + BEYOND_ACROSS * below, steps[0])
    along = _axis(length + BEYOND_ALONG * below, steps[1])

    def table(depth_m: float, strike_deg: float) -> FloatArray:
        grid = np.stack(np.meshgrid(across, along, indexing="ij"), axis=-1)
        east, north = np.moveaxis(grid @ frame_of(strike_deg).T, -1, 0)
        return target.signature(
            east, north, sensor_height_m, depth_m=depth_m, strike_deg=float(strike_deg)
        )

    return PreparedTarget(
        target,
        below,
        length,
        (0.5 * below, max(0.5 * below, 0.25 * length)),
        strikes,
        np.array([table(target.depth_m, one) for one in strikes]),
        strike,
        np.array([table(d, s) for d, s in zip(depth, strike, strict=True)]),
    )


def spread_points(count: int, *, seed: int = 0) -> FloatArray:
    """Return points spread evenly over the unit square.

    Parameters
    ----------
    count : int
        How many.
    seed : int
        Which points.

    Returns
    -------
    array, shape (count, 2)

    Examples
    --------
    >>> points = spread_points(100)
    >>> bool(abs(points.mean() - 0.5) < 0.01)
    True
    """
    root = 1.324717957244746
    start = np.random.default_rng([seed, 2]).random(2)
    steps = np.arange(1, count + 1)[:, None] / np.array([root, root**2])
    points: FloatArray = np.mod(start + steps, 1.0)
    return points


def _anomaly(
    body: Body,
    ambient: ArrayLike,
    susceptibility: float,
    remanence: ArrayLike | None,
    easting_m: FloatArray,
    northing_m: FloatArray,
    height_m: float,
    /,
    *,
    depth_m: float,
    strike_deg: float,
) -> FloatArray:
    """Return the anomaly of a body at another depth and strike."""
    least = body.radius_m if body.kind == "sphere" else 0.0
    moved = Body(
        body.kind, max(depth_m, least), body.width_m, body.length_m, body.depth_extent_m,
        body.radius_m, strike_deg, body.dip_deg, body.opening_deg,
    )  # fmt: skip
    height = np.full(np.shape(easting_m), height_m)
    return body_anomaly(
        moved, easting_m, northing_m, height,
        ambient_nT=ambient, susceptibility=susceptibility, remanence_A_m=remanence,
    )  # fmt: skip


def _sizes(body: Body) -> tuple[float, float]:
    """Return half the length along the strike, and how far the top reaches to either side [m]."""
    if body.kind == "contact":
        return np.inf, 0.0
    rings = np.vstack(body_outline(body)) @ frame_of(body.strike_deg)
    across, along = np.abs(rings).max(axis=0)
    return float(along), float(across)


def _strikes(target: Target, length: float, below: float) -> FloatArray:
    """Return the strikes that are tried."""
    reach = np.radians(min(STRIKE_REACH * target.strike_sd_deg, 90.0))
    if length <= max(2 * below, 1.01 * target.half_width_m) or reach * length < 0.5 * below:
        return np.array([target.strike_deg])
    half = min(int(np.ceil(reach * length / (STRIKE_STEP * below))), MOST_STRIKES // 2)
    tried: FloatArray = target.strike_deg + np.degrees(reach) * np.linspace(-1, 1, 2 * half + 1)
    return tried


def _drawn(target: Target, count: int, seed: int) -> tuple[FloatArray, FloatArray]:
    """Draw depths and strikes."""
    depth, strike = ndtri(np.clip(spread_points(count, seed=seed), 1e-6, 1 - 1e-6)).T
    return (
        target.depth_m * target.depth_factor ** (depth / NINETY),
        target.strike_deg + target.strike_sd_deg * strike,
    )


def _table_step(length: float, below: float) -> tuple[float, float]:
    """Return the steps of the tables, across and along."""
    along = LONG_STEP if length >= LONG * below else TABLE_STEP
    return TABLE_STEP * below, along * below


def _axis(reach: float, step: float) -> FloatArray:
    """Return places from below `-reach` to above `reach`, 0 among them."""
    half = int(np.ceil(reach / step))
    return step * np.arange(-half, half + 1, dtype=np.float64)
