"""Tables of a susceptibility hand meter: delimited text with a row for each rock and place."""

from lodewalk.formats.hand_meter.read import read, recognise

__all__ = ["read", "recognise"]
