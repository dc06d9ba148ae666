"""How long a run will take is told by the last times of its steps, however long ago they were."""

import json

from lodewalk.services.new import new_survey
from lodewalk.services.opening import open_survey
from lodewalk.services.stale import last_seconds


def test_a_time_is_found_behind_many_runs_that_did_nothing(tmp_path):
    new_survey(tmp_path / "hill", name="Hill", crs="EPSG:31982")
    folder = open_survey(tmp_path / "hill")
    folder.journal.mkdir(exist_ok=True)
    for number in range(30):
        row = {"step": "grid", "ran": number in (0, 1), "seconds": 5.0 + number}
        path = folder.journal / f"20260312T10{number:02d}00000Z-7.json"
        path.write_text(json.dumps({"steps": [row]}))
    assert last_seconds(folder) == {"grid": 6.0}
