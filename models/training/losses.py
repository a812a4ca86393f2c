"""What the embedder is asked for: contrast of vectors and of sets of places, likeness of form, likeness of colours and relief."""
import torch
import torch.nn.functional as F

import run
from embedder import DETAIL, DETAILS

TEMPERATURE = 0.1
FORM_SHARPNESS = 0.06  # in overlap of side silhouettes
LOOK_SHARPNESS = 0.15  # in likeness of colours and relief


def contrast(vectors, labels, ignored=None):
    """Supervised contrastive loss (Khosla et al. 2020); `ignored` pairs are no negatives."""
    z = F.normalize(vectors.float(), dim=1)
    return contrast_of(z @ z.t() / TEMPERATURE, labels, ignored)


def contrast_of(likeness, labels, ignored=None):
    """The same of pairwise likeness, divided by its temperature."""
    same = torch.eye(len(likeness), dtype=torch.bool)
    positive = (labels[:, None] == labels[None]) & ~same
    likeness = likeness.masked_fill(same if ignored is None else same | (ignored & ~positive), -1e4)
    log_share = likeness - torch.logsumexp(likeness, 1, keepdim=True)
    return -(log_share * positive).sum(1).div(positive.sum(1)).mean()


def nearness(vectors, wanted):
    """Cross entropy of who lies near whom to what is `wanted`: a likeness of every two, divided by its sharpness."""
    z = F.normalize(vectors.float(), dim=1)
    same = torch.eye(len(z), dtype=torch.bool)
    shares = torch.softmax(wanted.masked_fill(same, -1e4), 1)
    return -(shares * torch.log_softmax((z @ z.t() / TEMPERATURE).masked_fill(same, -1e4), 1)).sum(1).mean()


def form_likeness(vectors, silhouettes):
    """By the overlap of the true side silhouettes: near forms shall lie near, whatever the view."""
    flat = silhouettes.flatten(1)
    both = flat @ flat.t()
    size = flat.sum(1)
    return nearness(vectors, both / (size[:, None] + size[None] - both).clamp(min=1) / FORM_SHARPNESS)


def look_likeness(vectors, looks):
    """By the true shares of colours and of relief (`decors.looks`): decorations of one kind shall lie near."""
    return nearness(vectors, looks @ looks.t() / LOOK_SHARPNESS)


def likeness_of_places(vectors, weights):
    """Of every two sets of places, -1 to 1: the best match of each place, the mean by weight, both ways."""
    n = len(vectors)
    flat = vectors.reshape(n * DETAILS, DETAIL)
    with run.half_precision():
        cosines = (flat @ flat.t()).view(n, DETAILS, n, DETAILS)
    forth = (cosines.amax(3).float() * weights[:, :, None]).sum(1)
    return (forth + forth.t()) / 2
