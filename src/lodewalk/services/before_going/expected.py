"""What to expect of the body that is sought, with settings that are only tried."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from lodewalk.errors import InputError
from lodewalk.services.before_going.inputs import inputs_before, picked_for
from lodewalk.services.before_going.known import dated
from lodewalk.services.before_going.place import survey_place
from lodewalk.services.feasibility import (
    ExpectedResult,
    FeasibilityResult,
    expected_parts,
    feasibility_result,
)
from lodewalk.services.settings import tried_settings
from lodewalk.steps.context import Context, Reporter, Silent
from lodewalk.survey.folder import Folder

PLACE = ("plan.latitude_deg", "plan.longitude_deg")


@dataclass(frozen=True)
class OddsResult:
    """Probability of detection, and that with the contrast at either end of its range."""

    probability: float
    low: float
    high: float
    wanted: float
    text: str


def expected(folder: Folder, changes: Mapping[str, Any]) -> ExpectedResult:
    """Return the anomaly to expect with these settings tried; nothing is written.

    Parameters
    ----------
    folder : Folder
        The survey.
    changes : mapping
        Settings by dotted name; with `plan.latitude_deg` and `plan.longitude_deg` the place is
        that and not the area's.

    Raises
    ------
    InputError
        When no place is known, a setting is wrong, or nothing tells how magnetic the body is.
    """
    from lodewalk.steps.feasibility import expected as of_step

    inputs, settings = _tried(folder, changes)
    found, _ = of_step(inputs, settings)
    return ExpectedResult(**expected_parts(found))


def expected_odds(folder: Folder, changes: Mapping[str, Any]) -> OddsResult:
    """Return the odds of detection with these settings tried; nothing is written.

    Raises
    ------
    InputError
        As for `expected`.
    """
    from threadpoolctl import threadpool_limits

    from lodewalk.steps.feasibility import expected as of_step
    from lodewalk.steps.feasibility_odds import first_odds
    from lodewalk.steps.feasibility_words import odds_words

    inputs, settings = _tried(folder, changes)
    found, parts = of_step(inputs, settings)
    with threadpool_limits(limits=1, user_api="blas"):
        first, low, high = first_odds(*parts, settings)
    wanted = found["wanted"]
    span = (
        f", {odds_words(low)} to {odds_words(high)} with the contrast at the ends of its range"
        if high - low > 0.005
        else ""
    )
    enough = "as wanted" if first >= wanted else f"less than the {wanted:.0%} wanted"
    text = (
        f"{_laid_out(found, settings, drawn=parts[0].outline_m is not None)} with a probability "
        f"of {odds_words(first)}{span}; {enough}."
    )
    return OddsResult(first, low, high, wanted, text)


def _laid_out(found: Mapping[str, Any], settings: Mapping[str, Any], *, drawn: bool) -> str:
    """Return which survey the odds are of: not of planned or walked lines, but one laid out."""
    kind, lines = found["body"]["kind"], f"lines {found['plan']['line_spacing_m']:.3g} m apart"
    side = found["plan"]["extent_east_m"]
    ground = "" if drawn else f", on an assumed square of {side:.3g} m a side"
    if settings["plan"]["line_spacing_m"] is None:
        return f"A survey laid out for the {kind} ({lines}, chosen{ground}) finds it"
    return f"A survey with {lines}, as set{ground}, finds the {kind}"


def feasibility_tried(
    folder: Folder,
    changes: Mapping[str, Any],
    *,
    reporter: Reporter | None = None,
    cancelled: Callable[[], bool] = lambda: False,
) -> FeasibilityResult:
    """Return the whole feasibility with these settings tried; nothing is written.

    Raises
    ------
    InputError
        As for `expected`.
    """
    from threadpoolctl import threadpool_limits

    from lodewalk.steps.feasibility import run

    inputs, settings = _tried(folder, changes)
    context = Context(step="feasibility", reporter=reporter or Silent(), cancelled=cancelled)
    with threadpool_limits(limits=1, user_api="blas"):
        made: Any = run(inputs, settings, context)["feasibility"]
    return feasibility_result(made.values, None)


def _tried(folder: Folder, changes: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return what the step takes and its settings, with the place that is tried or known."""
    here = dated(folder, changes)
    placed = all(here.get(name) is not None for name in PLACE)
    if not placed:
        found = survey_place(folder)
        if found.source == "readings":
            here |= dict(zip(PLACE, (found.latitude_deg, found.longitude_deg), strict=True))
    settings = picked_for(tried_settings(folder, here), "feasibility")
    inputs = inputs_before(folder, without=("area",) if placed else ())
    _check_contrast(settings)
    return inputs, settings


def _check_contrast(settings: Mapping[str, Any]) -> None:
    """Let an unknown rock be told beside its own field."""
    from lodewalk.methods.planning.rocks import rock_named

    for section in ("body", "host"):
        name = settings[section]["rock"]
        if name:
            try:
                rock_named(name)
            except InputError as error:
                error.field = f"{section}.rock"  # type: ignore[attr-defined]
                raise
