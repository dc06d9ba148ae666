"""Which readings a fitted depth rests on."""

from collections.abc import Mapping

import numpy as np

from lodewalk.methods.inversion.models import body_curve, kind_of
from lodewalk.methods.inversion.results import Profile
from lodewalk.validation import FloatArray


def depth_influence(
    profile: Profile, kind: str, *, shape: Mapping[str, float], index_angle_deg: float
) -> FloatArray:
    """Return how far one standard deviation of each reading moves the depth.

    Parameters
    ----------
    profile : Profile
        The readings.
    kind : str
        Kind of long body, as for `body_curve`.
    shape : mapping of str to float
        Its place, depth and width as fitted, by their names.
    index_angle_deg : float
        Its index angle [deg].

    Returns
    -------
    array, shape (n,)
        Change of the depth [m] with each reading raised by its own sd; NaN where the readings
        don't hold the body.

    Raises
    ------
    InputError
        For an unknown kind or a parameter of its shape that is missing.

    Notes
    -----
    A row of ``(J^T W J)^-1 J^T W``, the linear answer of weighted least squares to an error in
    one reading, times that reading's sd; ``J`` holds the derivatives to all parameters of the
    body, level and slope, ``W`` the inverse squares of the sd.

    Examples
    --------
    >>> x = np.linspace(-40.0, 40.0, 41)
    >>> sheet = {"position_m": 0.0, "depth_m": 10.0}
    >>> moved = depth_influence(Profile(x, 100.0 / (x**2 + 100.0)), "thin sheet", shape=sheet,
    ...     index_angle_deg=0.0)
    >>> float(x[np.argmin(moved)]), bool(moved.min() < 0.0)
    (0.0, True)
    """
    own = kind_of(kind)
    at = {**shape, own.size: 1.0, "index_angle_deg": index_angle_deg}
    curve, slopes = body_curve(kind, profile.distance_m, at, rise_m=profile.rise_m)
    regional = np.stack([np.ones(curve.size), profile.distance_m], axis=1)
    weight = 1.0 / profile.sd_nT
    basis = np.column_stack([curve, regional]) * weight[:, None]
    size = np.linalg.lstsq(basis, profile.anomaly_nT * weight, rcond=None)[0][0]
    names = [name for name in (*own.shape, "index_angle_deg") if name in slopes]
    columns = [size * slopes[name] for name in names]
    everything = np.column_stack([*columns, slopes[own.size], regional]) * weight[:, None]
    answer: FloatArray = np.linalg.pinv(everything)[names.index("depth_m")]
    return answer if np.isfinite(answer).all() else np.full(curve.size, np.nan)
