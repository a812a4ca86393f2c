"""100 outlines compared with one: OpenCV's matchShapes (Hu moments), and height
functions aligned by plain Python. Usage: outline.py FILE, written by
`cargo bench --bench outline -- --write FILE`. Prints one JSON line per result."""

import json
import sys
import time

import cv2
import numpy as np

outlines = np.fromfile(sys.argv[1], "<f4").reshape(200, 512, 2)


def heights(points, bands=20):
    n = len(points)
    along = np.roll(points, -1, 0) - np.roll(points, 1, 0)
    along /= np.linalg.norm(along, axis=1)[:, None]
    normal = np.stack([-along[:, 1], along[:, 0]], 1)
    order = (np.arange(n)[:, None] + np.arange(1, n)) % n
    h = ((points[order] - points[:, None]) * normal[:, None]).sum(2)
    edges = np.linspace(0, n - 1, bands + 1).round().astype(int)
    h = np.stack([h[:, a:b].mean(1) for a, b in zip(edges, edges[1:])], 1)
    return h / np.abs(h).max(0)


def align(a, b, drift=10, starts=4):
    n = len(a)
    cost = np.abs(a[:, None] - b[None]).mean(2)
    even = [sum(cost[i, (i + s) % n] for i in range(n)) for s in range(n)]
    least = float("inf")
    for start in np.argsort(even)[:starts]:
        before = {0: 0.0}
        for i in range(n):
            now = {}
            for k in range(-drift, drift + 1):
                c = cost[i, (i + start + k) % n]
                ways = [before.get(k, 1e9) + c, now.get(k - 1, 1e9) + c / 2 + 0.05]
                if i:
                    ways.append(before.get(k + 1, 1e9) + c / 2 + 0.05)
                now[k] = min(ways)
            before = now
        least = min(least, before[0])
    return least / n


def timed(what, run, scale=1.0):
    begun = time.perf_counter()
    run()
    ms = (time.perf_counter() - begun) * 1e3 * scale
    print(json.dumps({"what": what, "ms": round(ms, 3)}))


cv2.setNumThreads(1)
timed("matchShapes_100", lambda: [cv2.matchShapes(outlines[0], o, 1, 0) for o in outlines[100:]])
thinned = [heights(o[np.linspace(0, 511, 100).astype(int)].astype(float)) for o in outlines]
timed("python_align_100", lambda: [align(thinned[0], thinned[100 + i]) for i in range(2)], 50.0)
