"""The seams to libraries: each module is the only one that knows its library's interface."""
