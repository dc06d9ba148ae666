"""What a fit of bodies to a profile takes and returns."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from lodewalk.errors import InputError
from lodewalk.validation import FloatArray, check_increasing, check_same_length

if TYPE_CHECKING:
    from lodewalk.methods.inversion.by_width import ByWidth

#: Half the width of a 90 % interval in standard deviations of a normal error.
NINETY = 1.6448536269514722


@dataclass(frozen=True)
class Profile:
    """Readings along a line across the strike, in order.

    Parameters
    ----------
    distance_m : array, shape (n,)
        Distance across the strike towards the profile's azimuth [m], increasing.
    anomaly_nT : array, shape (n,)
        Total-field anomaly [nT].
    rise_m : array, shape (n,)
        Height of the sensor above the profile's reference height [m]: depths below the sensor are
        told from that height. By default the sensor stays at it.
    sd_nT : array, shape (n,)
        Independent error of each reading, one standard deviation [nT]; by default 1.
    place_nT : array, shape (n,)
        Error of each reading from the error of its place: the slope of the anomaly along the
        profile times one standard deviation of the place [nT], with the sign of the slope; by
        default none.
    reach_m : float
        Distance along the profile over which the error of the place falls off, as
        ``exp(-distance / reach_m)`` [m].
    place_sd_m : float
        Standard deviation of the places along the profile [m]: no body's place is known better.
        Above 0, the slope of the fitted curve takes the place of `place_nT`.

    Raises
    ------
    InputError
        For arrays of different lengths, values that aren't finite, or distances out of order.

    Examples
    --------
    >>> Profile(np.arange(3.0), np.zeros(3)).rise_m.tolist()
    [0.0, 0.0, 0.0]
    """

    distance_m: FloatArray
    anomaly_nT: FloatArray
    rise_m: FloatArray = field(default_factory=lambda: np.zeros(0))
    sd_nT: FloatArray = field(default_factory=lambda: np.zeros(0))
    place_nT: FloatArray = field(default_factory=lambda: np.zeros(0))
    reach_m: float = 50.0
    place_sd_m: float = 0.0

    def __post_init__(self) -> None:
        count = np.size(self.distance_m)
        usual = {"rise_m": np.zeros(count), "sd_nT": np.ones(count), "place_nT": np.zeros(count)}
        for name in ("distance_m", "anomaly_nT", *usual):
            values = np.asarray(getattr(self, name), dtype=float)
            if name in usual and not values.size:
                values = usual[name]
            if not np.isfinite(values).all():
                raise InputError("A profile holds finite values only.", value=name)
            object.__setattr__(self, name, np.ascontiguousarray(values))
        check_same_length(
            distance_m=self.distance_m,
            anomaly_nT=self.anomaly_nT,
            rise_m=self.rise_m,
            sd_nT=self.sd_nT,
            place_nT=self.place_nT,
        )
        if not self.reach_m > 0.0:
            raise InputError("The reach of a place's error must be above zero.", value=self.reach_m)
        if not 0.0 <= self.place_sd_m < np.inf:
            raise InputError("The error of places must be 0 or more.", value=self.place_sd_m)
        check_increasing(self.distance_m, name="Distance along the profile", strictly=False)


@dataclass(frozen=True)
class Noise:
    """Error of the readings of a profile: an independent part and one that neighbours share.

    `scale` multiplies the profile's own `sd_nT`; the shared part, of small rocks and soil, has
    standard deviation `correlated_nT` and falls off as ``exp(-distance / length_m)``.
    `known` is the number of degrees of freedom that it was told from, infinite where it is known.
    """

    scale: float = 1.0
    correlated_nT: float = 0.0
    length_m: float = 1.0
    known: float = np.inf


@dataclass(frozen=True)
class Estimate:
    """A number with its error: standard deviation, ends of the 90 % interval, and whether told.

    Where it is not `resolved` the data hold no more than one side of it, or nothing.
    """

    value: float
    sd: float
    low: float
    high: float
    resolved: bool = True


@dataclass(frozen=True)
class BodyFit:
    """One kind of body fitted to a profile.

    Parameters
    ----------
    kind : str
        ``thin sheet``, ``dyke``, ``contact``, ``step``, ``cylinder`` or ``sphere``.
    estimates : mapping of str to Estimate
        By name with unit, free parameters and what follows from them: ``position_m``, ``depth_m``
        (of the top below the reference height of the sensor), ``half_width_m``, ``amplitude_nT``,
        ``strength_nT_m`` (amplitude times width), ``index_angle_deg``, ``level_nT``,
        ``slope_nT_m``.
    names : tuple of str
        The free parameters, in the order of the covariance.
    covariance : array, shape (p, p)
        Covariance of the free parameters in their units.
    model_nT, low_nT, high_nT : array, shape (n,)
        Model at the readings with level and slope, and the band that holds it in nine of ten [nT].
    cost : float
        Sum of the squared whitened residuals.
    freedom : int
        Readings less free parameters.
    log_evidence : float
        Natural logarithm of the evidence for this kind.
    converged : bool
        Whether the fit ended at a minimum, away from every bound.
    not_resolved : tuple of str
        Sentences on what the data don't tell.
    """

    kind: str
    estimates: Mapping[str, Estimate]
    names: tuple[str, ...]
    covariance: FloatArray
    model_nT: FloatArray
    low_nT: FloatArray
    high_nT: FloatArray
    cost: float
    freedom: int
    log_evidence: float = float("nan")
    converged: bool = True
    not_resolved: tuple[str, ...] = ()


@dataclass(frozen=True)
class ProfileFit:
    """What a profile says of the body under it.

    Parameters
    ----------
    fits : tuple of BodyFit
        The most probable kind first; empty where there is a problem.
    probability : mapping of str to float
        Probability of each kind, given that it is one of them.
    decidable : bool
        Whether the most probable kind stands out far enough to be told.
    depth : Estimate or None
        Depth of the top below the sensor's reference height, over the kinds that remain [m].
    problem : str
        Why there is no number: one sentence; empty where there is one.
    noise : Noise or None
        The likeliest noise of those that it was fitted under.
    widths : mapping of str to ByWidth
        What the profile says of a ``strip`` at each width, and of a ``contact``.
    response : array, shape (k, 2)
        What one standard deviation of each error that all readings share makes of log depth and
        index angle [deg].
    """

    fits: tuple[BodyFit, ...] = ()
    probability: Mapping[str, float] = field(default_factory=dict)
    decidable: bool = False
    depth: Estimate | None = None
    problem: str = ""
    noise: Noise | None = None
    widths: "Mapping[str, ByWidth]" = field(default_factory=dict)
    response: FloatArray = field(default_factory=lambda: np.zeros((0, 2)))
