"""Why something was changed, who did it and on which day, in one line."""

from lodewalk.survey.clock import now_utc


def signed(reason: str, who: str) -> str:
    r"""Return why, who and the day as a comment or a remark holds them; nothing without a reason.

    Examples
    --------
    >>> signed("fence\nbeside it", "A. B.")[:25]
    'fence beside it (A. B., 2'
    >>> signed(" ", "A. B.")
    ''
    """
    why, person = (_one_line(text) for text in (reason, who))
    by = ", ".join(part for part in (person, now_utc()[:10]) if part)
    return f"{why} ({by})" if why else ""


def _one_line(text: str) -> str:
    """Return a text on one line, without control characters."""
    return " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())
