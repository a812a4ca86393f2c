"""The same question as benches/nearest.rs, answered by hnswlib.

    cargo bench --bench nearest -- --write DIR rows=100000 dim=128
    pip install numpy hnswlib
    python benches/peer/nearest_hnswlib.py DIR 128 [links] [build_width] [search_width]

Prints one JSON line per result, as the bench does.
"""

import json
import sys
import time
from pathlib import Path

import hnswlib
import numpy as np

K = 10


def main() -> None:
    folder, dim = Path(sys.argv[1]), int(sys.argv[2])
    links, build_width, search_width = (
        int(word) for word in (sys.argv[3:] + ["24", "200", "128"][len(sys.argv) - 3 :])
    )
    rows = np.fromfile(folder / "rows.f32", "<f4").reshape(-1, dim)
    queries = np.fromfile(folder / "queries.f32", "<f4").reshape(-1, dim)

    norms = (rows**2).sum(axis=1)
    truth = []
    for query in queries:
        truth.append(np.argsort(norms - 2 * rows @ query, kind="stable")[:K])

    start = time.perf_counter()
    index = hnswlib.Index(space="l2", dim=dim)
    index.init_index(len(rows), M=links, ef_construction=build_width, random_seed=7)
    index.add_items(rows, np.arange(len(rows)))
    build_s = time.perf_counter() - start
    index.set_ef(search_width)

    found, times = 0, []
    for query, wanted in zip(queries, truth):
        start = time.perf_counter()
        ids, _ = index.knn_query(query, k=K, num_threads=1)
        times.append((time.perf_counter() - start) * 1e3)
        found += len(set(ids[0]) & set(wanted))

    name = f"{len(rows)}_l2_{dim}"
    for what, value in (
        ("recall_at_10", found / (K * len(queries))),
        ("graph_ms", float(np.median(times))),
        ("build_s", build_s),
    ):
        print(
            json.dumps(
                {
                    "name": f"nearest.{what}.{name}.hnswlib",
                    "value": round(value, 5),
                    "bound": "",
                    "holds": True,
                    "n": len(queries),
                    "baseline": f"links {links}, build {build_width}, search {search_width}",
                }
            )
        )


if __name__ == "__main__":
    main()
