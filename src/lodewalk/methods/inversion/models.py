"""Bodies under a profile: their curves, and how these change with each parameter.

Every long body is one complex function of ``z = x + i h``, with distance ``x`` from the body and
depth ``h`` below the sensor: its real part is the curve of index angle 0, its imaginary part that
of index angle 90. Strength and index angle mix the two, so the curves stand linear in the
fit and only place, depth and width are
searched.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lodewalk.errors import InputError
from lodewalk.validation import FloatArray, check_positive

ComplexArray = NDArray[np.complex128]

#: Below this share of the square of a distance, a width is taken in by a series.
_NARROW = 1e-3
_HALF_TURN = 180.0


@dataclass(frozen=True)
class Kind:
    """A kind of body: the parameters of its shape, and the name of its strength.

    `shape` holds the names in the order of `shape_curves`, `size` that of the amplitude of its
    curves, `parts` how many curves are mixed.
    """

    shape: tuple[str, ...]
    size: str
    parts: int = 2


#: Every kind that can be fitted.
KINDS = {
    "thin sheet": Kind(("position_m", "depth_m"), "strength_nT_m"),
    "dyke": Kind(("position_m", "depth_m", "half_width_m"), "strength_nT_m"),
    "finite dyke": Kind(
        ("position_m", "depth_m", "half_width_m", "bottom_depth_m", "dip_deg"), "strength_nT_m"
    ),
    "contact": Kind(("position_m", "depth_m"), "amplitude_nT"),
    "step": Kind(("position_m", "depth_m", "bottom_depth_m", "dip_deg"), "amplitude_nT"),
    "cylinder": Kind(("position_m", "depth_m"), "strength_nT_m2"),
    "sphere": Kind(("position_m", "depth_m"), "strength_nT_m3", 3),
}
#: The third curve of a sphere.
RADIAL = "radial_nT_m3"


@dataclass(frozen=True)
class Ambient:
    """The ambient field over a profile, where the difference of magnitudes is fitted exactly.

    `strength_nT` and `inclination_deg` of the field, and the profile's azimuth from magnetic north.
    """

    strength_nT: float
    inclination_deg: float
    profile_azimuth_deg: float

    def __post_init__(self) -> None:
        check_positive(self.strength_nT, name="Strength of the ambient field")
        if not self.share > 1e-6:
            raise InputError(
                "The field must not lie along the strike of a long body.",
                value=self.profile_azimuth_deg,
            )

    @property
    def share(self) -> float:
        """Square of the share of the field that lies in the section across the strike."""
        inclination, azimuth = np.radians([self.inclination_deg, self.profile_azimuth_deg])
        return float(np.sin(inclination) ** 2 + (np.cos(inclination) * np.cos(azimuth)) ** 2)


def kind_of(name: str) -> Kind:
    """Return a kind by its name.

    Raises
    ------
    InputError
        For a name that isn't one, with those that are.

    Examples
    --------
    >>> kind_of("dyke").shape
    ('position_m', 'depth_m', 'half_width_m')
    """
    if name not in KINDS:
        raise InputError(
            "No such kind of body.", value=name, remedy=f"There are {', '.join(KINDS)}."
        )
    return KINDS[name]


def body_curve(
    kind: str,
    distance_m: ArrayLike,
    parameters: Mapping[str, float],
    *,
    rise_m: ArrayLike = 0.0,
    ambient: Ambient | None = None,
) -> tuple[FloatArray, dict[str, FloatArray]]:
    """Return the anomaly of a body along a profile and its derivatives.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    distance_m : array, shape (n,)
        Distance along the profile [m].
    parameters : mapping of str to float
        The parameters of the kind's shape, its size, ``index_angle_deg``, and ``radial_nT_m3`` of
        a sphere. The size of dykes is ``strength_nT_m``, amplitude times width.
    rise_m : array, optional
        Height of the sensor above the height from which the depths are told [m].
    ambient : Ambient, optional
        The ambient field, where the exact difference of magnitudes is wanted; long bodies only.
        By default the anomaly is the projection on the ambient field.

    Returns
    -------
    anomaly : array, shape (n,)
        Anomaly [nT].
    derivatives : dict of str to array
        Its derivative with respect to every parameter, by name [nT for each of its units].

    Raises
    ------
    InputError
        For an unknown kind, a missing parameter, a depth, width or thickness not above zero, or an
        ambient field with a sphere.

    Notes
    -----
    With ``F`` the kind's function, strength ``A`` and index angle ``Q`` the projected anomaly is
    ``T = A (cos(Q) Re F + sin(Q) Im F)``: `dyke` ``i log((z + b) / (z - b)) / (2 b)``, thin sheet
    ``i / z``, contact ``pi + i log(z / h)``, cylinder ``-1 / z**2``; step and finite dyke are a top
    less a bottom, shifted along the dip. These are the formulas of [1]_ as in
    `lodewalk.methods.bodies`. The field across the strike has magnitude ``A |F| / sqrt(c)``, ``c``
    the square of the share of the ambient field ``H`` in the section, so the exact difference is
    ``sqrt(H**2 + 2 H T + A**2 |F|**2 / c) - H``. A sphere straight below the profile is a dipole
    of any direction: ``A [cos(Q) 1.5 (h**2 - x**2) + sin(Q) 3 x h] / r**5 + P / (2 r**3)``.

    References
    ----------
    .. [1] Gay, S. P. (1963), Standard curves for interpretation of magnetic anomalies over long
       tabular bodies, Geophysics, 28(2), 161-200, doi:10.1190/1.1439164.

    Examples
    --------
    >>> sheet = {"position_m": 0.0, "depth_m": 10.0, "strength_nT_m": 100.0, "index_angle_deg": 0.0}
    >>> anomaly, derivatives = body_curve("thin sheet", [0.0], sheet)
    >>> float(anomaly[0]), round(float(derivatives["depth_m"][0]), 9)
    (10.0, -1.0)
    """
    own = kind_of(kind)
    needed = (*own.shape, own.size, "index_angle_deg", *((RADIAL,) if own.parts == 3 else ()))
    values = _checked(parameters, needed, kind)
    shape = [values[name] ** (2 if name == "half_width_m" else 1) for name in own.shape]
    distance = np.atleast_1d(np.asarray(distance_m, dtype=float))
    rise = np.broadcast_to(np.asarray(rise_m, dtype=float), distance.shape)
    columns, slopes = shape_curves(kind, distance, rise, shape)
    turn, size = np.radians(values["index_angle_deg"]), values[own.size]
    weights = np.array([size * np.cos(turn), size * np.sin(turn)])
    by_size, by_angle = np.array([np.cos(turn), np.sin(turn)]), np.array([-weights[1], weights[0]])
    mixed = np.append(weights, values[RADIAL]) if own.parts == 3 else weights
    found = {name: mixed @ slope for name, slope in zip(own.shape, slopes, strict=True)}
    if "half_width_m" in found:
        found["half_width_m"] = found["half_width_m"] * 2.0 * values["half_width_m"]
    found[own.size] = by_size @ columns[:2]
    found["index_angle_deg"] = by_angle @ columns[:2] * (np.pi / _HALF_TURN)
    if own.parts == 3:
        found[RADIAL] = columns[2]
    anomaly = mixed @ columns
    if ambient is None:
        return anomaly, found
    if own.parts == 3:
        raise InputError("The exact difference is fitted for long bodies only.", value=kind)
    bent = {
        n: 2.0 * size**2 * (columns * s).sum(axis=0) for n, s in zip(own.shape, slopes, strict=True)
    }
    if "half_width_m" in bent:
        bent["half_width_m"] = bent["half_width_m"] * 2.0 * values["half_width_m"]
    square = (columns**2).sum(axis=0)
    bent[own.size] = 2.0 * size * square
    return _exact(anomaly, found, size**2 * square, bent, ambient)


def _exact(
    anomaly: FloatArray,
    slopes: dict[str, FloatArray],
    square: FloatArray,
    bent: dict[str, FloatArray],
    ambient: Ambient,
) -> tuple[FloatArray, dict[str, FloatArray]]:
    """Return the difference of magnitudes and its derivatives from the projection and its own.

    `square` is that of the field across the strike times the ambient field's share, `bent` its
    derivatives.
    """
    strength, share = ambient.strength_nT, ambient.share
    whole = np.sqrt(strength**2 + 2.0 * strength * anomaly + square / share)
    exact = (2.0 * strength * anomaly + square / share) / (whole + strength)
    return exact, {
        name: (strength * slope + 0.5 * bent.get(name, 0.0) / share) / whole
        for name, slope in slopes.items()
    }


def shape_curves(
    kind: str,
    distance_m: FloatArray,
    rise_m: FloatArray,
    shape: ArrayLike,
    *,
    slopes: bool = True,
) -> tuple[FloatArray, FloatArray]:
    """Return the curves that strength and index angle mix, and their slopes.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    distance_m, rise_m : array, shape (n,)
        Distance along the profile and height above the reference height [m].
    shape : array, shape (q,) or (..., q)
        The parameters of the kind's shape in order, the half width squared; below zero the square
        goes on smoothly, which no dyke does, but lets a fit look past the thin sheet.
    slopes : bool
        Whether the slopes are wanted.

    Returns
    -------
    columns : array, shape (..., k, n)
        The curves, for a strength of 1.
    slopes : array, shape (..., q, k, n)
        Their derivatives with respect to the shape (square of the half width, degrees of dip);
        empty where not wanted.

    Examples
    --------
    >>> columns, _ = shape_curves("cylinder", np.array([0.0]), np.zeros(1), [0.0, 10.0])
    >>> float(columns[0, 0])
    0.01
    """
    values = np.asarray(shape, dtype=float)
    parts = [values[..., i, None] for i in range(values.shape[-1])]
    if kind == "sphere":
        return _sphere(distance_m - parts[0], parts[1] + rise_m, slopes)
    place = distance_m - parts[0] + 1j * (parts[1] + rise_m)
    value, changes = _LONG[kind](place, parts)
    columns = np.stack([value.real, value.imag], axis=-2)
    if not slopes:
        return columns, np.zeros(0)
    return columns, np.stack([np.stack([c.real, c.imag], axis=-2) for c in changes], axis=-3)


def _sheet(
    place: ComplexArray, _parts: list[FloatArray]
) -> tuple[ComplexArray, list[ComplexArray]]:
    """Return the function of a thin sheet and its derivatives."""
    value = 1j / place
    change = -value / place
    return value, [-change, 1j * change]


def _cylinder(
    place: ComplexArray, _parts: list[FloatArray]
) -> tuple[ComplexArray, list[ComplexArray]]:
    """Return the function of a line of dipoles and its derivatives."""
    value = -1.0 / place**2
    change = -2.0 * value / place
    return value, [-change, 1j * change]


def _contact(
    place: ComplexArray, parts: list[FloatArray]
) -> tuple[ComplexArray, list[ComplexArray]]:
    """Return the function of a contact and its derivatives."""
    change = 1j / place
    return np.pi + 1j * np.log(place / parts[1]), [-change, 1j * change - 1j / parts[1]]


def _step(place: ComplexArray, parts: list[FloatArray]) -> tuple[ComplexArray, list[ComplexArray]]:
    """Return the function of a step and its derivatives."""
    below, moves = _bottom(place, *parts[1:])
    top, bottom = 1j / place, 1j / below
    value = 1j * (np.log(place) - np.log(below))
    return value, _top_less_bottom(top, bottom, moves)


def _dyke(place: ComplexArray, parts: list[FloatArray]) -> tuple[ComplexArray, list[ComplexArray]]:
    """Return the function of a dyke and its derivatives."""
    value, change, widening = _strip(place, parts[2])
    return value, [-change, 1j * change, widening]


def _finite_dyke(
    place: ComplexArray, parts: list[FloatArray]
) -> tuple[ComplexArray, list[ComplexArray]]:
    """Return the function of a dyke with a bottom and its derivatives."""
    below, moves = _bottom(place, parts[1], *parts[3:])
    value, top, widening = _strip(place, parts[2])
    under, bottom, widening_under = _strip(below, parts[2])
    found = _top_less_bottom(top, bottom, moves)
    return value - under, [*found[:2], widening - widening_under, *found[2:]]


_LONG = {
    "thin sheet": _sheet,
    "dyke": _dyke,
    "finite dyke": _finite_dyke,
    "contact": _contact,
    "step": _step,
    "cylinder": _cylinder,
}


def _strip(
    place: ComplexArray, square: FloatArray
) -> tuple[ComplexArray, ComplexArray, ComplexArray]:
    """Return the function of a level strip of unit strength, its change with place and width."""
    over = square / place**2
    half = np.sqrt(square + 0j) + (square == 0.0)
    series = 1.0 + over * (1 / 3 + over * (1 / 5 + over * (1 / 7 + over / 9)))
    narrow = np.abs(over) < _NARROW
    with np.errstate(divide="ignore", invalid="ignore"):
        whole = 1j * np.log((place + half) / (place - half)) / (2.0 * half)
        change = -1j / (place**2 - square)
        value = np.where(narrow, 1j / place * series, whole)
        rising = 1 / 3 + over * (2 / 5 + over * (3 / 7 + over * (4 / 9 + over * 5 / 11)))
        widening = np.where(
            narrow,
            1j / place**3 * rising,
            (-change * place - value) / (2.0 * (square + (square == 0.0))),
        )
    return value, change, widening


def _bottom(
    place: ComplexArray, depth: FloatArray, bottom: FloatArray, dip: FloatArray
) -> tuple[ComplexArray, list[FloatArray | complex]]:
    """Return the place seen from a bottom, and how it moves with the parts of the shape."""
    turn = np.radians(dip)
    slant = 1.0 / np.tan(turn)
    below = place + (bottom - depth) * (1j - slant)
    moves = [-1.0, slant, 1j - slant, (bottom - depth) / np.sin(turn) ** 2 * (np.pi / _HALF_TURN)]
    return below, moves


def _top_less_bottom(
    top: ComplexArray, bottom: ComplexArray, moves: list[FloatArray | complex]
) -> list[ComplexArray]:
    """Return the derivatives of a top less a bottom: place, depth, depth of the bottom, dip."""
    return [
        -top - bottom * moves[0],
        1j * top - bottom * moves[1],
        -bottom * moves[2],
        -bottom * moves[3],
    ]


def _sphere(x: FloatArray, h: FloatArray, slopes: bool) -> tuple[FloatArray, FloatArray]:
    """Return the three curves of a dipole and their derivatives."""
    x, h = np.broadcast_arrays(x, h)
    square = x**2 + h**2
    fifth = square**-2.5
    even, odd, radial = 1.5 * (h**2 - x**2) * fifth, 3.0 * x * h * fifth, 0.5 * square**-1.5
    columns = np.stack([even, odd, radial], axis=-2)
    if not slopes:
        return columns, np.zeros(0)
    third = -3.0 * radial / square
    by_x = [-3.0 * x * fifth - 5.0 * x / square * even, 3.0 * h * fifth - 5.0 * x / square * odd]
    by_h = [3.0 * h * fifth - 5.0 * h / square * even, 3.0 * x * fifth - 5.0 * h / square * odd]
    moved = np.stack([-by_x[0], -by_x[1], -third * x], axis=-2)
    deeper = np.stack([*by_h, third * h], axis=-2)
    return columns, np.stack([moved, deeper], axis=-3)


def _checked(
    parameters: Mapping[str, float], needed: tuple[str, ...], kind: str
) -> dict[str, float]:
    """Return the parameters of a body as numbers that make one."""
    missing = [name for name in needed if name not in parameters]
    if missing:
        raise InputError(f"A {kind} needs {', '.join(needed)}.", value=missing)
    values = {name: float(parameters[name]) for name in needed}
    for name in ("depth_m", "half_width_m"):
        if name in values:
            check_positive(values[name], name=name)
    if not values.get("bottom_depth_m", np.inf) > values["depth_m"]:
        raise InputError(
            "The bottom of a body must lie below its top.", value=values["bottom_depth_m"]
        )
    if not 0.0 < values.get("dip_deg", 90.0) < _HALF_TURN:
        raise InputError("Dip must be above 0 and below 180 degrees.", value=values["dip_deg"])
    return values
