"""A walked line with its total gradient: where bodies are, about how deep, where they part."""

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from lodewalk.errors import InputError
from lodewalk.validation import FloatArray, check_same_length

#: The gradient is taken as far up as makes its peak so many noise sd (common practice).
CLEAR: Final = 8.0
#: Heights to which the line is continued upwards, in steps of it.
LADDER: Final = (0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0)
#: Two bodies part where the gradient between them falls below this share of the lesser one.
PARTED: Final = 0.5


@dataclass(frozen=True)
class LineGradient:
    """Readings along a line, with the total gradient of their anomaly at some heights above.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        Places of the readings [m], in order of walking.
    anomaly_nT : array, shape (n,)
        Their anomaly [nT].
    sd_nT : array, shape (n,)
        Noise of each, one standard deviation [nT].

    Raises
    ------
    InputError
        For fewer than four readings, all at one place, or different lengths.

    Notes
    -----
    The line is read at even steps, freed of the straight line between its ends, and filled up
    with zeros; in wavenumbers ``k``, ``exp(-|k| s)`` continues it upwards by ``s`` and
    ``i k`` and ``|k|`` give the derivatives along the line and upwards, whose length is the total
    gradient (analytic signal) of a two-dimensional anomaly [1]_. Over a thin sheet at depth ``h``
    that is ``1 / (x**2 + (h + s)**2)``, half as large at ``x = h + s``.

    References
    ----------
    .. [1] Nabighian, M. N. (1972), The analytic signal of two-dimensional magnetic bodies with
       polygonal cross-section, Geophysics, 37(3), 507-517, doi:10.1190/1.1440276.

    Examples
    --------
    >>> along = np.arange(-100.0, 101.0)
    >>> line = LineGradient(0 * along, along, 9e3 / (along**2 + 400), sd_nT=np.full(201, 0.1))
    >>> round(line.half_width(2.0)), line.azimuth_deg
    (20, 0.0)
    """

    easting_m: FloatArray
    northing_m: FloatArray
    anomaly_nT: FloatArray
    sd_nT: FloatArray
    along_m: FloatArray = field(init=False)
    azimuth_deg: float = field(init=False)
    step_m: float = field(init=False)
    _middle: FloatArray = field(init=False)
    _axis: FloatArray = field(init=False)
    _even: FloatArray = field(init=False)
    _levels: tuple[tuple[float, FloatArray, float], ...] = field(init=False)

    def __post_init__(self) -> None:
        check_same_length(
            easting_m=self.easting_m,
            northing_m=self.northing_m,
            anomaly_nT=self.anomaly_nT,
            sd_nT=self.sd_nT,
        )
        track = np.stack([self.easting_m, self.northing_m], axis=1)
        if len(track) < 4 or not np.ptp(track, axis=0).any():
            raise InputError("A line needs four readings at different places.", value=len(track))
        middle = track.mean(axis=0)
        axis = np.linalg.svd(track - middle, full_matrices=False)[2][0]
        if (track[-1] - track[0]) @ axis < 0:
            axis = -axis
        along = (track - middle) @ axis
        azimuth = float(np.degrees(np.arctan2(axis[0], axis[1])) % 360.0)
        step = float(np.ptp(along)) / (len(along) - 1)
        for name, value in (
            ("_middle", middle), ("_axis", axis), ("along_m", along),
            ("azimuth_deg", azimuth), ("step_m", step),
        ):  # fmt: skip
            object.__setattr__(self, name, value)
        even, levels = self._gradients()
        object.__setattr__(self, "_even", even)
        object.__setattr__(self, "_levels", levels)

    def along(self, easting_m: float, northing_m: float) -> float:
        """Return the place along the line beside a point [m]."""
        return float((np.array([easting_m, northing_m]) - self._middle) @ self._axis)

    def place(self, along_m: float) -> tuple[float, float]:
        """Return easting and northing of the readings at a place along the line [m]."""
        order = np.argsort(self.along_m, kind="stable")
        at = self.along_m[order]
        east, north = (
            float(np.interp(along_m, at, axis[order])) for axis in (self.easting_m, self.northing_m)
        )
        return east, north

    def _gradients(self) -> tuple[FloatArray, tuple[tuple[float, FloatArray, float], ...]]:
        """Return even places, and at each height its total gradient and the noise in it."""
        order = np.argsort(self.along_m, kind="stable")
        at, value = self.along_m[order], self.anomaly_nT[order]
        even = np.arange(at[0], at[-1] + self.step_m / 2, self.step_m)
        read = np.interp(even, at, value)
        read = read - np.linspace(read[0], read[-1], read.size)
        count = 1 << int(np.ceil(np.log2(2 * read.size)))
        number = 2.0 * np.pi * np.fft.rfftfreq(count, self.step_m)
        spectrum = np.fft.rfft(read, count)
        noise = float(np.median(self.sd_nT))
        levels = []
        for height in self.step_m * np.array(LADDER):
            gain = number * np.exp(-number * height)
            parts = (np.fft.irfft(f * gain * spectrum, count)[: read.size] for f in (1j, 1.0))
            # Both parts have this noise; the mean length of the two is larger by sqrt(pi / 2).
            power = 2.0 * np.sum(gain**2) / count
            levels.append((float(height), np.hypot(*parts), noise * float(np.sqrt(power * 1.571))))
        return even, tuple(levels)

    def _clear(self, at_m: float) -> tuple[float, FloatArray, int]:
        """Return the least height where the gradient's peak at a place is clear, and that peak."""
        for height, gradient, noise in self._levels:
            peak = self._climb(gradient, at_m, 2.0 * height)
            if gradient[peak] >= CLEAR * noise:
                break
        return height, gradient, peak

    def _climb(self, gradient: FloatArray, at_m: float, within_m: float) -> int:
        """Return the place of the largest gradient near a point."""
        near = np.flatnonzero(np.abs(self._even - at_m) <= max(within_m, 2.0 * self.step_m))
        if not near.size:
            return int(np.argmin(np.abs(self._even - at_m)))
        return int(near[np.argmax(gradient[near])])

    def half_width(self, at_m: float) -> float:
        """Return the half width of the total gradient about a place, continued down again [m].

        The mean of both sides where the gradient falls to half on both; at least a step.
        """
        height, gradient, peak = self._clear(at_m)
        low = gradient < gradient[peak] / 2.0
        after, before = np.flatnonzero(low[peak:]), np.flatnonzero(low[: peak + 1][::-1])
        sides = [float(side[0]) for side in (after, before) if side.size]
        if not sides:
            return float(np.ptp(self._even)) / 2.0
        return max(self.step_m * float(np.mean(sides)) - height, self.step_m)

    def peak(self, low_m: float, high_m: float) -> float:
        """Return where the total gradient is largest on a piece of the line [m]."""
        inside = np.flatnonzero((self._even >= low_m) & (self._even <= high_m))
        if not inside.size:
            return (low_m + high_m) / 2.0
        for _, gradient, noise in self._levels:
            largest = inside[np.argmax(gradient[inside])]
            if gradient[largest] >= CLEAR * noise:
                break
        return float(self._even[largest])

    def parting(self, at_m: float, other_m: float) -> float | None:
        """Return where the anomalies at two places part, or None where they are of one body."""
        _, gradient, first = self._clear(at_m)
        second = self._climb(gradient, other_m, 2.0 * self.step_m)
        low, high = sorted((first, second))
        if high - low < 2:
            return None
        least = low + int(np.argmin(gradient[low : high + 1]))
        if gradient[least] >= PARTED * min(gradient[first], gradient[second]):
            return None
        return float(self._even[least])
