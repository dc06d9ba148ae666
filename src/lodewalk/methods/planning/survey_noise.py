"""The noise that a planned survey is judged against, and its covariance from block to block."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.integrate import quad

from lodewalk.errors import InputError
from lodewalk.methods.gridding.covariance import FieldCovariance
from lodewalk.methods.planning.line_layout import Blocks
from lodewalk.validation import FloatArray, check_positive

IntArray = NDArray[np.int64]

#: The level of each line is free: its sd is this many times that of all other noise together.
FREE_LEVEL: Final = 100.0


@dataclass(frozen=True)
class RandomField:
    """Anomalies of rocks or soil that aren't sought: a white layer under the sensor.

    Parameters
    ----------
    sd_nT : float
        Standard deviation at the sensor [nT], 0 or more.
    depth_m : float
        Depth of the layer below the sensor [m], above zero.
    """

    sd_nT: float
    depth_m: float

    def __post_init__(self) -> None:
        """Raise when a number is out of range."""
        _check_sd(self.sd_nT, name="sd_nT")
        check_positive(self.depth_m, name="depth_m")


@dataclass(frozen=True)
class SurveyNoise:
    """Noise of the readings of a survey, one standard deviation each.

    Parameters
    ----------
    instrument_nT, walking_nT : float
        The sensor itself, above zero, and the walker: independent from reading to reading [nT].
    diurnal_nT, diurnal_s : float
        What the diurnal correction leaves [nT] and the time over which it changes [s]; its
        correlation falls off as ``exp(-|dt| / diurnal_s)``.
    level_nT : float
        Offset of a line as a whole [nT]. The detector leaves the level of each line free, so
        whatever it is changes nothing; it is carried for those who simulate or tell it.
    geology : tuple of RandomField
        Rocks and soil that aren't sought; their depths are below the sensor.

    Raises
    ------
    InputError
        For a number out of range.

    Examples
    --------
    >>> noise = SurveyNoise(instrument_nT=0.3, walking_nT=0.4)
    >>> round(noise.white_sd, 6)
    0.5
    """

    instrument_nT: float = 0.1
    walking_nT: float = 0.3
    diurnal_nT: float = 0.5
    diurnal_s: float = 600.0
    level_nT: float = 1.0
    geology: tuple[RandomField, ...] = ()

    def __post_init__(self) -> None:
        """Raise when a number is out of range."""
        check_positive(self.instrument_nT, name="instrument_nT")
        check_positive(self.diurnal_s, name="diurnal_s")
        for name in ("walking_nT", "diurnal_nT", "level_nT"):
            _check_sd(getattr(self, name), name=name)

    @property
    def white_sd(self) -> float:
        """Sd of the noise that is independent from reading to reading [nT]."""
        return float(np.hypot(self.instrument_nT, self.walking_nT))

    @property
    def total_sd(self) -> float:
        """Sd of a single reading, levels left out [nT]."""
        fields = sum(field.sd_nT**2 for field in self.geology)
        return float(np.sqrt(self.white_sd**2 + self.diurnal_nT**2 + fields))


def block_field(field: RandomField, block_m: float) -> RandomField:
    """Return the random field that means over a length of line see.

    Parameters
    ----------
    field : RandomField
        The field at single readings.
    block_m : float
        Length of line over which readings are averaged [m].

    Returns
    -------
    RandomField
        Of the variance of such means, and as deep as keeps the variance times the correlation
        length along the line.

    Notes
    -----
    The variance of a mean over a length ``b`` is
    ``(2 / b) integral_0^b (1 - r / b) C(r) dr`` (variance function of a mean, Vanmarcke 1983,
    from memory). An isotropic field stands for the mean, so that the covariance of crossing
    lines stays one of a field that can be.

    Examples
    --------
    >>> block_field(RandomField(2.0, 20.0), 4.0).sd_nT > 1.99
    True
    """
    if field.sd_nT == 0:
        return field
    shape = FieldCovariance(field.depth_m, 1.0)
    share = 2 * quad(lambda x: (1 - x) * float(shape.at(x * block_m)), 0, 1)[0]
    return RandomField(field.sd_nT * float(np.sqrt(share)), field.depth_m / share)


def block_noise(noise: SurveyNoise, block_m: float) -> SurveyNoise:
    """Return the noise of means over a length of line, white noise left as it is.

    Parameters
    ----------
    noise : SurveyNoise
        Noise of single readings.
    block_m : float
        Length of line [m].

    Returns
    -------
    SurveyNoise
        With the random fields that the means see.

    Examples
    --------
    >>> block_noise(SurveyNoise(geology=(RandomField(2.0, 3.0),)), 10.0).geology[0].sd_nT < 1.7
    True
    """
    return replace(noise, geology=tuple(block_field(field, block_m) for field in noise.geology))


def noise_covariance(blocks: Blocks, noise: SurveyNoise, *, levels: bool = True) -> FloatArray:
    """Return the covariance of the noise of block means.

    Parameters
    ----------
    blocks : Blocks
        Places, lines, times and counts of the means.
    noise : SurveyNoise
        Noise, its random fields as `block_noise` makes them.
    levels : bool
        Whether the free level of each line is in it.

    Returns
    -------
    array, shape (n, n)
        Covariance [nT2]; only the lower triangle is filled.

    Notes
    -----
    White noise over the count on the diagonal; diurnal noise by time; random fields by
    distance (`FieldCovariance`); a level for each line whose sd is a hundred times all else.

    Examples
    --------
    >>> place = np.array([0.0, 5.0])
    >>> two = Blocks(place, place, np.array([1, 2]), place, np.array([4.0, 4.0]),
    ...              np.array([0, 1]), np.zeros((2, 2)))
    >>> quiet = SurveyNoise(instrument_nT=1.0, walking_nT=0.0, diurnal_nT=0.0)
    >>> noise_covariance(two, quiet).round(2).tolist()
    [[10000.25, 0.0], [0.0, 10000.25]]
    """
    fields = np.array([(f.sd_nT**2, (2 * f.depth_m) ** 2) for f in noise.geology if f.sd_nT > 0])
    covariance: FloatArray = _covariance(
        blocks.easting_m,
        blocks.northing_m,
        blocks.line,
        blocks.time_s,
        fields.reshape(-1, 2),
        (noise.diurnal_nT**2, noise.diurnal_s),
        (FREE_LEVEL * noise.total_sd) ** 2 if levels else 0.0,
    )
    covariance[np.diag_indices_from(covariance)] += noise.white_sd**2 / blocks.count
    return covariance


def _check_sd(value: float, *, name: str) -> None:
    """Raise unless a standard deviation is a finite number of 0 or more."""
    if not (np.isfinite(value) and value >= 0):
        raise InputError(f"{name} must be 0 or more.", value=value)


@njit(nogil=True, cache=True, fastmath={"contract", "reassoc", "arcp"})
def _covariance(
    east: FloatArray,
    north: FloatArray,
    line: IntArray,
    time: FloatArray,
    fields: FloatArray,
    diurnal: tuple[float, float],
    level: float,
) -> FloatArray:
    """Fill the lower triangle."""
    count = east.size
    covariance = np.zeros((count, count))
    for i in range(count):
        for j in range(i + 1):
            square = (east[i] - east[j]) ** 2 + (north[i] - north[j]) ** 2
            total = diurnal[0] * np.exp(-abs(time[i] - time[j]) / diurnal[1])
            for k in range(len(fields)):
                part = 1.0 + square / fields[k, 1]
                total += fields[k, 0] / (part * np.sqrt(part))
            if line[i] == line[j]:
                total += level
            covariance[i, j] = total
    return covariance
