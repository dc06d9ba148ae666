"""Transforms of a grid with gaps and edges: one forward transform serves them all."""

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numba import get_num_threads
from numpy.typing import ArrayLike, NDArray
from scipy.fft import fftfreq, ifft, irfft, rfft2, rfftfreq

from lodewalk.errors import InputError
from lodewalk.methods.spectral._torus import on_torus, torus_shape
from lodewalk.methods.spectral.operators import (
    Direction,
    Operator,
    Spectrum,
    east_derivative,
    north_derivative,
    to_equator,
    to_pole,
    upward,
    vertical_derivative,
)
from lodewalk.validation import FloatArray, check_positive

#: Fewest nodes of a grid each way, and fewest with a value.
LEAST_SIDE: Final = 8
LEAST_KNOWN: Final = 32


class Gradients(NamedTuple):
    """Derivatives of a grid a metre, towards north, east and the sources."""

    north: FloatArray
    east: FloatArray
    vertical: FloatArray


@dataclass(frozen=True)
class GridSpectrum:
    """A grid made ready for transforms, from `prepare`.

    Parameters
    ----------
    spectrum : complex array
        Half spectrum of the grid less a plane, on a torus.
    torus : tuple of int
        Rows and columns of the torus.
    corner : tuple of int
        First row and column of the grid on it.
    known : bool array, shape (n_north, n_east)
        Nodes that had a value.
    spacing_m : float
        Distance between nodes [m].
    plane : array, shape (3,)
        Plane that was taken off: value in the middle, slope north and east a metre.
    """

    spectrum: Spectrum
    torus: tuple[int, int]
    corner: tuple[int, int]
    known: NDArray[np.bool_]
    spacing_m: float
    plane: FloatArray

    def wavenumbers(self) -> tuple[FloatArray, FloatArray]:
        """Return the wavenumbers towards north and east [rad/m]."""
        per = self.spacing_m / (2 * np.pi)
        north = fftfreq(self.torus[0], per).astype(np.float64)
        east = rfftfreq(self.torus[1], per).astype(np.float64)
        return north, east

    def apply(self, *operators: Operator) -> tuple[FloatArray, ...]:
        """Return the grid under each operator, NaN where it had no value.

        Examples
        --------
        The slope of a plane:

        >>> ramp = np.tile(3.0 * np.arange(16), (16, 1))
        >>> (slope,) = prepare(ramp, 2.0).apply(east_derivative())
        >>> bool(abs(slope - 1.5).max() < 1e-9)
        True
        """
        axes, room = self.wavenumbers(), np.empty_like(self.spectrum)
        return tuple(
            self.back(operator.times(self.spectrum, *axes, out=room), operator.of_plane(self.plane))
            for operator in operators
        )

    def back(self, spectrum: Spectrum, plane: FloatArray | None = None) -> FloatArray:
        """Return the grid of a half spectrum and a plane; the spectrum may be overwritten."""
        (row, column), (rows, columns) = self.corner, self.known.shape
        threads = get_num_threads()
        # Rows of the ring are never asked for, so their second transform is saved.
        lines = ifft(spectrum, axis=0, workers=threads, overwrite_x=True)[row : row + rows]
        whole = irfft(lines, n=self.torus[1], axis=1, workers=threads)
        found: FloatArray = whole[:, column : column + columns]
        if plane is not None and plane.any():
            found += _plane(plane, self.known.shape, self.spacing_m)
        if not self.known.all():
            found[~self.known] = np.nan
        return found


def prepare(
    values: ArrayLike, spacing_m: float, *, torus: tuple[int, int] | None = None
) -> GridSpectrum:
    """Fill a grid's gaps, let its edges meet, and take its spectrum.

    Parameters
    ----------
    values : array, shape (n_north, n_east)
        Rows to the north, columns to the east; NaN in gaps.
    spacing_m : float
        Distance between nodes [m].
    torus : tuple of int, optional
        Rows and columns of the torus (default: half as many more than the grid's, up to 256).

    Returns
    -------
    GridSpectrum

    Raises
    ------
    InputError
        When the grid has fewer than 8 nodes a side, fewer than 32 values, or no relief.

    Notes
    -----
    A plane through the rim is taken off (its transforms are exact). Gaps and a ring round the grid
    are filled by a plate under tension that keeps value and slope where it begins and stretches
    farther out, so that no step is left to ring; known values stay as they are. What the ground
    holds there isn't known: its error is in `spectral.error`.
    """
    grid = np.asarray(values, dtype=np.float64)
    check_positive(spacing_m, name="spacing_m")
    if grid.ndim != 2 or min(grid.shape) < LEAST_SIDE:
        raise InputError(
            f"Transforms need a grid of at least {LEAST_SIDE} nodes each way.", value=grid.shape
        )
    known = np.isfinite(grid)
    if known.sum() < LEAST_KNOWN:
        raise InputError(
            f"Transforms need at least {LEAST_KNOWN} nodes with a value.", value=int(known.sum())
        )
    low, high = float(np.nanmin(grid)), float(np.nanmax(grid))
    if high - low <= 1e-9 * max(1.0, abs(low), abs(high)):
        raise InputError("The grid is flat: it has one value everywhere.", value=low)
    plane = _fitted_plane(grid, known, spacing_m)
    rest = grid - _plane(plane, grid.shape, spacing_m)
    shape = torus or torus_shape(grid.shape)
    laid = on_torus(rest, known, shape)
    spectrum = np.asarray(rfft2(laid.values, workers=get_num_threads()))
    return GridSpectrum(spectrum, shape, (laid.row, laid.column), known, spacing_m, plane)


def _axes(shape: tuple[int, ...], spacing_m: float) -> tuple[FloatArray, FloatArray]:
    """Return the nodes' places to north and east of the middle [m]."""
    north, east = ((np.arange(n, dtype=np.float64) - (n - 1) / 2) * spacing_m for n in shape)
    return north[:, None], east


def _plane(plane: FloatArray, shape: tuple[int, ...], spacing_m: float) -> FloatArray:
    """Return the heights of a plane at the nodes."""
    north, east = _axes(shape, spacing_m)
    return np.asarray(plane[0] + plane[1] * north + plane[2] * east)


def _fitted_plane(grid: FloatArray, known: NDArray[np.bool_], spacing_m: float) -> FloatArray:
    """Return the plane of least squares through the values at the rim.

    What lies beyond begins there: through all values it would hold part of the bodies inside.
    """
    inside = known.copy()
    for axis in (0, 1):
        line = np.swapaxes(inside, 0, axis)
        beside = np.swapaxes(known, 0, axis)
        line[1:] &= beside[:-1]
        line[:-1] &= beside[1:]
        line[[0, -1]] = False
    rim = known & ~inside
    north, east = (np.broadcast_to(a, grid.shape)[rim] for a in _axes(grid.shape, spacing_m))
    size = spacing_m * max(grid.shape)
    columns = np.column_stack([np.ones(north.size), north / size, east / size])
    normal = columns.T @ columns
    found = np.linalg.lstsq(normal, columns.T @ grid[rim], rcond=1e-9)[0]
    return np.asarray(found / [1.0, size, size])


def gradients(values: ArrayLike, spacing_m: float) -> Gradients:
    """Return the derivatives of a grid towards north, east and the sources, a metre."""
    found = prepare(values, spacing_m)
    return Gradients(*found.apply(north_derivative(), east_derivative(), vertical_derivative()))


def horizontal_gradient(slopes: Gradients) -> FloatArray:
    """Return the size of the horizontal gradient: steepest over edges of bodies."""
    return np.hypot(slopes.north, slopes.east)


def total_gradient(slopes: Gradients) -> FloatArray:
    """Return the size of the whole gradient, the amplitude of the analytic signal.

    Notes
    -----
    Over a 2-D body it doesn't depend on dip or inclination; over a 3-D body it does.
    """
    return np.asarray(np.sqrt(slopes.north**2 + slopes.east**2 + slopes.vertical**2))


def tilt_angle(slopes: Gradients) -> FloatArray:
    """Return the angle of the gradient above the level [deg], -90 to 90.

    Examples
    --------
    >>> slope = np.ones(1)
    >>> tilt_angle(Gradients(slope, 0 * slope, slope)).tolist()
    [45.0]
    """
    return np.degrees(np.arctan2(slopes.vertical, horizontal_gradient(slopes)))


def upward_continued(values: ArrayLike, spacing_m: float, *, height_m: float) -> FloatArray:
    """Return the grid as it would be so much higher up [m]."""
    check_positive(height_m, name="height_m")
    return prepare(values, spacing_m).apply(upward(height_m))[0]


def reduce_to_pole(
    values: ArrayLike,
    spacing_m: float,
    *,
    inclination_deg: float,
    declination_deg: float,
    magnetisation_inclination_deg: float | None = None,
    magnetisation_declination_deg: float | None = None,
    damping: float = 0.0,
) -> FloatArray:
    """Return a grid of the total-field anomaly reduced to the pole.

    Parameters
    ----------
    values : array, shape (n_north, n_east)
        Anomaly [nT], NaN in gaps.
    spacing_m : float
        Distance between nodes [m].
    inclination_deg, declination_deg : float
        Direction of the field; declination from grid north [deg].
    magnetisation_inclination_deg, magnetisation_declination_deg : float, optional
        Direction of the rocks' magnetisation (default: the field's).
    damping : float
        As in `operators.to_pole`; 0 is the plain operator.

    Returns
    -------
    array, shape (n_north, n_east)
        Anomaly at the pole [nT]; its level isn't told.

    Notes
    -----
    No guard here: at low inclinations see `low_latitude.judge_reduction`.
    """
    field, rocks = _directions(
        inclination_deg, declination_deg,
        magnetisation_inclination_deg, magnetisation_declination_deg,
    )  # fmt: skip
    return prepare(values, spacing_m).apply(to_pole(field, rocks, damping=damping))[0]


def reduce_to_equator(
    values: ArrayLike,
    spacing_m: float,
    *,
    inclination_deg: float,
    declination_deg: float,
    magnetisation_inclination_deg: float | None = None,
    magnetisation_declination_deg: float | None = None,
) -> FloatArray:
    """Return the anomaly [nT] as if field and magnetisation lay level; see `reduce_to_pole`."""
    field, rocks = _directions(
        inclination_deg, declination_deg,
        magnetisation_inclination_deg, magnetisation_declination_deg,
    )  # fmt: skip
    return prepare(values, spacing_m).apply(to_equator(field, rocks))[0]


def _directions(
    inclination: float, declination: float, rocks_dip: float | None, rocks_turn: float | None
) -> tuple[Direction, Direction]:
    """Return the directions of field and magnetisation, the one standing in for the other."""
    return Direction(inclination, declination), Direction(
        inclination if rocks_dip is None else rocks_dip,
        declination if rocks_turn is None else rocks_turn,
    )
