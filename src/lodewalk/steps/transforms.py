"""Transforms of the grid: continuation, derivatives, reductions, each with its error."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.methods.spectral.error import (
    ErrorParts,
    SharedLevel,
    error_depth,
    transform_errors,
)
from lodewalk.methods.spectral.low_latitude import Judgement, judge_reduction
from lodewalk.methods.spectral.operators import (
    Direction,
    Operator,
    east_derivative,
    north_derivative,
    pseudo_gravity,
    to_equator,
    to_pole,
    upward,
    vertical_derivative,
)
from lodewalk.methods.spectral.power import radial_power
from lodewalk.methods.spectral.separation import (
    Parts,
    continuation_parts,
    matched_parts,
    trend_parts,
    two_layers,
)
from lodewalk.methods.spectral.strong import strong_anomaly
from lodewalk.methods.spectral.transforms import (
    Gradients,
    GridSpectrum,
    gradients,
    horizontal_gradient,
    prepare,
    tilt_angle,
    total_gradient,
)
from lodewalk.records import Document, Grid, GridSet, Record
from lodewalk.steps.context import Context
from lodewalk.steps.rows import document, table
from lodewalk.steps.site_field import ambient_on_grid, grid_turn

Floats = NDArray[np.float64]
NAME = "total_field_anomaly"
#: Height of the upward continuation, in line spacings.
UP = 2.0
#: Relief that is told of, in line spacings: the spacing limits what the grid shows of depths
#: (common practice has no figure; this one is ours).
RELIEF = 0.5
#: Reductions, which the guard judges.
JUDGED = ("reduced_to_pole", "reduced_to_equator", "pseudo_gravity")
#: Derivatives that only what is made of them shows.
SLOPES = ("north", "east")
UNITS = {
    "vertical_derivative": "nT/m",
    "pseudo_gravity": "nT m",
    "horizontal_gradient": "nT/m",
    "total_gradient": "nT/m",
    "tilt_angle": "deg",
    "tilt_horizontal_derivative": "deg/m",
}


@dataclass(frozen=True)
class _Field:
    """The reference field: strength [nT], its direction and that of the rocks' magnetisation."""

    strength_nT: float
    field: Direction
    rocks: Direction


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the transforms of the grid and what was assumed."""
    grids = cast("GridSet", inputs["grids"])
    grid = grids.named(NAME)
    notes: dict[str, Any] = {"problem": None, "refused": {}, "warnings": []}
    if grid is None:
        return _nothing(notes, document(inputs, "grid_notes")["problem"] or "There is no grid.")
    try:
        prepared = prepare(grid.values, grid.spacing_m)
    except InputError as error:
        return _nothing(notes, str(error))
    between = document(inputs, "grid_notes")["line_spacing_m"]
    own = settings["transforms"]
    field = _field(inputs, settings)
    height = own["up_m"] or UP * between
    operators = _operators(field, height)
    values = dict(zip(operators, prepared.apply(*operators.values()), strict=True))
    errors = _errors(grids, prepared, operators, field, (inputs, between, context))
    notes |= _about(field, height, between)
    judged = {name: judge_reduction(prepared, operators[name], errors[name]) for name in JUDGED}
    notes |= _judged(judged)
    for name in notes["refused"]:
        del values[name]
    notes["relief_m"] = _relief(inputs)
    notes["warnings"] = _warnings(grid, field, notes["relief_m"], between)
    values |= _of_gradients(values.pop("north"), values.pop("east"), values, grid.spacing_m)
    parts, notes["separation"] = _separated(prepared, grid, own["separation"], height)
    values |= {"regional": parts.regional, "residual": parts.residual}
    made = [_grid(grid, name, found) for name, found in values.items()]
    made += [
        _grid(grid, f"{name}_standard_error", error.sd, of=name)
        for name, error in errors.items()
        if name in values
    ]
    return {"transform_grids": GridSet(tuple(made)), "transform_notes": Document(notes)}


def _nothing(notes: Mapping[str, Any], problem: str) -> dict[str, Record]:
    """Return no grid, and why."""
    return {
        "transform_grids": GridSet(()),
        "transform_notes": Document({**notes, "problem": problem}),
    }


def _field(inputs: Mapping[str, Record], settings: Mapping[str, Any]) -> _Field:
    """Return the reference field on the grid, and the direction the rocks are taken to have."""
    north, east, down = ambient_on_grid(inputs, settings["survey.crs"])
    strength = float(np.sqrt(north**2 + east**2 + down**2))
    field = Direction(
        float(np.degrees(np.arcsin(down / strength))), float(np.degrees(np.arctan2(east, north)))
    )
    own = settings["transforms"]
    dip, turn = own["magnetisation_inclination_deg"], own["magnetisation_declination_deg"]
    if turn is not None:
        turn -= grid_turn(inputs, settings["survey.crs"])
    rocks = Direction(
        field.inclination_deg if dip is None else dip,
        field.declination_deg if turn is None else turn,
    )
    return _Field(strength, field, rocks)


def _operators(field: _Field, height_m: float) -> dict[str, Operator]:
    """Return the linear transforms by name."""
    ways = field.field, field.rocks
    return {
        "upward_continued": upward(height_m),
        "vertical_derivative": vertical_derivative(),
        "reduced_to_pole": to_pole(*ways),
        "reduced_to_equator": to_equator(*ways),
        "pseudo_gravity": pseudo_gravity(*ways),
        "north": north_derivative(),
        "east": east_derivative(),
    }


def _errors(
    grids: GridSet,
    prepared: GridSpectrum,
    operators: Mapping[str, Operator],
    field: _Field,
    more: tuple[Mapping[str, Record], float, Context],
) -> dict[str, ErrorParts]:
    """Return the predicted error of each linear transform."""
    inputs, between, context = more
    sd = grids.named(f"{NAME}_standard_error")
    about = document(inputs, "error_notes").values
    shared = None
    if about["shared_nT"]:
        shared = SharedLevel(about["shared_nT"], about["line_azimuth_deg"], between)
    told = {name: one for name, one in operators.items() if name not in SLOPES}
    found = transform_errors(
        np.zeros(prepared.known.shape) if sd is None else sd.values,
        prepared,
        list(told.values()),
        error_depth_m=error_depth(between, about["depth_m"]),
        directions=(field.field, field.rocks),
        shared=shared,
        rng=context.rng("beyond the edge"),
    )
    return dict(zip(told, found, strict=True))


def _judged(judged: Mapping[str, Judgement]) -> dict[str, Any]:
    """Return which reductions are refused, why and what instead, and what all were judged by."""
    return {
        "refused": {
            name: f"{one.reason} {one.alternative}" for name, one in judged.items() if not one.told
        },
        "judged": {
            name: {
                "typical_error": one.error,
                "signal": one.signal,
                "share_of_nodes": one.share,
                "unit": UNITS.get(name, "nT"),
            }
            for name, one in judged.items()
        },
    }


def _of_gradients(
    north: Floats, east: Floats, values: Mapping[str, Floats], spacing_m: float
) -> dict[str, Floats]:
    """Return what is made of the derivatives and isn't linear."""
    slopes = Gradients(north, east, values["vertical_derivative"])
    tilt = tilt_angle(slopes)
    turned = gradients(tilt, spacing_m)
    return {
        "horizontal_gradient": horizontal_gradient(slopes),
        "total_gradient": total_gradient(slopes),
        "tilt_angle": tilt,
        "tilt_horizontal_derivative": horizontal_gradient(turned),
    }


def _separated(
    prepared: GridSpectrum, grid: Grid, way: str, height_m: float
) -> tuple[Parts, dict[str, Any]]:
    """Return regional and residual, and how they were parted."""
    told: dict[str, Any] = {"way": way, "deep_m": None, "shallow_m": None, "problem": None}
    told["depths_below"] = "the sensor"
    if way == "upward continuation":
        return continuation_parts(prepared, grid.values, height_m=height_m), told
    if way == "matched filter":
        try:
            layers = two_layers(radial_power(prepared))
        except InputError as error:
            told |= {"way": "trend", "problem": str(error)}
        else:
            told |= {"deep_m": layers.deep_m, "shallow_m": layers.shallow_m}
            return matched_parts(prepared, grid.values, layers=layers), told
    return trend_parts(grid.values), told


def _relief(inputs: Mapping[str, Record]) -> float | None:
    """Return how far nine tenths of the sensor's heights lie apart [m]; None if not known."""
    height = table(inputs, "rover_heights").floats("height_m")
    height = height[np.isfinite(height)]
    return round(float(np.ptp(np.quantile(height, [0.05, 0.95]))), 2) if height.size else None


def _warnings(grid: Grid, field: _Field, relief_m: float | None, between: float) -> list[str]:
    """Return what a reader has to know before using the transforms."""
    strong = strong_anomaly(grid.values, strength_nT=field.strength_nT)
    found = [strong] if strong else []
    if relief_m is not None and relief_m > RELIEF * between:
        found.append(
            f"The transforms take the sensor's surface as level, but it rose and fell by "
            f"{relief_m:.0f} m (heights of the receiver, nine tenths of the readings): what "
            "changes with the slope of the ground may be its doing, and no error holds that."
        )
    return found


def _about(field: _Field, height_m: float, between: float) -> dict[str, Any]:
    """Return the directions and lengths used."""
    return {
        "field_nT": field.strength_nT,
        "inclination_deg": field.field.inclination_deg,
        "grid_declination_deg": field.field.declination_deg,
        "magnetisation_inclination_deg": field.rocks.inclination_deg,
        "magnetisation_grid_declination_deg": field.rocks.declination_deg,
        "up_m": height_m,
        "line_spacing_m": between,
    }


def _grid(grid: Grid, name: str, values: Floats, *, of: str = "") -> Grid:
    """Return a transform on the mesh of the grid."""
    unit = UNITS.get(of or name, "nT")
    return replace(grid, values=np.ascontiguousarray(values), name=name, unit=unit)
