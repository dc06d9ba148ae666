"""Blocks of six faces: the upright prism and the dipping dyke of finite strike length."""

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.bodies.anomaly import VectorField
from lodewalk.methods.bodies.polyhedron import polyhedron_field
from lodewalk.validation import FloatArray, check_positive

#: Faces of a block: corners 0 to 3 are the top, counter-clockwise from above, 4 to 7 below them.
BLOCK_FACES = (
    (0, 1, 2, 3),
    (7, 6, 5, 4),
    (0, 4, 5, 1),
    (1, 5, 6, 2),
    (2, 6, 7, 3),
    (3, 7, 4, 0),
)


def upright_block(
    *, centre: ArrayLike, length_m: float, width_m: float, azimuth_deg: float, depth_extent_m: float
) -> FloatArray:
    """Return the corners of a rectangular prism with upright sides.

    Parameters
    ----------
    centre : array, shape (3,)
        Easting, northing and height of the middle of its top [m].
    length_m, width_m : float
        Lengths of its sides along and across the azimuth [m], above zero.
    azimuth_deg : float
        Azimuth of its length [deg], clockwise from grid north.
    depth_extent_m : float
        Height of the prism from bottom to top [m], above zero.

    Returns
    -------
    array, shape (8, 3)
        Easting, northing and height of the corners for `block_field` [m].

    Raises
    ------
    InputError
        For a length not above zero.

    Examples
    --------
    >>> corners = upright_block(centre=[0, 0, 0], length_m=4.0, width_m=2.0, azimuth_deg=0.0,
    ...     depth_extent_m=10.0)
    >>> corners.min(axis=0).round(9).tolist(), corners.max(axis=0).round(9).tolist()
    ([-1.0, -2.0, -10.0], [1.0, 2.0, 0.0])
    """
    return dipping_block(
        centre=centre,
        length_m=length_m,
        width_m=width_m,
        strike_deg=azimuth_deg,
        dip_deg=90.0,
        depth_extent_m=depth_extent_m,
    )


def dipping_block(
    *,
    centre: ArrayLike,
    length_m: float,
    width_m: float,
    strike_deg: float,
    dip_deg: float,
    depth_extent_m: float,
) -> FloatArray:
    """Return the corners of a dyke with flat top and bottom, parallel sides and upright ends.

    Parameters
    ----------
    centre : array, shape (3,)
        Easting, northing and height of the middle of its top [m].
    length_m : float
        Strike length [m], above zero.
    width_m : float
        Horizontal width across the strike [m], above zero.
    strike_deg : float
        Azimuth of the strike [deg], clockwise from grid north.
    dip_deg : float
        Dip [deg], above 0 and below 180; under 90 the dyke goes down to the right of the
        strike.
    depth_extent_m : float
        Vertical distance from bottom to top [m], above zero.

    Returns
    -------
    array, shape (8, 3)
        Easting, northing and height of the corners for `block_field` [m].

    Raises
    ------
    InputError
        For a length not above zero or a dip outside 0 to 180.

    Examples
    --------
    >>> corners = dipping_block(centre=[0, 0, 0], length_m=100.0, width_m=2.0, strike_deg=0.0,
    ...     dip_deg=45.0, depth_extent_m=10.0)
    >>> corners[:, 0].round(9).tolist()
    [1.0, 1.0, -1.0, -1.0, 11.0, 11.0, 9.0, 9.0]
    """
    check_positive(length_m, name="Length")
    check_positive(width_m, name="Width")
    check_positive(depth_extent_m, name="Depth extent")
    if not 0.0 < dip_deg < 180.0:
        raise InputError("Dip must be above 0 and below 180 degrees.", value=dip_deg)
    strike = np.radians(strike_deg)
    along = np.array([np.sin(strike), np.cos(strike), 0.0])
    across = np.array([np.cos(strike), -np.sin(strike), 0.0])
    signs = ((-1, 1), (1, 1), (1, -1), (-1, -1))
    top = np.asarray(centre, dtype=float) + [
        0.5 * (end * length_m * along + side * width_m * across) for end, side in signs
    ]
    sideways = depth_extent_m / np.tan(np.radians(dip_deg))
    return np.vstack([top, top + sideways * across - [0.0, 0.0, depth_extent_m]])


def block_field(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    height_m: ArrayLike,
    *,
    corners: ArrayLike,
    magnetisation: ArrayLike,
) -> VectorField:
    """Return the field of a uniformly magnetised block outside it.

    Parameters
    ----------
    easting_m, northing_m, height_m : array
        Points of measurement outside the block [m].
    corners : array, shape (8, 3)
        Corners from `upright_block` or `dipping_block` [m].
    magnetisation : array, shape (3,)
        North, east and down part of the magnetisation [A/m].

    Returns
    -------
    tuple of three arrays
        Field towards north, east and down [nT].

    Raises
    ------
    InputError
        When a face is not flat.

    Notes
    -----
    Exact for any dip and strike length: see `polyhedron_field`.

    Examples
    --------
    >>> corners = upright_block(centre=[0, 0, -10], length_m=1e5, width_m=40.0, azimuth_deg=0.0,
    ...     depth_extent_m=100.0)
    >>> _, _, down = block_field(0.0, 0.0, 0.0, corners=corners,
    ...     magnetisation=[0.0, 0.0, 0.397887])
    >>> round(float(down), 3)
    147.584
    """
    return polyhedron_field(
        easting_m,
        northing_m,
        height_m,
        corners=corners,
        faces=BLOCK_FACES,
        magnetisation=magnetisation,
    )
