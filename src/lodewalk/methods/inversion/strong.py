"""Strong anomalies: what the difference of magnitudes has beyond the projection on the field."""

from dataclasses import dataclass, field, replace

import numpy as np

from lodewalk.errors import InputError
from lodewalk.methods.inversion.fit import fit_body
from lodewalk.methods.inversion.models import Ambient, body_curve, kind_of
from lodewalk.methods.inversion.results import BodyFit, Estimate, Profile, ProfileFit
from lodewalk.validation import FloatArray

#: Share of the ambient field from which an anomaly is strong.
STRONG = 0.05
#: Kinds whose exact curve is tried; a dyke takes thin sheets in.
KINDS = ("dyke", "contact")
#: Largest part of the anomaly that the exact fit may leave over: the part beyond the projection is
#: then known to such a part of its share of the field.
LARGEST_REST = 0.1
#: Half a width that stands for none, in depths.
THINNEST = 1e-3


@dataclass(frozen=True)
class Beyond:
    """What a strong profile holds beyond the projection of its body on the ambient field.

    Parameters
    ----------
    curve_nT : array, shape (n,)
        Exact difference of magnitudes less the projection, at the readings [nT].
    share : float
        Largest anomaly as a share of the ambient field.
    wider : float
        How many times wider an interval is with the slopes of the exact curve.
    problem : str
        Why it can't be told: one sentence.
    """

    curve_nT: FloatArray = field(default_factory=lambda: np.zeros(0))
    share: float = 0.0
    wider: float = 1.0
    problem: str = ""


def anomaly_share(profile: Profile, strength_nT: float) -> float:
    """Return a profile's largest anomaly as a share of the ambient field.

    Examples
    --------
    >>> anomaly_share(Profile(np.arange(5.0), np.array([0.0, 0.0, 5000.0, 0.0, 0.0])), 50000.0)
    0.1
    """
    anomaly = profile.anomaly_nT
    return float(np.abs(anomaly - np.median(anomaly)).max() / strength_nT)


def beyond_projection(profile: Profile, ambient: Ambient) -> Beyond:
    """Return what a profile holds beyond the projection, by the body that fits it exactly.

    Parameters
    ----------
    profile : Profile
        Readings across the strike.
    ambient : Ambient
        The ambient field over it.

    Returns
    -------
    Beyond
        With a problem where no exact fit comes to rest, or where it leaves over more than a tenth.

    Notes
    -----
    A total-field instrument tells ``|F + B| - F``, which exceeds the projection ``T`` of ``B`` on
    the field by about ``(B^2 - T^2) / 2 F``. Across a long body the two parts of ``B`` are a pair
    of conjugate functions, so the excess follows from the curve itself, whatever body makes it:
    that of the best exact fit stands for all kinds.

    Examples
    --------
    >>> x = np.arange(-60.0, 61.0, 2.0)
    >>> body = {"position_m": 0.0, "depth_m": 10.0, "half_width_m": 3.0,
    ...     "strength_nT_m": 1e5, "index_angle_deg": 30.0}
    >>> ambient = Ambient(50000.0, 60.0, 0.0)
    >>> exact, _ = body_curve("dyke", x, body, ambient=ambient)
    >>> plain, _ = body_curve("dyke", x, body)
    >>> found = beyond_projection(Profile(x, exact), ambient)
    >>> bool(np.allclose(found.curve_nT, exact - plain, atol=1.0))
    True
    """
    fits = []
    for kind in KINDS:
        try:
            fits.append(fit_body(profile, kind, ambient=ambient))
        except (InputError, np.linalg.LinAlgError):
            continue
    fits = [fit for fit in fits if np.isfinite(fit.cost)]
    share = anomaly_share(profile, ambient.strength_nT)
    best = min(fits, key=lambda fit: fit.cost, default=None)
    # a fit without a residual never rests, and is none the worse for it
    if best is None or not (best.converged or best.cost < best.freedom):
        return Beyond(share=share, problem=_problem(share, "no exact fit comes to rest"))
    spread = float(np.std(profile.anomaly_nT))
    left = float(np.std(profile.anomaly_nT - best.model_nT)) / max(spread, 1e-300)
    if left > LARGEST_REST:
        why = f"no long body makes it: {100.0 * left:.0f} % of it are left over"
        return Beyond(share=share, problem=_problem(share, why))
    values = _values(best)
    exact, by_exact = body_curve(
        best.kind, profile.distance_m, values, rise_m=profile.rise_m, ambient=ambient
    )
    plain, by_plain = body_curve(best.kind, profile.distance_m, values, rise_m=profile.rise_m)
    wider = max(_wider(by_exact, by_plain, profile), 1.0)
    return Beyond(exact - plain, share, wider)


def _problem(share: float, why: str) -> str:
    """Return why a strong anomaly has no numbers."""
    return (
        f"The anomaly is {100.0 * share:.0f} % of the field, so the projection doesn't hold, and "
        f"{why}."
    )


def _values(fit: BodyFit) -> dict[str, float]:
    """Return the parameters of a fit's curve."""
    own = kind_of(fit.kind)
    names = (*own.shape, own.size, "index_angle_deg")
    values = {name: fit.estimates[name].value for name in names}
    if "half_width_m" in values:
        values["half_width_m"] = max(values["half_width_m"], THINNEST * values["depth_m"])
    return values


def _wider(exact: dict[str, FloatArray], plain: dict[str, FloatArray], profile: Profile) -> float:
    """Return how many times the error of the depth is larger by the exact slopes."""
    middle = profile.distance_m - profile.distance_m.mean()
    sds = []
    for slopes in (exact, plain):
        names = [name for name in slopes if name != "half_width_m"]
        rows = np.stack([*(slopes[name] for name in names), np.ones(middle.size), middle])
        rows = rows / profile.sd_nT
        size = np.linalg.norm(rows, axis=1, keepdims=True)
        size[size == 0.0] = 1.0
        inverse = np.linalg.pinv((rows / size) @ (rows / size).T, hermitian=True)
        place = names.index("depth_m")
        sds.append(np.sqrt(inverse[place, place]) / size[place, 0])
    return float(sds[0] / max(sds[1], 1e-300))


def projected(profile: Profile, beyond: Beyond) -> Profile:
    """Return a profile as its body's projection on the ambient field would have it."""
    return replace(profile, anomaly_nT=profile.anomaly_nT - beyond.curve_nT)


def as_measured(found: ProfileFit, beyond: Beyond) -> ProfileFit:
    """Return what a projected profile says, with curves as measured and wider intervals.

    Parameters
    ----------
    found : ProfileFit
        What the projected profile says.
    beyond : Beyond
        What was taken off it.
    """
    if found.problem:
        return found
    said = strong_words(beyond)
    fits = tuple(
        replace(
            fit,
            estimates={
                name: _spread(estimate, beyond.wider) for name, estimate in fit.estimates.items()
            },
            not_resolved=(*fit.not_resolved, said),
            **{n: getattr(fit, n) + beyond.curve_nT for n in ("model_nT", "low_nT", "high_nT")},
        )
        for fit in found.fits
    )
    depth = None if found.depth is None else _spread(found.depth, beyond.wider)
    widths = {
        name: replace(one, sd={k: beyond.wider * sd for k, sd in one.sd.items()})
        for name, one in found.widths.items()
    }
    return replace(found, fits=fits, depth=depth, widths=widths)


def strong_words(beyond: Beyond) -> str:
    """Return what is said of a body under a strong anomaly."""
    return (
        f"The anomaly is {100.0 * beyond.share:.0f} % of the field: the exact difference of "
        "magnitudes is fitted, and the shape of so magnetic a body turns its magnetisation."
    )


def _spread(estimate: Estimate, times: float) -> Estimate:
    """Return an estimate with an interval so many times as wide."""
    value = estimate.value
    return replace(
        estimate,
        sd=estimate.sd * times,
        low=value - (value - estimate.low) * times,
        high=value + (estimate.high - value) * times,
    )
