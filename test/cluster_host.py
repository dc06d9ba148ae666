"""A Dask scheduler with two worker processes of one thread each, until standard input closes.

Called as ``cluster_host.py FOLDER WORKERS``; prints the scheduler's address as soon as it answers.
"""

import sys

from distributed import LocalCluster

if __name__ == "__main__":
    with LocalCluster(
        n_workers=int(sys.argv[2]),
        threads_per_worker=1,
        dashboard_address=None,
        local_directory=sys.argv[1],
        silence_logs="CRITICAL",
    ) as cluster:
        print(cluster.scheduler_address, flush=True)
        sys.stdin.read()
