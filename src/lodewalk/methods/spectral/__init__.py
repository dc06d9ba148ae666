"""Transforms of grids in the domain of wavenumbers, each with its error."""
