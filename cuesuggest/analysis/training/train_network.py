"""Train the network of `cuesuggest.analysis.rhythm.network` on packed songs.

    python -m cuesuggest.analysis.training.train_network SONGS.npz... -o OUT.npz [--seed 1] [--steps 6000]
        [--teacher W.npz]

SONGS come from `training.pack`. Needs PyTorch (`pip install 'cuesuggest[train]'`); minutes on a GPU. The
same seed draws the same crops and the same start; a GPU's sums still differ in the last digits from run to run.

A wider network, trained before in the same way, may be a teacher (after Hinton, Vinyals and Dean 2015): it hears the
undegraded recording of which a copy is heard, and what it says of it is learned beside the truth, also where nothing is
known.
"""

from __future__ import annotations

import math
import time
from pathlib import Path

import click
import numpy as np
import torch
from torch import nn
from torch.nn import functional as F  # noqa: N812 (its usual name)

from cuesuggest.analysis.frames import HEADS
from cuesuggest.analysis.training.crops import Crops, Songs, normalised
from cuesuggest.analysis.training.packed import STEPS

HEAD_WEIGHTS = (1.0, 1.0, 0.7, 0.4, 0.3, 0.2, 0.2)
RISE = 0.05  # of the training in which the learning rate rises
TAUGHT = 4  # heads, the first ones, that a teacher teaches
SURE = 6.0  # nats beyond which a teacher's word is not told apart
NEAR = 2  # frames by which a prediction may miss
AROUND = 5  # frames next to a beat that are neither right nor wrong


class Residual(nn.Module):
    """Two dilated convolutions side by side, joined, added to what came in (after Böck and Davies 2020)."""

    def __init__(self, width: int, dilation: int, dropout: float) -> None:
        super().__init__()
        self.near = nn.Conv1d(width, width, 5, padding=2 * dilation, dilation=dilation)
        self.far = nn.Conv1d(width, width, 5, padding=4 * dilation, dilation=2 * dilation)
        self.join = nn.Conv1d(2 * width, width, 1)
        self.out = nn.Conv1d(width, width, 1)
        self.drop = nn.Dropout1d(dropout)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        """(batch, width, frames) -> the same."""
        both = F.elu(torch.cat([self.near(x), self.far(x)], dim=1))
        joined: torch.Tensor = self.join(self.drop(both))
        return x + self.out(F.elu(joined))


class Network(nn.Module):
    """Bands in, one logit a frame and head out."""

    def __init__(self, width: int = 32, layers: int = 10, dropout: float = 0.1) -> None:
        super().__init__()
        front = 20
        self.first = nn.Conv2d(1, front, 3, padding=(1, 0))
        self.second = nn.Conv2d(front, front, (1, 10))
        self.third = nn.Conv2d(front, width, (3, 3), padding=(1, 0))
        self.body = nn.ModuleList([Residual(width, 2**k, dropout) for k in range(layers)])
        self.heads = nn.Conv1d(width, len(HEADS), 1)
        self.drop = nn.Dropout1d(dropout)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        """(batch, frames, bands) -> (batch, heads, frames)."""
        x = F.max_pool2d(F.elu(self.first(x[:, None])), (1, 3))  # 64 -> 62 -> 20 bands
        x = F.max_pool2d(F.elu(self.second(x)), (1, 3))  # 11 -> 3
        x = self.drop(F.elu(self.third(x))[..., 0])
        for layer in self.body:
            x = layer(x)
        found: torch.Tensor = self.heads(F.elu(x))
        return found


def tolerant_loss(
    logits: torch.Tensor, target: torch.Tensor, weight: torch.Tensor, ratio: torch.Tensor
) -> torch.Tensor:
    """Cross entropy that forgives two frames.

    Events are compared with the largest logit near them; frames next to an event teach nothing.

    Parameters
    ----------
    logits, target, weight : Tensor, shape (batch, heads, frames)
    ratio : Tensor, shape (heads,)
        Weight of a yes against a no.

    Returns
    -------
    Tensor, shape (heads,)
    """
    instants = torch.tensor([head in ("beat", "downbeat", "section") for head in HEADS], device=logits.device)
    top = F.max_pool1d(logits, 2 * NEAR + 1, 1, NEAR)
    yes = torch.where(instants[:, None], top, logits)
    wide = F.max_pool1d(target, 2 * AROUND + 1, 1, AROUND)
    no_weight = weight * torch.where(instants[:, None], 1 - wide, 1 - target)
    yes_weight = weight * target * ratio[:, None]
    loss = yes_weight * F.softplus(-yes) + no_weight * F.softplus(logits)
    return loss.sum(dim=(0, 2)) / (yes_weight + no_weight).sum(dim=(0, 2)).clamp(min=1.0)


def taught_loss(logits: torch.Tensor, teacher: torch.Tensor, musical: torch.Tensor) -> torch.Tensor:
    """How far the first heads are from what a teacher says; (batch, heads, frames) twice, (batch,)."""
    apart = F.smooth_l1_loss(
        logits[:, :TAUGHT].clamp(-SURE, SURE), teacher[:, :TAUGHT].clamp(-SURE, SURE), reduction="none"
    )
    return apart.mean(dim=(1, 2))[musical].mean()


def one_cycle(done: float) -> float:
    """Share of the highest learning rate: up for a twentieth of the way, then down along a cosine (Smith 2018)."""
    if done < RISE:
        return 0.04 + 0.96 * done / RISE
    return max(0.5 + 0.5 * math.cos(math.pi * (done - RISE) / (1 - RISE)), 1e-4)


def train(
    songs: Songs, seed: int, steps: int, minutes: float, batch: int, width: int, strength: float, rate: float,
    teachers: list[Network], share: float,
) -> Network:  # fmt: skip
    """Train and return the network with its averaged weights."""
    torch.manual_seed(seed)
    device = songs.bands.device
    network = Network(width).to(device)
    averaged = torch.optim.swa_utils.AveragedModel(
        network, multi_avg_fn=torch.optim.swa_utils.get_ema_multi_avg_fn(0.998)
    )
    optimiser = torch.optim.AdamW(network.parameters(), lr=rate, weight_decay=0.02)
    crops = Crops(songs, seed, device, strength)
    head_weights = torch.tensor(HEAD_WEIGHTS, device=device)
    # About as many yes as no after the ignored frames: a logit is then close to a log-likelihood ratio.
    ratio = torch.tensor([18.0, 60.0, 2.5, 1.0, 300.0, 1.5, 10.0], device=device)
    running = torch.zeros(len(HEADS), device=device)
    began, step, done = time.monotonic(), 0, 0.0
    while done < 1:
        for group in optimiser.param_groups:
            group["lr"] = rate * one_cycle(done)
        x, target, weight = crops.draw(batch)
        with torch.autocast(device.type, torch.bfloat16, enabled=device.type == "cuda"):
            logits = network(x).float()
        loss = tolerant_loss(logits, target, weight, ratio)
        total = (loss * head_weights).sum()
        if teachers:
            with torch.no_grad(), torch.autocast(device.type, torch.bfloat16, enabled=device.type == "cuda"):
                clean = crops.undegraded()
                said = torch.stack([teacher(clean).float() for teacher in teachers]).mean(dim=0)
            total = total + share * taught_loss(logits, said, crops.musical)
        optimiser.zero_grad(set_to_none=True)
        total.backward()
        nn.utils.clip_grad_norm_(network.parameters(), 1.0)
        optimiser.step()
        averaged.update_parameters(network)
        running = 0.99 * running + 0.01 * loss.detach()
        step += 1
        done = max(step / steps, (time.monotonic() - began) / (60 * minutes))
        if step % 500 == 0 or done >= 1:
            told = " ".join(f"{head} {value:.3f}" for head, value in zip(HEADS, running.tolist(), strict=True))
            click.echo(f"seed {seed} step {step}: {told}")
    kept: Network = averaged.module
    return kept.eval()


@torch.no_grad()
def check(network: Network, songs: Songs) -> str:
    """F of peaks in beat and downbeat logits within 70 ms, over whole songs: mean, and what a tenth is under."""
    scores: dict[str, list[float]] = {"beat": [], "downbeat": []}
    for song in np.flatnonzero(songs.musical):
        start, length = int(songs.starts[song]), int(songs.lengths[song])
        x = songs.bands[start : start + length].float()[None] / STEPS
        level = torch.expm1(x).square().sum(2)
        logits = network(normalised(x, level > 1e-3 * level.quantile(0.99)))[0].float().cpu().numpy()
        for head, events in (("beat", songs.beats), ("downbeat", songs.downbeats)):
            truth = events[(events >= start) & (events < start + length)].cpu().numpy() - start
            curve = logits[HEADS.index(head)]
            top = np.array([curve[max(0, k - 7) : k + 8].max() for k in range(length)])
            found = np.flatnonzero((curve == top) & (curve > 0))
            hits = sum(bool(len(found)) and np.abs(found - each).min() <= 3.5 for each in truth)
            scores[head].append(2 * hits / max(len(found) + len(truth), 1))
    return ", ".join(
        f"{head} {np.mean(values):.4f}, a tenth below {np.percentile(values, 10):.3f}"
        for head, values in scores.items()
    )


def loaded(path: Path, device: torch.device) -> Network:
    """A trained network, as it was exported."""
    weights = {name: torch.from_numpy(values.astype(np.float32)) for name, values in np.load(path).items()}
    network = Network(width=len(weights["third.bias"])).to(device)
    network.load_state_dict(weights)
    return network.eval()


def exported(network: Network) -> dict[str, np.ndarray]:
    """Weights in half precision, under the names of the modules."""
    return {name: value.detach().cpu().numpy().astype(np.float16) for name, value in network.state_dict().items()}


@click.command()
@click.argument("packs", nargs=-1, required=True, type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("-o", "--output", default="network.npz", type=click.Path(path_type=Path))
@click.option(
    "--check", "held", multiple=True, type=click.Path(exists=True, path_type=Path), help="Packed songs to judge by."
)
@click.option("--seed", default=1)
@click.option("--steps", default=6000)
@click.option("--minutes", default=1e9, help="End after so long, where that comes first.")
@click.option("--batch", default=48)
@click.option("--width", default=32)
@click.option("--strength", default=1.0, help="Of the augmentation; 0 is none.")
@click.option("--rate", default=2e-3, help="Highest learning rate.")
@click.option(
    "--teacher", "teachers", multiple=True, type=click.Path(exists=True, path_type=Path), help="Networks to learn from."
)
@click.option("--share", default=0.5, help="Of the teachers beside the truth.")
def main(
    packs: tuple[Path, ...], output: Path, held: tuple[Path, ...], seed: int, steps: int, minutes: float,
    batch: int, width: int, strength: float, rate: float, teachers: tuple[Path, ...], share: float,
) -> None:  # fmt: skip
    """Train on packed songs."""
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    wiser = [loaded(path, device) for path in teachers]
    network = train(Songs(packs, device), seed, steps, minutes, batch, width, strength, rate, wiser, share)
    for path in held:
        click.echo(f"seed {seed} {path.name}: {check(network, Songs((path,), device))}")
    np.savez(output, **exported(network))  # type: ignore[arg-type]  # numpy's own keywords come first
    click.echo(f"{sum(p.numel() for p in network.parameters())} weights -> {output}")


if __name__ == "__main__":
    main()
