"""Ground magnetic surveys on foot, from raw files to a map and a report that can be checked."""

__version__ = "0.1.0"
