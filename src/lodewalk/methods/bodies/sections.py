"""Long bodies, endless or of finite strike, and the derivatives of their fields."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lodewalk.errors import InputError
from lodewalk.methods.bodies.anomaly import VectorField
from lodewalk.methods.bodies.dipole import FIELD_CONSTANT
from lodewalk.validation import FloatArray


def cylinder_field(
    distance_m: ArrayLike,
    depth_m: ArrayLike,
    *,
    axis: ArrayLike,
    moment_along: float,
    moment_down: float,
) -> tuple[FloatArray, FloatArray]:
    """Return the field of a long horizontal cylinder outside it.

    Parameters
    ----------
    distance_m, depth_m : array
        Points of measurement, along the profile and down [m].
    axis : array, shape (2,)
        Distance and depth of the axis [m].
    moment_along, moment_down : float
        Moment of each metre along the profile and downwards [A m], ``pi R**2`` times the
        magnetisation.

    Returns
    -------
    along, down : array
        Field along the profile and downwards [nT].

    Notes
    -----
    A line of dipoles; with ``u`` from the axis to the point as a complex number, along plus ``i``
    down, ``b_along - i b_down = 2 (mu0 / 4 pi) (m_along + i m_down) / u**2`` (derived here).

    Examples
    --------
    >>> _, down = cylinder_field(0.0, 0.0, axis=[0.0, 20.0], moment_along=0.0,
    ...     moment_down=125.0)
    >>> round(float(down), 3)
    62.5
    """
    offset = _offset(distance_m, depth_m, axis)
    field = 2.0 * FIELD_CONSTANT * (moment_along + 1j * moment_down) / offset**2
    return field.real, -field.imag


def cylinder_slopes(
    distance_m: ArrayLike,
    depth_m: ArrayLike,
    *,
    axis: ArrayLike,
    moment_along: float,
    moment_down: float,
) -> FloatArray:
    """Return the derivatives of the field of a long horizontal cylinder.

    Parameters
    ----------
    distance_m, depth_m, axis, moment_along, moment_down
        As for `cylinder_field`.

    Returns
    -------
    array, shape (4, 2, ...)
        Derivatives of the field along the profile and down with respect to the distance and
        depth of the axis [nT/m], then to the moment along and down [nT/(A m)].

    Examples
    --------
    >>> slopes = cylinder_slopes(0.0, 0.0, axis=[0.0, 20.0], moment_along=0.0, moment_down=125.0)
    >>> slopes[:, 1].round(3).tolist()
    [0.0, -6.25, 0.0, 0.5]
    """
    offset = _offset(distance_m, depth_m, axis)
    by_moment = 2.0 * FIELD_CONSTANT / offset**2
    by_axis = 2.0 * by_moment * (moment_along + 1j * moment_down) / offset
    found = np.array([by_axis, 1j * by_axis, by_moment, 1j * by_moment])
    return np.stack([found.real, -found.imag], axis=1) + 0.0


def polygon_slopes(
    distance_m: ArrayLike,
    depth_m: ArrayLike,
    *,
    corners: ArrayLike,
    magnetisation_along: float,
    magnetisation_down: float,
) -> FloatArray:
    """Return the derivatives of the field of a long body whose section is a polygon.

    Parameters
    ----------
    distance_m, depth_m, corners, magnetisation_along, magnetisation_down
        As for `polygon_field`.

    Returns
    -------
    array, shape (2 n_corners + 2, 2, ...)
        Derivatives of the field along the profile and down with respect to distance and depth of
        each corner in turn [nT/m], then to the magnetisation along and down [nT m/A].

    Raises
    ------
    InputError
        For fewer than three corners or a section without an area.

    Notes
    -----
    With ``u_j`` from the point to corner ``j`` as a complex number, along plus ``i`` down, and
    ``e_j = conj(d_j) / d_j`` of the side ``d_j = u_(j+1) - u_j``, the field is
    ``b_along - i b_down = -i (mu0 / 4 pi) M sum_j e_j ln(u_(j+1) / u_j)``, and that is
    differentiated (derived here; the field is that of [1]_).

    References
    ----------
    .. [1] Talwani, M., and Heirtzler, J. R. (1964), Computation of magnetic anomalies caused by
       two-dimensional structures of arbitrary shape, Computers in the Mineral Industries 1,
       464-480 (from memory).

    Examples
    --------
    Moved as a whole, the body moves its field.

    >>> corners = [[-20.0, 10.0], [20.0, 10.0], [20.0, 110.0], [-20.0, 110.0]]
    >>> slopes = polygon_slopes(0.0, 0.0, corners=corners, magnetisation_along=0.0,
    ...     magnetisation_down=0.397887)
    >>> slopes.shape, abs(float(slopes[:8:2, 1].sum())) < 1e-12
    ((10, 2), True)
    """
    section, turn = _section(corners)
    own = magnetisation_along + 1j * magnetisation_down
    point = np.asarray(distance_m) + 1j * np.asarray(depth_m)
    ray = (section[:, 0] + 1j * section[:, 1]).reshape(-1, *(1,) * point.ndim) - point
    following = np.roll(ray, -1, axis=0)
    side = following - ray
    logarithm, ratio = np.log(following / ray), side.conj() / side
    constant = -1j * FIELD_CONSTANT * turn
    total = constant * np.sum(ratio * logarithm, axis=0)
    found = np.empty((2 * len(section) + 2, *point.shape), dtype=complex)
    for part, (step, mirrored) in enumerate(((1.0, 1.0), (1j, -1j))):
        # a corner ends one side and begins the next
        end = (mirrored - ratio * step) / side * logarithm + ratio * step / following
        begin = -(mirrored - ratio * step) / side * logarithm - ratio * step / ray
        found[part:-2:2] = constant * own * (begin + np.roll(end, 1, axis=0))
    found[-2], found[-1] = total, 1j * total
    return np.stack([found.real, -found.imag], axis=1)


def finite_polygon_field(
    distance_m: ArrayLike,
    offset_m: ArrayLike,
    depth_m: ArrayLike,
    *,
    corners: ArrayLike,
    ends: tuple[float, float],
    magnetisation: ArrayLike,
) -> VectorField:
    """Return the field of a body of polygonal section and finite strike.

    Parameters
    ----------
    distance_m, offset_m, depth_m : array
        Points of measurement outside the body: along the profile, along the strike (to the
        right of the profile) and down [m].
    corners : array, shape (n_corners, 2)
        Distance and depth of the section's corners in order, either way round [m].
    ends : tuple of two floats
        Offsets along the strike at which the body begins and ends [m].
    magnetisation : array, shape (3,)
        Its parts along the profile, along the strike and down [A/m].

    Returns
    -------
    tuple of three arrays
        Field along the profile, along the strike and down [nT]; not finite on an edge.

    Raises
    ------
    InputError
        For fewer than three corners, a section without an area or ends out of order.

    Notes
    -----
    The "two and a half dimensional" body [1]_, [2]_. Each side carries the charge ``M.n``; with
    ``t`` along the side, ``y`` along the strike and ``n`` across, the second derivatives of
    ``1 / r`` are sums over its corners of ``arsinh(y / (t, n))``, ``arsinh(t / (y, n))`` and
    ``-atan(t y / (n r))``; the ends follow, as the tensor is symmetric and has no trace outside
    (derived here). Far ends make it `polygon_field`, a rectangle makes it a prism.

    References
    ----------
    .. [1] Shuey, R. T., and Pasquale, A. S. (1973), End corrections in magnetic profile
       interpretation, Geophysics 38(3), 507-512 (from memory).
    .. [2] Rasmussen, R., and Pedersen, L. B. (1979), End corrections in potential field
       modeling, Geophysical Prospecting 27(4), 749-760.

    Examples
    --------
    >>> corners = [[-20.0, 10.0], [20.0, 10.0], [20.0, 110.0], [-20.0, 110.0]]
    >>> _, _, down = finite_polygon_field(0.0, 0.0, 0.0, corners=corners, ends=(-5e4, 5e4),
    ...     magnetisation=[0.0, 0.0, 0.397887])
    >>> round(float(down), 3)
    147.584
    """
    sheets = _sheets(distance_m, offset_m, depth_m, corners, ends)
    tensor = sum(sheet.charged() for sheet in sheets)
    along, strike, down = FIELD_CONSTANT * np.einsum(
        "ab...,b->a...", tensor, np.asarray(magnetisation, dtype=float)
    )
    return along, strike, down


def finite_polygon_slopes(
    distance_m: ArrayLike,
    offset_m: ArrayLike,
    depth_m: ArrayLike,
    *,
    corners: ArrayLike,
    ends: tuple[float, float],
    magnetisation: ArrayLike,
) -> FloatArray:
    """Return the derivatives of the field of a body of polygonal section and finite strike.

    Parameters
    ----------
    distance_m, offset_m, depth_m, corners, ends, magnetisation
        As for `finite_polygon_field`.

    Returns
    -------
    array, shape (2 n_corners + 5, 3, ...)
        Derivatives of the field along the profile, along the strike and down with respect to
        distance and depth of each corner in turn and to the two ends [nT/m], then to the three
        parts of the magnetisation [nT m/A].

    Raises
    ------
    InputError
        For fewer than three corners, a section without an area or ends out of order.

    Notes
    -----
    A moving side adds a layer whose thickness grows from one corner to the other; its field is
    that of the second derivatives of ``1 / r`` over the rectangle, which are sums over its
    corners, of ``ln``, ``atan`` and rational terms (derived here). A moving end adds an even
    layer, by its rim.

    Examples
    --------
    >>> corners = [[-20.0, 10.0], [20.0, 10.0], [20.0, 110.0], [-20.0, 110.0]]
    >>> slopes = finite_polygon_slopes(0.0, 0.0, 0.0, corners=corners, ends=(-50.0, 50.0),
    ...     magnetisation=[0.0, 0.0, 0.4])
    >>> slopes.shape, bool(slopes[9, 2] > 0.0)
    ((13, 3), True)
    """
    own = np.asarray(magnetisation, dtype=float)
    sheets = _sheets(distance_m, offset_m, depth_m, corners, ends)
    count = len(sheets)
    slopes = np.zeros((2 * count + 5, 3, *sheets[0].normal.shape))
    for j, sheet in enumerate(sheets):
        for corner, last in ((j, False), ((j + 1) % count, True)):
            moved = np.einsum("ab...,b->a...", sheet.layer(last=last), own)
            slopes[2 * corner] += sheet.frame[2, 0] * moved
            slopes[2 * corner + 1] += sheet.frame[2, 2] * moved
        for number in range(2):
            rim = np.einsum("ab...,b->a...", sheet.rim(number), own)
            slopes[2 * count + number] += rim if number else -rim
        slopes[-3:] += np.moveaxis(sheet.charged(), 1, 0)
    slopes *= FIELD_CONSTANT
    return slopes


class _Sheet:
    """A side of the section, drawn out along the strike, in the frame side, strike, normal."""

    def __init__(
        self,
        first: FloatArray,
        last: FloatArray,
        frame: FloatArray,
        limits: tuple[float, float],
        point: tuple[FloatArray, ...],
    ) -> None:
        ray = [first[0] - point[0], first[1] - point[2]]
        begin = frame[0, 0] * ray[0] + frame[0, 2] * ray[1]
        self.frame = frame
        self.length = float(np.hypot(*(last - first)))
        self.normal = frame[2, 0] * ray[0] + frame[2, 2] * ray[1]
        self.along = (begin, begin + self.length)
        self.strike = tuple(limit - point[1] for limit in limits)

    def layer(self, *, last: bool) -> NDArray[np.float64]:
        """Return the tensor of a layer that grows from 0 at one corner to 1 at the other."""
        slope = (1.0 if last else -1.0) / self.length
        zero = self.along[0] if last else self.along[1]
        n = self.normal
        tensor = np.zeros((3, 3, *n.shape))
        for i, t in enumerate(self.along):
            weight = slope * (t - zero)
            for j, y in enumerate(self.strike):
                sign = 1.0 if i == j else -1.0
                r = np.sqrt(t * t + y * y + n * n)
                # 1 / r integrated along the strike, and its slopes; constants cancel
                across = 1.0 / (r * _above_zero(t * t + n * n))
                beside = (slope + slope * zero * t / _above_zero(n * n + y * y)) / r
                tensor[0, 0] -= sign * (weight * t * y * across + slope * _arsinh(y, t, n))
                tensor[0, 1] += sign * (weight / r - slope * _arsinh(t, y, n))
                turn = _angle(t * y, n * r)
                tensor[0, 2] -= sign * (weight * n * y * across - slope * turn)
                tensor[1, 2] += sign * n * beside
                tensor[1, 1] += sign * y * beside
        return self._turned(tensor)

    def charged(self) -> NDArray[np.float64]:
        """Return the tensor that this side, evenly charged, and its share of the ends give."""
        n = self.normal
        tensor = np.zeros((3, 3, *n.shape))
        for i, t in enumerate(self.along):
            for j, y in enumerate(self.strike):
                sign = 1.0 if i == j else -1.0
                r = np.sqrt(t * t + y * y + n * n)
                tensor[2, 0] += sign * _arsinh(y, t, n)
                tensor[2, 1] += sign * _arsinh(t, y, n)
                tensor[2, 2] -= sign * _angle(t * y, n * r)
        return self._rim_turned(tensor)

    def rim(self, number: int) -> NDArray[np.float64]:
        """Return the tensor of an end's even layer that this side of its rim gives."""
        n, y = self.normal, self.strike[number]
        tensor = np.zeros((3, 3, *n.shape))
        for sign, t in zip((-1.0, 1.0), self.along, strict=True):
            r = np.sqrt(t * t + y * y + n * n)
            even = t / (r * _above_zero(n * n + y * y))
            tensor[2, 0] += sign / r
            tensor[2, 1] -= sign * y * even
            tensor[2, 2] -= sign * n * even
        return self._rim_turned(tensor)

    def _turned(self, tensor: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return a symmetric tensor without trace in the frame profile, strike, down."""
        tensor[2, 2] = -tensor[0, 0] - tensor[1, 1]
        for i, j in ((0, 1), (0, 2), (1, 2)):
            tensor[j, i] = tensor[i, j]
        return np.asarray(np.einsum("ia,ij...,jb->ab...", self.frame, tensor, self.frame))

    def _rim_turned(self, tensor: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return a rim's share in the frame profile, strike, down."""
        found = np.einsum("ia,ij...,jb->ab...", self.frame, tensor, self.frame)
        found[1, 1] = -found[0, 0] - found[2, 2]
        found[1, 0], found[1, 2] = found[0, 1], found[2, 1]
        return np.asarray(found)


def _angle(opposite: FloatArray, adjacent: FloatArray) -> FloatArray:
    """Return the arc tangent, 0 where both are zero."""
    turned = np.where(adjacent < 0.0, -1.0, 1.0)
    return np.asarray(np.arctan2(turned * opposite, turned * adjacent))


def _arsinh(side: FloatArray, one: FloatArray, other: FloatArray) -> FloatArray:
    """Return ``ln(side + distance)`` but for a constant of the other two coordinates."""
    away = np.hypot(one, other)
    # on the line of an edge two of them cancel
    return np.asarray(np.arcsinh(side / np.where(away > 0.0, away, 1e-30 * np.abs(side) + 1e-300)))


def _above_zero(square: FloatArray) -> FloatArray:
    """Return a square, infinite where it is zero."""
    return np.where(square > 0.0, square, np.inf)


def _offset(distance_m: ArrayLike, depth_m: ArrayLike, axis: ArrayLike) -> NDArray[np.complex128]:
    """Return the way from an axis to the points as complex numbers."""
    along, deep = np.asarray(axis, dtype=float)
    return np.asarray((np.asarray(distance_m) - along) + 1j * (np.asarray(depth_m) - deep))


def _sheets(
    distance_m: ArrayLike,
    offset_m: ArrayLike,
    depth_m: ArrayLike,
    corners: ArrayLike,
    ends: tuple[float, float],
) -> list[_Sheet]:
    """Return the sides of a body of finite strike as its points see them."""
    section, turn = _section(corners)
    limits = _ends(ends)
    point = np.broadcast_arrays(
        *(np.asarray(part, dtype=float) for part in (distance_m, offset_m, depth_m))
    )
    sheets = []
    for first, last in zip(section, np.roll(section, -1, axis=0), strict=True):
        side = (last - first) / np.hypot(*(last - first))
        normal = turn * np.array([side[1], -side[0]])
        frame = np.array([[side[0], 0.0, side[1]], [0.0, 1.0, 0.0], [normal[0], 0.0, normal[1]]])
        sheets.append(_Sheet(first, last, frame, limits, point))
    return sheets


def _section(corners: ArrayLike) -> tuple[FloatArray, float]:
    """Return a section's corners and the sense of their order."""
    section = np.asarray(corners, dtype=float)
    if section.ndim != 2 or section.shape[1] != 2 or len(section) < 3:
        raise InputError("A section must have three corners or more and an area.")
    following = np.roll(section, -1, axis=0)
    area = np.sum(section[:, 0] * following[:, 1] - section[:, 1] * following[:, 0])
    if not abs(area) > 0.0:
        raise InputError("A section must have three corners or more and an area.")
    return section, float(np.sign(area))


def _ends(ends: tuple[float, float]) -> tuple[float, float]:
    """Return the ends of a body along its strike."""
    begin, end = float(ends[0]), float(ends[1])
    if not begin < end:
        raise InputError("A body must begin before it ends along its strike.", value=ends)
    return begin, end
