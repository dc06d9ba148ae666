"""Dips at outcrops over a planted dyke: held, contradicted, or telling of the magnetisation."""

import numpy as np
import polars as pl
import pytest

from dyked_survey import make_dyked_survey
from leaning_dyke import DIP, Leaning
from lodewalk.services.add import add_files
from lodewalk.survey.folder import open_folder
from lodewalk.survey.run import run
from lodewalk.survey.store import read_product

SD = 2.0


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """The folder of a survey over a dyke that dips to the right, and a place on the dyke."""
    path = make_dyked_survey(tmp_path_factory.mktemp("outcrop"), Leaning()).path
    run(open_folder(path), to="fits", workers=1)
    bodies = read_product(open_folder(path), "bodies").frame.drop_nulls("pick")
    row = bodies.row(bodies.height // 2, named=True)
    return path, row["easting_m"], row["northing_m"], Leaning().strike


def dips_with(place, tmp_path, magnetisation, towards_deg):
    """Return the dips where an outcrop shows a dip towards an azimuth."""
    path, east, north, _ = place
    settings = path / "survey.toml"
    before = settings.read_text()
    settings.write_text(
        before.replace("[fits]\n", f'[fits]\nmagnetisation = "{magnetisation}"\n', 1)
    )
    file = tmp_path / f"{magnetisation}{towards_deg:.0f}.csv"
    file.write_text(
        "name,what,easting,northing,value,sd,towards\n"
        f"creek,dip,{east:.1f},{north:.1f},{DIP},{SD},{towards_deg % 360.0}\n"
    )
    try:
        add_files(open_folder(path), [file], role="known")
        run(open_folder(path), to="dips", workers=1)
        return read_product(open_folder(path), "dips").frame
    finally:
        settings.write_text(before)
        add_files(open_folder(path), [file], role="set_aside")


def test_a_dip_that_agrees_makes_dips_surer(place, tmp_path):
    right = place[3] + 90.0
    told = dips_with(place, tmp_path, "induced", right)
    held = told.filter(
        pl.col("dip_words").str.contains("It holds the dip of 60 ± 2 degrees at creek")
    )
    assert held.height >= 2  # a pick and its lineament
    assert (held["dip_deg"] - DIP).abs().max() < 3 * SD
    assert held["dip_sd_deg"].max() < SD + 0.5  # of the strike besides
    assert held.height < told.height  # farther picks don't hold it


def test_a_dip_the_other_way_contradicts_and_is_left_out(place, tmp_path):
    told = dips_with(place, tmp_path, "induced", place[3] - 90.0)
    against = told.filter(pl.col("dip_words").str.contains("leaves out the dip of 120"))
    assert against.height >= 2
    assert np.abs(against["dip_deg"].drop_nulls() - DIP).max() < 12.0


def test_where_no_magnetisation_is_stated_a_dip_tells_of_it(place, tmp_path):
    right = dips_with(place, tmp_path, "unknown", place[3] + 90.0)
    said = right.filter(pl.col("dip_words").str.contains("at creek the magnetisation"))
    assert said.height >= 2
    assert said["dip_words"].str.contains("induction alone explains it").all()
    wrong = dips_with(place, tmp_path, "unknown", place[3] - 90.0)
    assert wrong["dip_words"].str.contains("there is remanence").sum() >= 2


def test_an_outcrop_that_strikes_another_way_is_another_body(place, tmp_path):
    told = dips_with(place, tmp_path, "induced", place[3] + 40.0)
    assert not told["dip_words"].str.contains("creek").any()
