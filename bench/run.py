"""Run all benches and write their table to `bench/README.md` (``make bench``)."""

import json
import os
import sys

from common import BENCH, Row, machine, process, table

BENCHES = (
    "start", "survey", "check", "demo", "reading", "diurnal", "reference", "gridding",
    "equivalent_sources", "transforms", "layout", "before_going", "prisms", "euler", "fits",
    "pages",
)  # fmt: skip
PACKAGES = ("numpy", "scipy", "numba", "polars", "typer", "shapely", "ppigrf")

PAGE = """# Times

Written by `make bench`. Each job stands beside a general-purpose counterpart that was timed in the
same run, in turn with it, so that the ratio says more than the seconds. Medians of several runs,
the first not counted; the demo and ppigrf's million points count once.

{machine}

{table}

Gridding along strike is judged by `bench_along_strike.py`, run by itself: 100,000 readings to 1001²
took 11 to 21 s and 0.5 GB while other work was running (load 8), the choice for 4,500 readings 5 to
18 s.

Trials of coverage are in [evidence.md](evidence.md).
"""


def main() -> None:
    load = os.getloadavg()[0]
    rows: list[Row] = []
    for name in BENCHES:
        print(f"{name} …", file=sys.stderr)
        # A process each, since one bench would leave its memory to the next.
        place = BENCH / name if (BENCH / name).is_dir() else BENCH
        shown = process(sys.executable, place / f"bench_{name}.py", "--json")()
        rows += [Row(**item) for item in json.loads(shown)]
    page = PAGE.format(machine=machine(PACKAGES, load=load), table=table(rows))
    (BENCH / "README.md").write_text(page, encoding="utf-8")
    print(page)


if __name__ == "__main__":
    main()
