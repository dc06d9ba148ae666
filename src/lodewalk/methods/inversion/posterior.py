"""The posterior of one body under a profile, by quadrature.

The four linear parameters (the two parts of the amplitude, level and slope) are integrated out in
closed form, place and depth with Gauss-Hermite points, the width over depth on a grid that is made
finer where it matters. Nothing is taken as linear, so widths that the data only bound from
one side come out as such.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from lodewalk.methods.inversion import _posterior_kernel as kernel
from lodewalk.methods.inversion.constraints import Constraint, limits_of
from lodewalk.methods.inversion.mixture import EXTENTS, Posterior, shares_of
from lodewalk.methods.inversion.results import Noise, Profile
from lodewalk.methods.inversion.whitening import Whitening, whitening
from lodewalk.validation import FloatArray

FAMILIES = {"strip": kernel.STRIP, "contact": kernel.CONTACT,
            "cylinder": kernel.CYLINDER, "step": kernel.STEP}  # fmt: skip
#: Half the width over the depth at which a dyke is called thin no longer: as wide as its top is
#: deep (common practice).
THIN = 0.5
#: Where the first look is had for each family: extent over depth.
LOOKS = {"strip": (0.1, 1.0, 3.0), "step": (0.3, 3.0), "contact": (1.0,), "cylinder": (1.0,)}
PLACES, DEPTHS = 25, 7
#: Neighbouring nodes of the grid differ by less than this in the logarithm of the integrand, where
#: it is within `FAR` of its peak.
NEAR, FAR = 0.8, 9.0
FIRST_NODES, MOST_NODES = 13, 70
#: Last step of the logarithm of the extent in the search for its best, and the fall of the misfit
#: that is worth another: at an end of the extents a settled body may creep on for ever.
FINEST, WORTH = 2e-3, 1e-4

#: Place and log depth where a search may begin, the best first, by family and extent over depth.
Looks = Mapping[str, Mapping[float, Sequence[FloatArray]]]


@dataclass(frozen=True)
class Setting:
    """A profile made ready: whitened readings, limits of place and depth, constraints.

    Parameters
    ----------
    data : array, shape (9 + m, n)
        In its rows distance, rise, whitened readings, six of the whitening, basis of the nuisance.
    box : array, shape (3, 2)
        Least and most place [m] and logarithm of depth, and the longest step of each.
    limits : array, shape (5, 3)
        Constraints on place, depth, half width, index angle and log strength.
    flat : float
        Misfit of level and slope (and neighbours) alone.
    known : float
        Degrees of freedom that the noise was told from.
    """

    data: FloatArray
    box: FloatArray
    limits: FloatArray
    flat: float
    known: float

    @property
    def whitened(self) -> FloatArray:
        """Readings, whitened, less what level, slope and neighbours explain."""
        return np.asarray(self.data[kernel.READING])

    @property
    def white(self) -> Whitening:
        """What whitens rows of readings."""
        return Whitening(self.data[kernel.WHITENING : kernel.BASIS])

    @property
    def basis(self) -> FloatArray:
        """Orthonormal rows of level, slope and neighbours, whitened."""
        return self.data[kernel.BASIS :]

    def settled(self, family: str, start: FloatArray, extent: float) -> tuple[float, FloatArray]:
        """Return the least misfit near a start, and its place and log depth."""
        theta = start.copy()
        phi = np.empty((5, self.data.shape[1]))
        cost = kernel.settle(
            FAMILIES[family], self.data, theta, extent, self.limits, self.box, phi,
            np.empty(5), np.empty(5),
        )  # fmt: skip
        return cost, theta


def made_ready(
    profile: Profile,
    noise: Noise,
    *,
    constraints: Sequence[Constraint] = (),
    beside: FloatArray | None = None,
    off: FloatArray | None = None,
) -> Setting:
    """Whiten a profile, with level and slope (and the curves `beside`) taken off.

    Parameters
    ----------
    profile : Profile
        Readings across the strike.
    noise : Noise
        Their error.
    constraints : sequence of Constraint
        What is known from elsewhere.
    beside : array, shape (m, n), optional
        Curves of neighbours with free amplitudes [any unit].
    off : array, shape (k, n), optional
        Errors that all readings share: what one standard deviation of each makes of them [nT].

    Returns
    -------
    Setting
        For `look` and `posterior`.

    Notes
    -----
    Shared errors add ``r r'`` to the covariance. Of whitened readings its inverse square root takes
    off the part ``1 - 1 / sqrt(1 + s**2)`` of what lies along each left singular vector of the
    rows, ``s`` their singular values; all of it is taken off where an amplitude is free.
    """
    white = whitening(profile, noise)
    distance = profile.distance_m
    middle, length = 0.5 * (distance[0] + distance[-1]), np.ptp(distance)
    plain = [np.ones(distance.size), (distance - middle) / max(length, 1e-9)]
    rows = np.vstack([plain, *([] if beside is None else [beside])])
    basis = np.linalg.qr(white(rows).T)[0].T
    if off is not None and len(off):
        left = white(off)
        vectors, sizes, _ = np.linalg.svd((left - (left @ basis.T) @ basis).T, full_matrices=False)
        taken = 1.0 - 1.0 / np.sqrt(1.0 + sizes**2)
        basis = np.vstack([basis, np.sqrt(taken)[:, None] * vectors.T])
    y = white(profile.anomaly_nT - np.mean(profile.anomaly_nT))
    y = y - basis.T @ (basis @ y)
    shallow = max(0.5 * float(np.median(np.diff(distance))), 1e-6 * length)
    shallow = max(shallow, -float(profile.rise_m.min()) + 0.1 * shallow)
    box = np.array([[distance[0], np.log(shallow)],
                    [distance[-1], np.log(max(0.5 * length, 2.0 * shallow))],
                    [0.1 * length, 0.7]])  # fmt: skip
    data = np.vstack([distance, profile.rise_m, y, white.table, basis])
    return Setting(data, box, limits_of(constraints), float(y @ y), noise.known)


@dataclass
class _Nodes:
    """Nodes of one family, by the logarithm of the extent over depth."""

    family: str
    setting: Setting
    least: float
    found: dict[float, tuple[float, FloatArray, FloatArray]] = field(default_factory=dict)

    def add(self, log_extent: float, starts: Sequence[FloatArray]) -> None:
        """Integrate at a node from the best of the starts."""
        extent = float(np.exp(log_extent))
        settled = [self.setting.settled(self.family, start, extent) for start in starts]
        theta = min(settled, key=lambda found: found[0])[1]
        out = np.empty(1 + 2 * kernel.QUANTITIES)
        cost = kernel.integrate(
            FAMILIES[self.family], self.setting.data, theta, extent, self.setting.limits,
            self.setting.box, self.least, self.setting.known, out,
        )  # fmt: skip
        self.found[log_extent] = cost, theta, out

    def gaps(self) -> list[tuple[float, float]]:
        """Return the neighbouring nodes between which another one is wanted."""
        places = sorted(self.found)
        logs = np.array([self.found[place][2][0] for place in places])
        logs = np.where(np.isfinite(logs), logs, -1e300)
        top = logs.max()
        pairs = []
        for i in range(len(places) - 1):
            low, high = sorted((logs[i], logs[i + 1]))
            wanted = high > top - FAR and high - low > NEAR and places[i + 1] - places[i] > 1e-3
            if wanted and (low > top - FAR or high > top - NEAR or high - low < 1e3):
                pairs.append((places[i], places[i + 1]))
        return pairs


def look(setting: Setting, family: str, extent: float) -> list[FloatArray]:
    """Return place and log depth of the two best places of a coarse look, the best first."""
    box = setting.box
    places = np.linspace(box[0, 0], box[1, 0], PLACES + 2)[1:-1]
    depths = np.linspace(box[0, 1], box[1, 1], DEPTHS + 2)[1:-1]
    found = np.empty((PLACES, DEPTHS))
    kernel.scan(FAMILIES[family], setting.data, places, depths, extent, setting.limits, found)
    starts = []
    for _ in range(2):
        i, j = np.unravel_index(np.argmin(found), found.shape)
        starts.append(np.array([places[i], depths[j]]))
        found[max(i - 3, 0) : i + 4] = np.inf
    return starts


def looks_of(setting: Setting, families: Sequence[str]) -> Looks:
    """Return where searches may begin: the best places of coarse looks, by family and extent."""
    return {
        family: {extent: look(setting, family, extent) for extent in LOOKS[family]}
        for family in families
    }


def posterior(
    setting: Setting, family: str, *, least: float, looks: Looks | None = None
) -> Posterior:
    """Return the posterior of one family of bodies.

    Parameters
    ----------
    setting : Setting
        The profile, made ready.
    family : str
        ``strip`` (thin sheet and dyke of any width), ``contact``, ``cylinder`` or ``step``.
    least : float
        Misfit that likelihoods are counted from: the least of all families.
    looks : mapping, optional
        Where to begin, as from `looks_of`.

    Returns
    -------
    Posterior
        Place is even over the profile, log depth between half the readings' spacing and half the
        profile's length, log extent as in `EXTENTS`; a strip has both edges on the profile.

    Notes
    -----
    With a prior of the amplitude's two parts that is wide and shaped as the curves are (Zellner's)
    [1]_ the integral over them leaves the likelihood at their best values times a constant that is
    the same for every kind: an anomaly as large as the one seen is taken for granted.

    References
    ----------
    .. [1] Zellner, A. (1986), On assessing prior distributions and Bayesian regression analysis
       with g-prior distributions, in Bayesian Inference and Decision Techniques, Elsevier, 233-243
       (from memory).
    """
    nodes = _Nodes(family, setting, least)
    own = (looks or looks_of(setting, [family]))[family]
    if family not in EXTENTS:
        nodes.add(0.0, next(iter(own.values())))
        return _gathered(nodes)
    low, high = np.log(EXTENTS[family])
    first = np.linspace(low, high, FIRST_NODES)
    if family == "strip":
        below = np.linspace(low, np.log(THIN), 7)
        first = np.concatenate([below, np.linspace(np.log(THIN), high, 7)[1:]])
    before: list[FloatArray] = []
    for place in first:
        nearest = min(own, key=lambda extent: abs(np.log(extent) - place))
        nodes.add(float(place), [*own[nearest], *before])
        before = [nodes.found[float(place)][1]]
    _fill(nodes)
    return _gathered(nodes)


def _fill(nodes: _Nodes) -> None:
    """Add nodes until neighbours are near each other wherever the posterior has weight."""
    while len(nodes.found) < MOST_NODES:
        gaps = nodes.gaps()
        if not gaps:
            return
        for low, high in gaps:
            near = min(nodes.found[low], nodes.found[high], key=lambda found: found[0])
            nodes.add(0.5 * (low + high), [near[1]])


def _gathered(nodes: _Nodes) -> Posterior:
    """Return the nodes as a posterior."""
    places = np.array(sorted(nodes.found))
    found = [nodes.found[float(place)] for place in places]
    out = np.array([item[2] for item in found])
    count = kernel.QUANTITIES
    share, middle = shares_of(places)
    return Posterior(
        nodes.family,
        np.exp(places) if nodes.family in EXTENTS else np.ones(1),
        out[:, 0] + np.log(share),
        share,
        middle,
        out[:, 1 : 1 + count],
        out[:, 1 + count :],
        np.array([item[0] for item in found]),
        np.array([item[1] for item in found]),
    )


def prior_volume(setting: Setting, family: str, *, low: float = 1.0, high: float = 1.0) -> float:
    """Return the volume of place [m], log depth and log extent that a family may take.

    Parameters
    ----------
    setting : Setting
        The profile, made ready.
    family : str
        A family; the edges of a ``strip`` lie on the profile.
    low, high : float
        Ends of the extent over depth; none where they are equal.

    Returns
    -------
    float
        The integral of 1.
    """
    (first, shallow), (last, deep) = setting.box[0], setting.box[1]
    if family != "strip":
        wide = np.log(high / low) if high > low else 1.0
        return float((last - first) * (deep - shallow) * wide)
    depth = np.exp(np.linspace(shallow, deep, 60))
    extent = np.geomspace(low, high, 40)
    room = np.maximum(last - first - 2.0 * depth[:, None] * extent, 0.0)
    return float(room.mean() * (deep - shallow) * np.log(high / low))


def best_extent(
    setting: Setting, family: str, extent: float, theta: FloatArray
) -> tuple[float, FloatArray]:
    """Return the extent over depth of the least misfit near one, with place and log depth there.

    Steps to either side are taken as long as the misfit falls, and are halved where it doesn't.
    """
    low, high = np.log(EXTENTS[family])
    at, step = float(np.log(extent)), 0.5
    cost, theta = setting.settled(family, theta, extent)
    while step > FINEST:
        sides = []
        for side in (-step, step):
            to = float(min(max(at + side, low), high))
            sides.append((*setting.settled(family, theta, float(np.exp(to))), to))
        new, other, to = min(sides, key=lambda end: end[0])
        if new < cost - WORTH:
            cost, theta, at = new, other, to
        else:
            step *= 0.5
    return float(np.exp(at)), theta


def least_misfit(
    setting: Setting, families: Sequence[str], looks: Looks | None = None
) -> Mapping[str, float]:
    """Return the least misfit of each family from the first looks on, over all extents."""
    looks = looks or looks_of(setting, families)
    least = {}
    for family in families:
        ends = [
            (*setting.settled(family, starts[0], extent), extent)
            for extent, starts in looks[family].items()
        ]
        cost, theta, extent = min(ends, key=lambda end: end[0])
        if family in EXTENTS:
            extent, theta = best_extent(setting, family, extent, theta)
            cost = setting.settled(family, theta, extent)[0]
        least[family] = cost
    return least
