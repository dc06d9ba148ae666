"""How high the sensors were carried, and whether a person said so: every depth rests on it."""

from collections.abc import Sequence
from pathlib import Path

from lodewalk.survey.ledger import RawFile
from lodewalk.survey.settings_table import Settings


def is_assumed(settings: Settings, instrument: str) -> bool:
    """Tell whether no setting says the height of an instrument's sensor."""
    return "sensor_height_m" not in settings.instrument(instrument).model_fields_set


def height_words(settings: Settings, instruments: Sequence[str], height_m: float) -> str:
    """Say how high the sensor of instruments was above ground, and whether that is set."""
    now = [settings.instrument(name).sensor_height_m for name in instruments]
    if any(abs(height - height_m) > 0.005 for height in now):
        return f"{metres(height_m)} above ground, as at the last run"  # another one is set since
    assumed = [name for name in instruments if is_assumed(settings, name)]
    how = "assumed" if assumed else "as set"
    if assumed and len(assumed) < len(instruments):
        how += f" for {', '.join(assumed)}"
    return f"{metres(height_m)} above ground, {how}"


def metres(height_m: float) -> str:
    """Return a height with as many decimals as it needs, one at least.

    Examples
    --------
    >>> metres(2.0), metres(1.85)
    ('2.0 m', '1.85 m')
    """
    text = f"{height_m:.2f}"
    return f"{text[:-1] if text.endswith('0') else text} m"


def assumed_rovers(entries: Sequence[RawFile], settings: Settings) -> list[str]:
    """Return the rovers of a survey whose sensor's height nobody set."""
    rovers = sorted({entry.instrument for entry in entries if entry.role == "rover"})
    return [name for name in rovers if is_assumed(settings, name)]


def walked_with(readings: Path, *, line: str | None) -> list[str]:
    """Return the instruments that walked a line, or the whole survey."""
    import polars as pl

    rows = pl.scan_parquet(readings).filter(pl.col("kept"))
    rows = rows if line is None else rows.filter(pl.col("line") == line)
    names: list[str] = rows.select(pl.col("instrument").unique()).collect()["instrument"].to_list()
    return sorted(names)
