"""Azimuth and spacing of the lines that are planned, and why."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from lodewalk.methods.bodies.target import Body
from lodewalk.methods.planning.aliasing import USUAL_SHARE, largest_spacing_m
from lodewalk.methods.planning.expected import strike_counts
from lodewalk.methods.planning.line_layout import TIE_RATIO

#: What is said of a number that a person set.
AS_SET = "set in survey.toml"


@dataclass(frozen=True)
class LayoutChoice:
    """How the lines lie.

    Parameters
    ----------
    azimuth_deg, spacing_m, tie_spacing_m : float
        Azimuth of the lines from grid north [deg], distance between lines and ties [m].
    why : mapping
        The reason for each of `azimuth`, `spacing`, `ties`.
    optimiser : mapping, optional
        What the optimiser tried and found.
    warnings : tuple of str
        What is doubtful about it.
    """

    azimuth_deg: float
    spacing_m: float
    tie_spacing_m: float
    why: Mapping[str, str]
    optimiser: Mapping[str, Any] | None = None
    warnings: tuple[str, ...] = ()


def chosen_layout(
    settings: Mapping[str, Any],
    optimiser: Mapping[str, Any] | None = None,
    *,
    magnetic_north_deg: float = 0.0,
) -> LayoutChoice:
    """Return how the lines lie: as set, else as the optimiser found or by the rule of thumb.

    Parameters
    ----------
    settings : mapping
        Sections ``plan`` and ``body``.
    optimiser : mapping, optional
        What the optimiser found; it counts where it is better and neither azimuth nor spacing
        is set.
    magnetic_north_deg : float
        Azimuth of magnetic north from grid north [deg].

    Notes
    -----
    Lines cross the strike at right angles, or run along magnetic north where the body isn't much
    longer than wide (Geophysics 33(2), 329, 1968, abstract), as far apart as the body's top is
    deep below the sensor; ties ten times as far.

    Examples
    --------
    >>> plan = {"line_azimuth_deg": None, "line_spacing_m": None, "tie_spacing_m": None,
    ...         "sensor_height_m": 2.0}
    >>> body = {"kind": "dyke", "strike_deg": 30.0, "depth_m": 10.0, "width_m": 5.0,
    ...         "length_m": 300.0}
    >>> found = chosen_layout({"plan": plan, "body": body})
    >>> found.azimuth_deg, found.spacing_m, found.tie_spacing_m
    (120.0, 12.0, 120.0)
    """
    plan, body = settings["plan"], settings["body"]
    if optimiser is not None and optimiser["better"]:
        return _of_optimiser(optimiser, plan, body)
    azimuth, why_azimuth = _azimuth(plan, body, magnetic_north_deg)
    depth = body["depth_m"] + plan["sensor_height_m"]
    spacing, why_spacing = plan["line_spacing_m"], AS_SET
    if spacing is None:
        spacing = depth
        why_spacing = (
            f"depth of the body below the sensor ({body['depth_m']:g} m and "
            f"{plan['sensor_height_m']:g} m): wider lines alias (Reid 1980)"
        )
    if optimiser is not None:
        why_spacing = f"{why_spacing}; {optimiser['text']}"
    ties, why_ties = plan["tie_spacing_m"], AS_SET
    if ties is None:
        ties = TIE_RATIO * spacing
        why_ties = f"about {TIE_RATIO:g} are usual (4 to 20 in published surveys)"
    return LayoutChoice(
        azimuth,
        float(spacing),
        float(ties),
        {"azimuth": why_azimuth, "spacing": why_spacing, "ties": why_ties},
        optimiser=optimiser,
        warnings=tuple(_doubts(azimuth, float(spacing), depth, body)),
    )


def tie_words(choice: LayoutChoice, tie_spacing_m: float) -> str:
    """Return why ties lie as they do, with how many line spacings they really lie apart.

    Examples
    --------
    >>> choice = LayoutChoice(0.0, 50.0, 500.0, {"ties": "set in survey.toml"})
    >>> tie_words(choice, 400.0)
    '8 times the line spacing, evenly over the area; set in survey.toml'
    """
    times = f"{tie_spacing_m / choice.spacing_m:.3g} times the line spacing"
    return f"{times}, evenly over the area; {choice.why['ties']}"


def may_optimise(plan: Mapping[str, Any]) -> bool:
    """Tell whether the lines are to be optimised: asked for, and neither azimuth nor spacing set.

    Examples
    --------
    >>> may_optimise({"optimise": True, "line_azimuth_deg": None, "line_spacing_m": 20.0})
    False
    """
    unset = plan["line_azimuth_deg"] is None and plan["line_spacing_m"] is None
    return bool(plan["optimise"]) and unset


def _of_optimiser(
    optimiser: Mapping[str, Any], plan: Mapping[str, Any], body: Mapping[str, Any]
) -> LayoutChoice:
    """Return the lines that the optimiser chose."""
    chosen, text = optimiser["chosen"], "optimised for the body"
    azimuth, spacing = chosen["azimuth_deg"], chosen["spacing_m"]
    ties = plan["tie_spacing_m"]
    why = {
        "azimuth": text,
        "spacing": f"{text}: {optimiser['text']}",
        "ties": text if ties is None else AS_SET,
    }
    depth = body["depth_m"] + plan["sensor_height_m"]
    return LayoutChoice(
        azimuth,
        spacing,
        chosen["tie_spacing_m"] if ties is None else float(ties),
        why,
        optimiser=optimiser,
        warnings=tuple(_doubts(azimuth, spacing, depth, body)),
    )


def _azimuth(
    plan: Mapping[str, Any], body: Mapping[str, Any], magnetic_north_deg: float
) -> tuple[float, str]:
    """Return the azimuth of the lines below 180 degrees, and why."""
    if plan["line_azimuth_deg"] is not None:
        return float(plan["line_azimuth_deg"]) % 180, AS_SET
    if _is_long(body):
        across = (float(body["strike_deg"]) + 90) % 180
        return across, f"at right angles to the strike of {body['strike_deg']:g} degrees"
    return magnetic_north_deg % 180, f"along magnetic north: a {body['kind']} like this is compact"


def _is_long(body: Mapping[str, Any]) -> bool:
    """Tell whether a body is so long that its strike counts."""
    return strike_counts(
        Body(kind=body["kind"], width_m=body["width_m"], length_m=body["length_m"])
    )


def _doubts(azimuth: float, spacing: float, depth: float, body: Mapping[str, Any]) -> list[str]:
    """Say what is doubtful about azimuth and spacing."""
    found = []
    along = abs((azimuth - body["strike_deg"] + 90) % 180 - 90)
    if _is_long(body) and along < 45:
        found.append(
            f"The lines run at {along:.0f} degrees to the strike: they may pass beside the body, "
            "and a body along a line looks like its level. Lines across the strike show it best."
        )
    if spacing > 1.001 * largest_spacing_m(USUAL_SHARE, depth_m=depth):
        found.append(
            f"The lines lie {spacing:g} m apart, {spacing / depth:.1f} times the depth of the "
            f"body below the sensor: more than {USUAL_SHARE:.0%} of its power would alias in a map."
        )
    return found
