"""The network of bases in the main job: planted levels, moves, and what a person set."""

import numpy as np
import pytest
from scipy.signal import lfilter

from lodewalk.errors import InputError
from lodewalk.methods.corrections.base_ties import Tie, overlap_tie
from lodewalk.services.check import check
from lodewalk.services.decide import decide
from lodewalk.services.why import why_reading
from lodewalk.steps.base_network import NamedTie, settled, with_shared_ends
from lodewalk.steps.proposed import Proposal
from lodewalk.survey.folder import open_folder
from small_survey import stamp
from tied_survey import DAY, HEAD, HOUR, base, grid_walk, variation


def nodes(bench):
    return {row["node"]: row for row in bench.product("datum_network")["nodes"]}


def test_one_base_is_the_datum_with_nothing_added(bench):
    base(bench, "B1", (HOUR, 22_950.0))
    bench.add("R1.csv", [HEAD, *grid_walk(0.0, along=6, crossed=False)], "rover", "R1")
    bench.run()
    (row,) = nodes(bench).values()
    assert (row["level_nT"], row["sd_nT"], row["rests_on"]) == (0.0, 0.0, "it is the datum")
    assert bench.product("datum_network")["ties"] == []
    assert not len(bench.product("datum_findings"))


def test_crossings_tie_bases_that_never_recorded_together(bench):
    """Day one under B1, day two under B2, 37.5 nT higher: tie lines cross the lines."""
    base(bench, "B1", (HOUR, 22_950.0))
    base(bench, "B2", (HOUR + DAY, 22_987.5), seed=2)
    bench.add("a.csv", [HEAD, *grid_walk(0.0, along=6, crossed=False)], "rover", "R1")
    bench.add("b.csv", [HEAD, *grid_walk(DAY, along=5, crossed=True)], "rover", "R1")
    bench.run()
    found = nodes(bench)["B2"]
    assert found["rests_on"] == "ties"
    # No crossing under one base tells how far levels of lines scatter, so the setting does: 5 nT,
    # six lines on one day and five on the other: 5 sqrt(1/6 + 1/5).
    assert found["sd_nT"] == pytest.approx(5 * np.sqrt(1 / 6 + 1 / 5), rel=0.05)
    assert found["level_nT"] == pytest.approx(37.5, abs=0.5)
    frame = bench.readings().filter("kept")
    days = frame["time_utc"].dt.date()
    means = [frame.filter(days == day)["anomaly_nT"].mean() for day in sorted(set(days))]
    assert means[1] - means[0] == pytest.approx(0.0, abs=0.6)
    second = frame.filter(days == max(days))["sd_diurnal_nT"].to_numpy()
    assert (second >= found["sd_nT"]).all()
    told = why_reading(open_folder(bench.path), str(frame["reading_id"][-1]))
    assert any("Site tie -37" in sentence for sentence in told.sentences)


def test_without_a_tie_there_is_a_doubt_and_no_number(bench):
    base(bench, "B1", (HOUR, 22_950.0))
    base(bench, "B2", (HOUR + DAY, 22_987.5), seed=2)
    bench.run()
    assert nodes(bench)["B2"]["rests_on"] == "nothing"
    (found,) = bench.findings("bases not tied")
    assert (found.severity, found.instrument) == ("doubt", "B2")


def test_a_site_tie_that_the_network_contradicts_is_told_with_both_numbers(bench):
    base(bench, "B1", (HOUR, 22_950.0))
    base(bench, "B2", (HOUR, 22_987.5), seed=2)
    bench.set("instruments.B2", site_tie_nT=-30.0)
    bench.run()
    (found,) = bench.findings("site tie doubted")
    assert "-30.00 nT" in found.text
    assert "-37.5" in found.text
    row = nodes(bench)["B2"]
    assert (row["level_nT"], row["sd_nT"], row["rests_on"]) == (30.0, 0.0, "site tie")


MOVED_S = 1800.0


def moved_base(bench):
    """B1 is moved at half past two and reads 25 nT more from then on; B2 stays."""
    early, late = HOUR[HOUR < MOVED_S], HOUR[HOUR >= MOVED_S]
    base(bench, "B1", (early, 22_950.0), (late, 22_975.0))
    base(bench, "B2", (HOUR, 22_987.5), seed=2)


def test_a_base_that_moved_is_two_nodes_after_the_decision(bench):
    moved_base(bench)
    bench.add("R1.csv", [HEAD, *grid_walk(0.0, along=16, crossed=False)], "rover", "R1")
    bench.run()
    step = next(f for f in bench.findings("base step") if f.instrument == "B1")
    assert f"decide move --instrument B1 --start {stamp(MOVED_S)[:19]}" in step.text
    assert step.proposal == Proposal("move", "B1", stamp(MOVED_S)[:19])
    decide(
        open_folder(bench.path), kind="move", instrument="B1", start=stamp(MOVED_S)[:19],
        reason="a cow", who="AB",
    )  # fmt: skip
    bench.run()
    found = nodes(bench)
    assert list(found) == ["B1 place 1", "B1 place 2", "B2"]
    assert found["B1 place 2"]["level_nT"] == pytest.approx(25.0, abs=0.1)
    assert found["B2"]["level_nT"] == pytest.approx(37.5, abs=0.1)
    assert not [f for f in bench.findings("base step") if f.instrument == "B1"]
    np.testing.assert_allclose(
        bench.product("rover_diurnal").floats("diurnal_nT")
        - variation(np.array(bench.readings()["time_utc"].dt.epoch("ms")) / 1e3 - 1_773_151_200),
        np.nanmean(
            bench.product("rover_diurnal").floats("diurnal_nT")
            - variation(np.array(bench.readings()["time_utc"].dt.epoch("ms")) / 1e3 - 1_773_151_200)
        ),
        atol=0.3,
    )
    (day,) = check(open_folder(bench.path)).days
    # The variation alone, 8 nT either way, and not the 25 nT of the move.
    assert day.base.range_nT < 20
    assert day.base.worst_chord_nT < 2


def test_a_move_needs_its_moment_and_a_base(bench):
    moved_base(bench)
    bench.add("R1.csv", [HEAD, *grid_walk(0.0, along=2, crossed=False)], "rover", "R1")
    folder = open_folder(bench.path)
    with pytest.raises(InputError, match="a move has a start"):
        decide(folder, kind="move", instrument="B1", reason="a cow", who="AB")
    with pytest.raises(InputError, match="No file of role base"):
        decide(
            folder, kind="move", instrument="R1", start="2026-03-10T14:00:00", reason="x", who="A"
        )


def test_a_move_before_the_record_is_told(bench):
    moved_base(bench)
    decide(
        open_folder(bench.path), kind="move", instrument="B2", start="2026-03-01T00:00:00",
        reason="a cow", who="AB",
    )  # fmt: skip
    bench.run()
    (found,) = bench.findings("decision without effect")
    assert "no moment between two readings of the base" in found.text


def tie(first, second, difference, sd=1.0):
    return NamedTie(first, second, "both recorded", Tie(difference, sd, 100))


def test_a_loop_by_hand_and_levels_that_a_person_set():
    """A-B-C-A misses by 0.3 nT, a third for each; with B held at 10 both ties to C decide."""
    loop = [tie("A", "B", 10.0), tie("B", "C", 5.0), tie("C", "A", -14.7)]
    found = {row["node"]: row for row in settled(["A", "B", "C"], loop, {})["nodes"]}
    assert [found[n]["level_nT"] for n in "ABC"] == [0.0, 9.9, 14.8]
    held = {row["node"]: row for row in settled(["A", "B", "C"], loop, {"B": 10.0})["nodes"]}
    # C is 15.0 by B and 14.7 by A.
    assert [held[n]["level_nT"] for n in "ABC"] == [0.0, 10.0, 14.85]
    assert held["C"]["sd_nT"] == pytest.approx(np.sqrt(0.5), abs=1e-4)
    assert held["B"]["network_level_nT"] == 9.9


def test_levels_of_three_bases_at_once_have_errors_that_hold():
    """Each base has an error of its own that is alike for three minutes; 200 trials."""
    rng = np.random.default_rng(11)
    time = np.arange(0.0, 7200.0, 30.0)
    planted = {"A": 0.0, "B": 20.0, "C": -7.0}
    ratio = []
    for _ in range(200):
        fade = np.exp(-30.0 / 180.0)
        own = rng.normal(size=(3, time.size + 60))
        wander = lfilter([np.sqrt(1 - fade**2)], [1, -fade], own)[:, -time.size :]
        field = {n: planted[n] + 0.4 * wander[i] for i, n in enumerate(planted)}
        ties = with_shared_ends(
            [
                NamedTie(a, b, "", overlap_tie(time, field[a], time, field[b], max_gap_s=90))
                for a, b in ("AB", "AC", "BC")
            ]
        )
        rows = {row["node"]: row for row in settled(list("ABC"), ties, {})["nodes"]}
        ratio += [(rows[n]["level_nT"] - planted[n]) / rows[n]["sd_nT"] for n in "BC"]
    held = np.mean(np.abs(ratio) <= 1.645)
    # B and C share A's error, so 400 values count as some 300: 0.90 has an sd of 0.02.
    assert 0.86 <= held <= 1.0


def test_a_suspect_tie_stays_in_and_raises_the_errors():
    ties = [tie("A", "B", 10.0, 0.1), tie("A", "B", 10.1, 0.1), tie("A", "B", 14.0, 0.1)]
    found = settled(["A", "B"], ties, {})
    assert [row["suspect"] for row in found["ties"]] == [False, False, True]
    assert found["nodes"][1]["level_nT"] == pytest.approx(34.1 / 3, abs=1e-4)
    # Residuals -41/30, -38/30 and 79/30 over 0.1 nT, two free.
    square = (41**2 + 38**2 + 79**2) / 9
    assert found["chi_square"] == pytest.approx(square, rel=1e-6)
    assert found["nodes"][1]["sd_nT"] == pytest.approx(
        0.1 / np.sqrt(3) * np.sqrt(square / 2), abs=1e-4
    )


def test_no_base_at_all_is_a_network_of_nothing(bench):
    bench.add("R1.csv", [HEAD, *grid_walk(0.0, along=2, crossed=False)], "rover", "R1")
    bench.run()
    assert bench.product("datum_network")["nodes"] == []
