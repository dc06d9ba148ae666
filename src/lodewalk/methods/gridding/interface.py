"""From readings to a grid: the one way in, whichever engine does the work."""

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.checks.spans import BoolArray
from lodewalk.methods.gridding.along_strike import AlongStrike, carried_values, joined
from lodewalk.methods.gridding.block_means import BlockMeans, block_means
from lodewalk.methods.gridding.ground import Region, within_reach
from lodewalk.methods.gridding.minimum_curvature import minimum_curvature
from lodewalk.methods.gridding.triangulation import interpolate_cubic, interpolate_linear
from lodewalk.validation import FloatArray, check_positive, check_same_length

#: Largest grid, in nodes; 25 million are 200 MB.
MAX_NODES: Final = 25_000_000


class Options(NamedTuple):
    """What the engines may be told; lengths in grid spacings.

    Parameters
    ----------
    tension : float
        Tension of minimum curvature, 0 to 1.
    damping : float
        Damping of minimum curvature [squares of the grid spacing].
    tension_length : float
        Length over which bending and stretching are compared [grid spacings].
    carried : BlockMeans, optional
        Values carried along the strike, for the engine that grids them too.
    """

    tension: float = 0.0
    damping: float = 1e-3
    tension_length: float = 1.0
    carried: BlockMeans | None = None


#: An engine gets block means, their weights relative to a usual reading's, and the nodes that are
#: wanted (bool, shape of the grid, row by row from the south), all in grid spacings from the
#: south-west node, and gives the values there in the order of the wanted nodes; NaN where it
#: knows none.
Engine = Callable[[BlockMeans, BoolArray, Options], FloatArray]


def _curvature(blocks: BlockMeans, wanted: BoolArray, options: Options) -> FloatArray:
    """Return the surface of minimum curvature."""
    return minimum_curvature(
        blocks,
        wanted,
        tension=options.tension,
        damping=options.damping,
        tension_length=options.tension_length,
    )


def _along_strike(blocks: BlockMeans, wanted: BoolArray, options: Options) -> FloatArray:
    """Return the surface of minimum curvature near readings and carried values."""
    both = blocks if options.carried is None else joined(blocks, options.carried)
    return _curvature(both, wanted, options)


def _cubic(blocks: BlockMeans, wanted: BoolArray, options: Options) -> FloatArray:
    """Return the smooth surface on triangles."""
    del options
    return interpolate_cubic(blocks, wanted)


def _linear(blocks: BlockMeans, wanted: BoolArray, options: Options) -> FloatArray:
    """Return planes on triangles."""
    del options
    return interpolate_linear(blocks, wanted)


#: The engine that is told the lines.
ALONG_STRIKE: Final = "minimum curvature along strike"
#: The engines by name.
ENGINES: Final[Mapping[str, Engine]] = MappingProxyType(
    {
        "minimum curvature": _curvature,
        "cubic": _cubic,
        "linear": _linear,
        ALONG_STRIKE: _along_strike,
    }
)


def grid_readings(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    value: ArrayLike,
    *,
    sd: ArrayLike | None = None,
    west_m: float,
    south_m: float,
    spacing_m: float,
    shape: tuple[int, int],
    reach_m: float,
    method: str = "cubic",
    tension: float = 0.0,
    damping_m2: float | None = None,
    tension_length_m: float | None = None,
    along_strike: AlongStrike | None = None,
) -> FloatArray:
    """Grid readings at scattered places.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        Positions [m].
    value : array, shape (n,)
        Readings, in any unit; one without a position, value or sd (NaN) is left out.
    sd : array, shape (n,), optional
        Standard deviation of each reading, above zero, in the unit of `value`; readings of one
        block weigh 1/sd**2 (default: all the same).
    west_m, south_m : float
        Easting and northing of the south-west node [m].
    spacing_m : float
        Distance between nodes, both ways [m].
    shape : tuple = (north, east)
        Number of nodes.
    reach_m : float
        Nodes farther than this from every reading are NaN [m].
    method : str
        Name of an engine in `ENGINES`: "cubic" (default; smooth, on triangles), "linear",
        "minimum curvature", or "minimum curvature along strike", which joins the anomalies of
        neighbouring lines where their strike is plain.
    tension : float
        Tension of minimum curvature, 0 (default) to 1.
    damping_m2 : float, optional
        Damping of minimum curvature [m2] (default: a thousandth of the squared spacing, which
        goes through the readings).
    tension_length_m : float, optional
        Length over which its bending and stretching are compared [m] (default: the spacing).
    along_strike : AlongStrike, optional
        Lines, their spacing, and how much is carried along the strike; "minimum curvature along
        strike" needs it, the others leave it aside.

    Returns
    -------
    array, shape (n_north, n_east)
        Value at each node in the unit of `value`, the first row at the south; NaN beyond the
        reach, and with "cubic" and "linear" outside the outline (convex hull) of the block means.

    Raises
    ------
    InputError
        When lengths differ, a setting is out of range, the grid is too large, no reading is left,
        or the readings lie in fewer than three places or along one line.

    Notes
    -----
    1. Readings in one square of side `spacing_m` round a node become one: position and value are
       averaged alike, so that a plane stays a plane.
    2. The plane of least squares is taken off and put back afterwards, so a plane comes out
       exact to rounding, whatever the engine.
    3. The engine interpolates: `minimum_curvature`, with values of `carried_values` between the
       lines if told so; or "cubic", the piecewise cubic of Clough and
       Tocher with gradients of least curvature [1]_, or "linear", a plane on each triangle, both
       on a Delaunay triangulation. Triangles extrapolate nothing, so up to one row of nodes at
       the rim is NaN.

    The result doesn't depend on the order of the readings or the number of threads, to the bit.
    Features narrower than the line spacing are not recovered between lines, but for long ones whose
    strike neighbouring lines agree on, by "minimum curvature along strike".

    References
    ----------
    .. [1] Nielson, G. M. (1983), A method for interpolating scattered data based upon a minimum
       norm network, Mathematics of Computation 40, 253-271 (from memory),
       doi:10.1090/S0025-5718-1983-0679444-7.

    Examples
    --------
    >>> east, north = np.meshgrid([0.0, 10.0, 20.0], [0.0, 10.0, 20.0])
    >>> grid = grid_readings(east.ravel(), north.ravel(), (east + 2 * north).ravel(), west_m=5.0,
    ...                      south_m=5.0, spacing_m=10.0, shape=(2, 2), reach_m=15.0)
    >>> grid.round(9).tolist()
    [[15.0, 25.0], [35.0, 45.0]]
    """
    if method not in ENGINES:
        raise InputError(f"The method must be one of {', '.join(ENGINES)}.", value=method)
    prepared = prepare_readings(
        easting_m,
        northing_m,
        value,
        sd=sd,
        west_m=west_m,
        south_m=south_m,
        spacing_m=spacing_m,
        shape=shape,
        reach_m=reach_m,
    )
    options = Options(
        tension,
        1e-3 if damping_m2 is None else damping_m2 / spacing_m**2,
        1.0 if tension_length_m is None else tension_length_m / spacing_m,
    )
    if method == ALONG_STRIKE:
        if along_strike is None:
            raise InputError(
                "Gridding along strike needs to know the lines.",
                remedy="Give along_strike, with each reading's line and the line spacing.",
            )
        options = options._replace(carried=prepared.carried(along_strike))
    return prepared.surface(method, options)


class Prepared(NamedTuple):
    """Readings as engines are given them: in grid spacings, less their plane, of a size near 1.

    Parameters
    ----------
    column, row, value, weight : array, shape (n_used,)
        Place, value and weight of the readings that have all of them.
    used : bool array, shape (n,)
        Which those are.
    blocks : BlockMeans
        Their means.
    wanted : bool array, shape (n_north, n_east)
        Nodes within reach.
    plane : tuple = (slope east, slope north, height)
        What was taken off.
    scale : float
        What values were divided by.
    spacing_m : float
        Distance between nodes [m].
    """

    column: FloatArray
    row: FloatArray
    value: FloatArray
    weight: FloatArray
    used: BoolArray
    blocks: BlockMeans
    wanted: BoolArray
    plane: tuple[float, float, float]
    scale: float
    spacing_m: float

    def carried(self, told: AlongStrike) -> BlockMeans:
        """Return the values that are carried along the strike."""
        line = np.atleast_1d(np.asarray(told.line, dtype=np.int64))
        check_same_length(value=self.used, line=line)
        return carried_values(
            self.column,
            self.row,
            self.value,
            weight=self.weight,
            line=line[self.used],
            wanted=self.wanted,
            line_spacing=told.line_spacing_m / self.spacing_m,
            strength=told.strength,
            longest=None if told.longest_m is None else told.longest_m / self.spacing_m,
        )

    def surface(self, method: str, options: Options) -> FloatArray:
        """Return what an engine makes of the readings, plane and size put back; NaN elsewhere."""
        values = np.full(self.wanted.shape, np.nan)
        rows, columns = (axis.astype(np.float64) for axis in np.nonzero(self.wanted))
        found = ENGINES[method](self.blocks, self.wanted, options) * self.scale
        values[self.wanted] = found
        values[self.wanted] += _on_plane(self.plane, columns, rows)
        return values


def prepare_readings(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    value: ArrayLike,
    *,
    sd: ArrayLike | None = None,
    west_m: float,
    south_m: float,
    spacing_m: float,
    shape: tuple[int, int],
    reach_m: float,
) -> Prepared:
    """Make readings ready for any engine, once for several surfaces of them.

    Parameters
    ----------
    easting_m, northing_m, value, sd, west_m, south_m, spacing_m, shape, reach_m
        As in `grid_readings`.

    Returns
    -------
    Prepared

    Raises
    ------
    InputError
        As `grid_readings`.

    Examples
    --------
    >>> east, north = np.array([0.0, 10, 0, 10]), np.array([0.0, 0, 10, 10])
    >>> ready = prepare_readings(east, north, 3 + east, west_m=0.0, south_m=0.0, spacing_m=5.0,
    ...                          shape=(3, 3), reach_m=20.0)
    >>> ready.surface("minimum curvature", Options()).round(6)[0].tolist()
    [3.0, 8.0, 13.0]
    """
    check_positive(reach_m, name="reach_m")
    check_positive(spacing_m, name="spacing_m")
    _check_size(shape, spacing_m)
    readings, used = _usable(easting_m, northing_m, value, sd)
    column, row = (readings[0] - west_m) / spacing_m, (readings[1] - south_m) / spacing_m
    weight = float(np.median(readings[3])) ** 2 / readings[3] ** 2
    blocks = block_means(column, row, readings[2], weight=weight)
    _check_spread(blocks)
    wanted = within_reach(column, row, shape, reach=reach_m / spacing_m)
    plane = _plane(blocks)
    rest = blocks.value - _on_plane(plane, blocks.column, blocks.row)
    # Engines stop their iterations at a tolerance, so the size of values must not matter to them.
    scale = float(np.abs(rest).max()) or 1.0
    level = (readings[2] - _on_plane(plane, column, row)) / scale
    blocks = blocks._replace(value=rest / scale)
    return Prepared(
        column, row, level, weight, used, blocks, wanted, plane, scale, float(spacing_m)
    )


def region_for(
    easting_m: ArrayLike, northing_m: ArrayLike, *, spacing_m: float, reach_m: float
) -> Region:
    """Return the grid that holds all readings and their reach.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        Positions [m]; NaN where there is none.
    spacing_m : float
        Distance between nodes [m].
    reach_m : float
        Margin round the readings [m].

    Returns
    -------
    Region
        Nodes at multiples of `spacing_m`, so that grids of one spacing lie on each other.

    Raises
    ------
    InputError
        When the lengths differ, a setting is out of range, there is no position or the grid is
        too large.

    Examples
    --------
    >>> region_for([12.0, 48.0], [103.0, 117.0], spacing_m=5.0, reach_m=1.0)
    Region(west_m=10.0, south_m=100.0, shape=(5, 9))
    """
    check_same_length(easting_m=easting_m, northing_m=northing_m)
    check_positive(spacing_m, name="spacing_m")
    check_positive(reach_m, name="reach_m")
    east = np.atleast_1d(np.asarray(easting_m, dtype=np.float64))
    north = np.atleast_1d(np.asarray(northing_m, dtype=np.float64))
    known = np.isfinite(east + north)
    if not known.any():
        raise InputError("A grid needs readings that have a position.", value=east.size)
    first, count = [], []
    for place in (north[known], east[known]):
        low = int(np.floor((place.min() - reach_m) / spacing_m))
        first.append(low * spacing_m)
        count.append(int(np.ceil((place.max() + reach_m) / spacing_m)) - low + 1)
    shape = (count[0], count[1])
    _check_size(shape, spacing_m)
    return Region(first[1], first[0], shape)


def suggest_spacing(line_spacing_m: float) -> float:
    """Return a grid spacing that suits the line spacing.

    Parameters
    ----------
    line_spacing_m : float
        Distance between neighbouring lines [m].

    Returns
    -------
    float
        1, 2, 2.5 or 5 times a power of ten, whichever is nearest in ratio to a fifth of the line
        spacing (common practice: a third to a fifth) [m].

    Raises
    ------
    InputError
        When the line spacing isn't known or isn't above zero.

    Examples
    --------
    >>> suggest_spacing(25.0), suggest_spacing(20.0), suggest_spacing(10.0)
    (5.0, 5.0, 2.0)
    """
    if not (np.isfinite(line_spacing_m) and line_spacing_m > 0):
        raise InputError(
            "The line spacing must be above zero.",
            value=line_spacing_m,
            remedy="With fewer than two lines, give the grid spacing yourself.",
        )
    target = line_spacing_m / 5
    ten = int(np.floor(np.log10(target)))
    # Division keeps 0.1 the nearest number to a tenth; 1 * 10**-1 need not be.
    choices = [n * 10.0**ten if ten >= 0 else n / 10.0**-ten for n in (1, 2, 2.5, 5, 10)]
    return float(min(choices, key=lambda choice: abs(np.log(choice / target))))


def _check_size(shape: tuple[int, int], spacing: float) -> None:
    """Raise when a grid is empty or has too many nodes."""
    if min(shape) < 1:
        raise InputError("A grid needs at least one node each way.", value=shape)
    nodes = int(shape[0]) * int(shape[1])
    if nodes > MAX_NODES:
        fitting = spacing * np.sqrt(nodes / MAX_NODES) * 1.02
        raise InputError(
            f"A grid may have at most {MAX_NODES // 1_000_000} million nodes.",
            value=f"{shape[0]} x {shape[1]}",
            remedy=f"A spacing of {fitting:.3g} m would fit.",
        )


def _usable(
    easting: ArrayLike, northing: ArrayLike, value: ArrayLike, sd: ArrayLike | None
) -> tuple[list[FloatArray], BoolArray]:
    """Return position, value and sd of the readings that have all of them, and which those are."""
    if sd is None:
        sd = np.ones(np.atleast_1d(np.asarray(value)).size)
    check_same_length(easting_m=easting, northing_m=northing, value=value, sd=sd)
    columns = [
        np.atleast_1d(np.asarray(column, dtype=np.float64))
        for column in (easting, northing, value, sd)
    ]
    used = np.all(np.isfinite(columns), axis=0)
    if not used.any():
        raise InputError(
            "A grid needs readings that are kept and have a position and a value.",
            value=f"0 of {used.size}",
            remedy="See why readings were rejected or have no anomaly.",
        )
    columns = [column[used] for column in columns]
    check_positive(float(columns[3].min()), name="sd")
    return columns, used


def _check_spread(blocks: BlockMeans) -> None:
    """Raise when the readings don't span an area."""
    remedy = "Add a second line, or choose a smaller grid spacing."
    if blocks.value.size < 3:
        raise InputError(
            "A grid needs readings in at least three squares of the grid.",
            value=blocks.value.size,
            remedy=remedy,
        )
    column, row = blocks.column - blocks.column.mean(), blocks.row - blocks.row.mean()
    across = 0.5 * np.arctan2(2 * np.sum(column * row), np.sum(column**2) - np.sum(row**2))
    width = np.ptp(row * np.cos(across) - column * np.sin(across))
    if width < 0.5:
        raise InputError(
            "A grid can't be made of readings along one line.",
            value=f"a strip {width:.2g} of a grid spacing wide",
            remedy=remedy,
        )


def _plane(blocks: BlockMeans) -> tuple[float, float, float]:
    """Return slopes and height at the origin of the plane of least squares.

    Sums by numpy alone: a matrix product may add up in another order with more threads.
    """
    column0, row0, value0 = (float(np.mean(a)) for a in blocks[:3])
    column, row, value = blocks.column - column0, blocks.row - row0, blocks.value - value0
    normal = [
        [np.sum(column * column), np.sum(column * row)],
        [np.sum(column * row), np.sum(row * row)],
    ]
    east, north = np.linalg.solve(normal, [np.sum(column * value), np.sum(row * value)])
    return float(east), float(north), float(value0 - east * column0 - north * row0)


def _on_plane(plane: tuple[float, float, float], column: FloatArray, row: FloatArray) -> FloatArray:
    """Return the height of a plane."""
    return plane[0] * column + plane[1] * row + plane[2]
