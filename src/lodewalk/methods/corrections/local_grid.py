"""Work without GPS: tying a local grid of lines and stations to surveyed pegs."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.validation import FloatArray, check_same_length


@dataclass(frozen=True)
class GridTie:
    """How a local grid lies in projected coordinates.

    Parameters
    ----------
    scale : float
        Projected metres for a metre of the local grid; far from 1 means that stations were paced
        or a peg is wrong.
    rotation_deg : float
        Azimuth of local north, clockwise from grid north [deg].
    shift_m : array, shape (2,)
        Easting and northing of the local origin [m].
    residual_easting_m, residual_northing_m : arrays, shape (n_pegs,)
        Surveyed less predicted position of each peg [m].
    rms_m : float
        Root of the mean square distance that remains, with the freedom used up by the fit taken
        into account [m]; NaN for two pegs, which leave none.
    """

    scale: float
    rotation_deg: float
    shift_m: FloatArray
    residual_easting_m: FloatArray
    residual_northing_m: FloatArray
    rms_m: float

    def to_projected(
        self, local_easting_m: ArrayLike, local_northing_m: ArrayLike
    ) -> tuple[FloatArray, FloatArray]:
        """Return easting and northing of places in the local grid [m]."""
        angle = np.radians(self.rotation_deg)
        east = np.asarray(local_easting_m, dtype=np.float64) * self.scale
        north = np.asarray(local_northing_m, dtype=np.float64) * self.scale
        return (
            self.shift_m[0] + east * np.cos(angle) + north * np.sin(angle),
            self.shift_m[1] - east * np.sin(angle) + north * np.cos(angle),
        )


def tie_local_grid(
    local_easting_m: ArrayLike,
    local_northing_m: ArrayLike,
    *,
    easting_m: ArrayLike,
    northing_m: ArrayLike,
) -> GridTie:
    """Fit the shift, rotation and scale that carry a local grid to surveyed pegs.

    Parameters
    ----------
    local_easting_m, local_northing_m : array_like, shape (n_pegs,)
        Pegs in the local grid [m].
    easting_m, northing_m : array_like, shape (n_pegs,)
        The same pegs as surveyed [m].

    Returns
    -------
    GridTie

    Raises
    ------
    InputError
        For fewer than two pegs, or pegs that all lie in one place.

    Notes
    -----
    The similarity transformation (4 parameters) by least squares: with ``w`` the surveyed and
    ``z`` the local place as complex numbers less their means, ``sum(w conj z) / sum |z|^2`` is
    scale and rotation at once. Two pegs are fitted exactly and can't show an error.

    References
    ----------
    Similarity transformation: EPSG Guidance Note 7-2, method 9621.

    Examples
    --------
    >>> tie = tie_local_grid([0, 100], [0, 0], easting_m=[500, 500], northing_m=[900, 800])
    >>> round(tie.scale, 9), round(tie.rotation_deg, 9)
    (1.0, 90.0)
    """
    check_same_length(
        local_easting_m=local_easting_m,
        local_northing_m=local_northing_m,
        easting_m=easting_m,
        northing_m=northing_m,
    )
    local = np.asarray(local_easting_m, dtype=float) + 1j * np.asarray(local_northing_m, float)
    surveyed = np.asarray(easting_m, dtype=float) + 1j * np.asarray(northing_m, dtype=float)
    if local.size < 2:
        raise InputError(
            "A local grid needs two or more surveyed pegs.",
            value=int(local.size),
            remedy="Survey one more peg, as far from the others as the grid allows.",
        )
    inner, outer = local - local.mean(), surveyed - surveyed.mean()
    extent = float(np.sum(np.abs(inner) ** 2))
    if extent == 0 or not np.any(np.abs(outer) > 0):
        raise InputError("The surveyed pegs lie in one place.", remedy="Use pegs far apart.")
    turn = complex(np.sum(outer * np.conj(inner)) / extent)
    residual = outer - turn * inner
    freedom = 2 * local.size - 4
    shift = surveyed.mean() - turn * local.mean()
    return GridTie(
        scale=abs(turn),
        rotation_deg=float(np.degrees(-np.angle(turn))) + 0.0,
        shift_m=np.array([shift.real, shift.imag]),
        residual_easting_m=residual.real,
        residual_northing_m=residual.imag,
        rms_m=float(np.sqrt(2 * np.sum(np.abs(residual) ** 2) / freedom)) if freedom else np.nan,
    )
