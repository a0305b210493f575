"""Train the network of `cuesuggest.analysis.rhythm.network` on packed songs.

    python -m cuesuggest.analysis.training.train_network SONGS.npz... -o OUT.npz [--seed 1] [--steps 6000]
        [--teacher W.npz]

SONGS come from `training.pack`. Needs PyTorch (`pip install 'cuesuggest[train]'`); minutes on a GPU. The
same seed draws the same crops and the same start; a GPU's sums still differ in the last digits from run to run.

Band magnitudes are augmented here: speed, pitch, equaliser, low and high cut, gain control, noise floor,
reverberation, noise and applause under the music, dropped stretches. Sound is degraded when it is packed.

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

from cuesuggest.analysis.frames import BANDS, FRAME_RATE, HEADS, LOUD, band_edges, bands_at
from cuesuggest.analysis.training.packed import STEPS, read_packs

HEAD_WEIGHTS = (1.0, 1.0, 0.7, 0.4, 0.3, 0.2, 0.2)
RISE = 0.05  # of the training in which the learning rate rises
CROP = 1800  # frames: 36 s, several phrases
TAUGHT = 4  # heads, the first ones, that a teacher teaches
SURE = 6.0  # nats beyond which a teacher's word is not told apart
NEAR = 2  # frames by which a prediction may miss
AROUND = 5  # frames next to a beat that are neither right nor wrong


class Songs:
    """Packed songs on the device, and crops of them."""

    def __init__(self, paths: tuple[Path, ...], device: torch.device) -> None:
        found = read_packs(paths)
        self.lengths, self.starts, self.musical = found["lengths"], found["starts"], found["musical"]
        self.bands = torch.from_numpy(found["bands"]).to(device)
        self.noise = np.flatnonzero(~self.musical)
        first = {str(name): start for name, start in zip(found["names"], self.starts, strict=True)}
        originals = (str(name).rpartition("_copy")[0] for name in found["names"])
        # Frames from each song to the undegraded recording that it is a copy of.
        self.to_origin = (
            np.array([first.get(name, at) for name, at in zip(originals, self.starts, strict=True)]) - self.starts
        )
        self.beats, self.downbeats, self.sections = (
            torch.from_numpy(np.sort(found[name])).to(device) for name in ("beats", "downbeats", "sections")
        )
        self.inside = {}
        for name in ("music", "ignore", "voice", "build", "blind", "formless"):
            inside = np.zeros(len(found["bands"]), bool)
            for first, last in found[name]:
                inside[max(0, round(first)) : round(last) + 1] = True
            self.inside[name] = torch.from_numpy(inside).to(device)

    def magnitudes(self, index: torch.Tensor) -> torch.Tensor:
        """Magnitudes at fractional frames; index (batch, frames) -> (batch, frames, bands)."""
        low = index.floor().long().clamp(0, len(self.bands) - 2)
        part = (index - low).clamp(0, 1)[..., None].float()
        first, second = (torch.expm1(self.bands[at].float() / STEPS) for at in (low, low + 1))
        return first * (1 - part) + second * part

    def hits(self, events: torch.Tensor, index: torch.Tensor) -> torch.Tensor:
        """Frames of a crop that an event is nearest to; index (batch, frames) -> bool."""
        edge = (index[:, 1:] + index[:, :-1]) / 2
        count = torch.searchsorted(events, edge.contiguous())
        found = torch.zeros(index.shape, dtype=torch.bool, device=index.device)
        found[:, 1:-1] = count[:, 1:] > count[:, :-1]
        return found

    def within(self, name: str, index: torch.Tensor) -> torch.Tensor:
        """Whether each frame of a crop lies in a span."""
        return self.inside[name][index.round().long().clamp(0, len(self.bands) - 1)]


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


def normalised(compressed: torch.Tensor, active: torch.Tensor) -> torch.Tensor:
    """Take off each band's mean and one spread for all, both of the active frames; (batch, frames, bands)."""
    share = active.float()[..., None] / active.sum(1).clamp(min=1)[:, None, None]
    centred = compressed - (compressed * share).sum(1, keepdim=True)
    spread = (centred.square() * share).sum(1, keepdim=True).mean(2, keepdim=True).sqrt()
    return centred / spread.clamp(min=1e-3)


def compressed(magnitude: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
    """Scale to the loud frames and compress, as the front end does; and tell which frames are active."""
    level = magnitude.square().sum(dim=2)
    active = level > (1e-3 * torch.quantile(level, 0.99, dim=1, keepdim=True)).clamp(min=1e-12)
    values = torch.where(active[..., None], magnitude, torch.nan)
    loud = torch.nanquantile(values[:, ::6, ::2].flatten(1), 0.95, dim=1).nan_to_num(1.0).clamp(min=1e-6)
    return torch.log1p(magnitude * (LOUD / loud)[:, None, None]), active


class Crops:
    """Random augmented crops with their targets."""

    def __init__(self, songs: Songs, seed: int, device: torch.device, strength: float) -> None:
        self.songs, self.device, self.strength = songs, device, strength
        self.random = np.random.default_rng(seed)
        self.torch = torch.Generator(device).manual_seed(seed)
        edges = band_edges()
        self.centres = torch.from_numpy(edges[1:-1]).to(device, torch.float32)
        self.corners = edges[1:-1]
        weight = np.sqrt(songs.lengths) * np.where(songs.musical, 1.0, 0.0)
        self.odds = weight / weight.sum()

    def uniform(self, low: float, high: float, *shape: int) -> torch.Tensor:
        """Uniform numbers on the device."""
        return low + (high - low) * torch.rand(*shape, generator=self.torch, device=self.device)

    def places(self, songs: np.ndarray) -> torch.Tensor:
        """Source frames of each frame of the crops: speed, drift and start drawn anew."""
        count = len(songs)
        speed = np.exp(self.random.uniform(np.log(0.78), np.log(1.28), count))
        plain = self.random.random(count) < 0.25
        speed[plain] = 1.0
        knots = self.random.normal(0, 0.02 * self.strength, (count, 6)) * (~plain)[:, None]
        at = np.linspace(0, 5, CROP)
        drift = np.stack([np.interp(at, np.arange(6), row) for row in knots])
        path = np.cumsum(speed[:, None] * (1 + drift), axis=1)
        lengths = self.songs.lengths[songs]
        # A crop may hang over either end by a third: songs begin and end in silence.
        low, high = -CROP / 3, np.maximum(lengths - path[:, -1] + CROP / 3, -CROP / 3 + 1)
        start = low + self.random.random(count) * (high - low)
        path = path + start[:, None]
        outside = (path < 0) | (path > lengths[:, None] - 1)
        path = np.clip(path, 0, lengths[:, None] - 1) + self.songs.starts[songs][:, None]
        self.outside = torch.from_numpy(outside).to(self.device)
        return torch.from_numpy(path).to(self.device)

    def draw(self, batch: int, noise_share: float = 0.02) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
        """Return normalised bands, targets and weights; (batch, frames, bands), twice (batch, heads, frames)."""
        chosen = self.random.choice(len(self.odds), batch, p=self.odds)
        silent = self.random.random(batch) < noise_share
        if len(self.songs.noise):
            chosen[silent] = self.random.choice(self.songs.noise, silent.sum())
        index = self.places(chosen)
        self.origin = index + torch.from_numpy(self.songs.to_origin[chosen]).to(self.device)[:, None]
        self.musical = torch.from_numpy(self.songs.musical[chosen]).to(self.device)
        x = self.songs.magnitudes(index)
        x[self.outside] = 0.0
        x = self.altered(x)
        return normalised(*compressed(x)), *self.targets(index, self.musical)

    def undegraded(self) -> torch.Tensor:
        """Return the normalised bands of the crops drawn last, as the recordings have them that these are copies of."""
        x = self.songs.magnitudes(self.origin)
        x[self.outside] = 0.0
        return normalised(*compressed(x))

    def targets(self, index: torch.Tensor, musical: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
        """Targets 0 or 1 and weights of every head and frame."""
        songs = self.songs
        beat, downbeat, section = (songs.hits(each, index) for each in (songs.beats, songs.downbeats, songs.sections))
        music = songs.within("music", index) & ~self.outside & musical[:, None]
        known = ~songs.within("ignore", index) | self.outside
        edge = F.max_pool1d((music[:, 1:] != music[:, :-1]).float()[:, None], 51, 1, 25)[:, 0] > 0
        edge = F.pad(edge, (0, 1))
        # Items without music teach the music head only: in the beat loss they make dense guitars look like noise.
        rhythmic = known & musical[:, None] & ~songs.within("blind", index)
        formed = known & musical[:, None] & ~songs.within("formless", index)
        target = torch.stack(
            [beat, downbeat, downbeat, music, section, songs.within("voice", index), songs.within("build", index)], 1
        ).float()
        target = torch.where(self.outside[:, None], 0.0, target)
        weight = torch.stack(
            [
                rhythmic,
                rhythmic,
                rhythmic & beat & ~self.outside,
                known & ~edge,
                formed,
                formed & music,
                formed & music,
            ],
            1,
        ).float()
        return target, weight

    def altered(self, x: torch.Tensor) -> torch.Tensor:
        """Change the sound of magnitudes without moving anything in time."""
        batch = len(x)
        x = x / torch.quantile(x[:, ::6].flatten(1), 0.95, dim=1).clamp(min=1e-6)[:, None, None]
        x = self.with_noise_item(x)
        x = self.pitched(x)
        octave = torch.log2(self.centres / 600.0)
        tilt = self.uniform(-4, 4, batch, 1) * octave  # dB an octave
        nodes = self.uniform(-7, 7, batch, 1, 9)
        bumps = F.interpolate(nodes, size=BANDS, mode="linear", align_corners=True)[:, 0]
        gain = (tilt + bumps) * self.some(0.8, batch)
        low = 300 * self.uniform(0, 1, batch, 1) ** 1.5 * self.some(0.5, batch)
        high = torch.exp(self.uniform(math.log(2500), math.log(12000), batch, 1))
        high = torch.where(self.some(0.4, batch) > 0, high, torch.full_like(high, 1e5))
        gain = gain - 10 * torch.log10(1 + (low / self.centres) ** 4) - 10 * torch.log10(1 + (self.centres / high) ** 6)
        x = x * 10 ** (self.strength * gain / 20)[:, None]
        x = self.echoed(x)
        x = self.levelled(x)
        x = self.with_floor(x)
        return self.with_gaps(x)

    def some(self, share: float, batch: int) -> torch.Tensor:
        """1 for a share of the batch, 0 for the rest; (batch, 1)."""
        return (self.uniform(0, 1, batch, 1) < share).float()

    def pitched(self, x: torch.Tensor) -> torch.Tensor:
        """Move the pitch by up to five semitones."""
        steps = self.uniform(-5, 5, len(x), 1) * self.some(0.6, len(x))
        moved = self.corners / 2 ** (steps.cpu().numpy() / 12)
        at = torch.from_numpy(bands_at(moved)).to(self.device, torch.float32).clamp(0, BANDS - 1.001)
        low = at.floor().long()
        part = (at - low)[:, None]
        shape = (-1, x.shape[1], -1)
        first = torch.gather(x, 2, low[:, None].expand(*shape))
        second = torch.gather(x, 2, (low + 1)[:, None].expand(*shape))
        return first * (1 - part) + second * part

    def echoed(self, x: torch.Tensor) -> torch.Tensor:
        """Smear what was into what is, as a room does."""
        batch, frames = len(x), 60
        decay = torch.exp(self.uniform(math.log(0.15), math.log(1.6), batch, 1))  # s for 60 dB
        tail = 10 ** (-3 * torch.arange(1, frames + 1, device=self.device) / FRAME_RATE / decay)
        wet = self.uniform(0, 0.5, batch, 1) * self.some(0.5, batch) * self.strength
        kernel = F.pad(tail * wet / 4, (1, 0))
        kernel[:, 0] = 1.0
        power = F.pad(x.square().transpose(1, 2), (frames, 0))
        shaped = power.reshape(1, batch * BANDS, -1)
        weights = kernel.square().flip(1).repeat_interleave(BANDS, 0)[:, None]
        smeared = F.conv1d(shaped, weights, groups=batch * BANDS)
        return smeared.reshape(batch, BANDS, -1).transpose(1, 2).clamp(min=0).sqrt()

    def levelled(self, x: torch.Tensor) -> torch.Tensor:
        """Turn loud passages down and soft ones up, as recorders do by themselves."""
        batch = len(x)
        level = x.square().sum(2).sqrt() + 1e-3
        reach = int(self.random.choice([15, 51, 151]))
        smooth = F.avg_pool1d(level[:, None], reach, 1, reach // 2, count_include_pad=False)[:, 0]
        power = self.uniform(0, 0.8, batch, 1) * self.some(0.6, batch) * self.strength
        return x * (smooth / smooth.mean(1, keepdim=True)).pow(-power)[..., None]

    def with_floor(self, x: torch.Tensor) -> torch.Tensor:
        """Lay hiss or hum under it."""
        batch = len(x)
        decibels = self.uniform(-50, -8, batch, 1)
        slope = self.uniform(-5, 1, batch, 1) * torch.log2(self.centres / 600.0)
        shape = 10 ** ((decibels + slope) / 20) * self.some(0.7, batch)
        grain = (-torch.log(self.uniform(1e-6, 1, *x.shape))).sqrt()
        return (x.square() + (shape[:, None] * grain).square()).sqrt()

    def with_noise_item(self, x: torch.Tensor) -> torch.Tensor:
        """Lay talk, applause or room noise under some of the songs."""
        if not len(self.songs.noise):
            return x
        batch = len(x)
        chosen = self.random.choice(self.songs.noise, batch)
        lengths = self.songs.lengths[chosen]
        start = self.random.random(batch) * np.maximum(lengths - CROP, 1)
        at = (start[:, None] + np.arange(CROP)) % lengths[:, None] + self.songs.starts[chosen][:, None]
        other = self.songs.magnitudes(torch.from_numpy(at).to(self.device, torch.float64))
        other = other / torch.quantile(other[:, ::6].flatten(1), 0.95, dim=1).clamp(min=1e-2)[:, None, None]
        share = 10 ** (self.uniform(-30, -6, batch, 1) / 20) * self.some(0.2, batch)
        return (x.square() + (share[..., None] * other).square()).sqrt()

    def with_gaps(self, x: torch.Tensor) -> torch.Tensor:
        """Replace some stretches by others of the same crop, and drop some bands."""
        for row in np.flatnonzero(self.random.random(len(x)) < 0.3):
            for _ in range(int(self.random.integers(1, 4))):
                length = int(self.random.integers(5, 100))
                to = int(self.random.integers(0, CROP - length))
                x[row, to : to + length] *= float(self.random.choice([0.0, 0.1, 0.3]))
        for row in np.flatnonzero(self.random.random(len(x)) < 0.2):
            width = int(self.random.integers(4, 20))
            low = int(self.random.integers(0, BANDS - width))
            x[row, :, low : low + width] *= 0.05
        return x


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
