"""Finding the reference system of a survey: by place, or by its name."""

from dataclasses import dataclass

from lodewalk.errors import InputError


@dataclass(frozen=True)
class System:
    """A projected system in metres: its code, its name and what it is meant for."""

    code: str
    name: str
    area: str


@dataclass(frozen=True)
class SystemsResult:
    """The systems found; `text` says what they are, or what to try where there are none."""

    systems: list[System]
    text: str


def systems_at(latitude_deg: float, longitude_deg: float) -> SystemsResult:
    """Return the UTM zone of a place on WGS84, as GPS gives it.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        Place [degrees], north and east positive.

    Raises
    ------
    InputError
        For a latitude or longitude that is none, or a place that UTM doesn't serve.

    Examples
    --------
    >>> systems_at(-24.9, -50.4).systems[0].code
    'EPSG:32722'
    """
    from lodewalk.adapters.projection import systems_named, utm_crs_for
    from lodewalk.validation import check_within

    check_within(latitude_deg, name="Latitude", low=-90, high=90, unit="degrees")
    check_within(longitude_deg, name="Longitude", low=-180, high=180, unit="degrees")
    code = utm_crs_for(longitude_deg, latitude_deg)
    found = [System(*row) for row in systems_named(code, most=1)]
    return SystemsResult(
        found, "The UTM zone of this place. A country may prescribe another: find it by name."
    )


def systems_by_name(words: str) -> SystemsResult:
    """Return projected systems in metres whose number, name or area holds all these words.

    Raises
    ------
    InputError
        Without a word.
    """
    from lodewalk.adapters.projection import systems_named

    if not words.strip():
        raise InputError(
            "A search needs a word.", remedy="Give a country, a datum, a zone or an EPSG number."
        )
    found = [System(*row) for row in systems_named(words)]
    text = f"{len(found)} found." if found else "Nothing has all these words. Leave one out."
    return SystemsResult(found, text)
