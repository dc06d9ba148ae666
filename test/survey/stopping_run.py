"""A run that stands still at some moments, so that a test can look at it or kill it right there.

Called as ``stopping_run.py DIR N,N...``: prints the name of each moment as it comes; at each
moment N it prints ``stop`` and waits for a line to go on, or to be killed. A moment is the
beginning of a step, a file that is written but not flushed, flushed but not renamed, or just
renamed.
"""

import sys
from pathlib import Path

from lodewalk.survey import files
from lodewalk.survey.folder import open_folder
from lodewalk.survey.run import Runner, run


def watch(stops):
    """Put a moment before and after each thing that a kill could tear apart."""
    count = 0

    def moment(name):
        nonlocal count
        print(f"{count} {name}", flush=True)
        if count in stops:
            print("stop", flush=True)
            sys.stdin.readline()
        count += 1

    flush, replace, execute = files._flush, Path.replace, Runner._execute

    def watched_flush(path):
        if path.name.endswith(files.PART_SUFFIX):
            moment(f"write {path.name}")
        flush(path)

    def watched_replace(self, target):
        moment(f"rename {self.name}")
        result = replace(self, target)
        moment(f"renamed {Path(target).name}")
        return result

    def watched_execute(self, step, made):
        moment(f"step {step.name}")
        execute(self, step, made)

    files._flush, Path.replace, Runner._execute = watched_flush, watched_replace, watched_execute


if __name__ == "__main__":
    watch({int(number) for number in sys.argv[2].split(",")})
    run(open_folder(Path(sys.argv[1])))
