"""Runs a command and prints its time and greatest memory as one JSON object.

    python peak.py COMMAND ARGUMENT...
"""

import json
import resource
import subprocess
import sys
import time

began = time.perf_counter()
done = subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL, check=False)
seconds = time.perf_counter() - began
used = resource.getrusage(resource.RUSAGE_CHILDREN)
print(
    json.dumps(
        {
            "exit": done.returncode,
            "seconds": seconds,
            "cpu_seconds": used.ru_utime + used.ru_stime,
            # Linux counts KiB.
            "peak_kib": used.ru_maxrss,
        }
    )
)
