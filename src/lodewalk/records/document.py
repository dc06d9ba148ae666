"""A document: a small record of named plain values, such as the datum or the summary."""

import hashlib
import json
from dataclasses import dataclass
from typing import Any

from lodewalk.errors import InputError


@dataclass(frozen=True)
class Document:
    """Named plain values (text, numbers, lists, mappings) that JSON can hold.

    Raises
    ------
    InputError
        When a value is not finite or not plain.

    Examples
    --------
    >>> Document({"datum_nT": 22950.0})["datum_nT"]
    22950.0
    """

    values: dict[str, Any]

    def __post_init__(self) -> None:
        try:
            self.text()
        except (TypeError, ValueError) as error:
            raise InputError(f"A document holds plain finite values only ({error}).") from error

    def __getitem__(self, name: str) -> Any:
        return self.values[name]

    def text(self) -> str:
        """Return the document as indented JSON with sorted keys."""
        return json.dumps(self.values, allow_nan=False, indent=1, sort_keys=True)

    def digest(self) -> str:
        """Return the SHA-256 of the values."""
        return hashlib.sha256(self.text().encode()).hexdigest()
