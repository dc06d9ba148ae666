"""Dip of a long body from its index angle, under a magnetisation that has to be stated."""

from dataclasses import dataclass

import numpy as np

from lodewalk.errors import InputError
from lodewalk.methods.inversion.results import NINETY, Estimate
from lodewalk.validation import check_positive, check_within

#: Share of the field, or of the magnetisation, in the section across the strike under which no dip
#: is told: its direction there then rests on the strike's error (common practice).
LEAST_SHARE = 0.3
#: A 90 % interval of the dip wider than this tells no dip [deg].
WIDEST = 90.0


@dataclass(frozen=True)
class Dip:
    """A dip under a stated magnetisation, or why there is none.

    Parameters
    ----------
    dip : Estimate or None
        Dip from the profile's direction [deg]: under 90 the body goes down towards larger
        distances; its interval holds the errors of index angle and strike.
    range_low_deg, range_high_deg : float
        Dips that a remanence of any direction, up to the ratio given, would add to that interval
        [deg]; NaN where there is no dip.
    positive : bool
        Whether the body is the more magnetic side: otherwise it is less magnetic than its host, or
        magnetised the other way round. Of a contact, whether the rock on the side of larger
        distances is.
    words : str
        What the dip stands under, or why none is told: one sentence.
    """

    dip: Estimate | None
    range_low_deg: float
    range_high_deg: float
    positive: bool
    words: str


def dip_of(
    index: Estimate,
    *,
    inclination_deg: float,
    profile_azimuth_deg: float,
    magnetisation: str = "unknown",
    koenigsberger: float = 0.5,
    strike_sd_deg: float = 0.0,
    body_inclination_deg: float | None = None,
    body_azimuth_deg: float | None = None,
    edge: bool = False,
) -> Dip:
    """Return the dip that an index angle means under a stated magnetisation.

    Parameters
    ----------
    index : Estimate
        Index angle [deg], as `index_dyke_anomaly` has it.
    inclination_deg : float
        Inclination of the ambient field, positive down [deg].
    profile_azimuth_deg : float
        Azimuth of the profile, across the strike, from magnetic north [deg].
    magnetisation : {"unknown", "induced", "given"}
        What the dip is to stand under; without a magnetisation there is none.
    koenigsberger : float
        Remanent over induced magnetisation up to which the range reaches.
    strike_sd_deg : float
        One standard deviation of the strike, and so of the profile's azimuth [deg].
    body_inclination_deg, body_azimuth_deg : float, optional
        With ``given``: inclination of the body's whole magnetisation, and azimuth of the profile
        from its declination [deg].
    edge : bool
        Whether it is a contact or a step: then the words tell which rock is the more magnetic.

    Returns
    -------
    Dip
        Without a dip where the field lies nearly along the strike, the errors reach too far, or
        remanence allows any dip.

    Raises
    ------
    InputError
        For an inclination outside -90 to 90, a negative ratio, or a direction that is missing.

    Notes
    -----
    In the section across the strike the field points at ``I' = atan2(sin I, cos I cos b)`` from
    the profile's direction, the magnetisation likewise at ``J'``; the index angle is
    ``I' + J' - d - 90`` with the dip ``d`` [1]_. A remanence of ratio ``q`` turns the
    magnetisation in the section by ``asin(q / s)`` at most, ``s`` the share of the induced one that
    lies in it; from ``q = s`` on, by any angle.

    References
    ----------
    .. [1] Gay, S. P. (1963), Standard curves for interpretation of magnetic anomalies over long
       tabular bodies, Geophysics, 28(2), 161-200, doi:10.1190/1.1439164.

    Examples
    --------
    >>> found = dip_of(Estimate(-50.0, 2.0, -53.3, -46.7), inclination_deg=60.0,
    ...     profile_azimuth_deg=0.0, magnetisation="induced")
    >>> round(found.dip.value, 6), round(found.range_low_deg), round(found.range_high_deg)
    (80.0, 47, 113)
    """
    check_within(inclination_deg, name="Inclination", low=-90, high=90, unit="degrees")
    if not koenigsberger >= 0.0:
        raise InputError("The ratio of remanence must not be negative.", value=koenigsberger)
    if magnetisation not in ("unknown", "induced", "given"):
        raise InputError("A magnetisation is unknown, induced or given.", value=magnetisation)
    if magnetisation == "unknown":
        return _none("No magnetisation is stated: the index angle alone is told.")
    field, share, rate = section_direction(inclination_deg, profile_azimuth_deg)
    body, body_share, body_rate = field, share, rate
    if magnetisation == "given":
        if body_inclination_deg is None or body_azimuth_deg is None:
            raise InputError("A given magnetisation needs its inclination and its azimuth.")
        body, body_share, body_rate = section_direction(body_inclination_deg, body_azimuth_deg)
    if min(share, body_share) < LEAST_SHARE:
        what = "field" if share < LEAST_SHARE else "magnetisation"
        return _none(f"The {what} lies nearly along the strike: no dip is told.")
    under = "induced magnetisation" if magnetisation == "induced" else "the magnetisation given"
    return _told(
        index,
        turn=field + body - 90.0,
        rate=rate + body_rate,
        strike_sd_deg=strike_sd_deg,
        extra=remanence_turn(koenigsberger, share) if magnetisation == "induced" else 0.0,
        words=(under, koenigsberger if magnetisation == "induced" else 0.0),
        edge=edge,
    )


def section_direction(
    inclination_deg: float, profile_azimuth_deg: float
) -> tuple[float, float, float]:
    """Return a direction in the section across the strike, its share there, and its rate.

    Parameters
    ----------
    inclination_deg, profile_azimuth_deg : float
        Inclination, positive down, and azimuth of the profile from the declination [deg].

    Returns
    -------
    angle_deg : float
        Angle from the profile's direction, positive down [deg].
    share : float
        Length of a unit vector's part in the section.
    rate : float
        Change of the angle with the profile's azimuth [deg for each deg].

    Examples
    --------
    >>> section_direction(45.0, 0.0)[:2]
    (45.0, 1.0)
    """
    inclination, azimuth = np.radians([inclination_deg, profile_azimuth_deg])
    down, along = np.sin(inclination), np.cos(inclination) * np.cos(azimuth)
    square = down**2 + along**2
    rate = down * np.cos(inclination) * np.sin(azimuth) / max(square, 1e-12)
    return float(np.degrees(np.arctan2(down, along))), float(np.sqrt(square)), float(rate)


def remanence_turn(koenigsberger: float, share: float) -> float:
    """Return by how much remanence can turn a magnetisation in the section [deg].

    Examples
    --------
    >>> round(remanence_turn(0.5, 1.0), 9)
    30.0
    """
    if koenigsberger >= share:
        return 180.0
    return float(np.degrees(np.arcsin(koenigsberger / share)))


def index_of_dip(
    dip_deg: float,
    *,
    inclination_deg: float,
    profile_azimuth_deg: float,
    body_inclination_deg: float | None = None,
    body_azimuth_deg: float | None = None,
) -> float:
    """Return the index angle that a dip gives: the way back of `dip_of`.

    Parameters
    ----------
    dip_deg : float
        Dip from the profile's direction [deg], above 0 and below 180.
    inclination_deg, profile_azimuth_deg : float
        Inclination of the ambient field and azimuth of the profile from magnetic north [deg].
    body_inclination_deg, body_azimuth_deg : float, optional
        Those of the body's magnetisation; by default it lies along the field.

    Returns
    -------
    float
        Index angle in -180 to 180 [deg], of a body that is the more magnetic side.

    Examples
    --------
    >>> round(index_of_dip(80.0, inclination_deg=60.0, profile_azimuth_deg=0.0), 9)
    -50.0
    """
    if not 0.0 < dip_deg < 180.0:
        raise InputError("Dip must be above 0 and below 180 degrees.", value=dip_deg)
    field = section_direction(inclination_deg, profile_azimuth_deg)[0]
    body = field
    if body_inclination_deg is not None and body_azimuth_deg is not None:
        body = section_direction(body_inclination_deg, body_azimuth_deg)[0]
    return float((field + body - dip_deg - 90.0 + 180.0) % 360.0 - 180.0)


def susceptibility_width(
    strength: Estimate,
    *,
    dip_deg: float,
    dip_sd_deg: float = 0.0,
    strength_nT: float,
    inclination_deg: float,
    profile_azimuth_deg: float,
) -> Estimate:
    """Return susceptibility times width of a dyke under induced magnetisation.

    Parameters
    ----------
    strength : Estimate
        Amplitude times width [nT m].
    dip_deg : float
        Dip [deg], above 0 and below 180.
    dip_sd_deg : float
        Its standard deviation [deg], held in the interval as independent of that of the strength.
    strength_nT, inclination_deg : float
        The ambient field [nT] and its inclination [deg].
    profile_azimuth_deg : float
        Azimuth of the profile from magnetic north [deg].

    Returns
    -------
    Estimate
        Susceptibility times horizontal width [SI m], at that dip.

    Raises
    ------
    InputError
        For a dip outside 0 to 180, or a field not above zero or along the strike.

    Notes
    -----
    The amplitude is ``k F c sin(d) / 2 pi`` (`dyke_index`).

    Examples
    --------
    >>> found = susceptibility_width(Estimate(3183.1, 0.0, 3183.1, 3183.1), dip_deg=90.0,
    ...     strength_nT=50000.0, inclination_deg=90.0, profile_azimuth_deg=0.0)
    >>> round(found.value, 4)
    0.4
    """
    check_positive(strength_nT, name="Strength of the ambient field")
    if not 0.0 < dip_deg < 180.0:
        raise InputError("Dip must be above 0 and below 180 degrees.", value=dip_deg)
    share = section_direction(inclination_deg, profile_azimuth_deg)[1]
    check_positive(share, name="Share of the field across the strike")
    factor = 2.0 * np.pi / (strength_nT * share**2 * np.sin(np.radians(dip_deg)))
    value = float(factor * strength.value)
    turned = abs(value) * np.radians(dip_sd_deg) / abs(np.tan(np.radians(dip_deg)))
    low, high = (
        float(np.hypot(factor * end - value, NINETY * turned))
        for end in (strength.low, strength.high)
    )
    sd = float(np.hypot(factor * strength.sd, turned))
    return Estimate(value, sd, max(value - low, 0.0), value + high, strength.resolved)


def _told(
    index: Estimate,
    *,
    turn: float,
    rate: float,
    strike_sd_deg: float,
    extra: float,
    words: tuple[str, float],
    edge: bool,
) -> Dip:
    """Return the dip at an index angle, for a direction that the strike's error turns too."""
    raw = (turn - index.value) % 360.0
    positive = bool(raw < 180.0)
    dip = raw % 180.0
    sd = float(np.hypot(index.sd, rate * strike_sd_deg))
    half = np.hypot(max(index.high - index.value, index.value - index.low),
                    NINETY * rate * strike_sd_deg)  # fmt: skip
    if not dip > 0.0 or half > WIDEST / 2.0:
        return _none("The index angle is too uncertain for a dip.")
    low, high = max(dip - half, 0.0), min(dip + half, 180.0)
    least, most = max(dip - half - extra, 0.0), min(dip + half + extra, 180.0)
    under, ratio = words
    if least <= 0.0 and most >= 180.0:
        return _none(f"Remanence up to {ratio:g} of the induced allows any dip: none is told.")
    said = f"Dip under {under}"
    if ratio > 0.0:
        said += f"; the range holds remanence up to {ratio:g} of the induced"
    said += _side(positive=positive, edge=edge)
    told = Estimate(float(dip), sd, float(low), float(high))
    return Dip(told, float(least), float(most), positive, said + ".")


def _side(*, positive: bool, edge: bool) -> str:
    """Return which side is the more magnetic; nothing of a body that is more so than its host."""
    if edge:
        side = "right" if positive else "left"
        return f"; the rock on the {side} of the strike is the more magnetic"
    less = "; the body is less magnetic than its host, or magnetised the other way round"
    return "" if positive else less


def _none(words: str) -> Dip:
    """Return that there is no dip, and why."""
    return Dip(None, float("nan"), float("nan"), True, words)
