"""The step trace: a planted dyke through the job, names and tables, and surveys without a grid."""

import numpy as np
import polars as pl
import pytest

from lodewalk.methods.bodies.dyke import index_dyke_anomaly
from lodewalk.records import Grid, GridSet
from lodewalk.records.products import Culture, Lines, ReadingLines, Readings
from lodewalk.steps.context import Context
from lodewalk.steps.trace import run

CRS, NODE, SPACING, SIDE = "EPSG:31982", 5.0, 20.0, 400.0
SETTINGS = {"trace": {"least_length_m": None, "least_evidence": 0.95}}


def frame_of(table, rows, **columns):
    """Return a table whose other columns are null, or zero where they may not be."""
    made = {}
    for column in table.SCHEMA:
        if column.name in columns:
            made[column.name] = pl.Series(columns[column.name], dtype=column.dtype)
        elif column.nullable:
            made[column.name] = pl.Series([None] * rows, dtype=column.dtype)
        else:
            filler = {pl.String(): "", pl.Boolean(): True}.get(column.dtype, 0)
            made[column.name] = pl.Series([filler] * rows).cast(column.dtype)
    return table(pl.DataFrame(made))


def dyke(north, middle=200.0):
    return index_dyke_anomaly(
        north - middle, depth_m=12.0, half_width_m=3.0, amplitude_nT=80.0, index_angle_deg=40.0
    )


def rough(north, east, size=0.3):
    return np.random.default_rng(9).normal(0, size, np.broadcast(north, east).shape)


def survey(*, field=dyke, steel=(), grid=True):
    """Return the inputs of the step: lines that run north over a field that changes to the north.

    `steel` gives northings of a fence that crosses all lines.
    """
    count, step = int(SIDE / SPACING) + 1, 2.0
    north = np.arange(0.0, SIDE + 1, step)
    east, rows = np.repeat(SPACING * np.arange(count), north.size), count * north.size
    passage = np.repeat(np.arange(count), north.size)
    all_north = np.tile(north, count)
    value = field(all_north) + rough(all_north, east)
    readings = frame_of(
        Readings, rows, easting_m=east, northing_m=all_north, anomaly_nT=value,
        sd_sensor_nT=np.full(rows, 0.3), kept=np.ones(rows, dtype=bool),
    )  # fmt: skip
    names = [f"L{k + 1}" for k in range(count)]
    nodes = NODE * np.arange(int(SIDE / NODE) + 1)
    values = field(nodes[:, None]) + rough(nodes[:, None], nodes[None, :])
    own = Grid(values, 0.0, 0.0, NODE, CRS, "nT", "total_field_anomaly")
    fence = [(e, n) for n in steel for e in SPACING * np.arange(count)]
    return {
        "grids": GridSet((own,) if grid else ()),
        "readings": readings,
        "rover_lines": frame_of(ReadingLines, rows, passage=passage),
        "lines": frame_of(Lines, count, line=names, tie=np.zeros(count, dtype=bool)),
        "rover_culture": frame_of(
            Culture, len(fence), easting_m=[e for e, _ in fence], northing_m=[n for _, n in fence],
            feature=[0] * len(fence),
        ),
    }  # fmt: skip


def made(inputs, **own):
    settings = {"trace": SETTINGS["trace"] | own}
    return run(inputs, settings, Context())


def test_a_dyke_is_one_lineament_with_its_strike_and_its_lines():
    found = made(survey())
    (row,) = found["lineaments"].frame.to_dicts()
    assert (row["lineament"], row["kind"], row["group"]) == ("R1", "ridge", None)
    assert row["strike_deg"] == pytest.approx(90.0, abs=2 * row["strike_sd_deg"])
    assert row["northing_m"] == pytest.approx(200.0, abs=2.0)
    assert row["length_m"] == pytest.approx(SIDE, abs=2 * SPACING)
    assert row["lines"] >= 18
    assert row["alike"] > 0.95
    assert row["evidence"] == 0.999  # capped: trials bear no more
    points = found["lineament_points"].frame
    assert points["number"].to_list() == list(range(1, points.height + 1))
    assert np.abs(points["northing_m"].to_numpy() - 200.0).max() < 4.0
    assert len(found["faults"]) == 0
    notes = found["trace_notes"].values
    assert notes["problem"] is None
    assert notes["line_spacing_m"] == SPACING
    assert notes["rose"]["number"] == 1


def test_a_fence_is_no_lineament_and_the_notes_say_so():
    fence = made(survey(field=lambda n: dyke(n, 100.0), steel=(100.0,)))
    assert len(fence["lineaments"]) == 0
    (told,) = fence["trace_notes"]["left_out"]
    assert told["what"] == "ground near steel"
    both = made(survey(field=lambda n: dyke(n, 100.0) + dyke(n, 300.0), steel=(100.0,)))
    (row,) = both["lineaments"].frame.to_dicts()
    assert row["northing_m"] == pytest.approx(300.0, abs=2.0)


def test_kinds_and_spots_come_from_the_transforms():
    inputs = survey(field=lambda n: 40 * np.arctan((n - 200) / 12.0))
    anomaly = inputs["grids"].grids[0]
    nodes = NODE * np.arange(81)
    north, east = nodes[:, None], nodes[None, :]
    hill = 2 / (1 + ((north - 330) ** 2 + (east - 100) ** 2) / 20**2) ** 2
    transforms = GridSet(
        (
            Grid(anomaly.values.copy(), 0.0, 0.0, NODE, CRS, "nT", "reduced_to_pole"),
            Grid(hill + rough(north, east, 0.05), 0.0, 0.0, NODE, CRS, "nT/m", "total_gradient"),
        )
    )
    found = made(inputs | {"transform_grids": transforms})
    rows = {row["kind"]: row for row in found["lineaments"].frame.to_dicts()}
    assert rows["edge"]["lineament"] == "E1"
    spot = rows["spot"]
    assert (spot["lineament"], spot["strike_deg"], spot["length_m"]) == ("S1", None, 0.0)
    assert np.hypot(spot["easting_m"] - 100, spot["northing_m"] - 330) < 10.0
    assert found["lineament_points"].frame.filter(lineament="S1").height == 1
    assert found["trace_notes"]["kinds_from"] == "reduced_to_pole"


def test_the_least_length_is_a_setting():
    assert len(made(survey(), least_length_m=500.0)["lineaments"]) == 0


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"grid": False}, "no grid of the anomaly"),
        ({"field": lambda n: np.full(np.shape(n), np.nan)}, "without two different values"),
    ],
)
def test_without_a_grid_the_tables_are_empty_and_the_notes_say_why(change, why):
    found = made(survey(**change))
    assert why in found["trace_notes"]["problem"]
    for name in ("lineaments", "lineament_points", "faults"):
        assert len(found[name]) == 0
    assert found["trace_notes"]["rose"]["mean_deg"] is None


def test_noise_alone_gives_no_lineament():
    found = made(survey(field=lambda n: 0.0 * n))
    assert len(found["lineaments"]) == 0
    assert found["trace_notes"]["problem"] is None
