"""What `add` says of exclusions in other people's words."""

import json

from lodewalk.services.add import add_files
from lodewalk.survey.folder import create_folder

PLACES = [[-50.405, -24.9], [-50.395, -24.9]]


def said_of(tmp_path, **properties):
    """Add a line with these properties as an exclusion; return what is said of it."""
    folder = create_folder(tmp_path / "s", {"survey": {"name": "A", "crs": "EPSG:31982"}})
    feature = {"type": "Feature", "properties": properties,
               "geometry": {"type": "LineString", "coordinates": PLACES}}  # fmt: skip
    path = tmp_path / "lines.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    return " ".join(add_files(folder, [path], role="exclusion").files[0].understood)


def test_open_tags_keep_clear(tmp_path):
    assert "power line: 1, kept clear by 50 m" in said_of(tmp_path, power="line")


def test_words_keep_clear_and_are_told(tmp_path):
    said = said_of(tmp_path, kind="high voltage line")
    assert "power line: 1, kept clear by 50 m" in said
    assert "'high voltage line' is taken as power line" in said


def test_what_excludes_nothing_is_warned_of_by_name_with_the_remedy(tmp_path):
    said = said_of(tmp_path, name="old hedge", barrier="hedge")
    assert "Warning: Nothing is kept clear of old hedge" in said
    assert "Give kind (power line, fence, road" in said
    assert "buffer_m" in said
