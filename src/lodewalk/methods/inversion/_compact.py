"""The problem of least squares behind `fit_compact`: starts, residuals, slopes."""

from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from scipy.linalg import solve_triangular
from scipy.optimize import least_squares

from lodewalk.methods.bodies.anomaly import VectorField, anomaly_slopes, exact_anomaly
from lodewalk.methods.bodies.dipole import dipole_slopes
from lodewalk.methods.bodies.multipole import shaped_dipole_field, shaped_dipole_slopes
from lodewalk.methods.bodies.prisms import prisms_field
from lodewalk.validation import FloatArray

#: Standard deviation of each part of a body's shape, in squares of its depth: free to be long, and
#: compact.
SHAPE_SD, COMPACT_SD = 0.05, 0.02
#: Starts: places a side of the window, depths as shares of half the window.
STARTS, DEPTHS = 6, (0.1, 0.18, 0.32, 0.55, 0.9)
#: Half sides of the blocks that stand for all compact bodies, in depths; azimuths of their sides.
HALF_SIDES, AZIMUTHS = (0.25, 0.35, 0.5), (0.0, 45.0)
#: Readings that the starts look at, at the most.
LOOK = 200


@dataclass(frozen=True)
class Window:
    """Readings with their noise as the root of its covariance, and the ambient field."""

    points: FloatArray  # easting, northing, height, one column a reading
    anomaly: FloatArray
    ambient: FloatArray
    root: FloatArray  # lower triangle
    line: FloatArray | None = None  # number of the line that each reading lies on
    place_sd: FloatArray | None = None  # error of each reading's place on one axis

    @property
    def middle(self) -> FloatArray:
        """Middle of the readings: easting, northing, height."""
        return np.asarray(np.median(self.points, axis=1))

    @property
    def reach(self) -> float:
        """Half the window's side [m]."""
        return float(0.5 * np.ptp(self.points[:2], axis=1).min())

    def whitened(self, columns: FloatArray) -> FloatArray:
        """Return columns with independent errors of one."""
        return np.asarray(solve_triangular(self.root, columns, lower=True, check_finite=False))

    def trend(self) -> FloatArray:
        """Return level and two slopes, one column each, of the order of one."""
        offset = (self.points[:2] - self.middle[:2, None]) / self.reach
        return np.column_stack([np.ones(offset.shape[1]), offset[0], offset[1]])


@dataclass(frozen=True)
class Solution:
    """Parameters east, north, ln depth, moment (3), level, slopes, shape (5), scaled."""

    values: FloatArray
    covariance: FloatArray
    cost: float
    depth_scale: float
    converged: bool


def noise_root(
    points: FloatArray,
    *,
    sd: FloatArray,
    correlated: float,
    length: float,
    shared: FloatArray | None = None,
) -> FloatArray:
    """Return the root of the covariance of the readings' errors; `shared` is by column."""
    if correlated <= 0.0 and shared is None:
        return np.diag(sd)
    known = np.diag(sd**2)
    if correlated > 0.0:
        apart = np.hypot(*(points[i][:, None] - points[i][None, :] for i in range(2)))
        known += correlated**2 * np.exp(-apart / length)
    if shared is not None:
        known += shared @ shared.T
    return np.asarray(np.linalg.cholesky(known))


def by_line(values: FloatArray, line: FloatArray) -> FloatArray:
    """Return values as one column a line, zero off it."""
    return np.where(line[:, None] == np.unique(line), values[:, None], 0.0)


def _misplaced(window: Window, parts: FloatArray) -> FloatArray:
    """Return the error of lines that lie aside: slopes with the body's place, one column each."""
    if window.line is None or window.place_sd is None or not window.place_sd.any():
        return np.zeros((window.anomaly.size, 0))
    aside = parts * window.place_sd
    return np.hstack([by_line(slope, window.line) for slope in aside])


def widened(window: Window, values: FloatArray) -> tuple[Window, Window]:
    """Return the window with what compact bodies have beyond a dipole as error besides.

    Beyond dipole and shape its covariance is the mean over blocks of all proportions, tops at half
    the centre's depth or lower, at the place and with the moment of a first fit. The first window
    is for fits with the shape free; the second has the shape of compact bodies as error too.
    """
    deep = float(np.exp(values[2]))
    centre = np.array([values[0], values[1], window.middle[2] - deep])
    columns = [
        _beyond(window, centre, values[3:6], deep * np.array(half), azimuth)
        for half in product(HALF_SIDES, repeat=3)
        for azimuth in AZIMUTHS
    ]
    share = np.column_stack(columns) / np.sqrt(len(columns))
    field, slopes = _body(window, np.append(values[:9], np.zeros(5)))
    parts = anomaly_slopes(field, slopes, ambient_nT=window.ambient, exact=True)
    shape = COMPACT_SD * deep**2 * parts[6:].T
    aside = _misplaced(window, parts[:2])
    known = window.root @ window.root.T + share @ share.T + aside @ aside.T
    free, compact = (np.linalg.cholesky(part) for part in (known, known + shape @ shape.T))
    return replace(window, root=free), replace(window, root=compact)


def _beyond(
    window: Window,
    centre: FloatArray,
    moment: FloatArray,
    half: FloatArray,
    azimuth_deg: float,
) -> FloatArray:
    """Return a block's anomaly less that of its dipole and shape."""
    turn = np.radians(azimuth_deg)
    turned = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    off = window.points - centre[:, None]
    places = (*(turned @ off[:2]), off[2])
    # moment towards north, east and down; the frame east, north
    own = np.array([*(turned @ moment[1::-1])[::-1], moment[2]])
    bounds = np.column_stack([-half, half]).ravel()
    mean = half**2 / 3.0 - (half**2).sum() / 9.0
    block = prisms_field(*places, bounds=[bounds], magnetisation=own / (8.0 * half.prod()))
    shape = [mean[1], mean[0], 0.0, 0.0, 0.0]
    plain = shaped_dipole_field(*places, centre=np.zeros(3), moment=own, shape_m2=shape)
    parts = [one - other for one, other in zip(block, plain, strict=True)]
    level = turned.T @ np.array([parts[1], parts[0]])
    unit = window.ambient / np.linalg.norm(window.ambient)
    return np.asarray(unit[0] * level[1] + unit[1] * level[0] + unit[2] * parts[2])


def starts(window: Window, *, count: int = 2) -> list[FloatArray]:
    """Return the best starts, each with linear moment, level and slopes: they come from the data.

    Each is east, north, ln depth, moment, level and two slopes; two starts are not the same place.
    """
    step = max(1, window.anomaly.size // LOOK)
    points, data = window.points[:, ::step], window.anomaly[::step]
    trend = window.trend()[::step]
    unit = window.ambient / np.linalg.norm(window.ambient)
    found = []
    for depth in DEPTHS:
        deep = depth * window.reach
        for i, j in np.ndindex(STARTS, STARTS):
            off = (np.array([i, j]) / (STARTS - 1) - 0.5) * 1.6 * window.reach
            place = window.middle + np.array([*off, -deep])
            if place[2] >= points[2].min():
                continue
            slopes = dipole_slopes(*points, centre=place, moment=np.zeros(3))[3:]
            columns = np.column_stack([np.einsum("kin,i->nk", slopes, unit), trend])
            size = np.linalg.norm(columns, axis=0)
            linear, *_ = np.linalg.lstsq(columns / size, data, rcond=None)
            rest = float(((data - columns / size @ linear) ** 2).sum())
            found.append((rest, np.array([place[0], place[1], np.log(deep), *linear / size])))
    found.sort(key=lambda item: item[0])
    best: list[FloatArray] = []
    for _, start in found:
        if all(np.hypot(*(start[:2] - other[:2])) > 0.2 * window.reach for other in best):
            best.append(start)
        if len(best) == count:
            break
    return best


def solve(
    window: Window, start: FloatArray, *, shape: bool, exact: bool, off: FloatArray | None = None
) -> Solution:
    """Fit one body from a start, its shape free under its prior or that of a sphere.

    `off` is taken off the readings: the anomaly of another body.
    """
    deep = float(np.exp(start[2]))
    free = 14 if shape else 9
    begin = np.zeros(free)
    begin[: start.size] = start[:free]
    # the moment in units that give the anomaly's size, places in depths
    size = max(float(np.linalg.norm(begin[3:6])), 1e-12)
    units = np.ones(free)
    units[:2], units[3:6], units[9:] = deep, size, deep**2
    units[6:9] = max(float(np.abs(window.anomaly).max()), 1e-9)
    data = window.anomaly if off is None else window.anomaly - off
    measured = window.whitened(np.column_stack([data, window.trend()]))
    keep: dict[bytes, tuple[FloatArray, FloatArray]] = {}

    def evaluate(scaled: FloatArray) -> tuple[FloatArray, FloatArray]:
        key = scaled.tobytes()
        if key not in keep:
            keep.clear()
            keep[key] = _evaluate(window, scaled * units, measured, exact=exact, deep=deep)
        return keep[key]

    done = least_squares(
        lambda p: evaluate(p)[0],
        begin / units,
        jac=lambda p: evaluate(p)[1] * units,
        method="lm",
        x_scale="jac",
        max_nfev=60,
    )
    slopes = evaluate(done.x)[1]
    covariance = _inverse(slopes)
    return Solution(done.x * units, covariance, 2.0 * float(done.cost), deep, done.status > 0)


def _evaluate(
    window: Window, values: FloatArray, measured: FloatArray, *, exact: bool, deep: float
) -> tuple[FloatArray, FloatArray]:
    """Return whitened residuals (model less data) and slopes, the prior of the shape below."""
    field, slopes = _body(window, values)
    parts = anomaly_slopes(field, slopes, ambient_nT=window.ambient, exact=exact)
    parts[2] *= -np.exp(np.clip(values[2], -50.0, 50.0))
    model = body_anomaly(window, field, exact=exact)
    white = window.whitened(np.column_stack([model, parts.T]))
    rest = white[:, 0] - measured[:, 0] + measured[:, 1:] @ values[6:9]
    count = values.size - 9
    jacobian = np.hstack([white[:, 1:7], measured[:, 1:], white[:, 7 : 7 + count]])
    if count:
        tight = 1.0 / (SHAPE_SD * deep**2)
        rest = np.append(rest, tight * values[9:])
        jacobian = np.vstack([jacobian, np.hstack([np.zeros((5, 9)), tight * np.eye(5)])])
    return rest, jacobian


def _body(window: Window, values: FloatArray) -> tuple[VectorField, FloatArray]:
    """Return a body's field and its slopes with respect to place, moment and shape."""
    deep = np.exp(np.clip(values[2], -50.0, 50.0))
    centre = np.array([values[0], values[1], window.middle[2] - deep])
    own = values[9:] if values.size > 9 else np.zeros(5)
    place = {"centre": centre, "moment": values[3:6], "shape_m2": own}
    field = shaped_dipole_field(*window.points, **place)
    return field, shaped_dipole_slopes(*window.points, **place)


def body_anomaly(window: Window, field: VectorField, *, exact: bool) -> FloatArray:
    """Return the anomaly of a field, exact or projected."""
    if exact:
        return exact_anomaly(field, ambient_nT=window.ambient)
    unit = window.ambient / np.linalg.norm(window.ambient)
    return np.asarray(sum(unit[i] * field[i] for i in range(3)))


def modelled(window: Window, values: FloatArray, *, exact: bool) -> FloatArray:
    """Return the anomaly of a solution's body without level and slopes."""
    return body_anomaly(window, _body(window, values)[0], exact=exact)


def _inverse(slopes: FloatArray) -> FloatArray:
    """Return the inverse of the normal matrix, by columns of the size of one."""
    size = np.linalg.norm(slopes, axis=0)
    size[size == 0.0] = 1.0
    normal = (slopes / size).T @ (slopes / size)
    return np.asarray(np.linalg.pinv(normal, hermitian=True) / np.outer(size, size))
