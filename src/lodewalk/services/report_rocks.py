"""The interpretation as the report and the layers take it."""

from typing import TYPE_CHECKING, Any

from lodewalk.services.joined import product
from lodewalk.steps.declarations import STEPS
from lodewalk.survey.folder import Folder
from lodewalk.survey.store import TABLES, table_class

if TYPE_CHECKING:
    from lodewalk.handover.rocks_content import RockRecords

#: Name in the records and product.
_PRODUCTS = {
    "lineaments": "lineaments",
    "points": "lineament_points",
    "faults": "faults",
    "picks": "picks",
    "profiles": "profiles",
    "curves": "curves",
    "depths": "depths",
    "bodies": "bodies",
    "dips": "dips",
    "compact": "compact_bodies",
    "compact_curves": "compact_curves",
    "transforms": "transform_grids",
    "transform_notes": "transform_notes",
    "trace_notes": "trace_notes",
    "fit_notes": "fit_notes",
    "pick_notes": "pick_notes",
}


def rock_records(folder: Folder) -> "RockRecords":
    """Return the interpretation of a survey whose products are up to date."""
    from lodewalk.handover.rocks_content import RockRecords

    made = {name for step in STEPS for name in step.products}
    found: dict[str, Any] = {
        name: product(folder, key) if key in made else _nothing(key)
        for name, key in _PRODUCTS.items()
    }
    return RockRecords(crs=folder.settings.survey.crs, **found)


def _nothing(name: str) -> Any:
    """Return what stands for a product that no step makes: an empty table or None."""
    return table_class(name).empty() if name in TABLES else None
