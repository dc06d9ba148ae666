"""A survey that was copied has other file times: its products are read once, then known again."""

import os

from lodewalk.services.add import add_files
from lodewalk.services.new import new_survey
from lodewalk.survey import store
from lodewalk.survey.folder import open_folder
from lodewalk.survey.run import run
from lodewalk.survey.state import read_state
from small_survey import CRS, write_small_survey


def test_the_products_of_a_copied_survey_are_read_once_and_a_changed_one_is_still_found(
    tmp_path, monkeypatch
):
    truth = write_small_survey(tmp_path, lines=2)
    new_survey(tmp_path / "survey", name="small", crs=CRS)
    folder = open_folder(tmp_path / "survey")
    add_files(folder, [truth.base], role="base")
    run(folder, to="ingest_base")
    made = read_state(folder)["ingest_base"].products
    paths = [store.product_path(folder, name) for name in made]
    for path in paths:
        os.utime(path, ns=(1_700_000_000 * 10**9, 1_700_000_000 * 10**9))

    assert not any(step.ran for step in run(folder, to="ingest_base"))
    stamps = {one.mtime_ns for one in read_state(folder)["ingest_base"].products.values()}
    assert stamps == {1_700_000_000 * 10**9}

    store._digest.cache_clear()
    monkeypatch.setattr(store, "read_product", None)  # reading one now would fail
    assert not any(step.ran for step in run(folder, to="ingest_base"))

    monkeypatch.undo()
    paths[0].write_bytes(paths[0].read_bytes()[:-100])
    assert [step.step for step in run(folder, to="ingest_base") if step.ran] == ["ingest_base"]
