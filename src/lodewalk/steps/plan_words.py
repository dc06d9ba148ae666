"""Small words of a plan."""


def counted(number: int, word: str) -> str:
    """Return a number with its word in the singular or the plural.

    Examples
    --------
    >>> counted(1, "tie line"), counted(5, "tie line")
    ('1 tie line', '5 tie lines')
    """
    return f"{number} {word}" if number == 1 else f"{number} {word}s"
