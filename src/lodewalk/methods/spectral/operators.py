"""Operators on the spectrum of a grid: continuation, derivatives, directions of the field."""

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.validation import FloatArray, check_within

Spectrum = NDArray[np.complex128]
#: Directional factors below this are none at all: what isn't in the data can't be brought back.
NOTHING: Final = 1e-12
#: Farthest that a derivative or an integral is taken.
MOST_ORDER: Final = 4


class Direction(NamedTuple):
    """A direction: inclination positive down, declination clockwise from grid north [deg]."""

    inclination_deg: float
    declination_deg: float

    def vector(self) -> tuple[float, float, float]:
        """Return its parts towards north, east and down."""
        dip, turn = np.radians(self.inclination_deg), np.radians(self.declination_deg)
        level = np.cos(dip)
        return float(level * np.cos(turn)), float(level * np.sin(turn)), float(np.sin(dip))


@dataclass(frozen=True)
class Operator:
    """What each wave of a grid is multiplied by; operators are joined with ``*``.

    Parameters
    ----------
    north, east : int
        Order of the derivative towards north and east.
    down : int
        Order of the derivative towards the sources; negative for integrals.
    height_m : float
        Height of an upward continuation, negative downward [m].
    given, wanted : tuple of Direction
        Directions of field and magnetisation that are taken out and put in instead.
    damping : float
        Share of the square of the directional factor that waves are held back by, 0 for none.

    Notes
    -----
    A wave ``exp(i (k_n n + k_e e))`` over sources below is multiplied by [1]_

    ``(i k_n)^north (i k_e)^east k^down exp(-k h) prod(wanted) conj(D) / (|D|^2 + damping)``,

    ``D = prod(given)``, each direction counting as ``d + i (n k_n + e k_e) / k`` with its parts
    towards north, east and down. The mean (k = 0) stays where only continuation is asked for and
    is 0 otherwise.

    References
    ----------
    .. [1] Blakely, R. J. (1995), Potential Theory in Gravity and Magnetic Applications,
       Cambridge University Press, chapter 12 (from memory), doi:10.1017/CBO9780511549816.
    """

    north: int = 0
    east: int = 0
    down: int = 0
    height_m: float = 0.0
    given: tuple[Direction, ...] = ()
    wanted: tuple[Direction, ...] = ()
    damping: float = 0.0

    def __post_init__(self) -> None:
        """Raise when an order, an inclination or the damping is out of range."""
        for name in ("north", "east"):
            check_within(getattr(self, name), name=f"Order {name}", low=0, high=MOST_ORDER)
        check_within(self.down, name="Order down", low=-MOST_ORDER, high=MOST_ORDER)
        check_within(self.damping, name="Damping", low=0, high=1)
        if not np.isfinite([self.height_m, self.damping, *sum(self.directions, ())]).all():
            raise InputError("An operator needs numbers that are finite.", value=self)
        for direction in self.directions:
            check_within(direction[0], name="Inclination", low=-90, high=90, unit="degrees")

    @property
    def directions(self) -> tuple[Direction, ...]:
        """All its directions."""
        return self.given + self.wanted

    def __mul__(self, other: "Operator") -> "Operator":
        """Return the operator that does both."""
        return Operator(
            self.north + other.north,
            self.east + other.east,
            self.down + other.down,
            self.height_m + other.height_m,
            self.given + other.given,
            self.wanted + other.wanted,
            max(self.damping, other.damping),
        )

    def of_plane(self, plane: FloatArray) -> FloatArray:
        """Return what becomes of a plane (value, slope north, slope east); 0 where it isn't told.

        A plane has no sources near the grid: directions don't apply to it.
        """
        none = np.zeros(3)
        if self.directions or self.down or self.north + self.east > 1:
            return none
        if self.north or self.east:
            none[0] = plane[1 if self.north else 2]
            return none
        return plane

    def times(
        self,
        spectrum: Spectrum,
        k_north: FloatArray,
        k_east: FloatArray,
        out: Spectrum | None = None,
    ) -> Spectrum:
        """Return a half spectrum times the operator, in `out` if given; wavenumbers in rad/m."""
        out = np.empty_like(spectrum) if out is None else out
        _multiply(
            spectrum, k_north, k_east, k_north**self.north * 1.0, k_east**self.east * 1.0,
            (self.down, (self.north + self.east) % 4), self.height_m,
            np.array([one.vector() for one in self.given]).reshape(-1, 3),
            np.array([one.vector() for one in self.wanted]).reshape(-1, 3),
            self.damping, out,
        )  # fmt: skip
        mean = np.ix_(k_north == 0, k_east == 0)
        keeps = not (self.directions or self.north or self.east or self.down)
        out[mean] = spectrum[mean] if keeps else 0.0
        return out


def upward(height_m: float) -> Operator:
    """Return upward continuation by a height [m], ``exp(-k h)``."""
    return Operator(height_m=height_m)


def downward(depth_m: float) -> Operator:
    """Return downward continuation by a depth [m]: every wave grows, noise first."""
    return Operator(height_m=-depth_m)


def vertical_derivative(order: int = 1) -> Operator:
    """Return the derivative towards the sources, positive over a positive one."""
    return Operator(down=order)


def north_derivative(order: int = 1) -> Operator:
    """Return the derivative towards grid north."""
    return Operator(north=order)


def east_derivative(order: int = 1) -> Operator:
    """Return the derivative towards grid east."""
    return Operator(east=order)


def to_pole(
    field: Direction, magnetisation: Direction | None = None, *, damping: float = 0.0
) -> Operator:
    """Return reduction to the pole: what the field would be were both directions upright.

    Parameters
    ----------
    field : Direction
        Of the reference field.
    magnetisation : Direction, optional
        Of the rocks (default: along the field).
    damping : float
        Above 0 waves along the magnetic equator are held back instead of blown up.

    Returns
    -------
    Operator

    Examples
    --------
    At the pole nothing changes:

    >>> wave = np.ones((1, 1), dtype=complex)
    >>> field = to_pole(Direction(90.0, 0.0))
    >>> bool(abs(field.times(wave, np.array([0.1]), np.array([0.2]))[0, 0] - 1) < 1e-12)
    True
    """
    return Operator(given=(field, magnetisation or field), damping=damping)


def to_equator(
    field: Direction, magnetisation: Direction | None = None, *, damping: float = 0.0
) -> Operator:
    """Return reduction to the equator: as if both lay level, towards the field's declination."""
    level = Direction(0.0, field.declination_deg)
    return Operator(given=(field, magnetisation or field), wanted=(level, level), damping=damping)


def pseudo_gravity(
    field: Direction, magnetisation: Direction | None = None, *, damping: float = 0.0
) -> Operator:
    """Return pseudo-gravity [nT m]: reduction to the pole integrated towards the sources.

    Notes
    -----
    Poisson's relation: where magnetisation M and density rho go together, gravity is this times
    ``4 pi G rho / (mu0 M)`` (Blakely 1995, section 12.3, from memory). Its level isn't told.
    """
    return to_pole(field, magnetisation, damping=damping) * Operator(down=-1)


@njit(nogil=True, cache=True, parallel=True)
def _multiply(
    spectrum: Spectrum,
    k_north: FloatArray,
    k_east: FloatArray,
    rows: FloatArray,
    columns: FloatArray,
    powers: tuple[int, int],
    height: float,
    given: FloatArray,
    wanted: FloatArray,
    damping: float,
    out: Spectrum,
) -> None:
    """Multiply each wave by its factor; rows don't wait for each other.

    Parts are real and imaginary by hand: complex division is slow, and costs more than the
    transform back.
    """
    down, quarter = powers
    turn_real, turn_imag = (1.0, 0.0, -1.0, 0.0)[quarter], (0.0, 1.0, 0.0, -1.0)[quarter]
    directed = given.shape[0] + wanted.shape[0] > 0
    for i in prange(k_north.size):
        for j in range(k_east.size):
            kn, ke = k_north[i], k_east[j]
            k = np.sqrt(kn * kn + ke * ke)
            if k == 0.0:
                k = 1.0
            size = rows[i] * columns[j]
            for _ in range(abs(down)):
                size = size * k if down > 0 else size / k
            if height != 0.0:
                size *= np.exp(-k * height)
            real, imag = turn_real * size, turn_imag * size
            if directed:
                a, b = _direction_factor(kn / k, ke / k, given, wanted, damping)
                real, imag = real * a - imag * b, real * b + imag * a
            wave = spectrum[i, j]
            out[i, j] = complex(
                wave.real * real - wave.imag * imag, wave.real * imag + wave.imag * real
            )


@njit(nogil=True, cache=True, inline="always")
def _direction_factor(
    north: float, east: float, given: FloatArray, wanted: FloatArray, damping: float
) -> tuple[float, float]:
    """Return real and imaginary part of what the directions make of a wave along a unit vector."""
    over, over_i, under, under_i = 1.0, 0.0, 1.0, 0.0
    for one in range(wanted.shape[0]):
        real, imag = wanted[one, 2], wanted[one, 0] * north + wanted[one, 1] * east
        over, over_i = over * real - over_i * imag, over * imag + over_i * real
    for one in range(given.shape[0]):
        real, imag = given[one, 2], given[one, 0] * north + given[one, 1] * east
        under, under_i = under * real - under_i * imag, under * imag + under_i * real
    square = under * under + under_i * under_i
    if square < NOTHING:
        return 0.0, 0.0
    share = 1.0 / (square + damping)
    return (over * under + over_i * under_i) * share, (over_i * under - over * under_i) * share
