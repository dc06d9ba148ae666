"""The uniformly magnetised polyhedron, from which blocks and dipping dykes are made."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lodewalk.errors import InputError
from lodewalk.methods.bodies.anomaly import VectorField
from lodewalk.methods.bodies.dipole import FIELD_CONSTANT
from lodewalk.validation import FloatArray

#: A corner may stand off its face's plane by this share of the face's size.
FLATNESS = 1e-6


def polyhedron_field(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    height_m: ArrayLike,
    *,
    corners: ArrayLike,
    faces: Sequence[Sequence[int]],
    magnetisation: ArrayLike,
) -> VectorField:
    """Return the field of a uniformly magnetised polyhedron outside it.

    Parameters
    ----------
    easting_m, northing_m, height_m : array
        Points of measurement outside the body [m].
    corners : array, shape (n_corners, 3)
        Easting, northing and height of each corner [m].
    faces : sequence of sequences of int
        Each flat, convex face as the numbers of its corners, counter-clockwise when seen from
        outside. Together the faces close the body.
    magnetisation : array, shape (3,)
        North, east and down part of the magnetisation [A/m].

    Returns
    -------
    tuple of three arrays
        Field towards north, east and down [nT]; not finite on an edge.

    Raises
    ------
    InputError
        When the faces don't close the body, or one is not flat.

    Notes
    -----
    Each face carries the charge ``M.n``; the field of an evenly charged polygon is a sum over
    its edges, ``u ln((r1 + r2 + l) / (r1 + r2 - l))`` with ``u`` the outward normal of the
    edge in the face's plane, plus ``n`` times the solid angle [1]_, which is that of its
    triangles [2]_. Faces meeting in an edge share its logarithm. Exact outside the body; at a
    distance of `q` body lengths about ``q**2`` times the rounding error remains. Demagnetisation
    is left to the magnetisation given.

    References
    ----------
    .. [1] Wilton, D. R., et al. (1984), Potential integrals for uniform and linear source
       distributions on polygonal and polyhedral domains, IEEE Transactions on Antennas and
       Propagation, 32(3), 276-281, doi:10.1109/TAP.1984.1143304 (derived anew here).
    .. [2] Van Oosterom, A., and Strackee, J. (1983), The solid angle of a plane triangle, IEEE
       Transactions on Biomedical Engineering, BME-30(2), 125-126,
       doi:10.1109/TBME.1983.325207.

    Examples
    --------
    A pyramid of four faces, seen from 100 m above: near enough a dipole.

    >>> corners = [[0, 0, 0], [2, 0, 0], [0, 2, 0], [0, 0, 2]]
    >>> faces = [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]
    >>> _, _, down = polyhedron_field(0.5, 0.5, 100.5, corners=corners, faces=faces,
    ...     magnetisation=[0.0, 0.0, 1.0])
    >>> round(float(down) / (200.0 * 4.0 / 3.0 / 100.0**3), 3)
    1.0
    """
    shape = np.asarray(corners, dtype=float)
    north, east, down = np.asarray(magnetisation, dtype=float)
    terms, plates = _charges(shape, faces, np.array([east, north, -down]))
    points = [np.asarray(part, dtype=float) for part in (easting_m, northing_m, height_m)]
    rays = [[corner[i] - points[i] for i in range(3)] for corner in shape]
    lengths = [np.sqrt(ray[0] ** 2 + ray[1] ** 2 + ray[2] ** 2) for ray in rays]
    total = np.zeros((3, *np.broadcast(*points).shape))
    for (first, last), weight in terms.items():
        side = float(np.linalg.norm(shape[last] - shape[first]))
        with np.errstate(divide="ignore", invalid="ignore"):
            logarithm = 2.0 * np.arctanh(side / (lengths[first] + lengths[last]))
        for axis in range(3):
            total[axis] += weight[axis] * logarithm
    for face, weight in plates:
        angle = _solid_angle([rays[i] for i in face], [lengths[i] for i in face])
        for axis in range(3):
            total[axis] += weight[axis] * angle
    total *= FIELD_CONSTANT
    return total[1], total[0], -total[2]


def _charges(
    corners: FloatArray, faces: Sequence[Sequence[int]], magnetisation: FloatArray
) -> tuple[dict[tuple[int, int], FloatArray], list[tuple[Sequence[int], FloatArray]]]:
    """Return the weight of each edge's logarithm and of each face's solid angle."""
    edges: dict[tuple[int, int], FloatArray] = {}
    plates = []
    directed = [pair for face in faces for pair in _sides(face)]
    if len(set(directed)) < len(directed) or {(b, a) for a, b in directed} != set(directed):
        raise InputError(
            "Each edge of a polyhedron must belong to two faces, once in each direction.",
            remedy="List the corners of every face counter-clockwise, seen from outside.",
        )
    for face in faces:
        normal = _normal(corners[list(face)])
        charge = float(magnetisation @ normal)
        plates.append((face, charge * normal))
        for first, last in _sides(face):
            along = corners[last] - corners[first]
            outward = _cross(along / np.linalg.norm(along), normal)
            key = (min(first, last), max(first, last))
            edges[key] = edges.get(key, np.zeros(3)) + charge * outward
    return edges, plates


def _sides(face: Sequence[int]) -> list[tuple[int, int]]:
    """Return the directed edges of a face."""
    return [(face[i - 1], face[i]) for i in range(len(face))]


def _normal(corners: FloatArray) -> FloatArray:
    """Return the outward unit normal of a flat face."""
    rays = corners - corners[0]
    area = _cross(rays[1:-1], rays[2:]).sum(axis=0)
    size = np.linalg.norm(area)
    if size == 0.0 or np.abs(rays @ area).max() > FLATNESS * size**1.5:
        raise InputError("A face of a polyhedron must be flat and have an area.")
    return np.asarray(area / size)


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    """Return vector products along the last axis, the same as numpy's but quicker when few."""
    ax, ay, az = a.T
    bx, by, bz = b.T
    return np.array([ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx]).T


def _solid_angle(rays: list[list[FloatArray]], lengths: list[FloatArray]) -> NDArray[np.float64]:
    """Return the solid angle of a convex face, positive on its outer side."""
    total = np.zeros(np.broadcast(*rays[0]).shape)
    a, length_a = rays[0], lengths[0]
    for i in range(1, len(rays) - 1):
        b, c, length_b, length_c = rays[i], rays[i + 1], lengths[i], lengths[i + 1]
        triple = (
            a[0] * (b[1] * c[2] - b[2] * c[1])
            + a[1] * (b[2] * c[0] - b[0] * c[2])
            + a[2] * (b[0] * c[1] - b[1] * c[0])
        )
        rest = length_a * (length_b * length_c + _dot(b, c))
        rest += _dot(a, b) * length_c + _dot(a, c) * length_b
        total -= 2.0 * np.arctan2(triple, rest)
    return total


def _dot(a: list[FloatArray], b: list[FloatArray]) -> FloatArray:
    """Return the scalar product."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
