"""The same job in Python: photos in, searchable descriptions out.

A plain program on well-made libraries, to compare footring's speed with. It
reads each photo, asks the mask network, keeps the largest contour, crops the
piece on grey, embeds crop and photo in one batch, takes a Lab histogram, a
palette and an outline descriptor, and at the end builds and saves one index a
channel and a small database. ONNX Runtime keeps its defaults, so its thread
pool uses all cores.

    python ingest.py --models models --out DIR PHOTO...
    python ingest.py --models models --mask other.onnx --out DIR PHOTO...
"""

import argparse
import pathlib
import sqlite3

import cv2
import hnswlib
import numpy as np
import onnxruntime

WORKING_PX = 1024
CROP_PX = 224
PAD = 0.08
MEAN = np.array([0.485, 0.456, 0.406], np.float32)
SPREAD = np.array([0.229, 0.224, 0.225], np.float32)


def shrink(image):
    longest = max(image.shape[:2])
    if longest <= WORKING_PX:
        return image
    scale = WORKING_PX / longest
    return cv2.resize(image, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)


def find_mask(session, rgb):
    entry = session.get_inputs()[0]
    side = entry.shape[2]
    small = cv2.resize(rgb, (side, side), interpolation=cv2.INTER_AREA).astype(np.float32)
    small = (small / max(small.max(), 1.0) - MEAN) / SPREAD
    output = session.get_outputs()[0].name
    mask = session.run([output], {entry.name: small.transpose(2, 0, 1)[None]})[0][0, 0]
    mask = (mask - mask.min()) / max(mask.max() - mask.min(), 1e-6)
    mask = cv2.resize(mask, (rgb.shape[1], rgb.shape[0]), interpolation=cv2.INTER_LINEAR)
    hard = (mask >= 0.5).astype(np.uint8)
    contours, _ = cv2.findContours(hard, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not contours:
        return None
    contour = max(contours, key=cv2.contourArea)
    if cv2.contourArea(contour) < 16:
        return None
    only = np.zeros_like(hard)
    cv2.drawContours(only, [contour], -1, 255, cv2.FILLED)
    return only & (hard * 255), contour


def crop_on_grey(rgb, mask, contour):
    x, y, w, h = cv2.boundingRect(contour)
    side = int(np.ceil(max(w, h) * (1 + 2 * PAD)))
    left, top = x + w // 2 - side // 2, y + h // 2 - side // 2
    square = np.full((side, side, 3), 128, np.uint8)
    x0, y0 = max(left, 0), max(top, 0)
    x1, y1 = min(left + side, rgb.shape[1]), min(top + side, rgb.shape[0])
    part = np.where(mask[y0:y1, x0:x1, None] > 0, rgb[y0:y1, x0:x1], 128)
    square[y0 - top : y1 - top, x0 - left : x1 - left] = part
    cover = np.zeros((side, side), np.float32)
    cover[y0 - top : y1 - top, x0 - left : x1 - left] = mask[y0:y1, x0:x1] > 0
    small = lambda picture: cv2.resize(picture, (CROP_PX, CROP_PX), interpolation=cv2.INTER_AREA)
    return small(square), small(cover)


def embed(embedder, general_net, crop, cover, rgb):
    whole = cv2.resize(rgb, (CROP_PX, CROP_PX), interpolation=cv2.INTER_AREA)

    def run(session, planes, outputs):
        return session.run(outputs, {session.get_inputs()[0].name: planes.transpose(2, 0, 1)[None]})

    def colour(picture):
        return picture.astype(np.float32) / 127.5 - 1.0

    # The embedder takes one picture and, as its fourth plane, what of it is the piece.
    form, decoration = run(embedder, np.dstack([colour(crop), cover]), ["shape", "decor"])
    (general,) = run(general_net, colour(whole), ["pool"])
    unit = lambda v: v / max(np.linalg.norm(v), 1e-9)
    return unit(form[0]), unit(decoration[0]), unit(general[0])


def colours(rgb, mask):
    lab = cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB)
    histogram = cv2.calcHist([lab], [0, 1, 2], mask, [6, 8, 8], [0, 256] * 3).ravel()
    histogram = np.sqrt(histogram / max(histogram.sum(), 1.0))
    pixels = lab[mask > 0]
    step = max(1, len(pixels) // 5000)
    samples = pixels[::step].astype(np.float32)
    stop = (cv2.TERM_CRITERIA_MAX_ITER, 8, 0)
    count = min(6, len(samples))
    _, labels, centres = cv2.kmeans(samples, count, None, stop, 1, cv2.KMEANS_PP_CENTERS)
    shares = np.bincount(labels.ravel(), minlength=count) / len(samples)
    return histogram, np.column_stack([centres, shares]).astype(np.float32)


def outline(contour):
    points = contour[:, 0, :].astype(np.float64)
    closed = np.vstack([points, points[:1]])
    along = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    at = np.linspace(0, along[-1], 256, endpoint=False)
    ring = np.interp(at, along, closed[:, 0]) + 1j * np.interp(at, along, closed[:, 1])
    spectrum = np.abs(np.fft.fft(ring))[1:65]
    hu = cv2.HuMoments(cv2.moments(contour)).ravel()
    hu = -np.sign(hu) * np.log10(np.abs(hu) + 1e-12)
    return np.concatenate([spectrum / max(spectrum[0], 1e-9), hu / 10]).astype(np.float32)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--models", type=pathlib.Path, required=True)
    parser.add_argument("--mask", type=pathlib.Path, help="another mask network")
    parser.add_argument("--out", type=pathlib.Path, required=True)
    parser.add_argument("photos", nargs="+")
    args = parser.parse_args()

    load = lambda file: onnxruntime.InferenceSession(file, providers=["CPUExecutionProvider"])
    masker = load(args.mask or args.models / "mask.onnx")
    embedder, general_net = load(args.models / "embedder.onnx"), load(args.models / "general.onnx")

    names, palettes, failed = [], [], 0
    channels = {c: [] for c in ("outline", "form", "decoration", "colour", "general")}
    for photo in args.photos:
        bgr = cv2.imread(photo, cv2.IMREAD_COLOR)
        if bgr is None:
            failed += 1
            continue
        rgb = cv2.cvtColor(shrink(bgr), cv2.COLOR_BGR2RGB)
        found = find_mask(masker, rgb)
        if found is None:
            failed += 1
            continue
        mask, contour = found
        form, decoration, general = embed(embedder, general_net, *crop_on_grey(rgb, mask, contour), rgb)
        colour, palette = colours(rgb, mask)
        for channel, vector in zip(channels, (outline(contour), form, decoration, colour, general)):
            channels[channel].append(vector)
        names.append(photo)
        palettes.append(palette)

    args.out.mkdir(parents=True, exist_ok=True)
    for channel, vectors in channels.items():
        if not vectors:
            continue
        vectors = np.stack(vectors)
        index = hnswlib.Index(space="l2", dim=vectors.shape[1])
        index.init_index(max_elements=len(vectors), ef_construction=200, M=24)
        index.add_items(vectors)
        index.save_index(str(args.out / f"{channel}.bin"))
    with sqlite3.connect(args.out / "photos.sqlite") as database:
        database.execute("CREATE TABLE photos (id INTEGER PRIMARY KEY, photo TEXT, palette BLOB)")
        rows = [(i, n, p.tobytes()) for i, (n, p) in enumerate(zip(names, palettes))]
        database.executemany("INSERT INTO photos VALUES (?, ?, ?)", rows)
    print(f"{len(names)} photos described, {failed} failed")


if __name__ == "__main__":
    main()
