"""Handing over: the report and its content."""
