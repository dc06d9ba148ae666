"""Run the long trials and write their tables to `bench/evidence.md` (``make evidence``)."""

import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

from common import BENCH, machine

TRIALS = (
    "budget",
    "diurnal_sd",
    "demo",
    "spikes",
    "culture",
    "clock_pair",
    "clock_revisits",
    "clock_track",
    "storm",
    "base_events",
    "bridging",
    "positions",
    "heading",
    "levelling",
    "standard_error",
    "reduction",
    "rio",
    "detection",
    "walked_detection",
    "planned_demo",
    "choice",
    "optimiser",
    "depth",
    "compact",
    "rocks_demo",
    "transforms",
    "lineaments",
    "remanence",
    "strike",
    "fits",
    "processors",
)
PACKAGES = ("numpy", "scipy", "numba", "polars", "ppigrf")

PAGE = """# Trials

Written by `make evidence`; seeded, so the same versions give the same figures. What each is
compared with, and what the tests check besides, is in [doc/evidence.rst](../doc/evidence.rst).

{machine}

{sections}
"""


def section(name: str) -> str:
    """Return the section of one trial, which runs in a process of its own."""
    print(f"{name} …", file=sys.stderr)
    script = BENCH / f"evidence_{name}.py"
    done = subprocess.run([sys.executable, script], stdout=subprocess.PIPE, text=True, check=True)
    return done.stdout.strip()


def main() -> None:
    load = os.getloadavg()[0]
    with ThreadPoolExecutor(max_workers=2) as pool:
        sections = list(pool.map(section, TRIALS))
    page = PAGE.format(machine=machine(PACKAGES, load=load), sections="\n\n".join(sections))
    (BENCH / "evidence.md").write_text(page, encoding="utf-8")
    print(page)


if __name__ == "__main__":
    main()
