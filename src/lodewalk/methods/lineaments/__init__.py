"""Lineaments traced from grids: ridges, edges and spots, with strike, length and evidence."""
