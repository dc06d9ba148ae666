"""The field of other lineaments' bodies on the profile of a pick."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.methods.inversion.models import body_curve
from lodewalk.methods.inversion.results import BodyFit, Estimate
from lodewalk.records import Table
from lodewalk.steps.joint_fits import Joint

if TYPE_CHECKING:
    from lodewalk.steps.fits import Fitted, Pick

Floats = NDArray[np.float64]
#: Range of a field beside a straight line, in errors of a reading, from which it counts.
SEEN = 1.0


def fields_beside(
    every: Table,
    good: Sequence[tuple["Pick", "Fitted"]],
    joints: Mapping[str, Joint],
    picks: Sequence["Pick"],
) -> list[Floats | None]:
    """Return for each pick the field of other lineaments' bodies along its profile [nT].

    A body is that of the lineament's own pick on the same passage, or else that of the lineament
    together, at the place where this crosses the passage. None where no such field is seen: where
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
    list of array or None
    """
    bodies = {pick.row["pick"]: (pick, one.found.fits[0]) for pick, one in good}
    rows = every.frame
    found: list[Floats | None] = []
    for pick in picks:
        others = on_its_line(rows, pick)
        own = bodies.get(pick.row["pick"])
        middle = own[1].estimates["position_m"].value if own else 0.0
        field = np.zeros(pick.profile.distance_m.size)
        for other in others.iter_rows(named=True):
            body, at = _body_of(pick, other, bodies, joints)
            if "depth_m" in body and abs(at - middle) > body["depth_m"].value:
                field += curve(pick, body, at)
        found.append(field if _is_seen(pick, field) else None)
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
    bodies: Mapping[str, tuple["Pick", BodyFit]],
    joints: Mapping[str, Joint],
) -> tuple[Mapping[str, Estimate], float]:
    """Return the body under another pick, nothing where there is none, and its place [m]."""
    place = np.array([other["easting_m"]]), np.array([other["northing_m"]])
    at = float(pick.stand.across(*place)[0])
    own = bodies.get(other["pick"])
    if own is not None and own[1].kind != "contact":
        turn = np.radians(own[0].stand.azimuth_deg - pick.stand.azimuth_deg)
        beside = own[1].estimates["position_m"].value * float(np.cos(turn))
        return own[1].estimates, at + beside
    joint = joints.get(other["lineament"])
    return (joint.together.estimates if joint and joint.together else {}), at


def curve(pick: "Pick", body: Mapping[str, Estimate], at_m: float) -> Floats:
    """Return the field of a strip of some estimates at a place along a profile [nT]."""
    names = ("depth_m", "index_angle_deg", "strength_nT_m")
    if any(name not in body for name in names):
        return np.zeros(pick.profile.distance_m.size)
    values = {name: body[name].value for name in names} | {"position_m": at_m}
    half = body["half_width_m"].value if "half_width_m" in body else 0.0
    kind = "dyke" if half > 0.0 else "thin sheet"
    if kind == "dyke":
        values["half_width_m"] = half
    return np.asarray(
        body_curve(kind, pick.profile.distance_m, values, rise_m=pick.profile.rise_m)[0]
    )


def _is_seen(pick: "Pick", field: Floats) -> bool:
    """Tell whether a field departs from a straight line by more than the errors of readings."""
    at = pick.profile.distance_m
    if at.size < 3 or not field.any():
        return False
    rest = field - np.polyval(np.polyfit(at, field, 1), at)
    return bool(np.ptp(rest) > SEEN * float(np.median(pick.profile.sd_nT)))
