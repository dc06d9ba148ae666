"""Words that several readers say."""

from collections.abc import Container


def counted(number: int, noun: str) -> str:
    """Return a number with its noun.

    Examples
    --------
    >>> counted(2, "route")
    '2 routes'
    """
    return f"{number} {noun}{'' if number == 1 else 's'}"


def own_name(given: str, taken: Container[str]) -> str:
    """Return a name that is not taken yet: the one given, or with a number behind it.

    Examples
    --------
    >>> own_name("L1", {"L1", "L1 (2)"})
    'L1 (3)'
    """
    name, copy = given, 2
    while name in taken:
        name, copy = f"{given} ({copy})", copy + 1
    return name
