"""Crossings of 128 flight lines and 9 tie lines near Rio de Janeiro, 1978.

The expected figures were computed beforehand by other code from the same file: about 320 crossings,
median misfit 0.29 nT (tie line minus line), median size 5.2 nT, RMS 57 nT, heights up to 205 m
apart.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy.stats import spearmanr

from lodewalk.methods.corrections.crossings import (
    Crossings,
    at_positions,
    crossing_misfits,
    find_crossings,
)
from lodewalk.methods.corrections.levelling import level_lines
from lodewalk.methods.corrections.levelling_choice import choose_prior
from lodewalk.methods.corrections.levelling_model import LevelPrior, LineTies, crossing_sd
from outside.readers import read_rio

EARTH_RADIUS_M = 6_371_000.0


@pytest.fixture(scope="module")
def table(rio_lines: Path) -> pl.DataFrame:
    return read_rio(rio_lines)


@pytest.fixture(scope="module")
def crossings(table: pl.DataFrame) -> Crossings:
    """Of every pair of lines, on a local plane: good to 1 % of a distance over this area."""
    latitude = np.radians(table["latitude"].to_numpy())
    longitude = np.radians(table["longitude"].to_numpy())
    easting = EARTH_RADIUS_M * longitude * np.cos(latitude.mean())
    return find_crossings(
        table["line_number"].to_numpy(), easting, EARTH_RADIUS_M * latitude, max_gap_m=300.0
    )


def test_file_is_what_it_is_said_to_be(table: pl.DataFrame) -> None:
    assert table.height == 37_718
    lines = table.group_by("line_type").agg(pl.col("line_number").n_unique()).sort("line_type")
    assert lines.rows() == [("LINE", 128), ("TIE", 9)]
    assert table.height - table.unique(["longitude", "latitude"]).height == 5
    # Each line stands together in the file, as `find_crossings` asks.
    number = table["line_number"].to_numpy()
    assert np.count_nonzero(np.diff(number)) + 1 == 137


def test_crossings_and_misfits(
    table: pl.DataFrame, crossings: Crossings, figures: Callable[[str], None]
) -> None:
    tie = (table["line_type"] == "TIE").to_numpy()
    first_is_tie = tie[np.floor(crossings.first).astype(int)]
    with_tie = first_is_tie != tie[np.floor(crossings.second).astype(int)]
    misfit = crossing_misfits(crossings, table["total_field_anomaly_nt"].to_numpy())
    tie_minus_line = np.where(first_is_tie, misfit, -misfit)[with_tie]
    apart_m = crossing_misfits(crossings, table["height_ell_m"].to_numpy())[with_tie]
    rms = np.sqrt(np.mean(tie_minus_line**2))
    figures(
        f"Rio: {with_tie.sum()} crossings of line and tie line; misfit median "
        f"{np.median(tie_minus_line):+.2f}, median size {np.median(np.abs(tie_minus_line)):.2f}, "
        f"RMS {rms:.1f} nT; heights up to {np.abs(apart_m).max():.0f} m apart"
    )
    assert with_tie.sum() == pytest.approx(320, abs=2)
    assert np.median(tie_minus_line) == pytest.approx(0.29, abs=0.02)
    assert np.median(np.abs(tie_minus_line)) == pytest.approx(5.2, abs=0.1)
    assert rms == pytest.approx(57.0, abs=0.5)
    assert np.abs(apart_m).max() == pytest.approx(205.0, abs=0.5)


@dataclass(frozen=True)
class Lines:
    """Passages of the Rio lines: number and metres along of each reading, and their crossings."""

    passage: np.ndarray
    along_m: np.ndarray
    ties: LineTies


def rio_passages(table: pl.DataFrame) -> Lines:
    """Crossings of 30 degrees and more, with an sd from noise of 1 nT and positions of 10 m.

    These two are rough guesses for 1978; levelling widens the sd where they are too small.
    """
    latitude = np.radians(table["latitude"].to_numpy())
    east = EARTH_RADIUS_M * np.radians(table["longitude"].to_numpy()) * np.cos(latitude.mean())
    north = EARTH_RADIUS_M * latitude
    number = table["line_number"].to_numpy()
    passage = np.unique(number, return_inverse=True)[1]
    value = table["total_field_anomaly_nt"].to_numpy()
    found = find_crossings(number, east, north, max_gap_m=300.0)
    step = np.hypot(np.diff(east, prepend=east[0]), np.diff(north, prepend=north[0]))
    along = np.cumsum(step)
    starts = np.flatnonzero(np.diff(passage, prepend=-1))
    first_m = np.zeros(passage.max() + 1)
    first_m[passage[starts]] = along[starts]
    along -= first_m[passage]
    pace = np.hypot(np.gradient(east), np.gradient(north))
    slope = np.abs(np.gradient(value)) / np.maximum(pace, 1.0)
    edge = np.diff(passage, prepend=-1, append=-1) != 0
    slope[edge[:-1] | edge[1:]] = np.median(slope)
    sides = [(np.floor(part).astype(int), part) for part in (found.first, found.second)]
    pair = np.ones((len(found), 2))
    sd = crossing_sd(
        noise_nT=pair,
        diurnal_sd_nT=0.0 * pair,
        position_sd_m=10.0 * pair,
        slope_nT_m=np.column_stack([at_positions(part, slope) for _, part in sides]),
        angle_deg=found.angle_deg,
    )
    (first, first_at), (second, second_at) = sides
    ties = LineTies(
        passage[first],
        at_positions(first_at, along),
        passage[second],
        at_positions(second_at, along),
        crossing_misfits(found, value),
        sd,
    )
    return Lines(passage, along, ties.part(found.angle_deg >= 30.0))


def common_to_lines(lines: Lines) -> float:
    """Rank correlation of the misfits of two crossings of one flight line, over all such pairs.

    It is near 1 for lines with levels of their own, 0 where misfits have nothing in common.
    """
    ties = lines.ties
    often = np.bincount(np.concatenate([ties.first, ties.second]))
    is_line = often < 10  # tie lines have sixty, the few short ones hardly matter
    number = np.where(is_line[ties.first], ties.first, ties.second)
    misfit = np.where(is_line[ties.first], 1.0, -1.0) * ties.difference_nT
    one, other = np.triu_indices(len(ties), 1)
    same = number[one] == number[other]
    a, b = misfit[one[same]], misfit[other[same]]
    return float(spearmanr(np.append(a, b), np.append(b, a))[0])


def held_out(
    lines: Lines, *, prior: LevelPrior, seed: int, planted_nT: float = 0.0, choose: bool = True
) -> tuple[np.ndarray, np.ndarray, float]:
    """Median size and MAD-sd of a fifth of the crossings before and after, and the factor chosen.

    Constants of sd `planted_nT` are added to the lines first.
    """
    rng = np.random.default_rng([1978, seed])
    held = rng.random(len(lines.ties)) < 0.2
    added = rng.normal(0, 1, lines.passage.max() + 1) * planted_nT
    more = added[lines.ties.first] - added[lines.ties.second]
    ties = replace(lines.ties, difference_nT=lines.ties.difference_nT + more)
    if choose:
        choice = choose_prior(lines.passage, lines.along_m, ties.part(~held), prior=prior)
        factor, levelling = choice.factor, choice.levelling
    else:
        levelling = level_lines(lines.passage, lines.along_m, ties.part(~held), prior=prior)
        factor = 1.0
    rest = ties.part(held)
    first, second = (
        levelling.at(number, along)[0]
        for number, along in ((rest.first, rest.first_along), (rest.second, rest.second_along))
    )
    return (
        _robust_sizes(rest.difference_nT),
        _robust_sizes(rest.difference_nT - first + second),
        factor,
    )


def _robust_sizes(misfit: np.ndarray) -> np.ndarray:
    spread = np.median(np.abs(misfit - np.median(misfit))) / 0.6745
    return np.array([np.median(np.abs(misfit)), spread])


def test_published_lines_have_no_level_of_their_own(
    table: pl.DataFrame, figures: Callable[[str], None]
) -> None:
    # Two crossings of one line have nothing in common, so corrections can't lessen what is held
    # out; the size chosen from the crossings must see that, and do no harm.
    lines = rio_passages(table)
    common = common_to_lines(lines)
    assert abs(common) < 0.15
    draws = [held_out(lines, prior=LevelPrior(10.0), seed=seed) for seed in range(4)]
    before, after = (np.mean([draw[i] for draw in draws], axis=0) for i in (0, 1))
    forced = np.mean(
        [held_out(lines, prior=LevelPrior(10.0), seed=s, choose=False)[1] for s in range(4)], axis=0
    )
    figures(
        f"Rio, held-out fifth of the crossings, as published: median size {before[0]:.2f} -> "
        f"{after[0]:.2f} nT, MAD-sd {before[1]:.2f} -> {after[1]:.2f} nT; with corrections of "
        f"10 nT forced {forced[0]:.2f} and {forced[1]:.2f} nT; rank correlation of two misfits of "
        f"a line {common:+.2f}"
    )
    assert max(draw[2] for draw in draws) <= 0.1
    np.testing.assert_allclose(after, before, rtol=0.05)


def test_planted_levels_are_found_from_four_fifths_of_the_crossings(
    table: pl.DataFrame, figures: Callable[[str], None]
) -> None:
    lines = rio_passages(table)
    draws = [
        held_out(lines, prior=LevelPrior(30.0), seed=seed, planted_nT=30.0) for seed in range(4)
    ]
    before, after = (np.mean([draw[i] for draw in draws], axis=0) for i in (0, 1))
    figures(
        f"Rio, the same with constants of 30 nT planted: median size {before[0]:.2f} -> "
        f"{after[0]:.2f} nT, MAD-sd {before[1]:.2f} -> {after[1]:.2f} nT"
    )
    assert (after <= before / 2).all()
