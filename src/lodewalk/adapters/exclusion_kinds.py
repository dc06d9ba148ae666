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


#: Words by which people call each kind, in the order in which they count.
WORDS: tuple[tuple[str, frozenset[str]], ...] = tuple(
    (kind, frozenset(words.split()))
    for kind, words in (
        ("fence", "fence fencing guardrail netting"),
        ("power line", "power powerline pylon voltage electric electricity transmission overhead"),
        ("fence", "wire barbed"),
        ("water", "water river stream creek brook canal ditch drain lake pond reservoir"),
        ("building", "building house barn shed farmhouse school church factory greenhouse"),
        ("road", "road street highway motorway railway railroad"),
        ("track", "track"),
    )
)

#: Open tags (those of OpenStreetMap, from memory): key, kind, and the values that count; where
#: none is named, all but those that say no.
TAGS: tuple[tuple[str, str, frozenset[str]], ...] = tuple(
    (key, kind, frozenset(values.split()))
    for key, kind, values in (
        ("power", "power line", ""),
        (
            "highway",
            "road",
            "motorway trunk primary secondary tertiary unclassified residential service road "
            "living_street motorway_link trunk_link primary_link secondary_link tertiary_link",
        ),
        ("highway", "track", "track"),
        ("railway", "road", "rail tram light_rail narrow_gauge preserved"),
        ("waterway", "water", ""),
        ("natural", "water", "water"),
        ("landuse", "water", "reservoir basin salt_pond"),
        ("landuse", "building", "residential industrial commercial retail farmyard garages"),
        ("barrier", "fence", "fence guard_rail cable_barrier gate lift_gate cattle_grid chain"),
        ("building", "building", ""),
    )
)
#: Columns that name the kind in other people's files.
KIND_KEYS = ("fclass", "class", "type", "category")
_NO = ("", "no", "none", "false", "0", "nan")


def known_kind(kind: str | None) -> str | None:
    """Return one of the known kinds for a word of a file, None for an unknown one.

    Examples
    --------
    >>> known_kind("Power_line"), known_kind("fences"), known_kind("orchard"), known_kind(None)
    ('power line', 'fence', None, 'other')
    >>> known_kind("high voltage line"), known_kind("fence wire"), known_kind("Electric fence")
    ('power line', 'fence', 'fence')
    """
    if kind is None:
        return "other"
    plain = re.sub(r"[\W_]+", " ", kind.casefold()).strip()
    for word in (plain, plain.removesuffix("s")):
        if word in KINDS:
            return word
    words = {form for word in plain.split() for form in (word, word.removesuffix("s"))}
    return next((kind for kind, names in WORDS if words & names), None)


def is_plain_kind(kind: str) -> bool:
    """Say whether a word of a file is a kind itself, small and large letters alike.

    Examples
    --------
    >>> is_plain_kind("Power_Lines"), is_plain_kind("high voltage line")
    (True, False)
    """
    plain = re.sub(r"[\W_]+", " ", kind.casefold()).strip()
    return plain in KINDS or plain.removesuffix("s") in KINDS


def kind_of_tags(tags: Mapping[str, str]) -> str | None:
    """Return the kind that open tags tell, None where they tell none.

    Parameters
    ----------
    tags : mapping
        Values by key in small letters; ``other_tags`` may hold more as ``"key"=>"value"``.

    Examples
    --------
    >>> kind_of_tags({"power": "minor_line"}), kind_of_tags({"highway": "track"})
    ('power line', 'track')
    >>> kind_of_tags({"highway": "path"}), kind_of_tags({"other_tags": '"barrier"=>"fence"'})
    (None, 'fence')
    """
    more = re.findall(r'"([^"]+)"\s*=>\s*"([^"]*)"', tags.get("other_tags", ""))
    every = {**{key.casefold(): value for key, value in more}, **tags}
    for key, kind, values in TAGS:
        value = every.get(key, "").strip().casefold()
        if value in values or (not values and value not in _NO):
            return kind
    for key in KIND_KEYS:
        found = known_kind(every.get(key) or None)
        if found not in (None, "other"):
            return found
    return None


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
