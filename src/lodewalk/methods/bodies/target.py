"""The bodies that a survey is planned to find, and their total-field anomaly."""

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.bodies.anomaly import exact_anomaly
from lodewalk.methods.bodies.dipole import dipole_field
from lodewalk.methods.bodies.magnetisation import body_magnetisation, demagnetisation_factors
from lodewalk.methods.bodies.polyhedron import polyhedron_field
from lodewalk.methods.bodies.prism import BLOCK_FACES, dipping_block
from lodewalk.validation import FloatArray, check_positive

Kind = Literal["dyke", "sheet", "contact", "pipe", "sphere", "prism", "folded bed"]

KINDS: Final = ("dyke", "sheet", "contact", "pipe", "sphere", "prism", "folded bed")

#: Sides of the polygon that stands for the round section of a pipe.
PIPE_SIDES: Final = 16

#: The magnetic side of a contact reaches as far as this [m], along the strike as well.
CONTACT_REACH_M: Final = 1e5

Faces = tuple[tuple[int, ...], ...]


@dataclass(frozen=True)
class Body:
    """A body that is sought, its middle at easting 0 and northing 0 below level ground.

    Parameters
    ----------
    kind : str
        dyke, sheet, contact, pipe, sphere, prism or folded bed.
    depth_m : float
        Depth of its top, of a sphere's centre, below ground [m].
    width_m : float
        Horizontal width across the strike; of a folded bed its thickness [m].
    length_m : float
        Length along the strike [m].
    depth_extent_m : float
        Vertical distance from top to bottom [m].
    radius_m : float
        Radius of a sphere or pipe [m].
    strike_deg : float
        Azimuth of the strike, or of a fold's axis, from grid north [deg].
    dip_deg : float
        Dip [deg], above 0 and below 180; under 90 the body goes down to the right of the
        strike. Of a folded bed the dip of its axial plane.
    opening_deg : float
        Angle between the two limbs of a folded bed [deg].

    Notes
    -----
    Kinds: dyke, sheet and prism are dipping blocks with flat top and bottom and upright ends;
    the magnetic side of a contact lies to the right of the strike and reaches 100 km; a pipe is
    an upright prism of 16 sides with the area of the circle; a folded bed is two limbs that go
    down from a level hinge, without a common part.

    Raises
    ------
    InputError
        For an unknown kind, a size not above zero or a shape that can't be.
    """

    kind: Kind = "dyke"
    depth_m: float = 10.0
    width_m: float = 5.0
    length_m: float = 300.0
    depth_extent_m: float = 200.0
    radius_m: float = 10.0
    strike_deg: float = 0.0
    dip_deg: float = 90.0
    opening_deg: float = 60.0

    def __post_init__(self) -> None:
        """Check kind and sizes."""
        if self.kind not in KINDS:
            raise InputError(
                "Unknown kind of body.", value=self.kind, remedy=f"Kinds are {', '.join(KINDS)}."
            )
        for name in ("depth_m", "width_m", "length_m", "depth_extent_m", "radius_m"):
            check_positive(getattr(self, name), name=name)
        if not 0.0 < self.dip_deg < 180.0:
            raise InputError("Dip must be above 0 and below 180 degrees.", value=self.dip_deg)
        if self.kind == "folded bed":
            _check_fold(self)


def body_anomaly(
    body: Body,
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    height_m: ArrayLike,
    *,
    ambient_nT: ArrayLike,
    susceptibility: float,
    remanence_A_m: ArrayLike | None = None,
) -> FloatArray:
    """Return the total-field anomaly of a body.

    Parameters
    ----------
    body : Body
        The body.
    easting_m, northing_m : array
        Points from the body's middle; from the upper edge of a contact, the hinge of a fold [m].
    height_m : array
        Height of the sensor above the level ground [m].
    ambient_nT : array, shape (3,)
        Ambient field towards grid north, grid east and down [nT], as `ambient_vector` gives it.
    susceptibility : float
        Susceptibility of the body less that of its host [SI].
    remanence_A_m : array, shape (3,), optional
        Remanence in the same order [A/m], as `remanent_magnetisation` gives it.

    Returns
    -------
    array
        Anomaly ``|F + b| - |F|`` [nT].

    Raises
    ------
    InputError
        For a susceptibility of -1 or less or a sensor not above the body.

    Notes
    -----
    The field is that of uniformly magnetised polyhedra (`polyhedron_field`) or of a dipole.
    Demagnetisation is that of the ellipsoid with the body's axes, exact for a sphere and for a
    wide sheet, near for a block; it is left out for a contact, whose edge has no one factor.

    Examples
    --------
    >>> sphere = Body(kind="sphere", depth_m=18.0, radius_m=10.0)
    >>> anomaly = body_anomaly(sphere, 0.0, 0.0, 2.0, ambient_nT=[0.0, 0.0, 50000.0],
    ...     susceptibility=0.01)
    >>> round(float(anomaly), 2)
    41.53
    """
    heights = np.asarray(height_m, dtype=float)
    top = body.depth_m - (body.radius_m if body.kind == "sphere" else 0.0)
    if not (heights > -top).all():
        raise InputError(
            "The sensor must be above the body.",
            value=f"height {float(heights.min()):g} m over a top at {top:g} m",
            remedy="The depth of a sphere is that of its centre." * (body.kind == "sphere"),
        )
    field = np.zeros((3, *np.broadcast(easting_m, northing_m, heights).shape))
    for factors, axes, part in _parts(body):
        magnetisation = body_magnetisation(
            ambient_nT,
            susceptibility=susceptibility,
            remanence_A_m=remanence_A_m,
            factors=factors,
            axes=axes,
        )
        if part is None:
            moment = 4.0 / 3.0 * np.pi * body.radius_m**3 * magnetisation
            field += dipole_field(
                easting_m, northing_m, heights, centre=[0.0, 0.0, -body.depth_m], moment=moment
            )
        else:
            field += polyhedron_field(
                easting_m,
                northing_m,
                heights,
                corners=part[0],
                faces=part[1],
                magnetisation=magnetisation,
            )
    return exact_anomaly((field[0], field[1], field[2]), ambient_nT=ambient_nT)


def body_outline(body: Body) -> list[FloatArray]:
    """Return the outline of a body's top as seen from above.

    Parameters
    ----------
    body : Body
        The body.

    Returns
    -------
    list of arrays, shape (n_corners, 2)
        Closed rings of easting and northing from the body's middle [m]: the tops of blocks, the
        greatest circle of a sphere; for a contact the edge alone, 10 depths to either side.

    Examples
    --------
    >>> ring = body_outline(Body(width_m=4.0, length_m=20.0))[0]
    >>> ring.min(axis=0).round(9).tolist(), ring.max(axis=0).round(9).tolist()
    ([-2.0, -10.0], [2.0, 10.0])
    """
    turn = np.radians(body.strike_deg)
    along = np.array([np.sin(turn), np.cos(turn)])
    if body.kind == "contact":
        return [np.array([-10.0, 10.0])[:, None] * body.depth_m * along]
    if body.kind in ("sphere", "pipe"):
        round_about = np.linspace(0.0, 2.0 * np.pi, 73)
        return [body.radius_m * np.column_stack([np.sin(round_about), np.cos(round_about)])]
    if body.kind == "folded bed":
        across = np.array([along[1], -along[0]])
        left, right = (limb[2:] @ [[1.0], [0.0]] for limb in _limb_sections(body))
        low, high = float(left.min()), float(right.max())
        ends = [(-0.5, low), (0.5, low), (0.5, high), (-0.5, high), (-0.5, low)]
        return [np.array([end * body.length_m * along + x * across for end, x in ends])]
    corners = _block(body)[:4, :2]
    return [np.vstack([corners, corners[:1]])]


def _parts(body: Body) -> list[tuple[FloatArray, FloatArray, tuple[FloatArray, Faces] | None]]:
    """Return demagnetisation factors, axes and polyhedron of each part; None for a sphere."""
    if body.kind == "sphere":
        return [(np.full(3, 1.0 / 3.0), np.eye(3), None)]
    if body.kind == "contact":
        return [(np.zeros(3), np.eye(3), (_contact(body), BLOCK_FACES))]
    if body.kind == "pipe":
        size = 2.0 * body.radius_m
        factors = demagnetisation_factors([size, size, body.depth_extent_m])
        return [(factors, np.eye(3), _pipe(body))]
    if body.kind == "folded bed":
        return _limbs(body)
    sine = np.sin(np.radians(body.dip_deg))
    thickness, down = body.width_m * sine, body.depth_extent_m / sine
    factors = demagnetisation_factors([body.length_m, thickness, down])
    return [(factors, _axes(body.strike_deg, body.dip_deg), (_block(body), BLOCK_FACES))]


def _axes(strike_deg: float, dip_deg: float) -> FloatArray:
    """Return the directions along the strike, across the plane and down the dip."""
    turn, dip = np.radians(strike_deg), np.radians(dip_deg)
    along = np.array([np.cos(turn), np.sin(turn), 0.0])
    right = np.array([-np.sin(turn), np.cos(turn), 0.0])
    below = np.array([0.0, 0.0, 1.0])
    across = np.sin(dip) * right - np.cos(dip) * below
    return np.array([along, across, np.cos(dip) * right + np.sin(dip) * below])


def _block(body: Body) -> FloatArray:
    """Return the corners of a dipping block."""
    return dipping_block(
        centre=[0.0, 0.0, -body.depth_m],
        length_m=body.length_m,
        width_m=body.width_m,
        strike_deg=body.strike_deg,
        dip_deg=body.dip_deg,
        depth_extent_m=body.depth_extent_m,
    )


def _contact(body: Body) -> FloatArray:
    """Return the corners of the block on a contact's magnetic side."""
    turn = np.radians(body.strike_deg)
    middle = 0.5 * CONTACT_REACH_M * np.array([np.cos(turn), -np.sin(turn)])
    return dipping_block(
        centre=[*middle, -body.depth_m],
        length_m=2.0 * CONTACT_REACH_M,
        width_m=CONTACT_REACH_M,
        strike_deg=body.strike_deg,
        dip_deg=body.dip_deg,
        depth_extent_m=body.depth_extent_m,
    )


def _pipe(body: Body) -> tuple[FloatArray, Faces]:
    """Return corners and faces of an upright prism with the section of a circle."""
    turn = 2.0 * np.pi / PIPE_SIDES
    radius = body.radius_m * np.sqrt(turn / np.sin(turn))
    angles = turn * np.arange(PIPE_SIDES)
    section = radius * np.column_stack([np.cos(angles), np.sin(angles)])
    top = np.column_stack([section, np.full(PIPE_SIDES, -body.depth_m)])
    return np.vstack([top, top - [0.0, 0.0, body.depth_extent_m]]), _lids(PIPE_SIDES)


def _lids(sides: int) -> Faces:
    """Return the faces of a prism: corners run counter-clockwise on its first lid."""
    walls = [(i, i + sides, (i + 1) % sides + sides, (i + 1) % sides) for i in range(sides)]
    return (tuple(range(sides)), tuple(range(2 * sides - 1, sides - 1, -1)), *walls)


def _check_fold(body: Body) -> None:
    """Raise when the limbs of a folded bed don't go down or don't part above its bottom."""
    half = 0.5 * body.opening_deg
    if not (half > 0.0 and half < body.dip_deg < 180.0 - half):
        raise InputError(
            "Both limbs of a folded bed must go down from its hinge.",
            value=f"opening {body.opening_deg:g}, dip {body.dip_deg:g} degrees",
            remedy="Give a smaller opening, or an axial plane nearer to upright.",
        )
    apart = body.width_m / np.sin(np.radians(half)) * np.sin(np.radians(body.dip_deg))
    if not apart < body.depth_extent_m:
        raise InputError(
            "The limbs of a folded bed must part above its bottom.",
            value=f"{body.depth_extent_m:g} m from top to bottom, parting at {apart:.0f} m",
            remedy="Give a thinner bed, or a greater depth extent.",
        )


def _limb_sections(body: Body) -> list[FloatArray]:
    """Return the section of the left and the right limb: distance across and depth [m].

    Each has the hinge within, the hinge outside, then the outer and the inner edge below.
    """
    half, dip = np.radians(0.5 * body.opening_deg), np.radians(body.dip_deg)
    outer = np.array([0.0, body.depth_m])
    inner = outer + body.width_m / np.sin(half) * np.array([np.cos(dip), np.sin(dip)])
    bottom = body.depth_m + body.depth_extent_m

    def below(start: FloatArray, angle: float) -> FloatArray:
        return np.array([start[0] + (bottom - start[1]) / np.tan(angle), bottom])

    return [
        np.array([inner, outer, below(outer, angle), below(inner, angle)])
        for angle in (dip + half, dip - half)
    ]


def _limbs(body: Body) -> list[tuple[FloatArray, FloatArray, tuple[FloatArray, Faces] | None]]:
    """Return the two limbs of a folded bed."""
    turn = np.radians(body.strike_deg)
    along = 0.5 * body.length_m * np.array([np.sin(turn), np.cos(turn), 0.0])
    across = np.array([np.cos(turn), -np.sin(turn), 0.0])
    parts: list[tuple[FloatArray, FloatArray, tuple[FloatArray, Faces] | None]] = []
    half = 0.5 * body.opening_deg
    angles = (body.dip_deg + half, body.dip_deg - half)
    for section, angle in zip(_limb_sections(body), angles, strict=True):
        # seen from the end that the strike points to, distance runs to the left: the left
        # limb's corners, inner hinge first, run clockwise there and the right limb's the other way
        ring = section if angle < body.dip_deg else section[::-1]
        flat = ring[:, :1] * across - ring[:, 1:] * np.array([0.0, 0.0, 1.0])
        corners = np.vstack([flat + along, flat - along])
        down = body.depth_extent_m / np.sin(np.radians(angle))
        factors = demagnetisation_factors([body.length_m, body.width_m, down])
        parts.append((factors, _axes(body.strike_deg, angle), (corners, _lids(4))))
    return parts
