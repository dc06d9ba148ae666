"""Grids for the map: which there are, the values of one, and its contours."""

from dataclasses import asdict, dataclass

import numpy as np
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.formats.netcdf_headers import GridHeader, read_grid, read_headers
from lodewalk.records import Grid
from lodewalk.services.curves.columns import Columns
from lodewalk.services.curves.grid_words import ERROR, words_of
from lodewalk.services.curves.kept import kept
from lodewalk.survey.folder import Folder
from lodewalk.survey.store import product_path

#: Products that hold grids, in the order in which they are offered.
PRODUCTS = ("grids", "transform_grids", "error_grids", "target_grids")
#: Percentiles between which colours are stretched.
CLIPPED = (1.0, 99.0)
#: More levels than these make a map black, and the browser slow.
MOST_LEVELS = 200


@dataclass(frozen=True)
class GridListed:
    """A grid: its name, title and unit, the mesh, what it shows and how it is grouped.

    `error_of` names the grid whose standard error it holds, `error_grid` the grid that holds its
    own; `term` is its word in the glossary.
    """

    name: str
    title: str
    unit: str
    crs: str
    west_m: float
    south_m: float
    spacing_m: float
    nodes_east: int
    nodes_north: int
    group: str
    about: str
    term: str | None
    error_of: str | None
    error_grid: str | None


@dataclass(frozen=True)
class GridsResult:
    """All grids that have been made."""

    grids: list[GridListed]


def grids(folder: Folder) -> GridsResult:
    """Return all grids that have been made, by their headers alone; none before the first run."""
    found = _headers(folder)
    return GridsResult([_listed(head, set(found)) for head, _ in found.values()])


def grid_values(folder: Folder, name: str) -> Columns:
    """Return the values of a grid in 32 bits, row after row from the south-western node.

    Returns
    -------
    Columns
        ``values``; `about` has what the list says of it, and ``low`` and ``high``, the percentiles
        between which colours are stretched at first.

    Raises
    ------
    InputError
        For a grid that isn't there.
    """
    found = _headers(folder)
    grid = _named(folder, name)
    known = grid.values[np.isfinite(grid.values)]
    low, high = (
        (float(end) for end in np.percentile(known, CLIPPED)) if known.size else (None, None)
    )
    about = {**asdict(_listed(found[name][0], set(found))), "low": low, "high": high}
    return Columns(about, {"values": grid.values.astype(np.float32).ravel()})


def grid_contours(folder: Folder, name: str, *, interval: float, least: float = 0.0) -> Columns:
    """Return the contours of a grid at whole multiples of an interval.

    Parameters
    ----------
    interval : float
        Between levels, in the grid's unit.
    least : float
        Contours shorter than this are left out [m].

    Returns
    -------
    Columns
        ``east_m`` and ``north_m`` from the south-western node, piece after piece; ``starts``, one
        more than there are pieces; ``levels`` of the pieces.

    Raises
    ------
    InputError
        For a grid that isn't there, or an interval that makes too many levels.
    """
    grid = _named(folder, name)
    levels = _levels(grid, interval)
    from lodewalk.adapters.contours import contours

    found = contours(grid.values, levels)
    places = found.places * grid.spacing_m
    steps = np.hypot(*np.diff(places, axis=0).T) if len(places) > 1 else np.empty(0)
    walked = np.r_[0.0, np.cumsum(steps)] if len(places) else np.empty(0)
    lengths = walked[found.starts[1:] - 1] - walked[found.starts[:-1]]
    kept_pieces = np.flatnonzero(lengths >= least)
    counts = np.diff(found.starts)
    inside = np.repeat(lengths >= least, counts)
    return Columns(
        {"name": name, "unit": grid.unit, "interval": interval, "levels_found": int(levels.size)},
        {
            "east_m": places[inside, 0].astype(np.float32),
            "north_m": places[inside, 1].astype(np.float32),
            "starts": np.r_[0, np.cumsum(counts[kept_pieces])].astype(np.int32),
            "levels": found.levels[kept_pieces],
        },
    )


def _levels(grid: Grid, interval: float) -> NDArray[np.float64]:
    """Return the whole multiples of an interval within a grid."""
    known = grid.values[np.isfinite(grid.values)]
    if not known.size:
        return np.empty(0)
    first, last = np.ceil(known.min() / interval), np.floor(known.max() / interval)
    if last - first + 1 > MOST_LEVELS:
        raise InputError(
            f"An interval must make at most {MOST_LEVELS} contours.",
            value=interval,
            remedy=f"This grid goes from {known.min():.6g} to {known.max():.6g} {grid.unit}.",
        )
    return interval * np.arange(first, last + 1)


def _named(folder: Folder, name: str) -> Grid:
    """Return one grid; of each product the last that was asked for is kept."""
    found = _headers(folder)
    if name not in found:
        known = ", ".join(found) or "none yet: run the survey first"
        raise InputError("There is no such grid.", value=name, remedy=f"Grids are {known}.")
    product = found[name][1]
    last: dict[str, Grid] = kept(folder, f"grid of {product}", (product,), dict)
    # Two threads may read the same grid at once; either result is good.
    grid = last.get(name) or read_grid(product_path(folder, product), name)
    if name not in last:
        last.clear()
        last[name] = grid
    return grid


def _headers(folder: Folder) -> dict[str, tuple[GridHeader, str]]:
    """Return header and product of every grid that has been made; the first of a name counts."""
    return kept(folder, "grid headers", PRODUCTS, lambda: _read_headers(folder))


def _read_headers(folder: Folder) -> dict[str, tuple[GridHeader, str]]:
    found: dict[str, tuple[GridHeader, str]] = {}
    for product in PRODUCTS:
        path = product_path(folder, product)
        if path.exists():
            for head in read_headers(path):
                found.setdefault(head.name, (head, product))
    return found


def _listed(head: GridHeader, names: set[str]) -> GridListed:
    """Return a grid as a list shows it."""
    title = head.name.replace("total_field", "total-field").replace("_", " ")
    words = words_of(head.name)
    own = head.name.removesuffix(ERROR)
    return GridListed(
        name=head.name,
        title=title[:1].upper() + title[1:],
        unit=head.unit,
        crs=head.crs,
        west_m=head.west_m,
        south_m=head.south_m,
        spacing_m=head.spacing_m,
        nodes_east=head.shape[1],
        nodes_north=head.shape[0],
        group=words.group,
        about=words.about,
        term=words.term,
        error_of=own if own != head.name and own in names else None,
        error_grid=head.name + ERROR if head.name + ERROR in names else None,
    )
