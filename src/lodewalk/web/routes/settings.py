"""Settings: the whole table, what a change would re-run, and changing them."""

from typing import Annotated

from pydantic import Field

from lodewalk.errors import SettingsError
from lodewalk.services.settings import (
    SettingsPreview,
    SettingsResult,
    change_settings,
    preview_settings,
    settings,
)
from lodewalk.web.depends import Survey
from lodewalk.web.described import router_of
from lodewalk.web.problems import beside
from lodewalk.web.routes.surveys import Form

router = router_of("settings", below="/settings")

Name = Annotated[str, Field(pattern=r"^[^\s.]+(\.[^.\n]+)+$", max_length=120)]
Value = bool | int | float | Annotated[str, Field(max_length=500)] | None


class Changes(Form):
    """Values by dotted name; null resets to the default."""

    changes: dict[Name, Value] = Field(max_length=200)


class SignedChanges(Changes):
    """Changes with why they are made, and who makes them."""

    reason: Annotated[str, Field(pattern=r"\S", max_length=2000)]
    who: Annotated[str, Field(pattern=r"\S", max_length=200)]


@router.get("")
def show_settings(folder: Survey) -> SettingsResult:
    """Return every setting with unit, range, help, default and value."""
    return settings(folder)


@router.post("/preview")
def preview(form: Changes, folder: Survey) -> SettingsPreview:
    """Say which steps would run after these changes; nothing is changed."""
    with beside("value", SettingsError):
        return preview_settings(folder, form.changes)


@router.patch("")
def change(form: SignedChanges, folder: Survey) -> SettingsResult:
    """Write changed settings into the survey's settings file, with the reason behind each value."""
    with beside("value", SettingsError):
        return change_settings(folder, form.changes, reason=form.reason, who=form.who)
