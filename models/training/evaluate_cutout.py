"""Measures the cutout network beside the general one on pictures that no training saw.

`python3 evaluate_cutout.py DATA --general ../mask.onnx --own ../cutout.onnx [--world DIR] [--scenes DIR ...] [--hand FILE]`
Prints overlap (IoU) and error before the program refines the edge, overlap also by the level the program takes for half
covered (`as cut out`); `rule` is the own mask, or the
general one where the own is empty, touches the frame or is unsure. Figures for the
photos of even and odd number: the rule's thresholds were chosen on the odd ones.
"""
import argparse
import json
import pathlib

import cv2
import numpy as np

from evaluate import general_mask, largest, looked_at, milliseconds, read, session, show

# The rule; see `trusted`.
LEAST_AREA, MOST_TOUCH, LEAST_CERTAINTY = 0.01, 0.02, 0.92
LEAST_PEAK, NEAR = 0.3, 5
HALF = 0.3  # what the own mask says where ware covers half, as in the program


def own_mask(net, photo):
    mask = looked_at(net, photo)[0][0, 0]
    return mask, cv2.resize(mask, photo.shape[1::-1], interpolation=cv2.INTER_LINEAR)


def as_cut_out(mask):
    """The own mask with one half where it says `HALF`."""
    return np.clip(mask, 0, 1) ** (np.log(0.5) / np.log(HALF))


def drawn_by_hand(data, file):
    """Photos of `data` that outlines were drawn over (x, y, ... in tenths of a pixel), and their masks."""
    photos, masks = [], []
    for drawing in json.loads(file.read_text(encoding="utf-8"))["photos"]:
        if not (data / drawing["photo"]).is_file():
            continue
        mask = np.zeros((drawing["height"], drawing["width"]), np.uint8)
        for rings, value in ((drawing["outer"], 255), (drawing.get("holes", []), 0)):
            for ring in rings:
                corners = np.array(ring).reshape(-1, 2) / 10 - 0.5
                cv2.fillPoly(mask, [np.round(corners * 256).astype(np.int32)], value, shift=8)
        photos.append(read(data / drawing["photo"]))
        masks.append(mask / 255.0)
    return photos, masks


def trusted(mask):
    """Whether the own mask is neither empty nor at the frame nor unsure; and what was measured."""
    piece = mask > 0.5
    area = piece.mean()
    frame = np.concatenate([piece[0], piece[-1], piece[:, 0], piece[:, -1]]).mean()
    # Certainty: how far from undecided, over all that could be piece.
    candidate = mask > 0.1
    certainty = np.abs(mask[candidate] * 2 - 1).mean() if candidate.any() else 0.0
    return area >= LEAST_AREA and frame <= MOST_TOUCH and certainty >= LEAST_CERTAINTY, (area, frame, certainty)


def overlap(found, true):
    return (found & true).sum() / max(1, (found | true).sum())


def instances(outputs):
    """Labels 1, 2, ... at a quarter of the side: every pixel of the mask goes to the centre it points at."""
    mask, centre, offset = outputs[0][0, 0], outputs[1][0, 0], outputs[2][0]
    small = cv2.resize(mask, centre.shape[::-1], interpolation=cv2.INTER_AREA) > 0.5
    peaks = (centre == cv2.dilate(centre, np.ones((NEAR, NEAR)))) & (centre > LEAST_PEAK)
    py, px = np.where(peaks)
    labels = np.zeros(centre.shape, np.int32)
    if len(py):
        y, x = np.mgrid[: centre.shape[0], : centre.shape[1]]
        x, y = x + offset[0] * centre.shape[0], y + offset[1] * centre.shape[0]
        labels = 1 + ((x[..., None] - px) ** 2 + (y[..., None] - py) ** 2).argmin(-1).astype(np.int32)
    return labels * small


def components(mask):
    return cv2.connectedComponents((mask > 0.5).astype(np.uint8))[1]


def matches(labels, truths, least=0.7, smallest=0.002):
    """Hits, found and true pieces at an overlap of `least`."""
    found = [labels == k for k in range(1, labels.max() + 1)]
    found = [f for f in found if f.mean() >= smallest]
    table = np.array([[overlap(f, t) for t in truths] for f in found]).reshape(len(found), len(truths))
    return int((table.max(0, initial=0) >= least).sum()), len(found), len(truths)


def measure_masks(results, name, nets, photos, masks):
    found = {"general": [], "own": [], "rule": []}
    errors = {key: [] for key in found}
    cut_out = []
    own_used, measured = [], []
    for photo, true in zip(photos, masks):
        general = general_mask(nets["general"], photo)
        raw, own = own_mask(nets["own"], photo)
        use, facts = trusted(raw)
        own_used.append(float(use))
        measured.append(facts)
        for key, mask in (("general", general), ("own", own), ("rule", own if use else general)):
            found[key].append(overlap(largest(mask) > 0.5, true > 0.5))
            errors[key].append(np.abs(mask - true).mean())
        cut_out.append(overlap(largest(as_cut_out(own)) > 0.5, true > 0.5))
    for key in found:
        show(results, f"{name}.IoU {key}", found[key])
        show(results, f"{name}.error {key}", errors[key])
    show(results, f"{name}.IoU own, as cut out", cut_out)
    show(results, f"{name}.share that uses the own", own_used)
    return dict(iou=found, error=errors, facts=measured)


def photos_with_masks(files, mask_of):
    return [read(f) for f in files], [read(mask_of(f), True) / 255.0 for f in files]


def piece_masks(folder, stem):
    """One mask a piece: STEM.png where there is one piece, else STEM-0.png and so on."""
    folder = folder / "masks"
    return [read(f, True) > 127 for f in [*folder.glob(stem + ".png"), *sorted(folder.glob(stem + "-*.png"))]]


def measure_scenes(results, net, folders):
    """F1 of pieces at an overlap of 0.7, by centres and by connected regions."""
    for name, split in (("centres", lambda o: instances(o)), ("regions", lambda o: components(o[0][0, 0]))):
        counts = {}
        for folder in folders:
            for file in sorted((folder / "photos").glob("*.jpg")):
                photo = read(file)
                truths = [t for t in piece_masks(folder, file.stem) if t.mean() > 0.002]
                labels = cv2.resize(split(looked_at(net, photo)).astype(np.float32), photo.shape[1::-1], interpolation=cv2.INTER_NEAREST)
                hit = matches(labels.astype(int), truths)
                counts[len(truths)] = counts.get(len(truths), np.zeros(3)) + hit
        total = sum(counts.values())
        f1 = {str(k): round(2 * v[0] / max(1, v[1] + v[2]), 3) for k, v in sorted(counts.items())}
        results[f"scenes.F1 {name}"] = float(2 * total[0] / (total[1] + total[2]))
        print(f"scenes.F1 by {name}: {results[f'scenes.F1 {name}']:.3f} of {total[2]:.0f} pieces; by number of pieces {f1}")


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("data", type=pathlib.Path)
    parser.add_argument("--general", required=True)
    parser.add_argument("--own", required=True)
    parser.add_argument("--world", type=pathlib.Path, help="a test world of the studio")
    parser.add_argument("--scenes", type=pathlib.Path, action="append", default=[], help="studio scenes of several pieces")
    parser.add_argument("--hand", type=pathlib.Path, help="outlines drawn by hand (`benches/measure/hand.json`)")
    parser.add_argument("--json", type=pathlib.Path)
    parser.add_argument("--facts", type=pathlib.Path, help="write what the rule measured, .npz")
    arguments = parser.parse_args()
    nets, results, facts = dict(general=session(arguments.general), own=session(arguments.own)), {}, {}
    data = arguments.data
    files = sorted((data / "cups").glob("*.png"))
    facts["cups"] = measure_masks(results, "cups", nets, *photos_with_masks(files, lambda f: data / "cups" / "masks" / (f.stem + "-map.png")))
    files = sorted((data / "saliency").glob("*.jpg"))
    facts["saliency"] = measure_masks(results, "saliency", nets, *photos_with_masks(files, lambda f: data / "saliency" / "masks" / (f.stem + ".png")))
    photos = [read(f) for f in sorted((data / "porcelain").glob("*.jpg"))]
    facts["porcelain"] = measure_masks(results, "porcelain (general mask as truth)", nets, photos, [largest(general_mask(nets["general"], p)) for p in photos])
    if arguments.world:
        files = sorted((arguments.world / "photos").glob("*.jpg"))[::3]
        mask_of = lambda f: arguments.world / "masks" / (f.stem + ".png")  # noqa: E731
        facts["studio"] = measure_masks(results, "studio", nets, *photos_with_masks(files, mask_of))
    if arguments.hand:
        facts["hand"] = measure_masks(results, "hand", nets, *drawn_by_hand(data, arguments.hand))
    if arguments.scenes:
        measure_scenes(results, nets["own"], arguments.scenes)
    for name, net in nets.items():
        median, least = milliseconds(net, np.zeros(net.get_inputs()[0].shape, np.float32))
        print(f"{name}: {median:.1f} ms a run on one thread (least {least:.1f})")
    if arguments.facts:
        np.savez(arguments.facts, facts=np.array(facts, dtype=object))
    if arguments.json:
        arguments.json.write_text(json.dumps(results, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
