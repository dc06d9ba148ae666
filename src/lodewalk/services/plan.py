"""A plan for a survey to come: lines, ties, base, days, effort and their files."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from lodewalk.errors import InputError
from lodewalk.services.add import AddedFile, add_files
from lodewalk.services.adopt_plan import Adoption, adopt, check_adoption, walked_before
from lodewalk.services.joined import product
from lodewalk.services.plan_files import write_plan_files
from lodewalk.services.reading import check_file
from lodewalk.services.set_aside import set_aside_where
from lodewalk.services.why import why_step
from lodewalk.steps.context import Reporter
from lodewalk.survey.folder import Folder
from lodewalk.survey.ledger import file_digest, read_ledger, same_content
from lodewalk.survey.run import run as run_steps

if TYPE_CHECKING:
    from lodewalk.records import Document
    from lodewalk.records.planning import PlannedLines


@dataclass(frozen=True)
class PlanSite:
    """Where the area is, and the reference field there; height null without terrain."""

    latitude_deg: float
    longitude_deg: float
    easting_m: float
    northing_m: float
    height_m: float | None
    date: str | None
    epoch_year: float
    total_field_nT: float
    inclination_deg: float
    declination_deg: float
    convergence_deg: float
    model: str


@dataclass(frozen=True)
class RoverDay:
    """What one rover walks on one day, and which of its ways meet a power line."""

    rover: int
    lines_km: float
    ties_km: float
    repeat_km: float
    between_km: float
    kilometres: float
    hours: float
    pieces: int
    power_crossings: list[str]


@dataclass(frozen=True)
class PlanDay:
    """One field day; the date is null where no first day is set."""

    day: int
    date: str | None
    kilometres: float
    hours: float
    rovers: list[RoverDay]


@dataclass(frozen=True)
class PlanSiteOfBase:
    """A place for the base; the score and its parts are metres of walking, the least is best."""

    easting_m: float
    northing_m: float
    slope_deg: float | None
    score_m: float
    to_lines_m: float
    way_in_m: float
    slope_counts_m: float
    nearness_counts_m: float
    broken: list[str]


@dataclass(frozen=True)
class PlanBase:
    """The base's place, alternatives, its test, its hours, and what couldn't be checked."""

    site: PlanSiteOfBase
    alternatives: list[PlanSiteOfBase]
    on_site_test: str
    hours: str
    not_checked: list[str]


@dataclass(frozen=True)
class PlanEffort:
    """What the plan costs, most likely and in a range, with what that rests on."""

    field_days: int
    days_low: int
    days: int
    days_high: int
    walking_h: float
    rover_h: float
    stand_by_low: float
    stand_by: float
    stand_by_high: float
    cutting_h: float | None
    readings_rover: int
    readings_base: int
    batteries_rover: int
    batteries_base: int
    rover_full_after_days: float
    base_full_after_days: float
    assumptions: list[str]


@dataclass(frozen=True)
class PlanFigures:
    """What a plan is, made or only thought of: lines and ties, days and effort."""

    azimuth_deg: float
    spacing_m: float
    tie_spacing_m: float
    why: dict[str, str]
    area_m2: float
    walkable_m2: float
    lines: int
    ties: int
    kilometres: dict[str, float]
    left_out: dict[str, float]
    days: list[PlanDay]
    effort: PlanEffort
    repairs: list[str]
    warnings: list[str]


@dataclass(frozen=True)
class PlanResult(PlanFigures):
    """A plan; `adopted` is its raw file, null for a draft, `superseded` what it took the place of.

    `set_aside` are areas that were there before and that the one given took the place of.
    `detection` and `optimiser` are null where nothing was predicted or tried.
    """

    site: PlanSite
    pieces: int
    base: PlanBase
    detection: dict[str, Any] | None
    optimiser: dict[str, Any] | None
    draft: bool
    adopted: str | None
    superseded: list[str]
    added: list[AddedFile]
    set_aside: list[str]
    files: list[str]


def plan(
    folder: Folder,
    *,
    area: Sequence[Path] = (),
    exclude: Sequence[Path] = (),
    terrain: Path | None = None,
    draft: bool = False,
    replaces: bool = False,
    reporter: Reporter | None = None,
    cancelled: Callable[[], bool] = lambda: False,
) -> PlanResult:
    """Plan a survey, write the plan's files and adopt it.

    Parameters
    ----------
    folder : Folder
        The survey.
    area, exclude : sequence of Path
        Files to add first: the area, which takes the place of one that was there, and what is
        kept clear of; those there already are left.
    terrain : Path, optional
        Terrain model to add first.
    draft : bool
        Make the plan and write it to a folder of its own, but don't adopt it.
    replaces : bool
        Adopt it although it takes the place of a plan added by hand, or rover files are there.
    reporter : Reporter, optional
        Hears the progress.
    cancelled : callable, optional
        Tells whether the user asked to stop.

    Raises
    ------
    CancelledError
        When the user asked to stop before the plan's files were there: none of them changes then,
        nor does the survey's plan; an area that was given is the survey's.
    InputError
        For files that can't be read, an area that can't be planned, or a plan in the way.
    """
    given = (("area", area), ("exclusion", exclude), ("terrain", [terrain] if terrain else []))
    new = any(files for _, files in given)
    if not draft and not replaces and (new or why_step(folder, "plan").stale):
        check_adoption(folder)
    added = [
        file for role, files in given for file in _added(folder, [Path(f) for f in files], role)
    ]
    aside = _former_areas(folder, area)
    told = Adoption(None, [])
    with _ways_back(folder, added, aside):
        run_steps(folder, to="plan", reporter=reporter, cancelled=cancelled)
        found = cast("Document", product(folder, "plan")).values
        notes = _of_walked(folder) if replaces and not draft else []

        def adopting() -> None:
            nonlocal told
            lines = cast("PlannedLines", product(folder, "planned_lines"))
            told = adopt(folder, lines, crs=folder.settings.survey.crs, replaces=replaces)

        written = write_plan_files(
            folder,
            draft=draft,
            adopting=None if draft else adopting,
            reporter=reporter,
            cancelled=cancelled,
        )
    files = [path.relative_to(folder.path).as_posix() for path in written.paths]
    notes = notes if told.superseded else []
    return _result(
        found | {"warnings": [*notes, *found["warnings"], *written.notes]},
        draft=draft,
        adopted=told.stored_as,
        superseded=told.superseded,
        added=added,
        set_aside=aside,
        files=files,
    )


def _of_walked(folder: Folder) -> list[str]:
    """Say what a new plan means for what was walked already."""
    if not walked_before(folder):
        return []
    return [
        "Rover files that were walked under the plan before are in the survey. What was walked is "
        "compared with the new plan by place: look at lodewalk check, coverage and what lies off "
        "the plan, before anybody is sent out to walk again. Readings without names of lines that "
        "lie on no new line drop out of the survey."
    ]


def _former_areas(folder: Folder, area: Sequence[Path]) -> list[str]:
    """Set aside the areas whose place the given ones take."""
    if not area:
        return []
    given = {file_digest(Path(path)) for path in area}
    return set_aside_where(folder, lambda entry: entry.role == "area" and entry.sha256 not in given)


@contextmanager
def _ways_back(folder: Folder, added: list[AddedFile], aside: list[str]) -> Iterator[None]:
    """Let the error of a plan that is refused say how to take back what was added for it."""
    try:
        yield
    except InputError as error:
        command = f"lodewalk add {folder.path}"
        ways = [
            f"{item.stored_as} was added; to take it back: {command} "
            f"{folder.path / item.stored_as} --role set_aside."
            for item in added
        ]
        ways += [
            f"{name} was set aside; to bring it back: {command} {folder.path / name} --role area."
            for name in aside
        ]
        if not ways:
            raise
        raise type(error)(
            error.rule, file=error.file, line=error.line, value=error.value,
            remedy=" ".join([error.remedy, *ways]).strip(),
        ) from None  # fmt: skip


def _added(folder: Folder, files: list[Path], role: str) -> list[AddedFile]:
    """Add the files that aren't in the survey with this role yet."""
    for path in files:
        check_file(path)
    entries = read_ledger(folder)
    known = [same_content(entries, file_digest(path)) for path in files]
    new = [
        path
        for path, entry in zip(files, known, strict=True)
        if entry is None or entry.role != role
    ]
    return add_files(folder, new, role=role).files if new else []


def _result(found: dict[str, Any], **more: Any) -> PlanResult:
    """Return the plan document as a result."""
    base = dict(found["base"])
    alternatives = [PlanSiteOfBase(**row) for row in base.pop("alternatives")]
    texts = {name: base.pop(name) for name in ("on_site_test", "hours", "not_checked")}
    typed = {
        "site": PlanSite(**found["site"]),
        "base": PlanBase(PlanSiteOfBase(**base), alternatives, **texts),
    }
    return PlanResult(**found | figures_of(found) | typed | more)


def figures_of(found: Mapping[str, Any]) -> dict[str, Any]:
    """Return the parts of `PlanFigures` that the plan document holds."""
    plain = {field.name: found[field.name] for field in fields(PlanFigures)}
    days = [
        PlanDay(**day | {"rovers": [RoverDay(**rover) for rover in day["rovers"]]})
        for day in found["days"]
    ]
    return plain | {"days": days, "effort": PlanEffort(**found["effort"])}
