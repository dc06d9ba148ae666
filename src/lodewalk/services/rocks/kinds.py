"""How probable each kind of body is, as it is told."""

from dataclasses import dataclass

from lodewalk.services.rocks.rows import plain


@dataclass(frozen=True)
class Kind:
    """How probable one kind of body is, and the depth below ground with it."""

    kind: str
    probability: float
    depth_m: float | None
    depth_low_m: float | None
    depth_high_m: float | None


def kind_told(
    kind: str, share: float, depth: float | None, low: float | None, high: float | None
) -> Kind:
    """Return a kind as it is told: the depth of one as good as excluded has no interval.

    Examples
    --------
    >>> kind_told("contact", 1e-5, 8.0, 6.0, 9.0).depth_low_m is None
    True
    """
    from lodewalk.methods.inversion.choice import LEFT_OUT

    held = share > LEFT_OUT
    return Kind(
        kind, share, plain(depth), plain(low) if held else None, plain(high) if held else None
    )
