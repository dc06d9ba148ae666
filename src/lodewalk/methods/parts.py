"""Work done part by part, by whatever calls a function on each of them."""

from collections.abc import Callable, Iterable
from typing import Protocol, TypeVar

Part = TypeVar("Part")
Result = TypeVar("Result")


class Each(Protocol):
    """Calls a function on each part; the results come in the order of the parts.

    A method that takes one cuts its work the same way whoever does it, so that its result doesn't
    depend on who did. The function stands at the top of a module (or is a partial of such a one)
    and takes and returns arrays: it may be sent to another machine.
    """

    def __call__(
        self, function: Callable[[Part], Result], parts: Iterable[Part], /
    ) -> list[Result]:
        """Return `function` of each of `parts`, in their order."""


def in_turn(function: Callable[[Part], Result], parts: Iterable[Part], /) -> list[Result]:
    """Return `function` of each part, one after the other.

    Examples
    --------
    >>> in_turn(abs, [-1, 2])
    [1, 2]
    """
    return [function(part) for part in parts]


def tiles(count: int, size: int) -> list[slice]:
    """Return slices of at most `size` that cover `count` items in order.

    Examples
    --------
    >>> tiles(5, 2)
    [slice(0, 2, None), slice(2, 4, None), slice(4, 5, None)]
    """
    return [slice(first, min(first + size, count)) for first in range(0, count, size)]
