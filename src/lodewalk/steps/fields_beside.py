"""The field of other lineaments' bodies on the profile of a pick."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.methods.inversion.models import body_curve
from lodewalk.records import Table
from lodewalk.steps.joint_fits import Joint

if TYPE_CHECKING:
    from lodewalk.steps.fits import Fitted, Pick

Floats = NDArray[np.float64]
#: Range of a field beside a straight line, in errors of a reading, from which it counts.
SEEN = 1.0
Numbers = Mapping[str, tuple[float, float]]


class FieldBeside(NamedTuple):
    """A field beside along a profile [nT], and its errors, one standard deviation of each [nT]."""

    field: Floats
    off: Floats


def fields_beside(
    every: Table,
    good: Sequence[tuple["Pick", "Fitted"]],
    joints: Mapping[str, Joint],
    picks: Sequence["Pick"],
) -> list[FieldBeside | None]:
    """Return for each pick the field of other lineaments' bodies along its profile [nT].

    A body is what the lineament's own pick on the same passage says at the width that its profiles
    share, or else the lineament's, at the place where this crosses the passage. Its strength and
    index angle may be off by their errors. None where no such field is seen: where
    it is as good as straight along the profile. Single edges are left out: far off their field is
    that of how far they run, which isn't known. So is a body nearer to the pick's own than it is
    deep: it may be the same one, and to take it off would take the pick's anomaly off.

    Parameters
    ----------
    every : Table
        All picks, also those without a body.
    good : sequence of (Pick, Fitted)
        Those with one.
    joints : mapping of str to Joint
        What each lineament is together.
    picks : sequence of Pick
        Whose fields are wanted.

    Returns
    -------
    list of FieldBeside or None
    """
    bodies = {pick.row["pick"]: (pick, one) for pick, one in good}
    rows = every.frame
    found: list[FieldBeside | None] = []
    for pick in picks:
        others = on_its_line(rows, pick)
        own = bodies.get(pick.row["pick"])
        middle = own[1].found.fits[0].estimates["position_m"].value if own else 0.0
        parts = [np.zeros((3, pick.profile.distance_m.size))]
        for other in others.iter_rows(named=True):
            body, at = _body_of(pick, other, bodies, joints)
            if body and abs(at - middle) > body["depth_m"][0]:
                parts.append(curves(pick, body, at))
        field = np.sum(parts, axis=0)[0]
        off = np.concatenate([part[1:] for part in parts[1:]]) if parts[1:] else field[None]
        found.append(FieldBeside(field, off) if _is_seen(pick, field) else None)
    return found


def on_its_line(rows: pl.DataFrame, pick: "Pick") -> pl.DataFrame:
    """Return the picks of other lineaments on the passage of a pick."""
    return rows.filter(
        (pl.col("passage") == pick.row["passage"])
        & pl.col("lineament").is_not_null()
        & (pl.col("lineament") != (pick.row["lineament"] or ""))
    )


def _body_of(
    pick: "Pick",
    other: Mapping[str, Any],
    bodies: Mapping[str, tuple["Pick", "Fitted"]],
    joints: Mapping[str, Joint],
) -> tuple[Numbers, float]:
    """Return the strip under another pick, nothing where there is none, and its place [m]."""
    place = np.array([other["easting_m"]]), np.array([other["northing_m"]])
    at = float(pick.stand.across(*place)[0])
    own, joint = bodies.get(other["pick"]), joints.get(other["lineament"])
    body = joint.body if joint else None
    edge = own[1].found.fits[0].kind == "contact" if own else False
    if body is not None and body.kind == "contact" or body is None and edge:
        return {}, at
    if own is not None and "strip" in own[1].found.widths:
        turn = np.radians(own[0].stand.azimuth_deg - pick.stand.azimuth_deg)
        at += own[1].found.fits[0].estimates["position_m"].value * float(np.cos(turn))
        shared = body.best["half_width_m"][0] if body else None
        numbers = own[1].found.widths["strip"].at(shared)
        depth = float(np.exp(numbers["log_depth"][0]))
        return {**numbers, "depth_m": (depth, numbers["log_depth"][1] * depth)}, at
    if body is None:
        return {}, at
    depth, sd = body.best["depth_m"]
    return {**body.best, "depth_m": (depth + pick.stand.sensor_height_m, sd)}, at


def curves(pick: "Pick", body: Numbers, at_m: float) -> Floats:
    """Return the field of a strip along a profile, and what its errors make of it, shape (3, n).

    The errors are those of strength and index angle, one standard deviation of each [nT].
    """
    values = {name: body[name][0] for name in ("depth_m", "half_width_m", "index_angle_deg")}
    values |= {"position_m": at_m, "strength_nT_m": float(np.exp(body["log_strength"][0]))}
    curve, slopes = body_curve(
        "dyke", pick.profile.distance_m, values, rise_m=pick.profile.rise_m
    )
    angle = slopes["index_angle_deg"] * body["index_angle_deg"][1]
    return np.stack([curve, curve * body["log_strength"][1], angle])


def _is_seen(pick: "Pick", field: Floats) -> bool:
    """Tell whether a field departs from a straight line by more than the errors of readings."""
    at = pick.profile.distance_m
    if at.size < 3 or not field.any():
        return False
    rest = field - np.polyval(np.polyfit(at, field, 1), at)
    return bool(np.ptp(rest) > SEEN * float(np.median(pick.profile.sd_nT)))
