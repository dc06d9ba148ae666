"""Neighbouring profiles of one body fitted together."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.stats import chi2
from scipy.stats import t as student

from lodewalk.errors import InputError
from lodewalk.methods.inversion._problem import Problem
from lodewalk.methods.inversion.fit import problem_of
from lodewalk.methods.inversion.models import kind_of
from lodewalk.methods.inversion.posterior import LOOKS, look, made_ready
from lodewalk.methods.inversion.results import NINETY, Estimate, Noise, Profile
from lodewalk.methods.inversion.rules import profile_problem
from lodewalk.validation import FloatArray

#: What profiles may share, and what every one has for itself.
SHARED = ("index_angle_deg", "depth_m", "half_width_m")
#: Chance of so large a difference between profiles of one body under which they are said to differ.
DIFFER = 0.05
#: Most steps, and the fall of the sum of squares that is worth another: far less than noise.
MOST_STEPS, ENOUGH = 40, 1e-4
LEAST_PROFILES = 2
#: The first top that profiles share lies so many times as deep as the lowest sensor at least.
BELOW = 1.1


@dataclass(frozen=True)
class JointFit:
    """What neighbouring profiles say together.

    Parameters
    ----------
    kind : str
        Kind of body.
    estimates : mapping of str to Estimate
        What they share, and the strength (amplitude of a contact) over the profiles. Where the
        profiles differ it is the mean over them, and the interval holds the spread between them.
    position_m : tuple of Estimate
        Place on each profile [m].
    chance : float
        Chance of so large differences between profiles over one body.
    differ : bool
        Whether the profiles differ by more than noise gives.
    spread : mapping of str to float
        Standard deviation of each shared parameter between profiles, 0 where they don't differ;
        that of the depth and the half width in parts of themselves.
    cost : float
        Sum of the squared whitened residuals.
    freedom : int
        Readings less free parameters.
    profiles : int
        Number of profiles.
    problem : str
        Why there is no number: one sentence.
    """

    kind: str
    estimates: Mapping[str, Estimate] = field(default_factory=dict)
    position_m: tuple[Estimate, ...] = ()
    chance: float = float("nan")
    differ: bool = False
    spread: Mapping[str, float] = field(default_factory=dict)
    cost: float = float("nan")
    freedom: int = 0
    profiles: int = 0
    problem: str = ""


def fit_joint(
    profiles: Sequence[Profile],
    *,
    noises: Sequence[Noise],
    kind: str = "dyke",
    shared: Sequence[str] = SHARED,
) -> JointFit:
    """Return the body that profiles across one dyke or contact share.

    Parameters
    ----------
    profiles : sequence of Profile
        Profiles across one body; heights of the sensor from one reference where the top is level.
    noises : sequence of Noise
        Noise of each.
    kind : {"thin sheet", "dyke", "contact"}
        Kind of body.
    shared : sequence of str
        Of ``index_angle_deg``, ``depth_m`` and ``half_width_m``; place, amplitude, level and slope
        are each profile's own.

    Returns
    -------
    JointFit
        With a problem and no number for fewer than two profiles or a poor one.

    Raises
    ------
    InputError
        For another kind, a parameter that can't be shared, or lists of different lengths.

    Notes
    -----
    The sum of squares of all profiles is brought to its least; what it is above that of each
    profile alone tests whether they share the parameters (likelihood ratio). Where they don't, each
    parameter is the mean over profiles with the variance between them [1]_ and Student's interval
    for their number [2]_.

    References
    ----------
    .. [1] DerSimonian, R. and Laird, N. (1986), Meta-analysis in clinical trials, Controlled
       Clinical Trials, 7(3), 177-188, doi:10.1016/0197-2456(86)90046-2.
    .. [2] Hartung, J. and Knapp, G. (2001), A refined method for the meta-analysis of controlled
       clinical trials with binary outcome, Statistics in Medicine, 20(24), 3875-3889,
       doi:10.1002/sim.1009.

    Examples
    --------
    >>> x = np.linspace(-50.0, 50.0, 41)
    >>> rng = np.random.default_rng(1)
    >>> some = [Profile(x, 500.0 * 5.0 / (x**2 + 25.0) + rng.normal(0.0, 1.0, 41)) for _ in "abc"]
    >>> found = fit_joint(some, noises=[Noise()] * 3, kind="thin sheet")
    >>> found.differ, round(found.estimates["depth_m"].value)
    (False, 5)
    """
    _check(profiles, noises, kind, shared)
    if len(profiles) < LEAST_PROFILES:
        return JointFit(kind, problem="A joint fit needs two profiles or more.")
    for number, profile in enumerate(profiles, start=1):
        fault = profile_problem(profile, kind)
        if fault:
            return JointFit(kind, problem=f"Profile {number}: {fault}")
    parts = [_Part.alone(problem_of(profile, kind, noise=noise))
             for profile, noise in zip(profiles, noises, strict=True)]  # fmt: skip
    names = [name for name in parts[0].names if name in shared]
    apart = [part.descended() for part in parts]
    together, covariance = _together(apart, names)
    cost = sum(part.cost for part in together)
    above = max(cost - sum(part.cost for part in apart), 0.0)
    chance = float(chi2.sf(above, max((len(parts) - 1) * len(names), 1)))
    differ = bool(names) and chance < DIFFER
    estimates, spread = {}, {}
    for k, name in enumerate(names):
        if differ:
            estimates[name], spread[name] = _over_profiles(apart, name)
        else:
            estimates[name] = _estimate(name, together[0].value(name), covariance[k, k] ** 0.5)
            spread[name] = 0.0
    estimates[parts[0].size] = _over_profiles(together, parts[0].size)[0]
    return JointFit(
        kind, estimates, tuple(_place(part) for part in together), chance, differ, spread,
        float(cost), sum(part.problem.data.size - len(part.names) for part in together)
        + (len(parts) - 1) * len(names), len(parts),
    )  # fmt: skip


def _check(
    profiles: Sequence[Profile], noises: Sequence[Noise], kind: str, shared: Sequence[str]
) -> None:
    """Raise for what can't be fitted together."""
    if kind not in ("thin sheet", "dyke", "contact"):
        raise InputError("Fitted together are thin sheet, dyke or contact.", value=kind)
    if len(profiles) != len(noises):
        raise InputError("Every profile needs its noise.", value=f"{len(noises)} noises")
    odd = [name for name in shared if name not in SHARED]
    if odd:
        raise InputError(f"Profiles can share {', '.join(SHARED)}.", value=odd)


@dataclass
class _Part:
    """One profile's parameters: place, log depth, square of the half width, angle, log size, base.

    The angle stands in degrees; level and slope are the last two.
    """

    problem: Problem
    names: tuple[str, ...]
    values: FloatArray
    cost: float = np.inf
    slopes: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))
    rest: FloatArray = field(default_factory=lambda: np.zeros(0))

    @classmethod
    def alone(cls, problem: Problem) -> "_Part":
        """Return a profile with a body near the best of its own."""
        shape = _first_shape(problem)
        point = problem.at(problem.inner(shape))
        p, q = point.weights[:2]
        own = kind_of(problem.kind)
        names = (*own.shape, "index_angle_deg", own.size, "level_nT", "slope_nT")
        shape[1] = np.log(shape[1])
        values = np.concatenate([
            shape, [np.degrees(np.arctan2(q, p)), np.log(np.hypot(p, q))], point.weights[2:]
        ])  # fmt: skip
        return cls(problem, names, values).at(values)

    @property
    def size(self) -> str:
        """Name of the strength."""
        return kind_of(self.problem.kind).size

    def value(self, name: str) -> float:
        """Return a parameter as it is searched."""
        return float(self.values[self.names.index(name)])

    def at(self, values: FloatArray) -> "_Part":
        """Return the profile at other values, with residuals and slopes."""
        count = len(kind_of(self.problem.kind).shape)
        shape = values[:count].copy()
        shape[1] = np.exp(shape[1])
        if shape[1] + self.problem.lowest <= 0.0:
            # a top above the lowest sensor: no step ends here
            return replace(self, values=values, cost=np.inf)
        turn, size = np.radians(values[count]), np.exp(values[count + 1])
        parts = size * np.array([np.cos(turn), np.sin(turn)])
        inner = self.problem.inner(shape)
        rest, every = self.problem.joint(inner, np.concatenate([parts, values[count + 2 :]]))
        # from the inner coordinates of the search to the shape itself
        change = self.problem.shape(inner)[1]
        by_shape = np.linalg.solve(change.T, every[:count])
        by_shape[1] *= shape[1]
        by_angle = np.radians(1.0) * (-parts[1] * every[count] + parts[0] * every[count + 1])
        by_size = parts[0] * every[count] + parts[1] * every[count + 1]
        slopes = np.vstack([by_shape, by_angle, by_size, every[count + 2 :]])
        return _Part(self.problem, self.names, values, float(rest @ rest), slopes, rest)

    def descended(self) -> "_Part":
        """Return the profile at the least of its own sum of squares."""
        return _together([self], [])[0][0]

    def covariance(self) -> FloatArray:
        """Return the covariance of its parameters, alone."""
        return _inverse(self.slopes @ self.slopes.T)


def _first_shape(problem: Problem) -> FloatArray:
    """Return place, depth and square of the half width where a search may begin."""
    setting = made_ready(problem.profile, problem.noise)
    family = "contact" if problem.kind == "contact" else "strip"
    extents = (0.1,) if problem.kind == "thin sheet" else LOOKS[family]
    ends = [
        (*setting.settled(family, start, extent), extent)
        for extent in extents
        for start in look(setting, family, extent)
    ]
    _, (place, log_depth), extent = min(ends, key=lambda end: end[0])
    depth = np.exp(log_depth)
    shape = [place, depth, (extent * depth) ** 2]
    return np.array(shape[: len(kind_of(problem.kind).shape)])


def _together(parts: Sequence[_Part], names: Sequence[str]) -> tuple[list[_Part], FloatArray]:
    """Return profiles at the least of the sum of their squares, `names` shared, and covariance.

    The covariance has the shared parameters first, then each profile's own.
    """
    places = _places(parts, names)
    size = max(int(place.max()) for place in places) + 1
    found, both = list(parts), _mean_start(parts, names, places, size)
    found = _spread_out(found, both, places)
    damping, longest = 1e-3, _longest(parts, places, size)
    for _ in range(MOST_STEPS):
        matrix, pull = np.zeros((size, size)), np.zeros(size)
        for part, place in zip(found, places, strict=True):
            matrix[np.ix_(place, place)] += part.slopes @ part.slopes.T
            pull[place] += part.slopes @ part.rest
        scale = np.diag(matrix) + 1e-30
        step = np.linalg.solve(matrix + damping * np.diag(scale), pull)
        step = np.clip(step, -longest, longest)
        cost = sum(part.cost for part in found)
        trial = _spread_out(found, both + step, places)
        new = sum(part.cost for part in trial)
        if new <= cost:  # never where it is no number
            found, both, damping = trial, both + step, max(damping * 0.1, 1e-9)
            if cost - new < ENOUGH:
                break
        else:
            damping *= 8.0
            if damping > 1e8:
                break
    return found, _inverse(matrix)


def _longest(parts: Sequence[_Part], places: Sequence[np.ndarray], size: int) -> FloatArray:
    """Return the longest step of each parameter: of depths and sizes half a unit of logarithm."""
    longest = np.full(size, np.inf)
    for part, place in zip(parts, places, strict=True):
        for name, at in zip(part.names, place, strict=True):
            if name == "position_m":
                longest[at] = 0.1 * part.problem.length
            elif name == "index_angle_deg":
                longest[at] = 30.0
            elif name in ("depth_m", part.size):
                longest[at] = 0.5
            elif name == "half_width_m":
                longest[at] = 0.5 * max(abs(part.value(name)), np.exp(2.0 * part.value("depth_m")))
    return longest


def _places(parts: Sequence[_Part], names: Sequence[str]) -> list[np.ndarray]:
    """Return where each profile's parameters stand among all: the shared ones first."""
    places, free = [], len(names)
    for part in parts:
        place = []
        for name in part.names:
            if name in names:
                place.append(list(names).index(name))
            else:
                place.append(free)
                free += 1
        places.append(np.array(place))
    return places


def _mean_start(
    parts: Sequence[_Part], names: Sequence[str], places: Sequence[np.ndarray], size: int
) -> FloatArray:
    """Return the parameters to begin with: the shared ones are medians over the profiles."""
    both = np.zeros(size)
    for part, place in zip(parts, places, strict=True):
        both[place] = part.values
    for k, name in enumerate(names):
        values = np.array([part.value(name) for part in parts])
        if name == "index_angle_deg":
            values = values[0] + (values - values[0] + 180.0) % 360.0 - 180.0
        both[k] = np.median(values)
        if name == "depth_m":
            lowest = min(part.problem.lowest for part in parts)
            both[k] = max(both[k], np.log(max(-BELOW * lowest, 1e-9)))
    return both


def _spread_out(
    parts: Sequence[_Part], both: FloatArray, places: Sequence[np.ndarray]
) -> list[_Part]:
    """Return the profiles at all parameters."""
    return [part.at(both[place]) for part, place in zip(parts, places, strict=True)]


def _inverse(matrix: FloatArray) -> FloatArray:
    """Return the inverse of a normal matrix; what nothing tells gets a huge variance."""
    size = np.sqrt(np.diag(matrix)) + 1e-300
    value, vector = np.linalg.eigh(matrix / np.outer(size, size))
    return np.asarray((vector / np.maximum(value, 1e-13)) @ vector.T / np.outer(size, size))


def _over_profiles(parts: Sequence[_Part], name: str) -> tuple[Estimate, float]:
    """Return the mean of a parameter over profiles with the variance between them."""
    values = np.array([part.value(name) for part in parts])
    if name == "index_angle_deg":
        values = values[0] + (values - values[0] + 180.0) % 360.0 - 180.0
    own = np.array([part.covariance()[(part.names.index(name),) * 2] for part in parts])
    weight = 1.0 / own
    mean = weight @ values / weight.sum()
    count = len(parts)
    over = weight @ (values - mean) ** 2 - (count - 1)
    between = max(over / (weight.sum() - (weight**2).sum() / weight.sum()), 0.0)
    weight = 1.0 / (own + between)
    mean = weight @ values / weight.sum()
    scale = max(weight @ (values - mean) ** 2 / (count - 1), 1.0)
    sd = float(np.sqrt(scale / weight.sum()))
    return _estimate(name, float(mean), sd, count - 1), float(np.sqrt(between))


def _estimate(name: str, value: float, sd: float, known: float = np.inf) -> Estimate:
    """Return a parameter in its unit with its interval, from the coordinate it is searched in."""
    half = float(student.ppf(0.95, known)) * sd if np.isfinite(known) else NINETY * sd
    if name == "half_width_m":
        ends = np.sqrt(np.maximum([value, value - half, value + half], 0.0))
        resolved = bool(value - half > 0.0)
        spread = sd / (2.0 * max(float(ends[0]), 0.5 * sd**0.5))
        return Estimate(float(ends[0]), spread, float(ends[1]), float(ends[2]), resolved)
    if name == "index_angle_deg":
        value = float((value + 180.0) % 360.0 - 180.0)
        return Estimate(value, sd, value - half, value + half)
    low, middle, high = np.exp([value - half, value, min(value + half, 700.0)])
    return Estimate(float(middle), float(middle * sd), float(low), float(high))


def _place(part: _Part) -> Estimate:
    """Return the place on one profile."""
    sd = float(np.sqrt(part.covariance()[0, 0]))
    value = float(part.values[0])
    return Estimate(value, sd, value - NINETY * sd, value + NINETY * sd)
