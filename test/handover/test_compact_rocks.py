"""Compact bodies and strong anomalies as the report, the layers and a handheld have them."""

import io
import re
from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from matplotlib.image import imread

from lodewalk.figures.compact_window import draw_compact_window
from lodewalk.handover.assemble import Records, assemble
from lodewalk.handover.content import Provenance, ReportFigure
from lodewalk.handover.report import build_report
from lodewalk.handover.rock_layers import rock_layers, target_points
from lodewalk.handover.rocks import rock_figures
from lodewalk.records.interpreted import Bodies, CompactBodies, CompactCurves
from planted_rocks import SOUTH, WEST, planted_rocks, table

TOLD = {
    "body": "S1", "source": "trace", "easting_m": WEST + 80.0, "northing_m": SOUTH + 60.0,
    "position_sd_m": 1.0, "centre_depth_m": 14.0, "centre_depth_sd_m": 1.0,
    "centre_depth_low_m": 12.4, "centre_depth_high_m": 15.6, "centre_height_m": 866.0,
    "moment_A_m2": 5025.0, "moment_sd_A_m2": 100.0, "moment_low_A_m2": 4860.0,
    "moment_high_A_m2": 5190.0, "inclination_deg": 5.7, "declination_deg": 36.6, "cone_deg": 4.0,
    "off_field_deg": 69.0, "remanent": True, "direction": "It holds remanence.",
    "anomaly_share": 0.12, "misfit": 1.0, "reach_m": 40.0, "readings": 4,
}  # fmt: skip
WITHOUT = {
    "body": "P1", "source": "decision", "easting_m": WEST, "northing_m": SOUTH, "direction": "",
    "reach_m": 30.0, "readings": 12, "problem": "12 readings in the window; 30 or more are needed.",
}  # fmt: skip


def curves(body="S1"):
    """Readings on a square around the body; what is left over is 3 nT everywhere."""
    east, north = (part.ravel() for part in np.meshgrid(*[np.linspace(-40.0, 40.0, 9)] * 2))
    model = 100.0 * np.exp(-(east**2 + north**2) / 500.0) + 20.0
    return CompactCurves(
        pl.DataFrame(
            {
                "body": [body] * east.size, "reading_id": [f"r{n}" for n in range(east.size)],
                "easting_m": WEST + 80.0 + east, "northing_m": SOUTH + 60.0 + north,
                "anomaly_nT": model + 3.0, "sd_nT": np.ones(east.size), "model_nT": model,
                "regional_nT": np.full(east.size, 20.0),
            }
        )
    )  # fmt: skip


@pytest.fixture(scope="module")
def records():
    bodies = table(CompactBodies, [TOLD, WITHOUT])
    return replace(planted_rocks(), compact=bodies, compact_curves=curves())


def test_the_report_tells_centre_moment_direction_and_why_not(records, job):
    page = build_report(assemble(job, Records(rocks=records), provenance=Provenance(),
                                 with_figures=False))  # fmt: skip
    part = page[page.index("<h3>Compact bodies") :]
    words = " ".join(re.sub(r"<[^>]+>", " ", part[: part.index("<h3>", 4)]).split())
    for text in ("14.0 m (12.4 to 15.6)", "5025 (4860 to 5190)", "inclination 6°, declination 37°",
                 "It holds remanence.", "12 % of the field",
                 "P1: 12 readings in the window; 30 or more are needed."):  # fmt: skip
        assert text in words
    assert "depth is that of the centre" in words


def test_the_window_is_drawn_in_one_scale(records):
    (figure,) = [one for one in rock_figures(records) if one.section == "compact"]
    assert isinstance(figure, ReportFigure)
    assert imread(io.BytesIO(figure.png)).ndim == 3
    drawn = draw_compact_window(records.compact, records.compact_curves, body="S1")
    panels = drawn.axes[:3]
    assert [axes.get_title() for axes in panels] == ["Readings", "Model", "Left over"]
    assert {axes.get_aspect() for axes in panels} == {1.0}
    left = panels[2].collections[0].get_facecolor()
    assert np.ptp(left, axis=0).max() < 1e-9


def test_layers_and_targets_hold_it(records):
    (layer,) = [one for one in rock_layers(records) if one.name == "compact_bodies"]
    assert layer.columns["centre_depth_high_m"][0] == 15.6
    assert np.isnan(layer.columns["centre_depth_m"][1])
    targets = {row[0]: row for row in target_points(records).iter_rows()}
    assert "P1" not in targets
    assert targets["S1"][1:3] == (TOLD["easting_m"], TOLD["northing_m"])
    assert "centre 14.0 m (12.4 to 15.6) below ground" in targets["S1"][3]


def test_the_words_on_a_strong_anomaly_stand_in_the_report(job):
    said = "The anomaly is 31 % of the field: the exact difference of magnitudes is fitted."
    plain = planted_rocks()
    strong = Bodies(plain.bodies.frame.with_columns(not_resolved=pl.lit(said)))
    page = build_report(assemble(job, Records(rocks=replace(plain, bodies=strong)),
                                 provenance=Provenance(), with_figures=False))  # fmt: skip
    assert said in page
