"""What one profile says of a body at each width that it might have.

Profiles of one dyke share its width, which single ones often leave open. What they say of it is
multiplied width by width; so each keeps its likelihood on a grid of widths, common to all.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from lodewalk.methods.inversion.mixture import EXTENTS, Posterior, shares_of
from lodewalk.validation import FloatArray

#: The half widths that all profiles are asked about [m], even in their logarithm.
HALF_WIDTHS_M = np.geomspace(0.01, 2000.0, 246)
#: Nodes of a refined posterior lie no farther apart in the logarithm of the extent over depth.
FINE = 0.05
#: How far a body narrower than any that was tried is taken to be like the narrowest, in the
#: logarithm of its extent: to the narrowest of `HALF_WIDTHS_M` and beyond.
THINNER = 20.0
#: What is kept beside the likelihood: their columns in the posterior.
KEPT = {"log_depth": 1, "index_angle_deg": 2, "log_strength": 3}


@dataclass(frozen=True)
class ByWidth:
    """Likelihood of one profile at each half width, and what it says of the body there.

    Parameters
    ----------
    log_likelihood : array, shape (w,)
        Its logarithm at `HALF_WIDTHS_M`, place, depth and amplitude integrated out; one number for
        an edge, which has no width. Strip and edge of one profile have one reference.
    mean, sd : mapping of str to array, shape (w,)
        Of ``log_depth`` (of metres below the sensor's reference height), ``index_angle_deg`` and
        ``log_strength`` given the width.
    """

    log_likelihood: FloatArray
    mean: Mapping[str, FloatArray]
    sd: Mapping[str, FloatArray]

    def at(self, half_width_m: float | None = None) -> dict[str, tuple[float, float]]:
        """Return what is said at the width nearest to one, or at the likeliest: value and sd."""
        row = int(np.argmax(self.log_likelihood))
        if half_width_m is not None:
            row = int(np.argmin(np.abs(np.log(HALF_WIDTHS_M / half_width_m))))
        row = min(row, self.log_likelihood.size - 1)
        found = {n: (float(self.mean[n][row]), float(self.sd[n][row])) for n in self.mean}
        return {**found, "half_width_m": (float(HALF_WIDTHS_M[row]), 0.0)}


def refined(post: Posterior) -> Posterior:
    """Return a posterior with nodes so close that one piece stands for a width.

    Density, means and variances go straight from node to node of the logarithm of the extent.

    Parameters
    ----------
    post : Posterior
        That of a strip at one noise, its nodes in order.

    Returns
    -------
    Posterior
        The same at more nodes.

    Examples
    --------
    >>> five = np.ones((2, 5))
    >>> post = Posterior("strip", np.array([0.1, 0.2]), np.zeros(2), np.full(2, 0.35),
    ...     np.zeros(2), five, five, np.zeros(2), np.ones((2, 2)))
    >>> refined(post).extent.size
    15
    """
    at = np.log(post.extent)
    steps = np.maximum(np.ceil(np.diff(at) / FINE).astype(int), 1)
    spans = zip(at[:-1], at[1:], steps, strict=True)
    places = np.concatenate([*(np.linspace(a, b, n + 1)[:-1] for a, b, n in spans), at[-1:]])
    share, middle = shares_of(places)
    own = np.interp(places, at, post.log_weight - np.log(post.share))
    mean = post.mean.copy()
    mean[:, 2] = np.unwrap(mean[:, 2], period=360.0)
    columns = range(mean.shape[1])
    mean = np.stack([np.interp(places, at, mean[:, k]) for k in columns], axis=1)
    variance = np.stack([np.interp(places, at, post.variance[:, k]) for k in columns], axis=1)
    best = np.stack([np.interp(places, at, post.best[:, k]) for k in range(2)], axis=1)
    return Posterior(
        post.family, np.exp(places), own + np.log(share), share, middle, mean, variance,
        np.interp(places, at, post.misfit), best,
    )  # fmt: skip


def by_width(parts: Sequence[tuple[float, Posterior]]) -> ByWidth:
    """Return what a profile says of a strip, or of an edge, at each width.

    Parameters
    ----------
    parts : sequence of (float, Posterior)
        Integrals of the likelihood over place, log depth and log extent, and the posteriors that
        they belong to: of one family, each with an even prior of log depth and log extent.

    Returns
    -------
    ByWidth

    Notes
    -----
    A piece is even in the logarithm of the extent over depth and normal in log depth. At one width
    log depth is that logarithm's difference from the width's, so that the piece leaves a normal
    one cut off at both ends, whose integral, mean and variance are closed forms [1]_.

    References
    ----------
    .. [1] Johnson, N. L., Kotz, S. and Balakrishnan, N. (1994), Continuous univariate
       distributions, volume 1, 2nd ed., Wiley, section 13.10 (from memory).

    Examples
    --------
    A contact has no width:

    >>> five = np.ones((1, 5))
    >>> post = Posterior("contact", np.ones(1), np.zeros(1), np.ones(1), np.zeros(1), five,
    ...     0.01 * five, np.zeros(1), np.ones((1, 2)))
    >>> found = by_width([(1.0, post)])
    >>> found.log_likelihood.tolist(), round(float(found.sd["log_depth"][0]), 3)
    ([0.0], 0.1)
    """
    total, post = zip(*parts, strict=True)
    weight = np.concatenate([whole * one.weight for whole, one in zip(total, post, strict=True)])
    mean, variance = (
        np.concatenate([getattr(one, name) for one in post])[:, list(KEPT.values())]
        for name in ("mean", "variance")
    )
    turn = mean[np.argmax(weight), 1]
    mean[:, 1] -= 360.0 * np.round((mean[:, 1] - turn) / 360.0)
    if post[0].family == "strip":
        share, middle = (
            np.concatenate([getattr(one, name) for one in post]) for name in ("share", "middle")
        )
        thinnest = np.concatenate([one.extent for one in post]) < EXTENTS["strip"][0] * (1 + 1e-6)
        more = np.where(thinnest, THINNER, 0.0)
        weight, share, middle = weight * (share + more) / share, share + more, middle - 0.5 * more
        weight, depth, spread = _at_widths(weight, share, middle, mean[:, 0], variance[:, 0])
    else:
        weight = weight[None]
        depth, spread = mean[None, :, 0], variance[None, :, 0]
    return _gathered(weight, depth, spread, mean, variance)


def _at_widths(
    weight: FloatArray,
    share: FloatArray,
    middle: FloatArray,
    mean: FloatArray,
    variance: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return weight, mean and variance of log depth of each piece (columns) at each width."""
    sd = np.sqrt(np.maximum(variance, 1e-12))
    away = np.log(HALF_WIDTHS_M)[:, None] - middle - mean
    low, high = (away - 0.5 * share) / sd, (away + 0.5 * share) / sd
    # both ends on the lower side, where small chances keep their digits
    turned = low > 0.0
    first, last = np.where(turned, -high, low), np.where(turned, -low, high)
    chance = ndtr(last) - ndtr(first)
    density = [np.exp(-0.5 * end**2) / np.sqrt(2.0 * np.pi) for end in (low, high)]
    safe = np.maximum(chance, 1e-300)
    shift = (density[0] - density[1]) / safe
    ends = (
        np.where(np.isfinite(end), end, 0.0) * own
        for end, own in zip((low, high), density, strict=True)
    )
    left, right = ends
    narrowed = np.clip(1.0 + (left - right) / safe - shift**2, 0.0, 1.0)
    return weight / share * chance, mean + sd * shift, sd**2 * narrowed


def _gathered(
    weight: FloatArray,
    depth: FloatArray,
    spread: FloatArray,
    mean: FloatArray,
    variance: FloatArray,
) -> ByWidth:
    """Return the pieces at each width (rows) as one likelihood, with means and sd."""
    total = weight.sum(axis=1)
    part = weight / np.maximum(total, 1e-300)[:, None]
    part[total <= 0.0] = 1.0 / weight.shape[1]
    means, sds = {}, {}
    for k, name in enumerate(KEPT):
        value, own = (depth, spread) if k == 0 else (mean[None, :, k], variance[None, :, k])
        middle = (part * value).sum(axis=1)
        square = (part * (own + (value - middle[:, None]) ** 2)).sum(axis=1)
        means[name], sds[name] = middle, np.sqrt(np.maximum(square, 1e-12))
    return ByWidth(np.log(np.maximum(total, 1e-300)), means, sds)
