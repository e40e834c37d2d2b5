"""Train on what `make` made: ``python -m tests.training.parts.train --data DIR --out FILE.onnx``."""

from __future__ import annotations

import argparse
import copy
import json
import math
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import torch
from torch import Tensor
from torch.nn import functional as F

from tests.training.parts.labels import HOLE, LABELS, LINING, NET_SIZE, OFFSET_UNIT, SIZE, STEEL, TEETH
from tests.training.parts.net import PartNet, Shipped

MOST_PARTS = 12
IGNORED = 255
HELD_BACK = 20  # every so many pictures one is kept for the figures
WEIGHT = (
    0.5,
    1.2,
    1.2,
    2.0,
    1.0,
    1.0,
    1.2,
    1.5,
    2.0,
    1.5,
)  # of the labels in the loss: few pixels are teeth or strap
ON_PLATE = (LINING, STEEL, TEETH, HOLE)


class Pictures:
    """All pictures on the device."""

    def __init__(self, folder: Path, device: str) -> None:
        paths = sorted(folder.glob("*.npz"))
        width, height = SIZE
        n = len(paths)
        rgb = np.empty((n, height, width, 3), np.uint8)
        label = np.empty((n, height, width), np.uint8)
        part = np.empty((n, height, width), np.uint8)
        centres = np.zeros((n, MOST_PARTS, 2), np.float32)

        def read(k: int) -> None:
            with np.load(paths[k]) as file:
                rgb[k], label[k], part[k] = file["rgb"], file["label"], file["part"]
                found = np.clip(file["centres"][:MOST_PARTS], -1e4, 1e4)
                centres[k, : len(found)] = found

        with ThreadPoolExecutor(8) as pool:
            list(pool.map(read, range(n)))
        self.rgb, self.label, self.part, self.centres = (
            torch.from_numpy(a).to(device) for a in (rgb, label, part, centres)
        )

    def __len__(self) -> int:
        return len(self.rgb)


def batch(pictures: Pictures, index: Tensor, vary: bool) -> tuple[Tensor, Tensor, Tensor, Tensor]:
    """RGB (N, 3, H, W) 0..255; label, offsets and their mask at half size; all turned and moved alike."""
    rgb = pictures.rgb[index].permute(0, 3, 1, 2).float()
    label, part, centres = (
        pictures.label[index].float(),
        pictures.part[index].float(),
        pictures.centres[index],
    )
    if vary:
        rgb, label, part, centres = _moved(rgb, label, part, centres)
        rgb = _recoloured(rgb)
    n, (width, height) = len(rgb), NET_SIZE
    rgb = F.interpolate(rgb, (height, width), mode="bilinear", antialias=True)
    label, part = (F.interpolate(plane[:, None], (height, width))[:, 0] for plane in (label, part))
    centres = (centres + 0.5) * (width / SIZE[0]) - 0.5
    label, part = label[:, 1::2, 1::2].long(), part[:, 1::2, 1::2].long()
    x = torch.arange(1, width, 2, device=rgb.device, dtype=torch.float32)
    y = torch.arange(1, height, 2, device=rgb.device, dtype=torch.float32)
    place = torch.stack(torch.meshgrid(x, y, indexing="xy"))[None]
    which = (part - 1).clamp(0, MOST_PARTS - 1).reshape(n, -1, 1).expand(-1, -1, 2)
    aim = torch.gather(centres, 1, which).permute(0, 2, 1).reshape(n, 2, height // 2, width // 2)
    offset = (aim - place) / OFFSET_UNIT
    on = (part > 0) & (part <= MOST_PARTS) & torch.isin(label, torch.tensor(ON_PLATE, device=rgb.device))
    return rgb, label, offset, on & (offset.abs().amax(1) < 8)


def _moved(
    rgb: Tensor, label: Tensor, part: Tensor, centres: Tensor
) -> tuple[Tensor, Tensor, Tensor, Tensor]:
    n, _, height, width = rgb.shape
    device = rgb.device
    turn = torch.rand(n, device=device) * 2 * math.pi * (torch.rand(n, device=device) < 0.6)
    scale = torch.exp(torch.empty(n, device=device).uniform_(-0.45, 0.35))  # of the picture beside the sheet
    flip = torch.where(torch.rand(n, device=device) < 0.5, -1.0, 1.0)
    c, s = torch.cos(turn) * scale, torch.sin(turn) * scale
    linear = torch.stack(
        [torch.stack([c * flip, -s], -1), torch.stack([s * flip, c], -1)], 1
    )  # new to old, px
    shift = torch.empty(n, 2, device=device).uniform_(-0.12, 0.12) * torch.tensor(
        [width, height], device=device
    )
    half = torch.tensor([width / 2, height / 2], device=device)
    x = torch.arange(width, device=device) + 0.5
    y = torch.arange(height, device=device) + 0.5
    new = torch.stack(torch.meshgrid(x, y, indexing="xy"), -1) - half
    old = torch.einsum("nij,hwj->nhwi", linear, new) + shift[:, None, None]
    grid = old / half
    rgb = F.grid_sample(rgb, grid, mode="bilinear", padding_mode="reflection", align_corners=False)
    planes = torch.stack([label, part], 1) + 1
    planes = F.grid_sample(planes, grid, mode="nearest", padding_mode="zeros", align_corners=False)
    label = torch.where(planes[:, 0] > 0, planes[:, 0] - 1, torch.full_like(label, IGNORED))
    part = (planes[:, 1] - 1).clamp(min=0)
    back = torch.einsum("nij,nkj->nki", torch.linalg.inv(linear), centres + 0.5 - half - shift[:, None])
    return rgb, label, part, back + half - 0.5


def _recoloured(rgb: Tensor) -> Tensor:
    n = rgb.shape[0]

    def normal(spread: float, *shape: int) -> Tensor:
        return torch.randn(n, *shape, device=rgb.device) * spread

    x = (rgb / 255).clamp(1e-3, 1)
    x = (
        x ** torch.exp(normal(0.18, 1, 1, 1))
        * torch.exp(normal(0.12, 1, 1, 1))
        * torch.exp(normal(0.08, 3, 1, 1))
    )
    grey = x.mean(1, keepdim=True)
    x = grey + (x - grey) * torch.exp(normal(0.25, 1, 1, 1)).clamp(0, 2)
    soft = F.avg_pool2d(x, 3, 1, 1)
    x = x + (soft - x) * torch.empty(n, 1, 1, 1, device=x.device).uniform_(-0.5, 1.0)
    x = x + torch.randn_like(x) * torch.rand(n, 1, 1, 1, device=x.device) * 0.035
    return x.clamp(0, 1) * 255


def loss_of(net: torch.nn.Module, pictures: Pictures, index: Tensor, weight: Tensor) -> Tensor:
    """Cross entropy of the labels and the mean length by which offsets miss."""
    rgb, label, offset, on = batch(pictures, index, vary=True)
    with torch.autocast(rgb.device.type, torch.bfloat16, enabled=rgb.is_cuda):
        scores, offsets = net(rgb.contiguous(memory_format=torch.channels_last))
    named = F.cross_entropy(scores.float(), label, weight, ignore_index=IGNORED)
    miss = F.smooth_l1_loss(offsets.float(), offset, reduction="none", beta=0.1).sum(1)
    return named + 0.5 * (miss * on).sum() / on.sum().clamp(min=1)


@torch.no_grad()
def figures(net: torch.nn.Module, pictures: Pictures, held: Tensor) -> dict[str, float]:
    """Intersection over union of each label, median miss of the offsets in pixels, on held-back pictures."""
    net.eval()
    counts = torch.zeros(len(LABELS), len(LABELS), dtype=torch.long)
    misses = []
    for index in held.split(16):
        rgb, label, offset, on = batch(pictures, index, vary=False)
        scores, offsets = net(rgb)
        pair = label * len(LABELS) + scores.argmax(1)
        counts += torch.bincount(pair.flatten(), minlength=counts.numel()).reshape(counts.shape).cpu()
        misses.append(((offsets - offset).norm(dim=1)[on] * OFFSET_UNIT).cpu())
    hit = counts.diag().float()
    union = counts.sum(0) + counts.sum(1) - counts.diag()
    told = {name: round(float(hit[k] / union[k]), 4) for k, name in enumerate(LABELS) if union[k]}
    return told | {"offset, median px": round(float(torch.cat(misses).median()), 2), "pictures": len(held)}


def train(
    pictures: Pictures, seconds: float, size: int, rate: float, begun: Path | None
) -> tuple[PartNet, dict[str, float]]:
    """Train for a span of time, from weights ``begun`` if given; the averaged weights and their figures."""
    device = pictures.rgb.device
    torch.manual_seed(7)
    torch.backends.cudnn.benchmark = True
    net = PartNet().to(device, memory_format=torch.channels_last)
    if begun is not None:
        net.load_state_dict(torch.load(begun, map_location=device, weights_only=True))
    mean = copy.deepcopy(net)
    weight = torch.tensor(WEIGHT, device=device)
    order = torch.arange(len(pictures), device=device)
    held, used = order[::HELD_BACK], order[order % HELD_BACK != 0]
    optimiser = torch.optim.AdamW(net.parameters(), lr=rate, weight_decay=0.02)
    start, step, told = time.perf_counter(), 0, 0.0
    while (gone := (time.perf_counter() - start) / seconds) < 1:
        for group in optimiser.param_groups:
            group["lr"] = (
                rate * min(1.0, (step + 1) / 200) * (0.02 + 0.98 * (1 + math.cos(math.pi * gone)) / 2)
            )
        net.train()
        loss = loss_of(net, pictures, used[torch.randint(len(used), (size,), device=device)], weight)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 5.0)
        optimiser.step()
        step += 1
        kept = min(0.998, step / (step + 20))
        with torch.no_grad():
            torch._foreach_lerp_(list(mean.parameters()), list(net.parameters()), 1 - kept)
            for slow, fast in zip(mean.buffers(), net.buffers(), strict=True):
                slow.copy_(fast)
        if gone - told >= 0.1:
            told = gone
            print(f"{gone:.0%} step {step} loss {loss.item():.3f}", flush=True)
    print(f"{step} steps of {size}", flush=True)
    return mean, figures(mean, pictures, held) | {"steps": step, "trained on": len(used)}


def export(net: PartNet, out: Path) -> None:
    """Write the ONNX file, batch normalisation folded in."""
    shipped = Shipped(net.float().cpu().eval().to(memory_format=torch.contiguous_format))
    out.parent.mkdir(parents=True, exist_ok=True)
    sheet = torch.zeros(1, 3, NET_SIZE[1], NET_SIZE[0])
    torch.onnx.export(
        shipped,
        (sheet,),
        str(out),
        input_names=["rgb"],
        output_names=["parts"],
        opset_version=17,
        dynamo=False,
    )


def main() -> None:
    """Train and export; figures beside the file as JSON."""
    parser = argparse.ArgumentParser(prog="python -m tests.training.parts.train", description=__doc__)
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seconds", type=float, default=300)
    parser.add_argument("--batch", type=int, default=64)
    parser.add_argument("--rate", type=float, default=3e-3)
    parser.add_argument("--begun", type=Path, help="weights (.pt) to go on from")
    options = parser.parse_args()
    device = "cuda" if torch.cuda.is_available() else "cpu"
    pictures = Pictures(options.data, device)
    print(f"{len(pictures)} pictures", flush=True)
    net, told = train(pictures, options.seconds, options.batch, options.rate, options.begun)
    options.out.parent.mkdir(parents=True, exist_ok=True)
    torch.save(net.state_dict(), options.out.with_suffix(".pt"))
    options.out.with_suffix(".json").write_text(json.dumps(told, indent=1) + "\n", "utf-8")
    print(json.dumps(told), flush=True)
    export(net, options.out)


if __name__ == "__main__":
    main()
