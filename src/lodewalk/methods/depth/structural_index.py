"""The structural index: which end member a body is near, or that it lies between them."""

from collections.abc import Mapping, Sequence

import numpy as np

from lodewalk.errors import InputError
from lodewalk.methods.depth.curves import noise_covariance, profile_problem
from lodewalk.methods.depth.window_fit import Window, WindowFit, best_window_fit
from lodewalk.methods.inversion.results import NINETY, Estimate, Noise, Profile

#: Index of each kind (Reid et al. 1990, from memory); a dyke lies between 0 and 1.
INDEX = {"contact": 0.0, "step": 0.0, "thin sheet": 1.0, "cylinder": 2.0, "sphere": 3.0}
#: Half widths in depths under which a dyke stands for a sheet, and over which each of its edges is
#: a contact of its own.
THIN, WIDE = 0.55, 1.75
#: A dyke surely of half widths over this, in depths, is no sheet, however well its width is told.
SURELY_WIDE = 0.2
#: Probability from which a kind is told.
TOLD = 0.5


def structural_index(
    profile: Profile, *, noise: Noise | None = None, about_m: float = 0.0
) -> Estimate:
    """Return the structural index of the body under a profile.

    Parameters
    ----------
    profile : Profile
        Readings across the strike; of a sphere, above its middle.
    noise : Noise, optional
        Their errors; by default each reading's own.
    about_m : float
        Where the body is looked for [m].

    Returns
    -------
    Estimate
        0 contact (or an edge of a wide dyke), 1 thin sheet, 2 horizontal cylinder, 3 sphere. Not
        `resolved` where the body lies between end members, or the data don't tell: the interval
        then holds those that remain.

    Raises
    ------
    InputError
        For a profile that holds no anomaly.

    Notes
    -----
    Each kind is fitted, and the evidence tells; an index from Euler's equation alone would be
    drawn down by noise.

    Examples
    --------
    >>> x = np.linspace(-50.0, 50.0, 81)
    >>> found = structural_index(Profile(x, 5e3 / (x**2 + 25.0)))
    >>> found.value, found.resolved
    (1.0, True)
    """
    covariance = noise_covariance(profile, noise or Noise())
    problem = profile_problem(profile, covariance)
    if problem:
        raise InputError(problem)
    window = Window(profile, covariance, about_m=about_m)
    kinds = ("contact", "thin sheet", "dyke", "cylinder", "sphere")
    fits = [best_window_fit(window, kind) for kind in kinds]
    logs = np.array([fit.log_evidence for fit in fits])
    shares = np.exp(logs - logs.max())
    shares /= shares.sum()
    return told_index(fits, dict(zip(kinds, shares.tolist(), strict=True)))


def told_index(fits: Sequence[WindowFit], weights: Mapping[str, float]) -> Estimate:
    """Return the index that fits of several kinds tell.

    Parameters
    ----------
    fits : sequence of WindowFit
        One of each kind.
    weights : mapping of str to float
        Probability of each kind.

    Returns
    -------
    Estimate
        As for `structural_index`.
    """
    low, high = 0.0, 1.0
    ends_of = {name: (value, value) for name, value in INDEX.items()}
    dykes = [fit for fit in fits if "half_width" in _shape_of(fit)]
    if dykes:
        low, high = _dyke_index(dykes[0])
        if low < 1.0:
            # a sheet isn't told while the data leave room for a width
            ends_of["thin sheet"] = (0.0, 1.0)
    shares: dict[tuple[float, float], float] = {}
    for name, weight in weights.items():
        ends = ends_of.get(name, (low, high))
        shares[ends] = shares.get(ends, 0.0) + weight
    best = max(shares, key=lambda ends: shares[ends])
    if best[0] == best[1] and shares[best] >= TOLD:
        return Estimate(best[0], 0.0, best[0], best[0])
    remain = [ends for ends, weight in shares.items() if weight >= 0.05]
    first, last = min(ends[0] for ends in remain), max(ends[1] for ends in remain)
    if first == last:
        return Estimate(first, 0.5, first, last, resolved=False)
    return Estimate(0.5 * (first + last), (last - first) / np.sqrt(12), first, last, resolved=False)


def _shape_of(fit: WindowFit) -> str:
    """Return the word for a kind with a width."""
    return "half_width" if fit.kind in ("dyke", "finite dyke") else ""


def _dyke_index(fit: WindowFit) -> tuple[float, float]:
    """Return the least and the greatest index of a dyke of the fitted width."""
    square, depth = fit.shape[2] / fit.shape[1] ** 2, fit.shape[1]
    reach = NINETY * float(np.sqrt(fit.covariance[2, 2])) / depth**2
    least, most = np.sqrt(np.maximum([square - reach, square + reach], 0.0))
    if most < THIN and least < SURELY_WIDE:
        return 1.0, 1.0
    if least > WIDE:
        return 0.0, 0.0
    return 0.0, 1.0
