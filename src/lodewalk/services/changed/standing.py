"""What a survey says at a moment, as far as a run may change it."""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from lodewalk.errors import LodewalkError
from lodewalk.survey.folder import Folder
from lodewalk.survey.store import product_path, read_product

if TYPE_CHECKING:
    import polars as pl

    from lodewalk.steps.context import Reporter

#: Columns that are looked at, by product.
COLUMNS = {
    "readings": ("reading_id", "kept", "anomaly_nT", "sd_nT"),
    "lineaments": (
        "lineament", "kind", "easting_m", "northing_m", "strike_deg", "strike_sd_deg", "length_m",
    ),
    "depths": ("pick", "method", "depth_m", "depth_low_m", "depth_high_m", "valid"),
}  # fmt: skip


@dataclass(frozen=True)
class Standing:
    """What the check says, and columns of tables by product; what isn't there yet is left out."""

    check: Mapping[str, Any] = field(default_factory=dict)
    tables: Mapping[str, "pl.DataFrame"] = field(default_factory=dict)


def standing_of(folder: Folder) -> Standing:
    """Return what a survey says now.

    A product that can't be read says nothing: to compare is a courtesy that must not stop a run.
    """
    tables = {}
    for product, columns in COLUMNS.items():
        found = _read(folder, product)
        if found is not None:
            tables[product] = found.frame.select(columns)
    check = _read(folder, "check")
    return Standing({} if check is None else json.loads(check.text()), tables)


def _read(folder: Folder, product: str) -> Any:
    """Return a product, None where there is none that can be read."""
    if not product_path(folder, product).exists():
        return None
    try:
        return read_product(folder, product)
    except (LodewalkError, OSError, ValueError):
        return None


@dataclass
class Beforehand:
    """A reporter that keeps what the survey said before the first step ran.

    Parameters
    ----------
    folder : Folder
        The survey.
    reporter : Reporter
        Hears everything in its turn.
    """

    folder: Folder
    reporter: "Reporter"
    standing: Standing | None = None

    def began(self, step: str, why: list[str]) -> None:
        """Look at the survey once, then pass on that a step begins."""
        if self.standing is None:
            self.standing = standing_of(self.folder)
        self.reporter.began(step, why)

    @property
    def progress(self) -> Callable[[str, int, int], None]:
        """What hears how far a step is."""
        return self.reporter.progress
