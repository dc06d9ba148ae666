"""The numbers of each step on the small survey; `python test/golden/golden_numbers.py` writes them.

They come from the code and prove nothing by themselves: they show when numbers move, so that
nobody moves them without raising the version of the step.
"""

import json
import sys
import tempfile
from pathlib import Path

import numpy as np
from pyproj import Transformer

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))

from lodewalk.records import Document, GridSet  # noqa: E402
from lodewalk.services.add import add_files  # noqa: E402
from lodewalk.services.new import new_survey  # noqa: E402
from lodewalk.services.run import run  # noqa: E402
from lodewalk.steps.declarations import STEPS  # noqa: E402
from lodewalk.survey.folder import open_folder  # noqa: E402
from lodewalk.survey.store import read_product  # noqa: E402
from small_survey import CRS, SOUTH, WEST, write_small_survey  # noqa: E402

FILE = HERE / "small.json"


def numbers():
    """Return version and numbers of each step."""
    with tempfile.TemporaryDirectory() as root:
        truth = write_small_survey(Path(root))
        settings = {"body": {"susceptibility": 0.02}}
        new_survey(Path(root, "survey"), name="Small", crs=CRS, settings=settings)
        folder = open_folder(Path(root, "survey"))
        add_files(folder, [truth.base], role="base", instrument="B1")
        add_files(folder, [truth.rover], role="rover", instrument="R1")
        run(folder)
        add_files(folder, [write_area(Path(root))], role="area")
        for step in STEPS:
            if step.before_going and not step.role:
                run(folder, to=step.name)
        return {
            step.name: {
                "version": step.version,
                "products": {name: summed(read_product(folder, name)) for name in step.products},
            }
            for step in STEPS
            if not step.role
        }


def write_area(folder):
    """Write the area of the small survey, for the steps before going."""
    to_wgs84 = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    corners = [(0, 0), (200, 0), (200, 150), (0, 150), (0, 0)]
    ring = [list(to_wgs84.transform(WEST + east, SOUTH + north)) for east, north in corners]
    file = folder / "area.geojson"
    file.write_text(json.dumps({"type": "Polygon", "coordinates": [ring]}))
    return file


def summed(record):
    """Return what a record holds, as a few numbers for each column."""
    if isinstance(record, Document):
        return {"text": json.loads(record.text())}
    if isinstance(record, GridSet):
        return {grid.name: array_numbers(grid.values.ravel()) for grid in record.grids}
    return {name: column_numbers(record, name) for name in record.frame.columns}


def column_numbers(table, name):
    series = table.frame[name]
    if series.dtype.is_numeric():
        return array_numbers(table.floats(name))
    if series.dtype.is_temporal():
        return array_numbers(table.seconds(name))
    counts = series.cast(str).value_counts(sort=True).sort(name, nulls_last=True)
    return {str(value): count for value, count in counts.head(20).iter_rows()}


def array_numbers(values):
    """Return the number of missing values, a sum that knows the order, and the sum of sizes."""
    known = values[np.isfinite(values)]
    weights = 1 + np.arange(known.size) / 1000
    missing = int(values.size - known.size)
    return [missing, float(np.sum(known * weights)), float(np.sum(np.abs(known)))]


if __name__ == "__main__":
    FILE.write_text(json.dumps(numbers(), indent=1, sort_keys=True) + "\n")
