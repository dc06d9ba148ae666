"""The kinds of things that a survey keeps clear of."""

import re
from collections.abc import Mapping
from types import MappingProxyType

#: Each kind and the setting of section ``plan`` that tells how far it is kept clear of.
KINDS: Mapping[str, str] = MappingProxyType(
    {
        "power line": "power_line_m",
        "fence": "fence_m",
        "road": "road_m",
        "track": "road_m",
        "water": "water_m",
        "building": "building_m",
        "other": "other_m",
    }
)


def known_kind(kind: str | None) -> str | None:
    """Return one of the known kinds for a word of a file, None for an unknown one.

    Examples
    --------
    >>> known_kind("Power_line"), known_kind("fences"), known_kind("orchard"), known_kind(None)
    ('power line', 'fence', None, 'other')
    """
    if kind is None:
        return "other"
    plain = re.sub(r"[\W_]+", " ", kind.casefold()).strip()
    for word in (plain, plain.removesuffix("s")):
        if word in KINDS:
            return word
    return "power line" if plain.replace(" ", "").removesuffix("s") == "powerline" else None


def kind_in_name(name: str | None) -> str | None:
    """Return the kind with which a name begins, None where there is none.

    Examples
    --------
    >>> kind_in_name("Fence 2"), kind_in_name("POWER LINE N"), kind_in_name("Roadside camp")
    ('fence', 'power line', None)
    """
    plain = re.sub(r"[\W_]+", " ", (name or "").casefold()).strip()
    for kind in KINDS:
        if re.match(rf"{kind}s?\b", plain):
            return kind
    return None
