"""Products joined for figures and report."""

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from lodewalk.services.decide import checklists
from lodewalk.services.one_run import check_one_run
from lodewalk.steps.declarations import STEPS, step_named
from lodewalk.survey.folder import Folder
from lodewalk.survey.store import read_product

if TYPE_CHECKING:
    from lodewalk.records import Document
    from lodewalk.records.products import BaseRecord, Findings


def product(folder: Folder, name: str) -> Any:
    """Return a product; they are of many kinds."""
    return read_product(folder, name)


def all_findings(folder: Folder, *, reduced: bool = False) -> "Findings":
    """Return the findings that the check rests on; `reduced` adds those of the steps after it."""
    import polars as pl

    from lodewalk.records.products import Findings

    made = [name for step in STEPS for name in step.products if name.endswith("_findings")]
    checked = {*step_named("check").inputs, *step_named("check").products}
    names = [name for name in made if reduced or name in checked]
    frames = [product(folder, name).frame for name in names]
    if reduced:
        from lodewalk.services.rocks.idle import idle_findings

        frames.append(idle_findings(folder).frame)
    return Findings(pl.concat(frames, how="diagonal"))


def base_record(folder: Folder) -> "BaseRecord | None":
    """Return the base record joined from its parts, or None without one.

    Raises
    ------
    FolderError
        Where the parts are of different runs.
    """
    import polars as pl

    from lodewalk.records.products import BaseRecord
    from lodewalk.steps.rows import spread

    check_one_run(folder, "base_files", "base_recorded", "base_times", "base_checks")
    checks = product(folder, "base_checks").frame
    if not checks.height:
        return None
    names = spread(product(folder, "base_files"), "instrument")
    frame = pl.concat(
        [
            product(folder, "base_times").frame,
            product(folder, "base_recorded").frame.select("raw_nT"),
            checks.select("kept", "reason", "departure_nT"),
            pl.DataFrame({"instrument": names}),
        ],
        how="horizontal",
    )
    return BaseRecord(frame.filter(pl.col("time_utc").is_not_null()).sort("time_utc"))


def ticks(folder: Folder, check: "Document") -> tuple[dict[str, Any], ...]:
    """Return the set-up checklists of all days on which anything was ticked."""
    days = {day["date"] for day in check["days"]}
    names = sorted({line["instrument"] for day in check["days"] for line in day["lines"]})
    bases = sorted({row["instrument"] for day in check["days"]
                    for row in day["base"]["intervals"]})  # fmt: skip
    pairs = tuple((day, name) for day in sorted(days) for name in (*bases, *names))
    items = [asdict(item) for item in checklists(folder, days=pairs).items]
    begun = {(item["day"], item["instrument"]) for item in items if item["who"]}
    return tuple(item for item in items if (item["day"], item["instrument"]) in begun)
