"""What to look at before a survey is handed over, and where it is put right."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from lodewalk.errors import LodewalkError
from lodewalk.services.check import CheckResult, Finding, checked
from lodewalk.services.decide import DecideResult, decisions_in_force
from lodewalk.services.report_state import report_state
from lodewalk.services.sensor_heights import assumed_rovers, metres
from lodewalk.services.stale import pending
from lodewalk.survey.folder import Folder
from lodewalk.survey.ledger import read_ledger
from lodewalk.survey.settings_table import Settings
from lodewalk.survey.store import product_path

State = Literal["good", "info", "doubt", "bad"]


@dataclass(frozen=True)
class ReadyItem:
    """One thing to look at: how it stands, in words, and the room where it is put right.

    ``bad`` keeps the survey from being packed as it is, ``doubt`` is for the person to judge,
    ``info`` is put right by packing itself.
    """

    item: str
    state: State
    text: str
    room: str | None


@dataclass(frozen=True)
class ReadinessResult:
    """All things to look at; `ready` where nothing keeps the survey from being packed."""

    ready: bool
    items: list[ReadyItem]


def readiness(folder: Folder) -> ReadinessResult:
    """Say what to look at before handing over, without running anything.

    Raises
    ------
    LodewalkError
        For settings, a ledger or decisions that can't be read.
    """
    items = [
        *_raw(folder),
        *_heights(folder),
        _products(folder),
        *_verdicts(folder),
        _decisions(folder),
    ]
    items += [_report(folder), _purpose(folder)]
    return ReadinessResult(all(one.state != "bad" for one in items), items)


def _raw(folder: Folder) -> Iterator[ReadyItem]:
    """Yield what there is of raw files."""
    roles = [entry.role for entry in read_ledger(folder)]
    if not roles:
        yield ReadyItem("Raw files", "bad", "There is none yet; add base and rover files.", "days")
        return
    missing = [role for role in ("base", "rover") if role not in roles]
    text = f"{_count(len(roles), 'file')} in the ledger, each with its SHA-256."
    if missing:
        text += f" There is none of role {' or '.join(missing)}."
    yield ReadyItem("Raw files", "doubt" if missing else "good", text, "days")


def _heights(folder: Folder) -> Iterator[ReadyItem]:
    """Yield the heights of sensors that nobody set, by height."""
    settings = folder.settings
    by_height: dict[float, list[str]] = {}
    for name in assumed_rovers(read_ledger(folder), settings):
        by_height.setdefault(settings.instrument(name).sensor_height_m, []).append(name)
    for height, names in by_height.items():
        text = f"Sensor height of {', '.join(names)} is assumed, {metres(height)}: "
        text += f"every depth rests on it.{_planned(settings, height)}"
        yield ReadyItem("Sensor height", "doubt", text, "settings")


def _planned(settings: Settings, height_m: float) -> str:
    """Say that the height that the plan counts with isn't the one of the readings."""
    plan = settings.plan
    if "sensor_height_m" not in plan.model_fields_set or plan.sensor_height_m == height_m:
        return ""
    return f" The plan's {metres(plan.sensor_height_m)} isn't used for readings."


def _products(folder: Folder) -> ReadyItem:
    """Return whether the products are up to date."""
    count = len(pending(folder).steps)
    if not count:
        return ReadyItem("Products", "good", "Every product is up to date.", None)
    text = f"{_count(count, 'step')} to run first. Packing does it, or press Run above."
    return ReadyItem("Products", "info", text, None)


def _verdicts(folder: Folder) -> Iterator[ReadyItem]:
    """Yield what the verdicts, clocks and findings leave open, as last checked."""
    if not product_path(folder, "check").exists():
        yield ReadyItem("Verdicts", "info", "The survey hasn't been checked yet.", "days")
        return
    try:
        found = checked(folder)
    except LodewalkError as error:
        yield ReadyItem("Verdicts", "doubt", str(error), "days")
        return
    yield _lines(found)
    yield from _clocks(found, decisions_in_force(folder))
    grave = [row for row in found.findings if row.severity in ("doubt", "loss")]
    if grave:
        yield ReadyItem("Findings", "doubt", _left_in_doubt(grave), "days")


def _clocks(found: CheckResult, decisions: Sequence[DecideResult]) -> Iterator[ReadyItem]:
    """Yield the clocks of which nothing tells how far they were off and nobody decided it."""
    whole = {
        one.target.get("instrument")
        for one in decisions
        if one.kind == "clock" and not (one.target.get("start") or one.target.get("end"))
    }
    said = []
    for row in found.clock:
        left = [day.day for day in row.days if day.decided_s is None]
        partly = len(left) < len(row.days)
        if row.state != "not identifiable" or row.instrument in whole or (partly and not left):
            continue
        said.append(f"{row.instrument} on {', '.join(left)}" if partly else row.instrument)
    if said:
        text = f"Nothing tells how far the clock of {' and of '.join(said)} was off; say in "
        yield ReadyItem(
            "Clocks", "doubt", text + "your words to the receiver how it was set.", "days"
        )


def _left_in_doubt(grave: list[Finding]) -> str:
    """Say what is left in doubt; a refused proposal changes no evidence, so it counts as well."""
    kinds = sorted({row.kind for row in grave})
    text = f"{_count(len(grave), 'finding')} left in doubt: {', '.join(kinds[:5])}"
    text += " and others." if len(kinds) > 5 else "."
    refused = sum(row.refused is not None and row.refused.holds for row in grave)
    if refused:
        text += f" What {refused} of them proposed was refused, with reason and person."
    return text


def _lines(found: CheckResult) -> ReadyItem:
    """Return how many walks of lines are kept; a line may be walked more than once."""
    verdicts = [line.verdict for day in found.days for line in day.lines]
    doubt, again = verdicts.count("doubt"), verdicts.count("re-walk")
    kept = verdicts.count("keep")
    text = f"{kept} of {_count(len(verdicts), 'walk')} kept"
    if not doubt and not again:
        return ReadyItem("Verdicts", "good" if verdicts else "doubt", f"{text}.", "days")
    parts = [f"{doubt} in doubt"] if doubt else []
    parts += [f"{again} to walk again"] if again else []
    text += f", {', '.join(parts)}. The report says so; so should you."
    return ReadyItem("Verdicts", "doubt", text, "days")


def _decisions(folder: Folder) -> ReadyItem:
    """Return whether each decision has reason and person."""
    rows = [row for row in decisions_in_force(folder) if row.kind != "tick"]
    bare = [row for row in rows if not row.reason.strip() or not row.who.strip()]
    if bare:
        text = f"{_count(len(bare), 'decision')} without reason or person: take them back and anew."
        return ReadyItem("Decisions", "doubt", text, "days")
    if not rows:
        return ReadyItem("Decisions", "good", "None was taken.", "days")
    text = f"{_count(len(rows), 'decision')} in force, each with reason and person."
    return ReadyItem("Decisions", "good", text, "days")


def _report(folder: Folder) -> ReadyItem:
    """Return whether the report holds."""
    state = report_state(folder)
    if not state.stale:
        return ReadyItem("Report", "good", "It says what the survey does.", None)
    text = f"It has to be written: {', '.join(state.stale)}. Packing does it, or write it here."
    return ReadyItem("Report", "info", text, None)


def _purpose(folder: Folder) -> ReadyItem:
    """Return whether the survey says what it was for."""
    about = folder.settings.survey
    if about.purpose.strip():
        return ReadyItem("Purpose", "good", about.purpose, "settings")
    text = (
        "The survey doesn't say what it was for; the setting survey.purpose puts it in the report."
    )
    return ReadyItem("Purpose", "doubt", text, "settings")


def _count(number: int, word: str) -> str:
    """Return a number with its word, such as ``1 file`` or ``2 files``."""
    return f"{number} {word}{'' if number == 1 else 's'}"
