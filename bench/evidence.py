"""Run the long trials and write their tables to `bench/evidence.md` (``make evidence``)."""

import os
import sys

import evidence_budget
import evidence_demo
import evidence_diurnal_sd
import evidence_spikes
from common import BENCH, machine

TRIALS = (evidence_budget, evidence_diurnal_sd, evidence_demo, evidence_spikes)
PACKAGES = ("numpy", "scipy", "numba", "polars", "ppigrf")

PAGE = """# Trials

Written by `make evidence`; seeded, so the same versions give the same figures. What each is
compared with, and what the tests check besides, is in [doc/evidence.rst](../doc/evidence.rst).

{machine}

{sections}
"""


def main() -> None:
    load = os.getloadavg()[0]
    sections = []
    for trial in TRIALS:
        print(f"{trial.__name__} …", file=sys.stderr)
        sections.append(trial.section())
    page = PAGE.format(machine=machine(PACKAGES, load=load), sections="\n\n".join(sections))
    (BENCH / "evidence.md").write_text(page, encoding="utf-8")
    print(page)


if __name__ == "__main__":
    main()
