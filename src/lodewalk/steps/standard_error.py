"""Standard error: how sure the grid is, near the lines and between them."""

from collections.abc import Mapping
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.methods.gridding.calibrate_error import Engine, calibrate
from lodewalk.methods.gridding.covariance import FieldCovariance, fit_covariance
from lodewalk.methods.gridding.ground import Region
from lodewalk.methods.gridding.interface import ALONG_STRIKE, region_for
from lodewalk.methods.gridding.line_blocks import LineBlocks, line_blocks
from lodewalk.methods.gridding.line_folds import line_directions
from lodewalk.methods.gridding.standard_error import PART, Calibration, Surface, standard_error
from lodewalk.records import Document, Grid, GridSet, Record
from lodewalk.steps.context import Context
from lodewalk.steps.gridded import (
    CURVATURE,
    LAYER,
    Used,
    fitted_layer,
    on_nodes,
    used_readings,
)
from lodewalk.steps.rows import document, passage_of_readings, table

Floats = NDArray[np.float64]
NAME = "total_field_anomaly_standard_error"
#: Nodes between two lines, and the most of them in all: beside lines the error is smooth.
NODES_BETWEEN, MOST_NODES = 4, 400_000
#: How far beyond the readings the error is told, in line spacings.
REACH = 1.5
#: Parts of the budget that all readings of a passage share.
SHARED = ("diurnal", "clock", "heading", "level")


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the standard error of the grid on a mesh of its own, and how it was found."""
    passage = passage_of_readings(inputs)
    used = used_readings(table(inputs, "readings"), passage)
    surface = document(inputs, "surface").values
    notes: dict[str, Any] = {
        "depth_m": None,
        "variance_nT2": None,
        "overall": None,
        "judged": None,
        "shared_nT": None,
        "line_azimuth_deg": None,
        "problem": None,
    }
    try:
        how = settings["grid.method"], surface
        values, region, told = _map(inputs, used, how, settings["grid.reach_m"] or 0.0, context)
    except InputError as error:
        notes["problem"] = error.rule
        return {"error_grids": GridSet(()), "error_notes": Document(notes)}
    grid = Grid(
        values, region.west_m, region.south_m, told["spacing_m"], settings["survey.crs"], "nT", NAME
    )
    return {"error_grids": GridSet((grid,)), "error_notes": Document(notes | told)}


def _map(
    inputs: Mapping[str, Record],
    used: Used,
    how: tuple[str, Mapping[str, Any]],
    reach_m: float,
    context: Context,
) -> tuple[Floats, Region, dict[str, Any]]:
    """Return the standard error at each node, where the nodes lie, and what was found."""
    sd = used.weighing_sd
    if not used.passage.size or sd is None:
        raise InputError("No reading has an anomaly and a noise of its own.")
    between = used.line_spacing_m
    places = used.easting_m, used.northing_m
    shared = _shared(inputs, used)
    covariance = fit_covariance(
        *places,
        used.anomaly_nT,
        sd_nT=sd,
        passage=used.passage,
        shared=shared,
        line_spacing_m=between,
    )
    surface = _surface(*how, usual_sd_nT=float(np.median(sd)), between=between)
    context.check_cancelled()
    calibration = calibrate(
        *places,
        used.anomaly_nT,
        sd_nT=sd,
        passage=used.passage,
        shared=shared,
        lines=used.line_folds,
        pieces=used.piece_folds,
        covariance=covariance,
        surface=surface,
        engine=_engine(*how, between),
        line_spacing_m=between,
    )
    context.check_cancelled()
    blocks = line_blocks(
        *places,
        used.anomaly_nT,
        sd_nT=sd,
        passage=used.passage,
        shared=shared,
        size_m=between / NODES_BETWEEN,
    )
    lengths = between, max(REACH * between, reach_m)
    values, region, spacing = _on_nodes(blocks, covariance, surface, calibration, lengths, context)
    return values, region, {
        "spacing_m": spacing,
        "depth_m": round(covariance.depth_m, 3),
        "variance_nT2": round(covariance.variance_nT2, 4),
        "overall": round(calibration.overall, 4),
        "judged": calibration.judged,
        "shared_nT": round(float(np.sqrt(np.mean(shared[:, 0] ** 2))), 4),
        "line_azimuth_deg": round(_azimuth(used), 2),
    }  # fmt: skip


def _azimuth(used: Used) -> float:
    """Return the direction that most of the walk has, from grid north [deg]."""
    number = np.unique(used.passage, return_inverse=True)[1]
    angle, _ = line_directions(used.northing_m, used.easting_m, number)
    return float(np.degrees(angle))


def _shared(inputs: Mapping[str, Record], used: Used) -> Floats:
    """Return what the readings of a passage share: corrections, and place to east and north."""
    budget = table(inputs, "rover_budget")
    parts = [np.nan_to_num(budget.floats(f"sd_{name}_nT")[used.rows]) for name in SHARED]
    together = np.sqrt(np.sum(np.square(parts), axis=0))
    place = [np.nan_to_num(budget.floats(f"position_{name}_nT")[used.rows])
             for name in ("east", "north")]  # fmt: skip
    return np.column_stack([together, *place])


def _plain(method: str, surface: Mapping[str, Any]) -> bool:
    """Tell whether the grid is plain minimum curvature, whose error has a closed form."""
    return method == CURVATURE or (method == ALONG_STRIKE and not surface["strength"])


def _surface(
    method: str, surface: Mapping[str, Any], *, usual_sd_nT: float, between: float
) -> Surface | None:
    """Return how plain minimum curvature made the grid; None for another engine."""
    if not _plain(method, surface):
        return None
    return Surface(
        surface["damping_m2"],
        surface["tension"],
        surface["tension_length_m"],
        between / NODES_BETWEEN,
        usual_sd_nT,
    )


def _engine(method: str, surface: Mapping[str, Any], between: float) -> Engine | None:
    """Return the engine that made the grid, for readings left out; None for a plain surface."""
    if _plain(method, surface):
        return None

    def made(
        readings: tuple[Floats, Floats, Floats],
        sd: Floats,
        passage: NDArray[np.int64],
        region: Region,
        node_m: float,
    ) -> Floats:
        if method == LAYER:
            layer = fitted_layer(*readings, sd=sd, layer=surface["layer"])
            return layer.on_grid(region, spacing_m=node_m, height_m=0.0)
        return on_nodes(
            readings,
            sd,
            passage,
            region,
            spacing_m=node_m,
            reach_m=node_m * (sum(region.shape) + 1),
            line_spacing_m=between,
            method=method,
            surface=surface,
        )

    return made


def _on_nodes(
    blocks: LineBlocks,
    covariance: FieldCovariance,
    surface: Surface | None,
    calibration: Calibration,
    lengths: tuple[float, float],
    context: Context,
) -> tuple[Floats, Region, float]:
    """Return the standard error at the nodes of an even mesh, and the distance of its nodes.

    `lengths` are line spacing and reach [m].
    """
    between, reach = lengths
    area = np.prod([float(np.ptp(axis)) + 2 * reach for axis in blocks[:2]])
    spacing = max(between / NODES_BETWEEN, float(np.sqrt(area / MOST_NODES)))
    region = region_for(blocks.easting, blocks.northing, spacing_m=spacing, reach_m=reach)
    row, column = np.divmod(np.arange(region.shape[0] * region.shape[1]), region.shape[1])
    nodes = np.stack([region.west_m + spacing * column, region.south_m + spacing * row])
    one = partial(
        _tile, blocks=blocks, covariance=covariance, surface=surface, calibration=calibration
    )
    parts = [nodes[:, first : first + PART] for first in range(0, nodes.shape[1], PART)]
    return np.concatenate(context.map(one, parts)).reshape(region.shape), region, spacing


def _tile(
    nodes: Floats,
    *,
    blocks: LineBlocks,
    covariance: FieldCovariance,
    surface: Surface | None,
    calibration: Calibration,
) -> Floats:
    """Return the standard error at some nodes."""
    return standard_error(
        nodes[0], nodes[1], blocks, covariance=covariance, surface=surface, calibration=calibration
    )
