"""A plan that is only thought of: an area drawn or held, settings tried, nothing written."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import polars as pl

from lodewalk.errors import InputError
from lodewalk.services.before_going.inputs import inputs_before, picked_for
from lodewalk.services.before_going.known import dated
from lodewalk.services.plan import PlanFigures, PlanSiteOfBase, figures_of
from lodewalk.services.settings import tried_settings
from lodewalk.survey.folder import Folder

if TYPE_CHECKING:
    from lodewalk.records.recorded import Shapes
    from lodewalk.steps.plan import Sketch

Corners = Sequence[Sequence[float]]
#: Name under which a drawn area enters the survey.
DRAWN_NAME = "drawn-area.geojson"


@dataclass(frozen=True)
class PlanRing:
    """One outline: role is area, exclusion or kept clear; corners are easting and northing [m]."""

    role: str
    name: str
    kind: str
    geometry: str
    corners_m: list[list[float]]


@dataclass(frozen=True)
class PlanPiece:
    """One piece of a line as it is walked; ends are easting and northing [m]."""

    line: str
    kind: str
    day: int
    rover: int
    ends_m: list[list[float]]
    length_m: float


@dataclass(frozen=True)
class PlanStand:
    """A waypoint: kind is start, end, on line, base, other base, check station or turns."""

    name: str
    kind: str
    text: str
    place_m: list[float]


@dataclass(frozen=True)
class PlanTried(PlanFigures):
    """A plan as it would be; `fitted` says that the making of it may choose other lines."""

    crs: str
    base: PlanSiteOfBase
    on_site_test: str
    base_hours: str
    pieces: list[PlanPiece]
    waypoints: list[PlanStand]
    outlines: list[PlanRing]
    optimised_when_made: bool
    odds_known: bool


@dataclass(frozen=True)
class PlanOdds:
    """Probability that the lines find the body, with its standard error; null if not told of."""

    probability: float | None
    standard_error: float | None
    wanted: float
    text: str


def plan_tried(
    folder: Folder, changes: Mapping[str, Any], corners: Corners | None = None
) -> PlanTried:
    """Return a plan as it would be, without odds and without the search for better lines.

    Parameters
    ----------
    folder : Folder
        The survey.
    changes : mapping
        Settings by dotted name.
    corners : sequence of pairs, optional
        Corners of a drawn area, easting and northing in the survey's system [m]; the area that
        is held when left out.

    Raises
    ------
    InputError
        When there is no area, or it can't be planned.
    """
    from lodewalk.steps.plan import sketch
    from lodewalk.steps.plan_choice import may_optimise

    tried, inputs, settings = _tried(folder, changes, corners)
    made = sketch(inputs, settings, optimise=False)
    found = made.values
    base = dict(found["base"])
    texts = {name: base.pop(name) for name in ("on_site_test", "hours", "not_checked")}
    base.pop("alternatives")
    return PlanTried(
        crs=tried.settings.survey.crs,
        **figures_of(found),
        base=PlanSiteOfBase(**base),
        on_site_test=texts["on_site_test"],
        base_hours=texts["hours"],
        pieces=_pieces(made.lines.frame),
        waypoints=_stands(made, settings, tried.settings.survey.crs),
        outlines=_outlines(inputs, settings),
        optimised_when_made=made.sought is not None and may_optimise(settings["plan"]),
        odds_known=made.sought is not None,
    )


def plan_odds(
    folder: Folder, changes: Mapping[str, Any], corners: Corners | None = None
) -> PlanOdds:
    """Return the odds of a plan as it would be; see `plan_tried`."""
    from threadpoolctl import threadpool_limits

    from lodewalk.steps.plan import sketch
    from lodewalk.steps.plan_sought import promise

    _, inputs, settings = _tried(folder, changes, corners)
    made = sketch(inputs, settings, optimise=False)
    wanted = settings["plan"]["detection"]
    if made.sought is None:
        text = "Nothing tells how magnetic the body is: say so in room Site, or add hand-meter "
        return PlanOdds(None, None, wanted, f"{text}readings.")
    with threadpool_limits(limits=1, user_api="blas"):
        found = promise(made.sought, made.layout, settings)
    chance, error = found["probability"], found["standard_error"]
    told = "over 99%" if chance > 0.995 else f"{chance:.0%} ±{max(100 * error, 1):.0f} (1 sd)"
    return PlanOdds(chance, error, wanted, f"{told} with {found['of']}; {wanted:.0%} wanted.")


def held_outlines(folder: Folder) -> list[PlanRing]:
    """Return area and exclusions that the survey holds, as outlines."""
    inputs = inputs_before(folder)
    return _outlines(inputs, picked_for(folder, "plan"))


def outline_of_file(folder: Folder, path: Path) -> list[PlanRing]:
    """Return the polygons of a file in the survey's system; nothing is added.

    Raises
    ------
    InputError
        For a file that holds no area, or one elsewhere.
    """
    from lodewalk.formats.registry import recognise
    from lodewalk.services.place import check_place
    from lodewalk.services.reading import check_file

    check_file(path)
    crs = folder.settings.survey.crs
    read = recognise(path, role="area").reader().read(path, role="area", column_map=None)
    check_place(read.table, None, crs, path.name)
    return _of_shapes(cast("Shapes", read.table), crs)


def write_drawn(folder: Folder, corners: Corners, path: Path) -> None:
    """Write a drawn area as GeoJSON, longitude and latitude to a tenth of a millimetre."""
    line = _ring_deg(corners, folder.settings.survey.crs)
    geometry = {"type": "Polygon", "coordinates": [line]}
    feature = {"type": "Feature", "properties": {"name": "drawn area"}, "geometry": geometry}
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}), "utf-8")


def _ring_deg(corners: Corners, crs: str) -> list[list[float]]:
    """Return the closed ring of drawn corners as longitude and latitude, as it is written."""
    import numpy as np

    from lodewalk.adapters.projection import to_geographic

    east, north = np.array([*corners, corners[0]], dtype=float).T
    corners_deg = np.column_stack(to_geographic(east, north, crs=crs))
    ring: list[list[float]] = np.round(corners_deg, 9).tolist()
    return ring


def _tried(
    folder: Folder, changes: Mapping[str, Any], corners: Corners | None
) -> tuple[Folder, dict[str, Any], dict[str, Any]]:
    """Return the survey with tried settings, what the step takes, and its settings."""
    tried = tried_settings(folder, dated(folder, changes))
    inputs: dict[str, Any] = dict(
        inputs_before(folder, without=("area",) if corners is not None else ())
    )
    if corners is not None:
        inputs["area_recorded"] = drawn_shapes(corners, tried.settings.survey.crs)
    return tried, inputs, picked_for(tried, "plan")


def drawn_shapes(corners: Corners, crs: str) -> "Shapes":
    """Return the corners as the polygon of an area, as the file of it will be read.

    Raises
    ------
    InputError
        For fewer than three corners.
    """
    from lodewalk.adapters.projection import WGS84
    from lodewalk.records.recorded import Shapes

    if len(corners) < 3:
        raise InputError(
            "An area has three corners or more.",
            value=len(corners),
            remedy="Click on the map, or type easting and northing of another corner.",
        )
    ring = _ring_deg(corners, crs)
    count = len(ring)
    return Shapes(
        pl.DataFrame(
            {
                "line_in_file": range(1, count + 1),
                "shape": [0] * count,
                "part": [0] * count,
                "ring": [0] * count,
                "geometry": ["polygon"] * count,
                "name": ["drawn area"] * count,
                "kind": [None] * count,
                "buffer_m": [None] * count,
                "first": [corner[0] for corner in ring],
                "second": [corner[1] for corner in ring],
                "crs": [WGS84] * count,
            },
            schema={column.name: column.dtype for column in Shapes.SCHEMA},
        )
    )


def _outlines(inputs: Mapping[str, Any], settings: Mapping[str, Any]) -> list[PlanRing]:
    """Return area, exclusions and what is kept clear as outlines."""
    from lodewalk.adapters.plan_outlines import plan_outlines

    plan = settings["plan"]
    found = plan_outlines(
        inputs["area_recorded"], inputs["exclusion_recorded"], crs=settings["survey.crs"],
        buffers_m={name: plan[name] for name in plan if name.endswith("_m")},
    )  # fmt: skip
    return [_ring(item, ring) for item in found for ring in item.rings]


def _of_shapes(shapes: "Shapes", crs: str) -> list[PlanRing]:
    """Return the polygons of an area as outlines, holes among them."""
    from lodewalk.adapters.geometry import area_polygons

    region = area_polygons(shapes, crs=crs)
    return [
        PlanRing("hole" if number else "area", "", "", "polygon", ring.round(2).tolist())
        for rings in region.rings()
        for number, ring in enumerate(rings)
    ]


def _ring(item: Any, ring: Any) -> PlanRing:
    """Return one ring of an outline as plain values."""
    return PlanRing(item.role, item.name, item.kind, item.geometry, ring.round(2).tolist())


def _pieces(frame: pl.DataFrame) -> list[PlanPiece]:
    """Return the pieces of lines as they are walked."""
    found = []
    for row in frame.iter_rows(named=True):
        ends = [[round(row[f"{axis}_{end}_m"], 2) for axis in ("easting", "northing")]
                for end in (1, 2)]  # fmt: skip
        ends = ends[::-1] if row["reversed"] else ends
        found.append(
            PlanPiece(
                row["line"], row["kind"], row["day"], row["rover"], ends, round(row["length_m"], 1)
            )
        )
    return found


def _stands(made: "Sketch", settings: Mapping[str, Any], crs: str) -> list[PlanStand]:
    """Return the waypoints of a plan."""
    from lodewalk.steps.plan_tables import planned_points

    points = planned_points(made.layout, made.lines, made.ground, settings, crs).frame
    return [
        PlanStand(name, kind, text, [round(east, 1), round(north, 1)])
        for name, kind, text, east, north in points.select(
            "name", "kind", "text", "easting_m", "northing_m"
        ).iter_rows()
    ]
