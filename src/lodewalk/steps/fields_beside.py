"""The field of other lineaments' bodies on the profile of a pick."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.methods.inversion.models import body_curve
from lodewalk.methods.inversion.shared_width import Said
from lodewalk.records import Table
from lodewalk.steps.joint_fits import Joint

if TYPE_CHECKING:
    from lodewalk.steps.fits import Fitted, Pick

Floats = NDArray[np.float64]
#: Range of a field beside a straight line, in errors of a reading, from which it counts.
SEEN = 1.0
Numbers = Mapping[str, tuple[float, ...]]
#: What may be off of a body beside.
OFF = ("log_strength", "index_angle_deg", "depth_m")


class FieldBeside(NamedTuple):
    """A field beside along a profile [nT], and its errors, one standard deviation of each [nT].

    Each error has a name, and the part of its sd that all profiles beside that body share.
    """

    field: Floats
    off: Floats
    names: tuple[str, ...] = ()
    common: tuple[float, ...] = ()


def fields_beside(
    every: Table,
    good: Sequence[tuple["Pick", "Fitted"]],
    joints: Mapping[str, Joint],
    picks: Sequence["Pick"],
) -> list[FieldBeside | None]:
    """Return for each pick the field of other lineaments' bodies along its profile [nT].

    A body is what the lineament's own pick on the same passage says at the width that its profiles
    share, drawn to the mean of its profiles, or else that mean, at the place where this crosses the
    passage. Its strength, index angle and depth may be off by their errors. None
    where no such field is seen: where it is as good as straight along the profile. Single edges are
    left out: far off their field is that of how far they run, which isn't known. So is a body
    nearer to the pick's own than it is deep: it may be the same one, and to take it off would take
    the pick's anomaly off.

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
        parts = []
        for other in others.iter_rows(named=True):
            body, at = _body_of(pick, other, bodies, joints)
            if body and abs(at - middle) > body["depth_m"][0]:
                parts.append((str(other["lineament"]), body, curves(pick, body, at)))
        beside = _summed(parts) if parts else None
        seen = beside is not None and _is_seen(pick, beside.field)
        found.append(beside if seen else None)
    return found


def _summed(parts: Sequence[tuple[str, Numbers, Floats]]) -> FieldBeside:
    """Return the fields of bodies as one, with the errors of each."""
    return FieldBeside(
        np.sum([rows[0] for _, _, rows in parts], axis=0),
        np.concatenate([rows[1:] for _, _, rows in parts]),
        tuple(f"{name} {what}" for name, _, _ in parts for what in OFF),
        tuple(
            body[what][2] / max(body[what][1], 1e-12) if len(body[what]) > 2 else 0.0
            for _, body, _ in parts
            for what in OFF
        ),
    )


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
    if body.kind == "contact" if body else edge:
        return {}, at
    said = own[1].found.widths if own else {}
    if own is not None:
        turn = np.radians(own[0].stand.azimuth_deg - pick.stand.azimuth_deg)
        at += own[1].found.fits[0].estimates["position_m"].value * float(np.cos(turn))
    if body is not None:
        stand = own[0].stand if own else pick.stand
        ground = np.nan if stand.ground_m is None or own is None else stand.ground_m
        numbers = body.at_profile(Said(said, stand.sensor_height_m, ground))
        return {**numbers, "half_width_m": body.best["half_width_m"][:1]}, at
    if "strip" not in said:
        return {}, at
    alone = said["strip"].at()
    depth = float(np.exp(alone["log_depth"][0]))
    return {**alone, "depth_m": (depth, alone["log_depth"][1] * depth)}, at


def curves(pick: "Pick", body: Numbers, at_m: float) -> Floats:
    """Return the field of a strip along a profile, and what its errors make of it, shape (4, n).

    The errors are those of strength, index angle and depth, one standard deviation of each [nT].
    """
    values = {name: body[name][0] for name in ("depth_m", "half_width_m", "index_angle_deg")}
    values |= {"position_m": at_m, "strength_nT_m": float(np.exp(body["log_strength"][0]))}
    curve, slopes = body_curve("dyke", pick.profile.distance_m, values, rise_m=pick.profile.rise_m)
    off = [curve * body["log_strength"][1]]
    off += [slopes[name] * body[name][1] for name in OFF[1:]]
    return np.stack([curve, *off])


def _is_seen(pick: "Pick", field: Floats) -> bool:
    """Tell whether a field departs from a straight line by more than the errors of readings."""
    at = pick.profile.distance_m
    if at.size < 3 or not field.any():
        return False
    rest = field - np.polyval(np.polyfit(at, field, 1), at)
    return bool(np.ptp(rest) > SEEN * float(np.median(pick.profile.sd_nT)))
