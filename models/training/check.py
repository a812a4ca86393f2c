"""A tiny run of everything on a CPU: `python3 check.py`. Ends with an error if a part does not do its work.

Renders, trains both networks for two steps, exports them and runs the exports;
checks what can be known of so little: that geometry and targets agree with each
other, that gradients reach every weight that is to be trained, and that the
exported networks give what the trained ones gave.
"""
import pathlib
import subprocess
import sys
import tempfile

import numpy as np
import torch

import export
from evaluate_cutout import instances
from ops import grid
from photo import CROP, crops
from render import render
from run import GOING, keep
from scenes import targets
from shapes import make_shapes
from decors import looks, make_decors, to_lab

HERE = pathlib.Path(__file__).parent


def check_pieces_come_back_from_targets():
    """Discs and a box as instances; the centres and offsets made of them give the same pieces again."""
    y, x = grid(320, 320)
    truth = torch.zeros(1, 320, 320)
    truth[0][(x + 0.5) ** 2 + y**2 < 0.15] = 1
    truth[0][(x - 0.4) ** 2 + (y - 0.1) ** 2 < 0.1] = 2
    truth[0][((x - 0.1).abs() < 0.3) & ((y + 0.7).abs() < 0.2)] = 3
    at, heat, offset, boundary = targets(truth)
    mask = (truth > 0).float()[None]
    labels = instances([v.numpy() for v in (mask, heat[None], offset, boundary[None])])
    for k in (1, 2, 3):
        mine = labels[at[0].numpy() == k]
        values, counts = np.unique(mine[mine > 0], return_counts=True)
        assert counts.max() / counts.sum() > 0.99, (k, values, counts)
    assert len(np.unique(labels)) == 4, np.unique(labels)
    touching = torch.zeros(1, 320, 320)
    touching[0, 100:200, 100:160], touching[0, 100:200, 160:220] = 1, 2
    assert targets(touching)[3].sum() >= 20 and targets(truth)[3].sum() == 0


def check_renders_fill_their_frame():
    """Every shape is seen whole: something within, nothing at the frame, and the crop keeps its margin."""
    shapes, decors = make_shapes(6, family=2), make_decors(2)
    rgb, cover = render(shapes, decors, torch.arange(6), torch.arange(6) % 2, 96)
    assert torch.isfinite(rgb).all() and (cover.mean((1, 2)) > 0.05).all()
    frame = torch.cat([cover[:, 0], cover[:, -1], cover[:, :, 0], cover[:, :, -1]], 1)
    assert frame.mean() < 0.02, frame.mean()
    assert shapes["silhouette"].flatten(1).mean(1).gt(0.1).all()
    seen = crops(rgb, cover, jitter=0.0)
    assert seen.shape == (6, 4, CROP, CROP) and seen.min() >= -0.01 and seen.max() <= 1.01


def check_looks_tell_decorations_apart():
    """L*a*b* of sRGB red as published (53.24, 80.09, 67.20, from memory); near colours are near, others and relief far."""
    red = to_lab(torch.tensor([1.0, 0.0, 0.0]).view(1, 3, 1))[0, :, 0]
    assert (red - torch.tensor([53.24, 80.09, 67.20])).abs().max() < 0.05, red
    colours = torch.tensor([[0.96, 0.95, 0.93, 0], [0.95, 0.94, 0.91, 0], [0.15, 0.25, 0.55, 0], [0.96, 0.95, 0.93, 1]])
    alike = (v := looks(colours[:, :, None, None].expand(-1, -1, 64, 128))) @ v.t()
    assert (alike.diagonal() - 1).abs().max() < 1e-3 and alike[0, 1] > 0.9 and alike[0, 2] < 0.1 and alike[0, 3] < 0.1, alike


def check_every_tuned_weight_is_reached():
    net = export.embedder.Embedder(export.Lite0())
    net.eval()
    net.heads.train()
    net.details.train()
    pictures = torch.rand(4, 4, CROP, CROP)
    form, decoration, (vectors, weights) = net(pictures)
    details = (vectors * torch.linspace(0, 1, vectors[0].numel()).view(vectors[0].shape)).sum() + weights.square().sum()
    (form.square().sum() + decoration.square().sum() + details).backward()
    idle = [name for name, p in net.named_parameters() if p.grad is None]
    assert not idle, idle[:3]


def check_what_is_cut_off_goes_on(out):
    """What had come to its end when it was cut off gives the weights it had."""
    for name, net in ("embedder", export.embedder.Embedder(export.Lite0())), ("cutout", export.cutout.Cutout(export.Lite0(head=False))):
        out.mkdir(exist_ok=True)
        keep(out, dict(starts=0), net=net.state_dict(), scale=2.0, share=1.0)
        run(f"train_{name}.py", "--out", out, "--device", "cpu", "--tiny")
        got = export.saved(out / f"{name}.pt")
        assert all(torch.equal(got[k], v.half().float() if v.is_floating_point() else v) for k, v in net.state_dict().items())
        assert not (out / GOING).exists()


def run(program, *arguments, cards=1):
    side_by_side = ["-m", "torch.distributed.run", "--standalone", f"--nproc-per-node={cards}"] if cards > 1 else []
    subprocess.run([sys.executable, *side_by_side, HERE / program, *map(str, arguments)], check=True)


def main():
    torch.manual_seed(1)
    with torch.no_grad():
        check_pieces_come_back_from_targets()
        check_renders_fill_their_frame()
        check_looks_tell_decorations_apart()
    check_every_tuned_weight_is_reached()
    with tempfile.TemporaryDirectory() as folder:
        out = pathlib.Path(folder)
        run("train_embedder.py", "--out", out, "--device", "cpu", "--tiny", cards=2)
        run("train_embedder.py", "--out", out / "second", "--device", "cpu", "--tiny", "--seed", 101)
        run("train_cutout.py", "--out", out, "--device", "cpu", "--tiny")
        check_what_is_cut_off_goes_on(out / "cut off")
        run("export.py", "--embedder", out / "embedder.pt", "--out", out / "embedder.onnx")
        run("export.py", "--embedder", out / "second" / "embedder.pt", "--out", out / "second.onnx")
        run("join.py", out / "embedder.onnx", out / "second.onnx", "--out", out / "both.onnx")
        run("export.py", "--cutout", out / "cutout.pt", "--out", out / "cutout.onnx")
        x = np.random.default_rng(1).random((1, 4, CROP, CROP), np.float32)
        run("export.py", "--backbone-alone", "--out", out / "general.onnx")
        shape, decor, details = export.run_once(out / "embedder.onnx", x)
        weights = np.linalg.norm(details[0], axis=1)
        assert len(weights) == export.embedder.DETAILS and abs(weights.sum() - 1) < 1e-3, weights
        both = export.run_once(out / "both.onnx", x)
        assert [v.shape[1] for v in both] == [256, 256, export.embedder.DETAILS] and abs(np.linalg.norm(both[0]) - 1) < 1e-3, both
        pool = export.run_once(out / "general.onnx", x[:, :3])[0]
        assert pool.shape == (1, 1280) and abs(np.linalg.norm(shape) - 1) < 1e-3 and abs(np.linalg.norm(decor) - 1) < 1e-3
    print("the training runs")


if __name__ == "__main__":
    main()
