"""Weights between an earlier training and the one that went on with it: `python3 mix.py --help`.

The further the weights go, the better shapes are told and decorations without colour, and the worse those of real
porcelain in colour; so each part goes its own share of the way.
"""
import argparse
import pathlib

import torch

from export import saved
from train_embedder import with_details

SHARES = {"backbone": 0.5, "heads.shape": 0.5, "heads.decor": 0.2, "details": 0.7}


def mixed(before, after, shares):
    part = {name: next(part for part in shares if name.startswith(part + ".")) for name in after}
    return {
        name: torch.lerp(before[name], value, shares[part[name]]) if value.is_floating_point() else value for name, value in after.items()
    }


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--before", type=pathlib.Path, required=True, help="embedder.pt of the earlier training")
    parser.add_argument("--before-details", type=pathlib.Path, help="its details, if they were trained apart")
    parser.add_argument("--after", type=pathlib.Path, required=True, help="embedder.pt of the one that began with it")
    for part, share in SHARES.items():
        parser.add_argument("--" + part.removeprefix("heads."), dest=part, type=float, default=share, help=f"share of the way ({share})")
    parser.add_argument("--out", type=pathlib.Path, required=True)
    arguments = parser.parse_args()
    shares = {part: getattr(arguments, part) for part in SHARES}
    state = mixed(with_details(arguments.before, arguments.before_details), saved(arguments.after), shares)
    torch.save({name: value.half() if value.is_floating_point() else value for name, value in state.items()}, arguments.out)


if __name__ == "__main__":
    main()
