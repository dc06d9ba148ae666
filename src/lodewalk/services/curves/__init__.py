"""Records as columns of numbers, ready to be drawn: walks, profiles along lines, base, grids."""
