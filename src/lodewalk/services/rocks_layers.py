"""The interpretation as layers and waypoints under ``products/rocks/``."""

from pathlib import Path

from lodewalk.services.plan_files import aside
from lodewalk.services.report_rocks import rock_records
from lodewalk.survey.files import write_with
from lodewalk.survey.folder import Folder

#: Folder of the layers in that of the products.
PLACE = "rocks"


def write_rock_layers(folder: Folder) -> list[Path]:
    """Write layers, targets and check points of the interpretation to ``products/rocks/``.

    Parameters
    ----------
    folder : Folder
        A survey whose products are up to date.

    Returns
    -------
    list of Path
        The files; none where nothing was traced, picked or fitted. Former ones that aren't
        written again are gone.

    Notes
    -----
    ``rocks.gpkg`` holds the layers bodies, depths, lineaments, picks, faults and compact bodies
    in the survey's CRS, the GeoJSON files the same ones on WGS84 (RFC 7946), ``targets.gpx`` a
    waypoint for each body and ``check-points.gpx`` one for each crossing of a lineament and a line.
    """
    from lodewalk.handover.rock_layers import PATTERNS, rock_files

    limits = folder.settings.handheld
    place = folder.products / PLACE
    names = []
    with aside(place) as scratch:
        for file in rock_files(
            rock_records(folder),
            name_length=limits.name_length,
            most_waypoints=limits.most_waypoints,
        ):
            write_with(scratch / file.name, file.write)
            names.append(file.name)
        for name in names:
            (scratch / name).replace(place / name)
    written = [place / name for name in names]
    for old in {path for pattern in PATTERNS for path in place.glob(pattern)} - set(written):
        old.unlink()
    return written
