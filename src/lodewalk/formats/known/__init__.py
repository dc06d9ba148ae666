"""Tables of what boreholes and outcrops tell of a body."""

from lodewalk.formats.known.read import read, recognise

__all__ = ["read", "recognise"]
