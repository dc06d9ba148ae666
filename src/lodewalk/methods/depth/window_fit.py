"""One body and its neighbours in the window of a profile, fitted together for the body's depth."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular

from lodewalk.methods.depth._scan import curves_of, scan_of, sheets_of
from lodewalk.methods.depth._window_kernel import CODES, linearised, searched
from lodewalk.methods.inversion.models import kind_of
from lodewalk.methods.inversion.results import NINETY, Estimate, Profile
from lodewalk.validation import FloatArray

#: Most neighbours that are looked for.
MOST_NEIGHBOURS = 3
#: Places nearer than this to the body, in its depths, are its own.
OWN_REACH = 2.0
#: Error of a picked place in depths of the body, one standard deviation (common practice).
PICKED = 0.75
#: Fall of the squares for which a neighbour is taken in, and stays.
WORTH = 12.0
#: Neighbours lie about as deep as the body: standard deviation of the logarithm of the ratio. An
#: assumption of one cover over all.
ALIKE = 0.5
#: Depths of neighbours that are tried, in depths of the body.
NEIGHBOUR_DEPTHS = (0.5, 1.0, 2.0)
#: Fall of the squares still promised under which a search counts as ended.
ENDED = 0.02
#: A finite dyke reaches down this many depths of its top, or more.
THICK = 1.3
#: First shapes of other depths that are tried, apart by this much in the logarithm.
STARTS, APART = 3, 0.45
#: Best fits of which needless neighbours are taken out.
PRUNED = 2
#: Squares over those of the best within which another minimum remains possible: one in a hundred.
RIVAL = 9.2


@dataclass(frozen=True)
class WindowFit:
    """A body with neighbours fitted to a profile.

    Parameters
    ----------
    kind : str
        Kind of the body; neighbours are thin sheets.
    shape : array, shape (q + 2 k,)
        Shape of the body as in `shape_curves`, then place and depth of each neighbour.
    covariance : array, shape (q + 2 k, q + 2 k)
        Covariance of the shape; infinite where it isn't told.
    cost : float
        Sum of the squared whitened residuals.
    freedom : int
        Readings less free parameters.
    log_evidence : float
        Logarithm of the evidence by Schwarz's approximation, up to a constant of the profile.
    converged : bool
        Whether the search ended at a minimum.
    likened_m : float
        Depth that those of the neighbours were likened to [m].
    """

    kind: str
    shape: FloatArray
    covariance: FloatArray
    cost: float
    freedom: int
    log_evidence: float
    converged: bool
    likened_m: float = 1.0

    @property
    def neighbours(self) -> int:
        """How many neighbours were fitted."""
        return (self.shape.size - len(kind_of(self.kind).shape)) // 2

    @property
    def depth_sd_m(self) -> float:
        """Standard deviation of the depth by the linear covariance [m]."""
        return float(np.sqrt(self.covariance[1, 1]))


class Window:
    """A profile with its errors whitened, ready for fits."""

    def __init__(self, profile: Profile, covariance: FloatArray, *, about_m: float = 0.0) -> None:
        self.profile = profile
        self.about = about_m
        #: Depth that neighbours are likened to; set from the body's first shape.
        self.depth = 1.0
        #: Sheets that are tried as neighbours, place and depth, and their curves whitened.
        self.sheets = np.zeros((0, 2)), np.zeros((0, 2, len(covariance)))
        #: What the scans for first shapes rest on, by kind.
        self.scans: dict[str, tuple[FloatArray, NDArray[np.int_], FloatArray]] = {}
        self.factor = np.asarray(np.linalg.cholesky(covariance), dtype=np.float64)
        # errors of one kind all along: the inverse is as good as solving, and much quicker
        inverse = solve_triangular(self.factor, np.eye(len(covariance)), lower=True)
        self.lower = np.ascontiguousarray(inverse)
        middle = profile.distance_m - profile.distance_m.mean()
        self.length = float(np.ptp(middle))
        least = float(-profile.rise_m.min()) + 1e-3 * self.length
        around = [self.length, float(profile.distance_m.mean()), about_m, least]
        self.limits = np.array([*around, OWN_REACH, THICK])
        trend = np.stack([np.ones(middle.size), middle / (0.5 * self.length)])
        self.trend = np.ascontiguousarray(self.whitened(trend))
        self.data = np.ascontiguousarray(self.whitened(profile.anomaly_nT))

    def likened(self, depth_m: float) -> None:
        """Liken neighbours to a depth, and lay out the sheets that are tried as such."""
        if depth_m == self.depth:
            return
        self.depth = depth_m
        ends = self.profile.distance_m[[0, -1]] + 0.1 * self.length * np.array([-1.0, 1.0])
        places = np.arange(ends[0], ends[1], 0.5 * depth_m)
        depths = depth_m * np.array(NEIGHBOUR_DEPTHS)
        shapes = np.stack(np.meshgrid(places, depths), axis=-1).reshape(-1, 2)
        self.sheets = (shapes, self.whitened(sheets_of(self.profile, shapes)))

    def whitened(self, rows: FloatArray) -> FloatArray:
        """Return rows over the readings with the errors made independent and equal."""
        return np.asarray(rows @ self.lower.T)

    def linearised(self, kind: str, shape: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return residuals, slopes of the model without its linear part, and its basis."""
        return linearised(*self.given(kind), shape)  # type: ignore[call-arg]

    def given(self, kind: str) -> tuple[Any, ...]:
        """Return what the kernel takes of a kind and the profile."""
        own = kind_of(kind)
        profile = self.profile
        liken = np.array([self.depth, ALIKE])
        numbers = (CODES[kind], own.parts, len(own.shape))
        readings = (profile.distance_m, profile.rise_m, self.lower, self.trend, self.data)
        return (*numbers, *readings, liken)


def fit_window(
    window: Window, kind: str, start: FloatArray, *, fixed_depth: bool = False
) -> WindowFit:
    """Return the fit of a body and its neighbours from one start.

    Parameters
    ----------
    window : Window
        The profile.
    kind : str
        Kind of the body; a dip in its shape stays as it is.
    start : array, shape (q + 2 k,)
        First guess of the shape.
    fixed_depth : bool
        Whether the body's depth stays as it is.

    Returns
    -------
    WindowFit
        The minimum of the whitened squares by Levenberg and Marquardt's way, with strength, index
        angle, level and slope solved for at each step [1]_.

    References
    ----------
    .. [1] Golub, G. H., and Pereyra, V. (1973), The differentiation of pseudo-inverses and
       nonlinear least squares problems whose variables separate, SIAM Journal on Numerical
       Analysis, 10(2), 413-432, doi:10.1137/0710036 (from memory); the slopes are those of
       Kaufman's simplification.
    """
    shape = np.array(start, dtype=float)
    free = free_of(kind, shape)
    free[1] = not fixed_depth
    shape, slopes, cost, promised = searched(  # type: ignore[call-arg]
        *window.given(kind), window.limits, free, shape
    )
    converged = promised < ENDED + 1e-5 * cost
    return _finished(window, kind, shape, slopes, cost, converged=converged)


def free_of(kind: str, shape: FloatArray) -> NDArray[np.bool_]:
    """Return which parameters of a shape are free: all but a dip."""
    names = kind_of(kind).shape
    free = np.ones(shape.size, dtype=bool)
    free[: len(names)] = [name != "dip_deg" for name in names]
    return free


def _finished(
    window: Window,
    kind: str,
    shape: FloatArray,
    slopes: FloatArray,
    cost: float,
    *,
    converged: bool,
) -> WindowFit:
    """Return a fit with its covariance and evidence."""
    count = window.data.size
    parts = kind_of(kind).parts + 2 * ((shape.size - len(kind_of(kind).shape)) // 2) + 2
    free = free_of(kind, shape)
    own = slopes[free]
    size = np.sqrt(np.maximum((own**2).sum(axis=1), 1e-300))
    inverse = np.full((shape.size, shape.size), np.inf)
    try:
        inside = np.linalg.inv(own @ own.T / np.outer(size, size)) / np.outer(size, size)
    except np.linalg.LinAlgError:
        inside = np.full((size.size, size.size), -np.inf)
    if (np.diag(inside) > 0.0).all():
        inverse[np.ix_(free, free)] = inside
    else:
        converged = False
    number = int(free.sum()) + parts
    evidence = -0.5 * (cost + number * np.log(count))
    return WindowFit(
        kind, shape, inverse, cost, count - number, float(evidence), converged, window.depth
    )


def with_neighbours(
    window: Window, kind: str, start: FloatArray, *, alone: WindowFit, held: bool = True
) -> list[WindowFit]:
    """Return the fit alone, then with the neighbours that the data ask for, one after the other.

    Parameters
    ----------
    window, kind, start : Window, str, array
        As for `fit_window`, without neighbours.
    alone : WindowFit
        The fit from that start without neighbours.
    held : bool
        Whether the first neighbour is looked for with the body still as it starts, so that the
        body isn't drawn towards it; otherwise beside the body that was fitted alone.

    Returns
    -------
    list of WindowFit
        The fit alone first.
    """
    fits = [alone]
    for number in range(MOST_NEIGHBOURS):
        first = held and not number
        place = _neighbour(window, _finished_at(window, kind, start) if first else fits[-1])
        if place is None:
            break
        more = fit_window(window, kind, np.append(start if first else fits[-1].shape, place))
        if not fits[-1].cost - more.cost > WORTH:
            break
        fits.append(more)
    return fits


def _pruned(window: Window, fit: WindowFit) -> WindowFit:
    """Return a fit without the neighbours that it hardly needs, the least needed first."""
    own = len(kind_of(fit.kind).shape)
    while fit.neighbours:
        places = [own + 2 * number for number in range(fit.neighbours)]
        less = [
            fit_window(window, fit.kind, np.delete(fit.shape, [place, place + 1]))
            for place in places
        ]
        least = min(less, key=lambda one: one.cost)
        if least.cost - fit.cost > WORTH:
            break
        fit = least
    return fit


def _finished_at(window: Window, kind: str, shape: FloatArray) -> WindowFit:
    """Return a shape as it stands, with its cost."""
    left, slopes, _ = window.linearised(kind, shape)
    return _finished(window, kind, shape, slopes, float(left @ left), converged=False)


def _neighbour(window: Window, fit: WindowFit) -> tuple[float, float] | None:
    """Return place and depth of the thin sheet that would take most of what is left."""
    left, slopes, basis = window.linearised(fit.kind, fit.shape)
    count = window.data.size
    left, slopes = left[:count], slopes[free_of(fit.kind, fit.shape), :count]
    known = np.linalg.qr(np.concatenate([basis, slopes]).T)[0]
    left = left - known @ (known.T @ left)
    middle, reach = fit.shape[0], OWN_REACH * fit.shape[1]
    if "half_width_m" in kind_of(fit.kind).shape:
        reach += np.sqrt(max(fit.shape[2], 0.0))
    shapes, white = window.sheets
    apart = np.abs(shapes[:, 0] - middle) > reach
    if not apart.any():
        return None
    shapes, white = shapes[apart], white[apart]
    white = white - (white @ known) @ known.T
    pull = white @ left
    square = np.einsum("skn,skn->sk", white, white) * (1.0 + 1e-9) + 1e-300
    cross = np.einsum("sn,sn->s", white[:, 0], white[:, 1])
    gain = square[:, 1] * pull[:, 0] ** 2 + square[:, 0] * pull[:, 1] ** 2
    gain -= 2.0 * cross * pull[:, 0] * pull[:, 1]
    gain /= square[:, 0] * square[:, 1] - cross**2
    best = int(gain.argmax())
    if gain[best] < WORTH:
        return None
    return float(shapes[best, 0]), float(shapes[best, 1])


def first_shapes(
    window: Window, kind: str, *, kept: int = STARTS, anomaly_nT: FloatArray | None = None
) -> list[FloatArray]:
    """Return the best shapes of a scan over place, depth and width near the pick.

    Only the inner half of the window is looked at, so that neighbours at its edges count little.
    """
    if kind not in window.scans:
        window.scans[kind] = scan_of(
            window.profile, kind, about_m=window.about, factor=window.factor
        )
    tried, rows, over = window.scans[kind]
    anomaly = window.profile.anomaly_nT if anomaly_nT is None else anomaly_nT
    gain = ((over @ anomaly[rows]) ** 2).sum(axis=1)
    best = tried[np.argsort(-gain, kind="stable")]
    found = [best[0]]
    for _ in range(kept - 1):
        apart = np.abs(np.log(best[:, 1, None] / [one[1] for one in found])).min(axis=1) > APART
        found += list(best[apart][:1])
    return found


def best_window_fit(window: Window, kind: str) -> WindowFit:
    """Return the best fit of a kind with its neighbours from the starts that the data give.

    Examples
    --------
    >>> x = np.linspace(-50.0, 50.0, 41)
    >>> window = Window(Profile(x, 500.0 * 5.0 / (x**2 + 25.0)), np.eye(41))
    >>> round(float(best_window_fit(window, "thin sheet").shape[1]), 2)
    5.0
    """
    return window_fits(window, kind)[0]


def window_fits(window: Window, kind: str) -> list[WindowFit]:
    """Return the fits of a kind that the data hardly tell apart, the best first.

    Parameters
    ----------
    window : Window
        The profile.
    kind : str
        Kind of the body.

    Returns
    -------
    list of WindowFit
        The likeliest minimum, and those of other depths that are within `RIVAL` of it: of
        one depth the best counts, of several the evidence, in which a neighbour costs more.
    """
    starts = first_shapes(window, kind)
    window.likened(float(starts[0][1]))
    alone = [fit_window(window, kind, start) for start in starts]
    fits = with_neighbours(window, kind, starts[0], alone=alone[0], held=False)
    for start, fit in zip(starts, alone, strict=True):
        fits += with_neighbours(window, kind, start, alone=fit)
    best = _best_first(window, fits)[0]
    if best.neighbours:
        # the first shape once more, with the neighbours' anomaly taken off
        left = window.profile.anomaly_nT - neighbours_field(window, best)
        beside = best.shape[len(kind_of(kind).shape) :]
        again = first_shapes(window, kind, anomaly_nT=left)
        fits += [fit_window(window, kind, np.append(one, beside)) for one in again]
    crowded = [fit for fit in _best_first(window, fits)[:PRUNED] if fit.neighbours > 1]
    fits += [_pruned(window, fit) for fit in crowded]
    return _apart(_best_first(window, fits))


def _best_first(window: Window, fits: list[WindowFit]) -> list[WindowFit]:
    """Return fits in order, those that came to rest first."""
    return sorted(fits, key=lambda fit: (not fit.converged, _badness(window, fit)))


def _apart(fits: list[WindowFit]) -> list[WindowFit]:
    """Return the first of fits and its rivals at other depths, the likeliest first."""
    kept: list[WindowFit] = []
    for fit in fits:
        told = fit.converged and np.isfinite(fit.depth_sd_m)
        if not kept or (told and all(_other(fit, one) for one in kept)):
            kept.append(fit)
    if not kept[0].converged:
        return kept[:1]
    kept.sort(key=lambda fit: -fit.log_evidence)
    size = max(kept[0].cost / kept[0].freedom, 1.0)
    return [fit for fit in kept if kept[0].log_evidence - fit.log_evidence < 0.5 * RIVAL * size]


def _other(one: WindowFit, other: WindowFit) -> bool:
    """Return whether two minima are at depths apart by more than their errors."""
    away = abs(float(one.shape[1] - other.shape[1]))
    return away > max(one.depth_sd_m, other.depth_sd_m)


def neighbours_field(window: Window, fit: WindowFit) -> FloatArray:
    """Return the anomaly of the neighbours of a fit [nT]."""
    curves, weights = weighed(window, fit)
    beside = kind_of(fit.kind).parts
    return np.asarray(weights[beside:] @ curves[beside:])


def weighed(window: Window, fit: WindowFit) -> tuple[FloatArray, FloatArray]:
    """Return the curves of body and neighbours, and their weights."""
    profile, own = window.profile, len(kind_of(fit.kind).shape)
    body = curves_of(fit.kind, profile.distance_m, profile.rise_m, fit.shape[None, :own])[0]
    curves = np.concatenate([body, *sheets_of(profile, fit.shape[own:].reshape(-1, 2))])
    design = np.concatenate([window.whitened(curves), window.trend]).T
    return curves, np.linalg.lstsq(design, window.data)[0][: len(curves)]


def _badness(window: Window, fit: WindowFit) -> float:
    """Return the squares of a fit with what its neighbours cost, and the place that was picked."""
    return fit.cost + WORTH * fit.neighbours + 2.0 * _off(window, fit)


def _off(window: Window, fit: WindowFit) -> float:
    """Return what a fit loses for lying off the place that was picked."""
    return 0.5 * float((fit.shape[0] - window.about) / (PICKED * fit.shape[1])) ** 2


def depth_interval(window: Window, fit: WindowFit, *, scale: float = 1.0) -> Estimate:
    """Return the depth with its 90 % interval by the profile likelihood.

    Parameters
    ----------
    window : Window
        The profile.
    fit : WindowFit
        The minimum.
    scale : float
        Factor of all errors.

    Returns
    -------
    Estimate
        With the ends where the squares, at their least over all else, have risen by 2.7 times the
        square of `scale`; infinite or the sensor's own height where they never do.
    """
    window.depth = fit.likened_m
    sd = fit.depth_sd_m * scale
    if not np.isfinite(sd):
        return Estimate(float(fit.shape[1]), np.inf, 0.0, np.inf, resolved=False)
    low = _end(window, fit, -1.0, NINETY * scale)
    high = _end(window, fit, 1.0, NINETY * scale)
    told = bool(np.isfinite(low) and np.isfinite(high))
    return Estimate(float(fit.shape[1]), sd, max(low, 0.0), high, resolved=told)


def _end(window: Window, fit: WindowFit, side: float, wanted: float) -> float:
    """Return where the root of the squares' rise comes to a value, by secants in log depth."""
    depth = float(fit.shape[1])
    spread = fit.depth_sd_m / depth
    step = min(wanted * spread, 1.0)
    nearer = (0.0, 0.0)
    at, shape = side * step, fit.shape
    for _ in range(4):
        trial = shape.copy()
        trial[1] = depth * np.exp(at)
        found = fit_window(window, fit.kind, trial, fixed_depth=True)
        root = float(np.sqrt(max(found.cost - fit.cost, 0.0)))
        if abs(root - wanted) < 0.03 * wanted:
            break
        slope = (root - nearer[1]) / (abs(at) - nearer[0]) if abs(at) != nearer[0] else 0.0
        if not slope > 0.0:
            return np.inf if side > 0 else 0.0
        nearer, shape = (abs(at), root), found.shape
        at = side * float(np.clip(abs(at) + (wanted - root) / slope, 0.1 * step, abs(at) + 2.0))
        if at > 4.0:
            return np.inf
    return float(depth * np.exp(at))


def scaled(estimate: Estimate, factor: float) -> Estimate:
    """Return an estimate with its error and interval wider by a factor, in logarithms.

    Examples
    --------
    >>> scaled(Estimate(10.0, 1.0, 5.0, 20.0), 2.0)
    Estimate(value=10.0, sd=2.0, low=2.5, high=40.0, resolved=True)
    """
    value = estimate.value
    low = value * (max(estimate.low, 0.0) / value) ** factor
    high = value * (estimate.high / value) ** factor
    return replace(estimate, sd=estimate.sd * factor, low=float(low), high=float(high))
