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
from lodewalk.methods.spectral.low_latitude import (
    DampedReduction,
    Judgement,
    damped_reductions,
    judge_reduction,
    least_error,
)
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
from lodewalk.steps.transform_surface import Surface, taken_surface

Floats = NDArray[np.float64]
NAME = "total_field_anomaly"
#: Height of the upward continuation, in line spacings.
UP = 2.0
#: Reductions, which the guard judges.
JUDGED = ("reduced_to_pole", "reduced_to_equator", "pseudo_gravity")
#: Derivatives that only what is made of them shows.
SLOPES = ("north", "east")
#: The reduction that stands in for a plain one that is refused.
DAMPED = "reduced_to_pole_damped"
#: Transforms without a standard error, and why.
UNLIKE = (
    "carried on from the derivatives to the first order, its 90 % intervals held 79 to 84 % of the "
    "nodes in trials: errors are larger where the field is steep"
)
NO_ERROR = {
    "horizontal_gradient": UNLIKE,
    "total_gradient": UNLIKE,
    "tilt_angle": UNLIKE,
    "tilt_horizontal_derivative": "it is the change of an angle that has no direction where the "
    "field is quiet: the first order doesn't hold",
    "regional": "what belongs to it is a choice, not a measurement",
    "residual": "what belongs to the regional is a choice, not a measurement",
}
NO_GRID_ERROR = (
    "The grid has no standard error (see error_notes.json), so none of the transforms has one; "
    "reductions were judged by what lies beyond the edge alone."
)
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
    work = _Work(grids, grid, prepared, _field(inputs, settings), inputs, context)
    values, sds, told = _transformed(work, settings["transforms"])
    made = [_grid(grid, name, found) for name, found in values.items()]
    made += [
        _grid(grid, f"{name}_standard_error", sd, of=name)
        for name, sd in sds.items()
        if name in values
    ]
    return {"transform_grids": GridSet(tuple(made)), "transform_notes": Document(notes | told)}


def _transformed(
    work: "_Work", own: Mapping[str, Any]
) -> tuple[dict[str, Floats], dict[str, Floats], dict[str, Any]]:
    """Return transforms and standard errors by name, and what was assumed."""
    height = own["up_m"] or UP * work.between
    surface, operators = work.surface(own["surface"]), _operators(work.field, height)
    values = dict(zip(operators, surface.spectrum.apply(*operators.values()), strict=True))
    errors = work.errors({name: one for name, one in operators.items() if name not in SLOPES})
    notes = _about(work.field, height, work.between) | _judged(
        {name: judge_reduction(work.prepared, operators[name], errors[name]) for name in JUDGED}
    )
    for name in notes["refused"]:
        del values[name]
    notes["damped"] = None
    if "reduced_to_pole" in notes["refused"]:
        found, notes["damped"] = work.damped(surface)
        if found is not None:
            values[DAMPED], errors[DAMPED] = found
    sds = {name: work.stated(error) for name, error in errors.items()}
    made = _of_gradients(values, work.grid.spacing_m)
    values = {name: found for name, found in values.items() if name not in SLOPES} | made
    parts, notes["separation"] = _separated(
        work.prepared, work.grid, own["separation"], values["upward_continued"]
    )
    values |= {"regional": parts.regional, "residual": parts.residual}
    notes |= {
        "without_error": NO_ERROR,
        "relief_m": _relief(work.inputs),
        "surface": surface.notes,
        "warnings": [
            *_strong(work.grid, work.field),
            *surface.warnings,
            *([NO_GRID_ERROR] if work.sd is None else []),
        ],
    }
    return values, sds, notes


@dataclass(frozen=True)
class _Work:
    """What transforms and their errors are made from."""

    grids: GridSet
    grid: Grid
    prepared: GridSpectrum
    field: _Field
    inputs: Mapping[str, Record]
    context: Context

    @property
    def between(self) -> float:
        """Return the line spacing [m]."""
        return float(document(self.inputs, "grid_notes")["line_spacing_m"])

    @property
    def sd(self) -> Floats | None:
        """Return the grid's standard error; None where there is none."""
        found = self.grids.named(f"{NAME}_standard_error")
        if found is None or not np.isfinite(found.values[self.prepared.known]).any():
            return None
        return found.values

    def surface(self, way: str) -> Surface:
        """Return what the operators are applied to."""
        sd = np.nan if self.sd is None else float(np.nanmedian(self.sd))
        return taken_surface(
            self.grid,
            self.prepared,
            self.inputs,
            way=way,
            between=self.between,
            relative_error=sd / float(np.nanstd(self.grid.values)),
            depth_m=document(self.inputs, "error_notes")["depth_m"],
        )

    def errors(self, operators: Mapping[str, Operator]) -> dict[str, ErrorParts]:
        """Return the predicted error of each linear transform; without the grid's, edges alone."""
        about = document(self.inputs, "error_notes").values
        shared = None
        if about["shared_nT"]:
            shared = SharedLevel(about["shared_nT"], about["line_azimuth_deg"], self.between)
        found = transform_errors(
            np.zeros(self.prepared.known.shape) if self.sd is None else self.sd,
            self.prepared,
            list(operators.values()),
            error_depth_m=error_depth(self.between, about["depth_m"]),
            directions=(self.field.field, self.field.rocks),
            shared=shared,
            rng=self.context.rng("beyond the edge"),
        )
        return dict(zip(operators, found, strict=True))

    def stated(self, error: ErrorParts) -> Floats:
        """Return the standard deviation of an error; NaN where the grid has none."""
        return np.full_like(error.sd, np.nan) if self.sd is None else error.sd

    def damped(self, surface: Surface) -> tuple[tuple[Floats, ErrorParts] | None, dict[str, Any]]:
        """Return the damped reduction to the pole with its error, if it can be told, and how."""
        ways = damped_reductions(self.field.field, self.field.rocks)
        errors = self.errors({str(number): way for number, way in enumerate(ways)})
        best: DampedReduction = least_error(self.prepared, ways, list(errors.values()))
        judged = best.judgement
        told: dict[str, Any] = {
            "damping": best.operator.damping,
            "typical_error": judged.error,
            "signal": judged.signal,
            "held_back": round(best.held_back, 3),
            "told": judged.told,
            "why": best.words if judged.told else judged.reason,
        }
        if not judged.told:
            return None, told
        return (surface.spectrum.apply(best.operator)[0], best.errors), told


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


def _of_gradients(values: Mapping[str, Floats], spacing_m: float) -> dict[str, Floats]:
    """Return what is made of the derivatives and isn't linear."""
    slopes = Gradients(*(values[name] for name in (*SLOPES, "vertical_derivative")))
    tilt = tilt_angle(slopes)
    turned = gradients(tilt, spacing_m)
    return {
        "horizontal_gradient": horizontal_gradient(slopes),
        "total_gradient": total_gradient(slopes),
        "tilt_angle": tilt,
        "tilt_horizontal_derivative": horizontal_gradient(turned),
    }


def _separated(
    prepared: GridSpectrum, grid: Grid, way: str, upward_continued: Floats
) -> tuple[Parts, dict[str, Any]]:
    """Return regional and residual, and how they were parted."""
    told: dict[str, Any] = {"way": way, "deep_m": None, "shallow_m": None, "problem": None}
    told["depths_below"] = "the sensor"
    if way == "upward continuation":
        return Parts(upward_continued, grid.values - upward_continued), told
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


def _strong(grid: Grid, field: _Field) -> list[str]:
    """Return a warning where the anomaly is too strong to be harmonic."""
    strong = strong_anomaly(grid.values, strength_nT=field.strength_nT)
    return [strong] if strong else []


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
