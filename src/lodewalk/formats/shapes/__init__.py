"""What the vector formats share: features with polygons, lines and points, and their records."""

from lodewalk.formats.shapes.content import ROLES, content_of
from lodewalk.formats.shapes.features import (
    MAX_CORNERS,
    Corner,
    Feature,
    Part,
    check_degrees,
    from_properties,
)

__all__ = [
    "MAX_CORNERS", "ROLES", "Corner", "Feature", "Part", "check_degrees", "content_of",
    "from_properties",
]  # fmt: skip
