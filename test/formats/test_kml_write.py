"""The writer of KML: order of elements as OGC 12-007r2 has it, and what a reader gets back."""

from xml.etree import ElementTree as ET

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.formats import kml
from lodewalk.formats.kml.write import Folder, Place, Style, write

K = "{http://www.opengis.net/kml/2.2}"
SQUARE = np.array([[-50.0, -25.0], [-49.9, -25.0], [-49.9, -24.9], [-50.0, -24.9]])
HOLE = SQUARE.mean(axis=0) + 0.2 * (SQUARE - SQUARE.mean(axis=0))
PLACES = (
    Place(
        "A & <B>", "area", "polygon", (SQUARE, HOLE), "brown", {"kind": "fence", "buffer_m": "5"}
    ),
    Place("L1", "line", "line", (SQUARE[:2],), "brown"),
    Place("P", "point", "point", (SQUARE[:1],)),
)
STYLES = (Style("brown", "#7a4d00", 1.5, 0.4),)
#: Order in which a Placemark holds its children (OGC 12-007r2, kml:AbstractFeatureGroup).
ORDER = ["name", "description", "styleUrl", "ExtendedData", "Point", "LineString", "Polygon"]


@pytest.fixture
def path(tmp_path):
    path = tmp_path / "plan.kml"
    write(path, [Folder("All", PLACES), Folder("None", ())], name="Plan", styles=STYLES)
    return path


def test_elements_stand_in_the_order_of_the_standard(path):
    root = ET.parse(path).getroot()
    assert root.tag == f"{K}kml"
    document = root.find(f"{K}Document")
    assert [child.tag.removeprefix(K) for child in document] == ["name", "Style", "Folder"]
    marks = root.findall(f".//{K}Placemark")
    assert len(marks) == 3
    for mark in marks:
        found = [ORDER.index(child.tag.removeprefix(K)) for child in mark]
        assert found == sorted(found)
    style = document.find(f"{K}Style")
    assert [child.tag.removeprefix(K) for child in style] == ["LineStyle", "PolyStyle"]
    assert style.find(f"{K}PolyStyle/{K}color").text == "66004d7a"  # opacity, blue, green, red


def test_rings_are_closed_and_holes_stay_inside(path):
    polygon = ET.parse(path).getroot().find(f".//{K}Polygon")
    borders = [child.tag.removeprefix(K) for child in polygon]
    assert borders == ["outerBoundaryIs", "innerBoundaryIs"]
    for ring in polygon.iter(f"{K}coordinates"):
        corners = ring.text.split()
        assert corners[0] == corners[-1]
        assert len(corners) == 5


def test_our_own_reader_gets_the_shapes_back(path):
    frame = kml.read(path, role="exclusion", column_map=None).table.frame
    assert frame["geometry"].unique(maintain_order=True).to_list() == ["polygon", "line", "point"]
    first = frame.filter(frame["geometry"] == "polygon", frame["ring"] == 0)
    assert np.allclose(first.select("first", "second").to_numpy()[:4], SQUARE, atol=1e-9)
    assert first["name"][0] == "A & <B>"
    assert (first["kind"][0], first["buffer_m"][0]) == ("fence", 5.0)


@pytest.mark.parametrize(
    ("place", "match"),
    [
        (Place("A", "", "point", (np.array([[181.0, 0.0]]),)), "Longitude"),
        (Place("A", "", "point", (np.array([[0.0, 91.0]]),)), "Latitude"),
        (Place("A\x07", "", "point", (SQUARE[:1],)), "control characters"),
        (Place("A", "", "point", (SQUARE[:1],), "blue"), "style"),
    ],
)
def test_what_kml_cannot_hold_is_refused(tmp_path, place, match):
    with pytest.raises(InputError, match=match):
        write(tmp_path / "plan.kml", [Folder("All", (place,))], name="Plan", styles=STYLES)
