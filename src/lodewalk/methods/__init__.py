"""The science: arrays in, arrays out; numpy, scipy and numba only."""
