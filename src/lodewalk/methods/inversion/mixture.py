"""The posterior of one body as a mixture of normal pieces, and estimates from it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from lodewalk.methods.inversion.constraints import Constraint
from lodewalk.methods.inversion.results import Estimate
from lodewalk.validation import FloatArray

#: Prior of half the width (of the height of a step) over the depth: log-uniform between these.
EXTENTS = {"strip": (0.025, 5.0), "step": (0.1, 10.0)}
#: Where a normal piece is split, in its standard deviations.
SPLIT = np.linspace(-4.0, 4.0, 33)


@dataclass(frozen=True)
class Posterior:
    """The posterior of one family as a mixture of normal pieces, one a node of the grid.

    Parameters
    ----------
    family : str
        ``strip``, ``contact``, ``cylinder`` or ``step``.
    extent : array, shape (k,)
        Extent over depth at each node; 1 where the family has none.
    log_weight : array, shape (k,)
        Logarithm of the likelihood's integral over place and log depth at each node, times the
        node's share of the logarithm of the extent.
    share, middle : array, shape (k,)
        The node's share of the logarithm of the extent and the middle of it; 1 and 0 where the
        family has none.
    mean, variance : array, shape (k, 5)
        Of place [m], log depth, index angle [deg], log strength and log strength over depth.
    misfit : array, shape (k,)
        Least misfit at each node.
    best : array, shape (k, 2)
        Place [m] and log depth of the least misfit.
    """

    family: str
    extent: FloatArray
    log_weight: FloatArray
    share: FloatArray
    middle: FloatArray
    mean: FloatArray
    variance: FloatArray
    misfit: FloatArray
    best: FloatArray

    def between(self, low: float, high: float) -> "Posterior":
        """Return the part whose extents over depth lie between two nodes, both included."""
        kept = (self.extent > low * (1.0 - 1e-9)) & (self.extent < high * (1.0 + 1e-9))
        share, middle = shares_of(np.log(self.extent[kept]))
        log_weight = self.log_weight[kept] + np.log(share / self.share[kept])
        return Posterior(self.family, self.extent[kept], log_weight, share, middle, self.mean[kept],
                         self.variance[kept], self.misfit[kept], self.best[kept])  # fmt: skip

    def cut(self, constraints: Sequence[Constraint]) -> "Posterior":
        """Return the posterior with ranges of place, depth and half width taken in.

        Each piece is split into narrow ones that get what the range gives them; measured values
        are in the pieces already.
        """
        found = self
        columns = {"position_m": 0, "depth_m": 1, "half_width_m": 1}
        for item in constraints:
            if item.name not in columns or item.low == item.high:
                continue
            if item.name == "half_width_m" and self.family != "strip":
                continue
            found = _split(found, columns[item.name], item)
        return found

    @property
    def log_integral(self) -> float:
        """Logarithm of the likelihood's integral over place, log depth and log extent."""
        top = self.log_weight.max()
        return float(top + np.log(np.exp(self.log_weight - top).sum()))

    @property
    def weight(self) -> FloatArray:
        """Weights of the nodes, which add up to 1."""
        weight = np.exp(self.log_weight - self.log_weight.max()) + 1e-300
        return np.asarray(weight / weight.sum())

    def pieces(self, name: str) -> tuple[FloatArray, FloatArray, bool]:
        """Return means and variances of a quantity at the nodes, and whether it is a logarithm."""
        mean, variance = self.mean, self.variance
        log_extent = self.middle
        plain = {"position_m": 0, "index_angle_deg": 2}
        if name in plain:
            return mean[:, plain[name]], variance[:, plain[name]], False
        depth, strength, ratio = 1, 3, 4
        within = self.share**2 / 12.0 if self.family in EXTENTS else 0.0
        if name == "depth_m":
            return mean[:, depth], variance[:, depth], True
        if name in ("half_width_m", "thickness_m"):
            return mean[:, depth] + log_extent, variance[:, depth] + within, True
        if name.startswith("strength") or self.family in ("contact", "cylinder"):
            return mean[:, strength], variance[:, strength], True
        whole = log_extent + (np.log(2.0) if self.family == "strip" else 0.0)
        return mean[:, ratio] - whole, variance[:, ratio] + within, True


def joined(parts: Sequence[tuple[float, Posterior]], least: Sequence[float]) -> Posterior:
    """Return posteriors of one family as one, each with its weight; the heaviest tells the best.

    Parameters
    ----------
    parts : sequence of (float, Posterior)
        Weights and posteriors.
    least : sequence of float
        Misfit that each one's misfits are counted from.

    Returns
    -------
    Posterior
        All their nodes.
    """
    heaviest = max(parts, key=lambda part: part[0])[1]
    logs = [np.log(max(weight, 1e-300)) + np.log(post.weight) for weight, post in parts]
    misfits = [
        post.misfit - low + (0.0 if post is heaviest else 1e-6)
        for (_, post), low in zip(parts, least, strict=True)
    ]
    posts = [post for _, post in parts]
    return Posterior(
        heaviest.family,
        np.concatenate([post.extent for post in posts]),
        np.concatenate(logs),
        np.concatenate([post.share for post in posts]),
        np.concatenate([post.middle for post in posts]),
        np.concatenate([post.mean for post in posts]),
        np.concatenate([post.variance for post in posts]),
        np.concatenate(misfits),
        np.concatenate([post.best for post in posts]),
    )


def mixed(parts: Sequence[tuple[float, Posterior]], name: str) -> Estimate:
    """Return a quantity's estimate over posteriors, each with its probability.

    Parameters
    ----------
    parts : sequence of (float, Posterior)
        Posteriors and their probabilities.
    name : str
        Such as ``depth_m``.

    Returns
    -------
    Estimate
        Median, standard deviation and the ends that leave one in twenty on each side.
    """
    pieces = [(chance * post.weight, *post.pieces(name)) for chance, post in parts]
    weight, mean, variance = (np.concatenate([piece[k] for piece in pieces]) for k in range(3))
    logarithm = pieces[0][3]
    low, value, high = quantiles(weight, mean, np.sqrt(variance), (0.05, 0.5, 0.95))
    if not logarithm:
        centre = weight @ mean
        sd = np.sqrt(weight @ (variance + (mean - centre) ** 2))
        return Estimate(float(value), float(sd), float(low), float(high))
    low, value, high = np.exp([low, value, high])
    centre = weight @ np.exp(mean + variance / 2.0)
    square = weight @ np.exp(2.0 * mean + 2.0 * variance) - centre**2
    # a long tail must not make the sd wider than the interval
    sd = min(np.sqrt(max(square, 0.0)), high - low)
    return Estimate(float(value), float(sd), float(low), float(high))


def _split(post: Posterior, column: int, item: Constraint) -> Posterior:
    """Return a posterior split along place or log depth, weighted by a range."""
    count, parts = post.extent.size, SPLIT.size
    sd = np.sqrt(post.variance[:, column])
    rows = np.repeat(np.arange(count), parts)
    shift = (sd[:, None] * SPLIT).ravel()
    step = SPLIT[1] - SPLIT[0]
    mean, variance, best = post.mean[rows], post.variance[rows], post.best[rows]
    # log strength goes along with log depth; their covariance from that of the difference
    whole = variance[:, column].copy()
    if column == 1:
        tied = 0.5 * (variance[:, 3] + variance[:, 1] - variance[:, 4])
        for other, slope in ((3, tied / whole), (4, tied / whole - 1.0)):
            mean[:, other] += slope * shift
            variance[:, other] = np.maximum(variance[:, other] - slope**2 * whole, 1e-12)
    mean[:, column] += shift
    best[:, column] = mean[:, column]
    variance[:, column] = (step * sd[rows]) ** 2 / 12.0 + 1e-18
    value = mean[:, column] if column == 0 else np.exp(mean[:, column])
    if item.name == "half_width_m":
        value = value * post.extent[rows]
    outside = (np.minimum(value - item.low, 0.0) + np.maximum(value - item.high, 0.0)) / item.sd
    density = -0.5 * (shift / sd[rows]) ** 2 + np.log(step) - 0.5 * np.log(2.0 * np.pi)
    log_weight = post.log_weight[rows] + density - 0.5 * outside**2
    kept = log_weight > log_weight.max() - 16.0
    return Posterior(
        post.family, post.extent[rows][kept], log_weight[kept], post.share[rows][kept],
        post.middle[rows][kept], mean[kept], variance[kept], -2.0 * log_weight[kept], best[kept],
    )  # fmt: skip


def quantiles(
    weight: FloatArray, mean: FloatArray, sd: FloatArray, wanted: Sequence[float]
) -> FloatArray:
    """Return quantiles of a mixture of normal pieces."""
    weight = weight / weight.sum()
    order = np.argsort(-weight)
    # what the lightest pieces hold together is far less than an end of the interval
    kept = order[: int(np.searchsorted(np.cumsum(weight[order]), 0.9998)) + 1]
    weight, mean, sd = weight[kept] / weight[kept].sum(), mean[kept], np.maximum(sd[kept], 1e-12)
    heavy = weight > 1e-3 * weight.max()
    low, high = (mean - 4.5 * sd)[heavy].min(), (mean + 4.5 * sd)[heavy].max()
    for _ in range(2):
        grid = np.linspace(low, high, 100)
        chance = ndtr((grid[:, None] - mean) / sd) @ weight
        begin = max(int(np.searchsorted(chance, min(wanted))) - 2, 0)
        end = min(int(np.searchsorted(chance, max(wanted))) + 2, grid.size - 1)
        low, high = grid[begin], grid[end]
    return np.interp(wanted, chance, grid)


def shares_of(places: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the share of each node in the logarithm of the extent, and the middle of it."""
    if places.size == 1:
        return np.ones(1), np.zeros(1)
    gap = np.diff(places)
    after, before = np.append(gap, 0.0), np.append(0.0, gap)
    return np.asarray(0.5 * (after + before)), np.asarray(places + 0.25 * (after - before))
