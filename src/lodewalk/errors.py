"""The errors that lodewalk raises; each is also a standard kind."""

from pathlib import PurePath


class LodewalkError(Exception):
    """Base of every error that lodewalk raises on purpose."""


class InputError(ValueError, LodewalkError):
    """Something in the user's data or settings breaks a rule.

    Parameters
    ----------
    rule : str
        The rule that was broken, as one sentence.
    file : str or path, optional
        The file in which it was found; only its name is printed.
    line : int, optional
        Line of that file, counted from 1.
    value : object, optional
        The value found; long ones are cut.
    remedy : str, optional
        What the user can do about it, as one sentence.
    means : tuple of str, optional
        What the remedy is given by, as the command line calls it without dashes.

    Examples
    --------
    >>> print(InputError("Latitude must lie in -90 to 90 degrees.", file="day1.csv", line=7,
    ...                  value=-1204.5, remedy="Are latitude and longitude swapped?"))
    day1.csv, line 7: Latitude must lie in -90 to 90 degrees. Found -1204.5. Are latitude and \
longitude swapped?
    """

    def __init__(
        self,
        rule: str,
        *,
        file: str | PurePath | None = None,
        line: int | None = None,
        value: object = None,
        remedy: str = "",
        means: tuple[str, ...] = (),
    ) -> None:
        self.rule = rule
        self.file = None if file is None else PurePath(file).name
        self.line = line
        self.value = value
        self.remedy = remedy
        self.means = means
        super().__init__(self._message())

    def _message(self) -> str:
        place = self.file or ""
        if self.line is not None:
            place += f"{', ' if place else ''}line {self.line}"
        parts = [f"{place}:" if place else "", self.rule]
        if self.value is not None:
            parts.append(f"Found {_shortened(self.value)}.")
        parts.append(self.remedy)
        return " ".join(part for part in parts if part)


class SettingsError(InputError):
    """A setting in ``survey.toml`` or in a column map breaks a rule."""


class FolderError(LodewalkError, OSError):
    """A survey folder is missing, damaged or of an unknown format."""


class LockedError(LodewalkError, RuntimeError):
    """Another run holds the survey folder."""


class CancelledError(LodewalkError, RuntimeError):
    """The run was cancelled on request; finished products are kept."""


class ClusterError(LodewalkError, RuntimeError):
    """Workers on other machines can't do what they were asked."""


def _shortened(value: object, limit: int = 60) -> str:
    """Return a printable form of at most `limit` characters on one line."""
    text = repr(value)
    return text if len(text) <= limit else f"{text[: limit - 1]}…"
