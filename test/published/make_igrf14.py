"""Write ``lodewalk/methods/geomagnetic/_igrf14.py`` from ``igrf14coeffs.txt`` beside this file.

The table is the one that IAGA working group V-MOD publishes (doi 10.5281/zenodo.14012302). The
formulas read no file, so the package carries the table as one string.

Run ``python test/published/make_igrf14.py`` after a new table; it takes no arguments.
"""

from pathlib import Path

PUBLISHED = Path(__file__).with_name("igrf14coeffs.txt")
MODULE = Path(__file__).parents[2] / "src/lodewalk/methods/geomagnetic/_igrf14.py"
HEADER = '''\
# ruff: noqa: E501 -- the published table, line for line
"""The coefficients of IGRF-14 as published; written by test/published/make_igrf14.py.

Source: IAGA working group V-MOD, ``igrf14coeffs.txt``, doi 10.5281/zenodo.14012302.
"""

from typing import Final

#: Schmidt semi-normalised coefficients [nT], 1900 to 2025, and change 2025 to 2030 [nT/yr].
TABLE: Final = """\\
'''


def module_text(table: str) -> str:
    """Return the source of the module that carries `table`."""
    return f'{HEADER}{table.rstrip()}\n"""\n'


if __name__ == "__main__":
    MODULE.write_text(module_text(PUBLISHED.read_text(encoding="ascii")), encoding="ascii")
