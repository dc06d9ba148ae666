"""The time of day, for journal and ledger only."""

from datetime import UTC, datetime


def now_utc() -> str:
    """Return the time of day as ISO 8601 in UTC, to the millisecond."""
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
