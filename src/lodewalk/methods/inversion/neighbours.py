"""Other bodies whose anomalies reach into a profile."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from lodewalk.methods.inversion import _posterior_kernel as kernel
from lodewalk.methods.inversion.noise_choice import best_likelihood
from lodewalk.methods.inversion.posterior import FAMILIES, Setting, look, made_ready
from lodewalk.methods.inversion.results import Noise, Profile
from lodewalk.validation import FloatArray

#: Half width over depth of the sheet that stands for a neighbour.
NARROW = 0.1
#: Logarithm of the odds from which another body is believed: 1,000 to 1; what its place and depth
#: cost by the way is added.
BELIEVED, SEARCHED = 6.9, 4.0
#: Range of another anomaly over that of the body from which it makes a problem (common practice).
STRONG = 0.5
#: Neighbours that are searched for, and rounds of settling the bodies in turn.
MOST, ROUNDS = 3, 2
#: Places and depths of two sheets that are tried in place of one wide body.
PAIR_PLACES, PAIR_DEPTHS = 20, 3


@dataclass(frozen=True)
class Body:
    """A body by its family and its place, depth and extent [m]."""

    family: str
    place: float
    depth: float
    extent: float

    def curves(self, profile: Profile) -> FloatArray:
        """Return its two curves at the readings, shape (2, n)."""
        out = np.empty((5, profile.distance_m.size))
        at = np.vstack([profile.distance_m, profile.rise_m])
        kernel.curves(FAMILIES[self.family], at, self.place, self.depth, self.extent, out)
        return out[:2]

    def moved(self, name: str, by: float) -> "Body":
        """Return the body with its place, depth or extent changed by so many metres."""
        values = {"place": self.place, "depth": self.depth, "extent": self.extent}
        values[name] += by
        return Body(self.family, **values)


@dataclass(frozen=True)
class Beside:
    """Curves that are fitted along: rows of any amplitude, and the fitted curve [nT].

    `body_rows` are those of the body itself.
    """

    rows: FloatArray
    curve_nT: FloatArray
    body_rows: FloatArray
    problem: str = ""


def taken_along(
    profile: Profile,
    noise: Noise,
    body: Body,
    places: Sequence[float] | None,
    *,
    told: bool = True,
) -> Beside:
    """Return the neighbours to fit along with a body, or the problem they make.

    Parameters
    ----------
    profile : Profile
        The readings.
    noise : Noise
        Their error.
    body : Body
        The body itself, as it fits alone.
    places : sequence of float, optional
        Places of neighbours [m]; searched for by default.
    told : bool
        Whether the noise is told from elsewhere: if not, another body has to be likelier than
        noise that neighbouring readings share.

    Returns
    -------
    Beside
        No rows where there is none.
    """
    count = profile.distance_m.size
    setting = made_ready(profile, noise)
    if places is None:
        bodies = _searched(profile, noise, body, told=told)
    else:
        bodies = [body, *(_sheet_at(profile, noise, [body], place) for place in places)]
        bodies = _settled(profile, noise, bodies, fixed=True)
    own = rows_of(profile, setting, bodies[0])
    if len(bodies) == 1:
        return Beside(np.zeros((0, count)), np.zeros(count), own)
    weights = _weights(setting, np.vstack([one.curves(profile) for one in bodies]))
    curves = [weights[2 * i : 2 * i + 2] @ one.curves(profile) for i, one in enumerate(bodies)]
    rows = np.vstack([rows_of(profile, setting, one) for one in bodies[1:]])
    problem = "" if places is not None else _too_strong(bodies, curves)
    return Beside(rows, np.sum(curves[1:], axis=0), own, problem)


def _searched(profile: Profile, noise: Noise, body: Body, *, told: bool) -> list[Body]:
    """Return a body and its neighbours, as many as the residuals show."""
    bodies = [body]
    for _ in range(MOST):
        without = _without(profile, noise, bodies)
        cost, theta = min(
            (without.settled("strip", start, NARROW) for start in look(without, "strip", NARROW)),
            key=lambda found: found[0],
        )
        if not _believed(without, cost, noise):
            break
        depth = float(np.exp(theta[1]))
        more = [*bodies, Body("strip", float(theta[0]), depth, NARROW * depth)]
        more = _settled(profile, noise, more)
        if len(more) == 2:
            more = _or_two_sheets(profile, noise, more)
        if not told and not _likelier(profile, more, bodies):
            break
        bodies = more
    return bodies


def _likelier(profile: Profile, more: Sequence[Body], bodies: Sequence[Body]) -> bool:
    """Return whether another body is likelier than noise that neighbouring readings share."""
    setting = made_ready(profile, Noise())
    many, few = (
        best_likelihood(profile, np.vstack([rows_of(profile, setting, body) for body in some]))
        for some in (more, bodies)
    )
    return bool(many - few > BELIEVED + SEARCHED + np.log(profile.distance_m.size))


def _believed(without: Setting, cost: float, noise: Noise) -> bool:
    """Return whether a fall of the misfit is more than noise and search would give."""
    odds = 0.5 * (without.flat - cost)
    if np.isfinite(noise.known):
        odds = 0.5 * noise.known * np.log1p(2.0 * odds / max(cost, 1e-9))
    return bool(odds > BELIEVED + SEARCHED + np.log(without.whitened.size))


def _or_two_sheets(profile: Profile, noise: Noise, bodies: list[Body]) -> list[Body]:
    """Return two sheets in place of a body and its neighbour, where they fit better."""
    pair = _settled(profile, noise, _pair(profile, noise))
    now, other = (_without(profile, noise, two).flat for two in (bodies, pair))
    return pair if other < now - 2.0 * (BELIEVED + SEARCHED) else bodies


def _pair(profile: Profile, noise: Noise) -> list[Body]:
    """Return the two sheets, of some places and depths, that fit best together; stronger first."""
    setting = made_ready(profile, noise)
    box = setting.box
    places = np.linspace(box[0, 0], box[1, 0], PAIR_PLACES + 2)[1:-1]
    depths = np.exp(np.linspace(box[0, 1], box[1, 1], PAIR_DEPTHS + 2)[1:-1])
    sheets = [
        Body("strip", float(place), float(depth), NARROW * float(depth))
        for place in places
        for depth in depths
    ]
    curves = np.array([sheet.curves(profile) for sheet in sheets])
    made = setting.white(curves.reshape(-1, curves.shape[-1]))
    basis = setting.basis
    made = made - (made @ basis.T) @ basis
    made /= np.sqrt((made**2).sum(axis=1, keepdims=True)) + 1e-300
    gram, pull = made @ made.T + 1e-9 * np.eye(len(made)), made @ setting.whitened
    pairs = np.array(list(combinations(range(len(sheets)), 2)))
    columns = np.stack([2 * pairs[:, 0], 2 * pairs[:, 0] + 1, 2 * pairs[:, 1], 2 * pairs[:, 1] + 1])
    matrix = gram[columns.T[:, :, None], columns.T[:, None, :]]
    weights = np.linalg.solve(matrix, pull[columns.T][..., None])[..., 0]
    best = int(np.argmax((weights * pull[columns.T]).sum(axis=1)))
    first, second = (sheets[i] for i in pairs[best])
    strong = np.hypot(*weights[best, :2]) >= np.hypot(*weights[best, 2:])
    return [first, second] if strong else [second, first]


def _settled(
    profile: Profile, noise: Noise, bodies: list[Body], *, fixed: bool = False
) -> list[Body]:
    """Return bodies settled in turn, each beside the others; neighbours may be `fixed`."""
    found = list(bodies)
    for _ in range(ROUNDS):
        for i, body in enumerate(found):
            if fixed and i:
                continue
            without = _without(profile, noise, found[:i] + found[i + 1 :])
            start = np.array([body.place, np.log(body.depth)])
            _, theta = without.settled(body.family, start, body.extent / body.depth)
            depth = float(np.exp(theta[1]))
            extent = body.extent / body.depth * depth
            found[i] = Body(body.family, float(theta[0]), depth, extent)
    return found


def _without(profile: Profile, noise: Noise, bodies: Sequence[Body]) -> Setting:
    """Return a profile made ready with bodies, and their changes with their shape, taken off."""
    setting = made_ready(profile, noise)
    rows = np.vstack([rows_of(profile, setting, body) for body in bodies])
    return made_ready(profile, noise, beside=rows)


def _sheet_at(profile: Profile, noise: Noise, bodies: list[Body], place: float) -> Body:
    """Return the sheet at a place, its depth the best beside the bodies."""
    without = _without(profile, noise, bodies)
    depths = np.linspace(without.box[0, 1], without.box[1, 1], 9)
    found = np.empty((1, depths.size))
    kernel.scan(
        FAMILIES["strip"], without.data, np.array([float(place)]), depths, NARROW,
        without.limits, found,
    )  # fmt: skip
    depth = float(np.exp(depths[int(np.argmin(found[0]))]))
    return Body("strip", float(place), depth, NARROW * depth)


def rows_of(profile: Profile, setting: Setting, body: Body) -> FloatArray:
    """Return the curves of a body and its changes with its shape.

    Parameters
    ----------
    profile : Profile
        Readings across the strike.
    setting : Setting
        The same, made ready.
    body : Body
        The body; its amplitude is fitted.

    Returns
    -------
    array, shape (4 or 5, n)
        Two curves, and changes with place, depth and, of a wide one, the extent [nT/m].
    """
    curves = body.curves(profile)
    weights = _weights(setting, curves)
    rows = [*curves]
    wide = body.family in ("strip", "step") and body.extent > NARROW * 1.01 * body.depth
    for name in ("place", "depth", "extent") if wide else ("place", "depth"):
        step = 0.01 * (body.extent if name == "extent" else body.depth)
        after, before = (weights @ body.moved(name, by).curves(profile) for by in (step, -step))
        rows.append((after - before) / (2.0 * step))
    return np.array(rows)


def response(profile: Profile, setting: Setting, body: Body, off: FloatArray) -> FloatArray:
    """Return what errors that all readings share make of a body's depth and angle.

    Parameters
    ----------
    profile : Profile
        Readings across the strike.
    setting : Setting
        The same, made ready with the errors.
    body : Body
        The body as fitted, its width taken as known.
    off : array, shape (k, n)
        What one standard deviation of each error makes of the readings [nT].

    Returns
    -------
    array, shape (k, 2)
        Changes of log depth and of the index angle [deg]: the linear answer of weighted least
        squares to each error.
    """
    rows = rows_of(profile, setting, body)[:4]
    p, q = _weights(setting, rows[:2])
    made, wrong = (setting.white(part) for part in (rows, off))
    basis = setting.basis
    made, wrong = (part - (part @ basis.T) @ basis for part in (made, wrong))
    size = np.sqrt((made**2).sum(axis=1)) + 1e-300
    change = np.linalg.lstsq((made / size[:, None]).T, wrong.T, rcond=1e-10)[0].T / size
    turned = np.degrees(q * change[:, 0] - p * change[:, 1]) / max(p**2 + q**2, 1e-300)
    return np.stack([change[:, 3] / body.depth, turned], axis=1)


def _weights(setting: Setting, rows: FloatArray) -> FloatArray:
    """Return the amplitudes of rows fitted to the readings together."""
    basis = setting.basis
    made = setting.white(rows)
    made = made - (made @ basis.T) @ basis
    return np.asarray(np.linalg.lstsq(made.T, setting.whitened, rcond=None)[0])


def _too_strong(bodies: Sequence[Body], curves: Sequence[FloatArray]) -> str:
    """Say when a neighbour is too strong beside the body."""
    ranges = [float(np.ptp(curve)) for curve in curves]
    strongest = 1 + int(np.argmax(ranges[1:]))
    if ranges[strongest] <= STRONG * ranges[0]:
        return ""
    apart = bodies[strongest].place - bodies[0].place
    return (
        f"Two bodies lie in one window: an anomaly of {ranges[strongest]:.3g} nT stands "
        f"{abs(apart):.0f} m to the {'right' if apart > 0 else 'left'} of one of "
        f"{ranges[0]:.3g} nT; take a profile over one of them."
    )
