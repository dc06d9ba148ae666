"""What each passage of a line may be off by, and how well a crossing tells it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lodewalk.errors import InputError
from lodewalk.validation import FloatArray, check_same_length

IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class LevelPrior:
    """Plausible size of what a passage is off by, before any crossing is looked at.

    Parameters
    ----------
    constant_nT : float
        Standard deviation of the constant of a passage [nT], above zero.
    drift_nT : float
        Standard deviation of its drift [nT per unit of the coordinate along: nT/h for hours,
        nT/m for metres]; 0 for no drift.
    bend_nT : tuple of float
        Standard deviation of the parts of second, third ... order, each at the ends of the
        passage [nT]; empty for none.

    Examples
    --------
    >>> LevelPrior(3.0, drift_nT=2.0).terms
    2
    """

    constant_nT: float
    drift_nT: float = 0.0
    bend_nT: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if not (np.isfinite(self.constant_nT) and self.constant_nT > 0):
            raise InputError("constant_nT must be above zero.", value=self.constant_nT)
        for size in (self.drift_nT, *self.bend_nT):
            if not (np.isfinite(size) and size >= 0):
                raise InputError("The size of a drift or bend must not be negative.", value=size)

    @property
    def orders(self) -> tuple[int, ...]:
        """Order of each term in use: 0 constant, 1 drift, 2 and more bends."""
        sizes = (self.constant_nT, self.drift_nT, *self.bend_nT)
        return tuple(order for order, size in enumerate(sizes) if size > 0)

    @property
    def terms(self) -> int:
        """Number of terms in use."""
        return len(self.orders)

    @property
    def sd(self) -> FloatArray:
        """Standard deviation of each term in use."""
        sizes = (self.constant_nT, self.drift_nT, *self.bend_nT)
        return np.array([sizes[order] for order in self.orders])


@dataclass(frozen=True)
class LineTies:
    """Places that two passages share, such as crossings; each array has shape (m,).

    Parameters
    ----------
    first, second : int array
        Numbers of the two passages.
    first_along, second_along : array
        Where on each passage, in the coordinate in which drift counts (hours or metres).
    difference_nT : array
        Value of the first minus value of the second [nT].
    sd_nT : array
        Standard deviation of the difference [nT], above zero; see `crossing_sd`.
    """

    first: IntArray
    first_along: FloatArray
    second: IntArray
    second_along: FloatArray
    difference_nT: FloatArray
    sd_nT: FloatArray

    def __post_init__(self) -> None:
        check_same_length(**vars(self))
        sd = self.sd_nT
        bad = np.flatnonzero(~(np.isfinite(sd) & (sd > 0)))
        if bad.size:
            rule = "The sd of each crossing must be above zero."
            raise InputError(rule, value=f"{sd[bad[0]]} at crossing {bad[0]} (counted from 0)")
        parts = self.difference_nT + self.first_along + self.second_along
        bad = np.flatnonzero(~np.isfinite(parts))
        if bad.size:
            rule = "Each crossing must have a place on both lines and a difference."
            raise InputError(rule, value=f"crossing {bad[0]} (counted from 0)")

    def __len__(self) -> int:
        return len(self.first)

    def part(self, which: NDArray[np.bool_] | IntArray) -> "LineTies":
        """Return some of the ties."""
        return LineTies(**{name: array[which] for name, array in vars(self).items()})


@dataclass(frozen=True)
class Passages:
    """Number, middle and extent of each passage; each array has shape (p,)."""

    number: IntArray
    mean: FloatArray
    middle: FloatArray
    half: FloatArray
    readings: IntArray

    @classmethod
    def of(cls, passage: IntArray, along: FloatArray) -> "Passages":
        """Return the passages of the readings that have a number and a place."""
        known = (passage >= 0) & np.isfinite(along)
        if not known.any():
            raise InputError("Levelling needs readings on lines.", value="none")
        number, where = np.unique(passage[known], return_inverse=True)
        at, readings = along[known], np.bincount(where)
        low, high = np.full(number.size, np.inf), np.full(number.size, -np.inf)
        np.minimum.at(low, where, at)
        np.maximum.at(high, where, at)
        mean = np.bincount(where, weights=at - low[where]) / readings + low
        return cls(number, mean, (low + high) / 2, (high - low) / 2, readings)

    def index(self, passage: IntArray) -> IntArray:
        """Return the place of each passage in the list; -1 where it isn't there."""
        place = np.minimum(np.searchsorted(self.number, passage), self.number.size - 1)
        found: IntArray = np.where(self.number[place] == passage, place, -1)
        return found

    def basis(self, index: IntArray, along: FloatArray, orders: tuple[int, ...]) -> FloatArray:
        """Return the value (n, q) of each term at places on passages.

        Drift counts from the mean of the readings, so that it doesn't change a line's mean;
        bends are Legendre polynomials over the extent, 1 at its end.
        """
        half = self.half[index]
        away = along - self.middle[index]
        share = np.divide(away, half, out=np.zeros_like(away), where=half > 0)
        columns: list[FloatArray] = []
        for order in orders:
            if order < 2:
                columns.append((along - self.mean[index]) ** order)
            else:
                bend = np.polynomial.legendre.legval(share, [0.0] * order + [1.0])
                columns.append(np.asarray(bend, dtype=np.float64))
        return np.column_stack(columns)


def crossing_sd(
    *,
    noise_nT: ArrayLike,
    diurnal_sd_nT: ArrayLike,
    position_sd_m: ArrayLike,
    slope_nT_m: ArrayLike,
    angle_deg: ArrayLike,
) -> FloatArray:
    """Standard deviation of the difference of two lines where they cross.

    Parameters
    ----------
    noise_nT, diurnal_sd_nT : array, shape (m, 2)
        Noise of a reading, and sd of its diurnal correction, on either line [nT].
    position_sd_m : array, shape (m, 2)
        Standard deviation of the position of either line, each axis [m].
    slope_nT_m : array, shape (m, 2)
        Slope of the field along either line [nT/m]; the sign doesn't matter.
    angle_deg : array, shape (m,)
        Angle between the lines, above 0 and up to 90 [degrees].

    Returns
    -------
    array, shape (m,)
        Standard deviation [nT].

    Raises
    ------
    InputError
        When the lengths differ or an angle isn't between 0 and 90 degrees.

    Notes
    -----
    A shift of one line against the other by a vector changes the difference by its product with
    the horizontal gradient. Slopes s and t along lines at an angle a give a gradient of
    ``sqrt(s^2 + t^2 + 2 |s t| cos a) / sin a`` where the directions are opposed, less else; the
    larger is taken. Interpolation between readings lessens noise; that isn't counted.

    Examples
    --------
    >>> crossing_sd(noise_nT=[[0.3, 0.4]], diurnal_sd_nT=[[0.0, 0.0]], position_sd_m=[[3.0, 4.0]],
    ...             slope_nT_m=[[0.0, 1.0]], angle_deg=[90.0]).round(4).tolist()
    [5.0249]
    """
    pairs = [
        np.asarray(pair, dtype=float).reshape(-1, 2)
        for pair in (noise_nT, diurnal_sd_nT, position_sd_m, slope_nT_m)
    ]
    angle = np.atleast_1d(np.asarray(angle_deg, dtype=float))
    check_same_length(noise=pairs[0], diurnal=pairs[1], position=pairs[2], slope=pairs[3], a=angle)
    bad = ~((angle > 0) & (angle <= 90))
    if bad.any():
        raise InputError(
            "Crossing lines must meet at an angle of 0 to 90 degrees.", value=angle[bad][0]
        )
    turn = np.radians(angle)
    own, diurnal, position = (np.sum(pair**2, axis=1) for pair in pairs[:3])
    one, other = np.abs(pairs[3].T)
    steep = (one**2 + other**2 + 2 * one * other * np.cos(turn)) / np.sin(turn) ** 2
    sd: FloatArray = np.sqrt(own + diurnal + position * steep)
    return sd
