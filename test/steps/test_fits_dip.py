"""The dip of a planted body that leans; it is traced, picked and fitted as in any survey."""

from datetime import datetime

import numpy as np
import polars as pl
import ppigrf
import pytest
from pyproj import Transformer

from dyked_survey import SENSOR, make_dyked_survey
from leaning_dyke import DIP, Leaning, field_from_grid_north
from lodewalk.records.interpreted import with_dips
from lodewalk.steps.bodies import FIELD_NEEDS
from lodewalk.steps.dips import DIP_SETTINGS, dip_row, under
from lodewalk.survey.folder import open_folder
from lodewalk.survey.run import run
from lodewalk.survey.settings import picked
from lodewalk.survey.store import read_product
from small_survey import CRS, HEIGHT, SOUTH, WEST


@pytest.fixture(scope="module")
def survey(tmp_path_factory):
    """A survey over it, its bodies fitted with dips under induction."""
    path = make_dyked_survey(tmp_path_factory.mktemp("leaning"), Leaning()).path
    text = (path / "survey.toml").read_text()
    text = text.replace("[fits]\n", '[fits]\nmagnetisation = "induced"\n')
    (path / "survey.toml").write_text(text)
    survey = open_folder(path)
    run(survey, to="depth", workers=1)
    run(survey, to="dips", workers=1)
    return survey


def test_the_planted_dip_is_told_to_the_right_of_the_strike(survey):
    bodies = with_dips(read_product(survey, "bodies"), read_product(survey, "dips"))
    own = bodies.filter(pl.col("pick").is_not_null() & pl.col("dip_deg").is_not_null())
    assert own.height >= 4
    assert own["dip_deg"].median() == pytest.approx(DIP, abs=5.0)
    assert own["depth_m"].median() == pytest.approx(8.0 - SENSOR, abs=0.5)
    (joint,) = bodies.filter(pl.col("pick").is_null()).iter_rows(named=True)
    assert joint["dip_low_deg"] < DIP < joint["dip_high_deg"]
    assert joint["dip_range_low_deg"] < joint["dip_low_deg"]
    assert joint["dip_range_high_deg"] > joint["dip_high_deg"]


def test_the_planted_susceptibility_times_width_is_told(survey):
    """A line dipole holds k F dA / 2 pi; `Leaning.curve` takes each twice by its last factor."""
    place = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True).transform(
        WEST + 50.0, SOUTH + 120.0
    )
    parts = ppigrf.igrf(*place, HEIGHT / 1000, datetime(2026, 3, 10, 14, 30))
    strength = np.sqrt(sum(float(part.item()) ** 2 for part in parts))
    planted = Leaning()
    truth = 2.0 * np.pi * 2.0 * planted.magnetisation / strength * 2.0 * planted.half_width
    own = read_product(survey, "dips").frame.drop_nulls("susceptibility_width_SI_m")
    assert own.height >= 4
    assert own["susceptibility_width_SI_m"].median() == pytest.approx(truth, rel=0.1)
    assert own["positive"].all()


def test_another_magnetisation_runs_the_dips_alone(survey):
    path = survey.path / "survey.toml"
    before = path.read_text()
    path.write_text(before.replace('magnetisation = "induced"', 'magnetisation = "unknown"'))
    try:
        ran = [
            step.step
            for last in ("depth", "dips")
            for step in run(open_folder(path.parent), to=last, workers=1)
            if step.ran
        ]
        told = read_product(open_folder(path.parent), "dips").frame
    finally:
        path.write_text(before)
    assert ran == ["dips"]
    assert told["dip_deg"].null_count() == told.height > 0


def test_dips_stand_under_the_field_from_grid_north(survey):
    """The convergence is a quarter of a degree here; with the wrong sign it is off by half."""
    field = under(
        {name: read_product(survey, name) for name in FIELD_NEEDS},
        picked(survey.settings, DIP_SETTINGS),
    )
    east, north, down = field_from_grid_north()
    assert field.declination_deg == pytest.approx(np.degrees(np.arctan2(east, north)), abs=0.1)
    assert field.inclination_deg == pytest.approx(np.degrees(np.arcsin(down)), abs=0.1)


def test_without_a_strike_no_dip_is_told(survey):
    """A strike that nobody knows isn't one without error."""
    field = under(
        {name: read_product(survey, name) for name in FIELD_NEEDS},
        picked(survey.settings, DIP_SETTINGS),
    )
    row = read_product(survey, "bodies").frame.drop_nulls("pick").row(0, named=True)
    assert dip_row(row, field)["dip_deg"] is not None
    told = dip_row(row | {"strike_sd_deg": None}, field)
    assert told["dip_deg"] is None
    assert "strike is not known" in told["dip_words"]
