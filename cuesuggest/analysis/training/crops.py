"""Crops of packed songs for `training.train_network`: drawn at random, their sound changed, with their targets.

Band magnitudes are augmented here: speed, pitch, equaliser, low and high cut, gain control, noise floor,
reverberation, noise and applause under the music, dropped stretches. Sound is degraded when it is packed.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import torch
from torch.nn import functional as F  # noqa: N812 (its usual name)

from cuesuggest.analysis.frames import BANDS, FRAME_RATE, LOUD, band_edges, bands_at
from cuesuggest.analysis.training.packed import STEPS, read_packs

__all__ = ["Crops", "Songs", "normalised"]

CROP = 1800  # frames: 36 s, several phrases


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
