"""Measures networks on real photos that no training saw.

`python3 evaluate.py DATA --mask ../mask.onnx --general ../general.onnx --embedder FILE.onnx ... [--world DIR]`
DATA holds cups, porcelain and ukbench (see the README's section on measuring). A silhouette of 24 x 24 and a histogram of
CIE L*a*b* are measured beside. Every figure is printed for the queries of even number, the half on which variants are
chosen, and of odd number, the half to report. Masks of cups are the true ones, elsewhere those of `--mask`.
"""
import argparse
import csv
import json
import pathlib
import time

import cv2
import numpy as np
import onnxruntime

CROP, MARGIN = 224, 0.08
RARE = 8  # classes with fewer photos are not asked for
SEED = 5


def session(file):
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    return onnxruntime.InferenceSession(file, options, providers=["CPUExecutionProvider"])


def read(file, grey=False):
    picture = cv2.imread(str(file), cv2.IMREAD_GRAYSCALE if grey else cv2.IMREAD_COLOR)
    if picture is None:
        raise FileNotFoundError(f"{file}: not a picture")
    return picture if grey else picture[:, :, ::-1]


# ---- masks and crops, as the program makes them (but for the refined edge)


def looked_at(net, photo):
    """All that a mask network says of a photo; the general and the own one expect the same input."""
    side = net.get_inputs()[0].shape[-1]
    x = cv2.resize(photo, (side, side), interpolation=cv2.INTER_AREA if max(photo.shape) > side else cv2.INTER_LINEAR).astype(np.float32)
    x = (x / max(1, x.max()) - [0.485, 0.456, 0.406]) / [0.229, 0.224, 0.225]
    return net.run(None, {"x": x.transpose(2, 0, 1)[None].astype(np.float32)})


def general_mask(net, photo):
    """Mask 0 to 1 at the photo's size from the general network."""
    y = looked_at(net, photo)[0][0, 0]
    y = (y - y.min()) / max(1e-6, y.max() - y.min())
    return cv2.resize(y, photo.shape[1::-1], interpolation=cv2.INTER_LINEAR)


def largest(mask):
    """The mask without what does not belong to its largest region."""
    count, labels, sizes, _ = cv2.connectedComponentsWithStats((mask > 0.5).astype(np.uint8))
    if count < 2:
        return np.ones_like(mask)
    keep = (labels == 1 + sizes[1:, cv2.CC_STAT_AREA].argmax()).astype(np.uint8)
    return mask * cv2.dilate(keep, np.ones((5, 5), np.uint8))


def crop(photo, mask):
    """[CROP, CROP, 4]: the piece on grey 128, squared with a margin, and its mask; 8 bit."""
    rows, columns = np.where((mask > 0.5).any(1))[0], np.where((mask > 0.5).any(0))[0]
    top, bottom, left, right = rows[0], rows[-1] + 1, columns[0], columns[-1] + 1
    side = max(bottom - top, right - left, 8) * (1 + 2 * MARGIN)
    y, x, side = int((top + bottom - side) / 2), int((left + right - side) / 2), int(np.ceil(side))
    square = np.zeros((side, side, 4), np.float32)
    square[..., :3] = 128
    y0, y1, x0, x1 = max(0, y), min(mask.shape[0], y + side), max(0, x), min(mask.shape[1], x + side)
    cover = mask[y0:y1, x0:x1, None]
    square[y0 - y : y1 - y, x0 - x : x1 - x, :3] = photo[y0:y1, x0:x1] * cover + 128 * (1 - cover)
    square[y0 - y : y1 - y, x0 - x : x1 - x, 3:] = cover * 255
    how = cv2.INTER_AREA if side > CROP else cv2.INTER_LINEAR
    return cv2.resize(square, (CROP, CROP), interpolation=how).round().astype(np.uint8)


def grey_standardised(crops):
    """Without colour, lightness standardised within the mask, with a random gain: colour cannot carry the form."""
    random, out = np.random.default_rng(SEED), crops.copy()
    for picture in out:
        inside = picture[..., 3] > 127
        grey = picture[..., :3].astype(np.float32) @ [0.299, 0.587, 0.114]
        grey = (grey - grey[inside].mean()) / max(1, grey[inside].std()) * 45 * random.uniform(0.7, 1.3) + 128
        cover = picture[..., 3] / 255
        picture[..., :3] = (grey * cover + 128 * (1 - cover)).clip(0, 255)[..., None]
    return out


# ---- vectors


def unit(x):
    return x / (np.linalg.norm(x, axis=-1, keepdims=True) + 1e-9)


def vectors(net, pictures, general=None):
    """Unit vectors by output name; `pictures` 8 bit with a mask, which a three-channel network does not get.

    `pool` is asked of `general` where the network itself has none.
    """
    channels, found = net.get_inputs()[0].shape[1], {output.name: [] for output in net.get_outputs()}
    for picture in pictures:
        x = picture.astype(np.float32).transpose(2, 0, 1)[None]
        x = np.concatenate([x[:, :3] / 127.5 - 1, x[:, 3:] / 255], 1)[:, :channels]
        for name, value in zip(found, net.run(list(found), {"x": x})):
            found[name].append(value[0])
    found = {name: np.stack(values) if name == "details" else unit(np.stack(values)) for name, values in found.items()}
    if "shape" in found and "pool" not in found:
        found["pool"] = vectors(general, pictures)["pool"]
    # A network without heads gives its one vector for everything.
    return found if "shape" in found else dict.fromkeys(("pool", "shape", "decor"), next(iter(found.values())))


def details_apart(details):
    """Distances of sets of places, each as long as it weighs: the best match of each place, the mean by weight, both ways."""
    count, places, _ = details.shape
    weights = np.linalg.norm(details, axis=2)
    directions = details / weights[..., None]
    likeness = np.empty((count, count))
    for i in range(count):
        cosines = (directions[i] @ directions.reshape(count * places, -1).T).reshape(places, count, places)
        likeness[i] = ((cosines.max(2) * weights[i][:, None]).sum(0) + (cosines.max(0) * weights).sum(1)) / 2
    return np.sqrt((2 - 2 * likeness).clip(0))


def decoration_likeness(v):
    """As the program ranks decorations: vector and places, each by its distance of unrelated pieces; the vector alone where there are no places."""
    by_vector = -np.sqrt((2 - 2 * likeness(v["decor"])).clip(0)) / 1.21
    return by_vector - 1.7 * details_apart(v["details"]) if "details" in v else by_vector


def silhouettes(crops):
    return unit(np.stack([cv2.resize(c[..., 3].astype(np.float32), (24, 24), interpolation=cv2.INTER_AREA).ravel() for c in crops]))


def lab_histograms(crops):
    """Square roots of the shares of 8 x 10 x 10 cells of CIE L*a*b* within the mask."""
    found = []
    for c in crops:
        lab = cv2.cvtColor(c[..., :3].astype(np.float32) / 255, cv2.COLOR_RGB2LAB)[c[..., 3] > 127]
        cells = np.histogramdd(lab, (8, 10, 10), [(0, 100.01), (-50, 50), (-50, 50)])[0]
        found.append(np.sqrt(cells.ravel() / max(1, cells.sum())))
    return unit(np.stack(found))


# ---- scores


def average_precisions(likeness, labels, asked=None, left_out=None):
    """Average precision and first hit of every query asked; NaN elsewhere. A photo never finds itself."""
    count = len(labels)
    precision, first = np.full(count, np.nan), np.full(count, np.nan)
    for i in range(count):
        if asked is not None and not asked[i]:
            continue
        others = np.arange(count) != i
        if left_out is not None:
            others &= ~left_out[i]
        others = np.where(others)[0]
        hits = labels[others[np.argsort(-likeness[i, others], kind="stable")]] == labels[i]
        if hits.any():
            precision[i] = (np.cumsum(hits) / np.arange(1, len(hits) + 1))[hits].mean()
            first[i] = hits[0]
    return precision, first


def by_halves(values):
    """Mean over the even, the odd and all queries; 95 % interval of the last by resampling."""
    values = np.asarray(values, float)
    known = values[~np.isnan(values)]
    random = np.random.default_rng(SEED)
    means = [random.choice(known, len(known)).mean() for _ in range(500)]
    low, high = np.percentile(means, [2.5, 97.5])
    return dict(even=np.nanmean(values[::2]), odd=np.nanmean(values[1::2]), all=known.mean(), low=low, high=high, n=len(known))


def show(results, name, values):
    r = results[name] = {k: float(v) for k, v in by_halves(values).items()}
    print(f"{name:52} even {r['even']:.3f}  odd {r['odd']:.3f}  all {r['all']:.3f} [{r['low']:.3f}, {r['high']:.3f}]  n {r['n']:.0f}", flush=True)


def likeness(*parts):
    return sum(p @ p.T for p in parts)


def measure_cups(results, sets, tag, own):
    crops, piece = sets["cups"]["crops"], sets["cups"]["piece"]
    v, grey = own(crops), own(grey_standardised(crops))
    together = v["shape"], v["decor"]
    precision, first = average_precisions(likeness(*together), piece)
    show(results, f"cups.form+decor.R@1 {tag}", first)
    show(results, f"cups.form+decor.mAP {tag}", precision)
    show(results, f"cups.grey.form.mAP {tag}", average_precisions(likeness(grey["shape"]), piece)[0])


def measure_porcelain(results, sets, tag, own):
    data = sets["porcelain"]
    v = own(data["crops"])
    for truth in ("form", "decor"):
        labels = data[truth]
        counts = {label: (labels == label).sum() for label in set(labels)}
        asked = np.array([label != "other" and counts[label] >= RARE for label in labels])
        for output in ("shape", "decor"):
            show(results, f"porcelain.{truth}.mAP by {output} {tag}", average_precisions(likeness(v[output]), labels, asked)[0])
        if "details" in v:
            show(results, f"porcelain.{truth}.mAP by decor+details {tag}", average_precisions(decoration_likeness(v), labels, asked)[0])
        if truth == "form":
            both = likeness(v["shape"], 1.0 * silhouettes(data["crops"]))
            show(results, f"porcelain.form.mAP by shape+outline {tag}", average_precisions(both, labels, asked)[0])
        for label in sorted(counts):
            if label != "other" and counts[label] >= 5:
                mine = average_precisions(likeness(v["shape" if truth == "form" else "decor"]), labels, labels == label)[0]
                results[f"porcelain.{truth}.{label} {tag}"] = float(np.nanmean(mine))
                print(f"    {truth} {label:11} n {counts[label]:3} {np.nanmean(mine):.3f}")


def measure_ukbench(results, sets, tag, own):
    data = sets["ukbench"]
    of_crop, of_photo = own(data["crops"]), own(data["photos"])
    groups = np.arange(len(data["crops"])) // 4
    general, decor = likeness(of_photo["pool"]), likeness(of_crop["decor"])
    for name, table in (("general", general), ("general+decor", general + decor), ("general+0.2 decor", general + 0.2 * decor)):
        order = np.argsort(-table, 1, kind="stable")[:, :4]
        show(results, f"ukbench.N-S {name} {tag}", (groups[order] == groups[:, None]).sum(1))


def measure_world(results, sets, tag, own):
    data = sets["world"]
    v = own(data["crops"])
    for output, wanted, other in (("shape", "shape", "pattern"), ("decor", "pattern", "shape")):
        labels, others = data[wanted], data[other]
        left_out = others[:, None] == others[None]
        show(results, f"world.{output}.R@1 across {tag}", average_precisions(likeness(v[output]), labels, None, left_out)[1])
        if output == "shape":  # of one piece type under another decoration, where there is such a piece
            typed = np.array([f"{shape}/{form}" for shape, form in zip(labels, data["form"])])
            show(results, f"world.shape and form.R@1 across {tag}", average_precisions(likeness(v[output]), typed, None, left_out)[1])
        if output == "decor" and "details" in v:
            show(results, f"world.details.R@1 across {tag}", average_precisions(-details_apart(v["details"]), labels, None, left_out)[1])
            show(results, f"world.decor+details.R@1 across {tag}", average_precisions(decoration_likeness(v), labels, None, left_out)[1])


MEASURES = dict(cups=measure_cups, porcelain=measure_porcelain, ukbench=measure_ukbench, world=measure_world)


# ---- data


def load_sets(data, mask_net, world, cache):
    """Crops and labels of every set, made once and kept in `cache`."""
    if cache and cache.is_file():
        return np.load(cache, allow_pickle=True)["sets"].item()
    sets = {}
    files = sorted((data / "cups").glob("*.png"))
    crops = [crop(read(f), read(data / "cups" / "masks" / (f.stem + "-map.png"), True) / 255.0) for f in files]
    sets["cups"] = dict(crops=np.stack(crops), piece=np.array([f.name.split("-")[0] for f in files]))
    rows = list(csv.DictReader(open(data / "porcelain" / "labels.csv", encoding="utf-8")))
    photos = [read(data / "porcelain" / row["file"]) for row in rows]
    crops = [crop(p, largest(general_mask(mask_net, p))) for p in photos]
    sets["porcelain"] = dict(crops=np.stack(crops), **{k: np.array([row[k] for row in rows]) for k in ("form", "decor")})
    photos = [read(f) for f in sorted((data / "ukbench").glob("*.jpg"))]
    crops = [crop(p, largest(general_mask(mask_net, p))) for p in photos]
    whole = [np.dstack([cv2.resize(p, (CROP, CROP), interpolation=cv2.INTER_AREA), np.full((CROP, CROP), 255, np.uint8)]) for p in photos]
    sets["ukbench"] = dict(crops=np.stack(crops), photos=np.stack(whole))
    if world:
        rows = list(csv.DictReader(open(world / "labels.csv", encoding="utf-8")))
        crops = []
        for row in rows:
            file = world / row["photo"]
            crops.append(crop(read(file), read(world / "masks" / (file.stem + ".png"), True) / 255.0))
        sets["world"] = dict(crops=np.stack(crops), **{k: np.array([row[k] for row in rows]) for k in ("shape", "pattern", "form")})
    if cache:
        np.savez(cache, sets=np.array(sets, dtype=object))
    return sets


def milliseconds(net, x, times=40):
    """Median time of one run on one thread."""
    taken = []
    for _ in range(times):
        begun = time.perf_counter()
        net.run(None, {"x": x})
        taken.append((time.perf_counter() - begun) * 1e3)
    return float(np.median(taken)), float(min(taken))


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("data", type=pathlib.Path)
    parser.add_argument("--mask", required=True, help="the general mask network")
    parser.add_argument("--general", required=True, help="the network of the general vector, for embedders that have none")
    parser.add_argument("--embedder", action="append", default=[], help="embedders to compare; may be given several times")
    parser.add_argument("--world", type=pathlib.Path, help="a test world of the studio")
    parser.add_argument("--cache", type=pathlib.Path, help=".npz to keep the crops in")
    parser.add_argument("--json", type=pathlib.Path, help="write the figures here too")
    parser.add_argument("--only", help="one set")
    arguments = parser.parse_args()
    sets = load_sets(arguments.data, session(arguments.mask), arguments.world, arguments.cache)
    results = {}
    simple = dict(
        silhouette=lambda crops: dict.fromkeys(("pool", "shape", "decor"), silhouettes(crops)),
        histogram=lambda crops: dict.fromkeys(("pool", "shape", "decor"), lab_histograms(crops)),
    )
    nets = {pathlib.Path(file).stem: session(file) for file in arguments.embedder}
    general = session(arguments.general)
    makers = simple | {tag: (lambda net: lambda crops: vectors(net, crops, general))(net) for tag, net in nets.items()}
    for name, measure in MEASURES.items():
        if name in sets and arguments.only in (None, name):
            for tag, own in makers.items():
                measure(results, sets, tag, own)
    for tag, net in nets.items():
        shape = [d if isinstance(d, int) else 1 for d in net.get_inputs()[0].shape]
        median, least = milliseconds(net, np.zeros(shape, np.float32))
        print(f"{tag}: {median:.1f} ms a run on one thread (least {least:.1f})")
    if arguments.json:
        arguments.json.write_text(json.dumps(results, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
