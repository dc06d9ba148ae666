"""What methods of depth return."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from lodewalk.methods.inversion.results import Estimate


@dataclass(frozen=True)
class DepthRule:
    """What one method says of the depth of a body's top, below the sensor.

    Parameters
    ----------
    method : str
        ``half slope``, ``tilt depth``, ``total gradient width``, ``Euler``, ``local wavenumber``,
        ``spectral`` or ``fit``.
    depth : Estimate or None
        Depth below the reference height of the sensor [m]; None where the method has no answer.
    distance_m : float
        Where on the profile it was taken [m].
    index : Estimate or None
        Structural index, where the method tells it.
    valid : bool
        Whether the method's own conditions hold here.
    reason : str
        Why it isn't valid or has no answer, or what it assumes: one sentence.
    """

    method: str
    depth: Estimate | None
    distance_m: float = float("nan")
    index: Estimate | None = None
    valid: bool = True
    reason: str = ""


@dataclass(frozen=True)
class DepthAnswer:
    """One calibrated depth with what the methods said.

    `spread` is the disagreement: the standard deviation of the valid methods in units of the
    answer's; `kinds` holds the depth for each kind of body, the error of a wrong kind;
    `distance_m` is where on the profile the body lies.
    """

    depth: Estimate | None
    rules: tuple[DepthRule, ...] = ()
    index: Estimate | None = None
    spread: float = float("nan")
    kinds: Mapping[str, Estimate] = field(default_factory=dict)
    problem: str = ""
    distance_m: float = float("nan")
