"""The survey folder: the only room that knows its layout and the time of day."""
