"""A compact body from afar: its dipole and what its shape adds."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lodewalk.methods.bodies.anomaly import VectorField
from lodewalk.methods.bodies.dipole import FIELD_CONSTANT, dipole_field, dipole_slopes
from lodewalk.validation import FloatArray

#: Places of the five parts of a shape in its tensor: nn, ee, ne, nd, ed; dd is less nn and ee.
_PLACES = ((0, 0), (1, 1), (0, 1), (0, 2), (1, 2))


def shaped_dipole_field(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    height_m: ArrayLike,
    *,
    centre: ArrayLike,
    moment: ArrayLike,
    shape_m2: ArrayLike,
) -> VectorField:
    """Return the field of a uniformly magnetised compact body at some distance.

    Parameters
    ----------
    easting_m, northing_m, height_m : array
        Points of measurement [m].
    centre : array, shape (3,)
        Easting, northing and height of its centre of volume [m].
    moment : array, shape (3,)
        North, east and down part of its moment [A m2].
    shape_m2 : array, shape (5,)
        Mean square of its extent about the centre less a third of the trace: north, east, north
        with east, north with down, east with down [m2]; zero for a sphere and a cube.

    Returns
    -------
    tuple of three arrays
        Field towards north, east and down [nT].

    Notes
    -----
    ``V = int 1/r dv`` to the second order of the extent is ``v (1/r + (3/2) r.S r / r**5)``, and
    the field ``C grad (M.grad V)``; a body with a centre of symmetry leaves terms of the fourth
    order (derived here). An ellipsoid of half axes ``a`` has ``a**2 / 5``, a block of half sides
    ``a`` has ``a**2 / 3``.

    Examples
    --------
    A flat body shows less from above than a sphere (2 nT).

    >>> down = shaped_dipole_field(0.0, 0.0, 10.0, centre=[0, 0, 0], moment=[0, 0, 10],
    ...     shape_m2=[1.0, 1.0, 0.0, 0.0, 0.0])[2]
    >>> round(float(down), 3)
    1.64
    """
    plain = dipole_field(easting_m, northing_m, height_m, centre=centre, moment=moment)
    ray = _ray(easting_m, northing_m, height_m, centre)
    added = _shaped(ray, np.asarray(moment, dtype=float), _tensor(shape_m2))
    return plain[0] + added[0], plain[1] + added[1], plain[2] + added[2]


def shaped_dipole_slopes(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    height_m: ArrayLike,
    *,
    centre: ArrayLike,
    moment: ArrayLike,
    shape_m2: ArrayLike,
) -> FloatArray:
    """Return the derivatives of the field of `shaped_dipole_field`.

    Parameters
    ----------
    easting_m, northing_m, height_m, centre, moment, shape_m2
        As for `shaped_dipole_field`.

    Returns
    -------
    array, shape (11, 3, ...)
        Derivatives of the field towards north, east and down with respect to easting, northing
        and height of the centre [nT/m], the three parts of the moment [nT/(A m2)], and the five
        of the shape [nT/m2].

    Examples
    --------
    >>> shaped_dipole_slopes(0.0, 0.0, 9.0, centre=[0, 0, 0], moment=[0, 0, 1],
    ...     shape_m2=np.zeros(5)).shape
    (11, 3)
    """
    points = np.broadcast_arrays(
        *(np.asarray(part, dtype=float) for part in (easting_m, northing_m, height_m))
    )
    own, tensor = np.asarray(moment, dtype=float), _tensor(shape_m2)
    ray = _ray(points[0], points[1], points[2], centre)
    slopes = np.empty((11, 3, *points[0].shape))
    slopes[:6] = dipole_slopes(*points, centre=centre, moment=moment)
    turned = _shaped_by_ray(ray, own, tensor)
    slopes[0] -= turned[:, 1]
    slopes[1] -= turned[:, 0]
    slopes[2] += turned[:, 2]
    for k, unit in enumerate(np.eye(3)):
        slopes[3 + k] += _shaped(ray, unit, tensor)
    for k, unit in enumerate(np.eye(5)):
        slopes[6 + k] = _shaped(ray, own, _tensor(unit))
    return slopes


def _tensor(shape_m2: ArrayLike) -> FloatArray:
    """Return a shape as a symmetric tensor without trace."""
    parts = np.asarray(shape_m2, dtype=float)
    tensor = np.zeros((3, 3))
    for value, (i, j) in zip(parts, _PLACES, strict=True):
        tensor[i, j] = tensor[j, i] = value
    tensor[2, 2] = -parts[0] - parts[1]
    return tensor


def _ray(
    easting_m: ArrayLike, northing_m: ArrayLike, height_m: ArrayLike, centre: ArrayLike
) -> NDArray[np.float64]:
    """Return the way from the centre to the points, north, east and down."""
    east, north, height = np.asarray(centre, dtype=float)
    return np.array(
        np.broadcast_arrays(
            np.asarray(northing_m, dtype=float) - north,
            np.asarray(easting_m, dtype=float) - east,
            height - np.asarray(height_m, dtype=float),
        )
    )


def _shaped(ray: NDArray[np.float64], own: FloatArray, tensor: FloatArray) -> NDArray[np.float64]:
    """Return what the shape adds to the field."""
    square = (ray**2).sum(axis=0)
    fifth = 1.5 * FIELD_CONSTANT * square**-2.5
    along, turned = np.tensordot(own, ray, 1), np.tensordot(tensor, ray, 1)
    both, twice = np.tensordot(own, turned, 1), (turned * ray).sum(axis=0)
    steady = np.reshape(tensor @ own, (3, *(1,) * square.ndim))
    level = np.reshape(own, steady.shape)
    parts = 10.0 * (both * ray + along * turned) + 5.0 * twice * level
    parts = 2.0 * steady - parts / square + 35.0 * twice * along / square**2 * ray
    return np.asarray(fifth * parts)


def _shaped_by_ray(
    ray: NDArray[np.float64], own: FloatArray, tensor: FloatArray
) -> NDArray[np.float64]:
    """Return the derivatives of `_shaped`: part of the field first, of the way second."""
    square = (ray**2).sum(axis=0)
    seventh = 1.5 * FIELD_CONSTANT * square**-3.5
    along, v = np.tensordot(own, ray, 1), np.tensordot(tensor, ray, 1)
    both, twice = np.tensordot(own, v, 1), (v * ray).sum(axis=0)
    w = tensor @ own
    found = np.empty((3, 3, *square.shape))
    for i in range(3):
        for k in range(3):
            part = w[i] * ray[k] + w[k] * ray[i] + tensor[i, k] * along
            part = -10.0 * (part + v[i] * own[k] + v[k] * own[i])
            outer = 70.0 * (both * ray[i] * ray[k] + along * (v[i] * ray[k] + v[k] * ray[i]))
            outer = outer + 35.0 * twice * (own[i] * ray[k] + own[k] * ray[i])
            if i == k:
                part = part - 10.0 * both
                outer = outer + 35.0 * twice * along
            outer = outer - 315.0 * twice * along * ray[i] * ray[k] / square
            found[i, k] = seventh * (part + outer / square)
    return found
