"""What lies between mouth and ear: room, headset, noise, gain, clipping, 16 bits. Sound (batch, samples) in and out.

Six rows in ten have a signal-to-noise ratio of 0 to 16 dB (speech where it is active, against the noise over all), a
quarter have no noise but the microphone's. Noise: real recordings (noise.npz), at other paces and two at once now and
then; babble of the clips; shaped noise that swells; hum. A raised voice is a tilt towards the high.
"""

import math
from pathlib import Path

import numpy as np
import torch
from clips import Store
from torch import Tensor

QUIET_SHARE, HARD_SHARE = 0.25, 0.6
ROOM_SAMPLES = 8000


class Augment:
    """Makes clean speech into what a microphone gives."""

    def __init__(self, noise: Path, store: Store, device: str, seed: int) -> None:
        """Take the real noise, and the store for babble."""
        packed = np.load(noise)
        self._noise = torch.from_numpy(packed["sound"]).to(device)
        self._at, self._length = packed["at"], packed["len"]
        self._store, self._device, self._rng = store, device, np.random.default_rng(seed)

    def _uniform(self, rows: int, low: float, high: float) -> Tensor:
        return torch.rand(rows, 1, device=self._device) * (high - low) + low

    def _chance(self, rows: int, share: float) -> Tensor:
        return torch.rand(rows, 1, device=self._device) < share

    def _levels(self, rows: int, low_db: float, high_db: float) -> Tensor:
        return torch.pow(10.0, self._uniform(rows, low_db, high_db) / 20)

    def _room_and_headset(self, x: Tensor) -> Tensor:
        rows, samples = x.shape
        n = samples + ROOM_SAMPLES + (samples + ROOM_SAMPLES) % 2
        hertz = torch.fft.rfftfreq(n, 1 / 16000, device=self._device)[None].clamp_min(1)
        seconds = torch.arange(ROOM_SAMPLES, device=self._device)[None] / 16000
        tail = torch.randn(rows, ROOM_SAMPLES, device=self._device) * torch.exp(
            -6.9 * seconds / self._uniform(rows, 0.08, 0.6)
        )
        tail[:, :40] = 0
        tail = tail / tail.norm(dim=1, keepdim=True) * self._levels(rows, -18, 2) * self._chance(rows, 0.35)
        tail[:, 0] = 1
        low = torch.where(self._chance(rows, 0.5), self._uniform(rows, 60, 200), self._uniform(rows, 200, 400))
        high = torch.where(self._chance(rows, 0.25), self._uniform(rows, 3000, 3800), self._uniform(rows, 5500, 7800))
        tilt = (hertz / 1000) ** (self._uniform(rows, -4, 6) / 6.02)
        shape = (1 + (low / hertz) ** 6) ** -0.5 * (1 + (hertz / high) ** 12) ** -0.5 * tilt
        shape = torch.where(self._chance(rows, 0.4), torch.ones_like(shape), shape)
        return torch.fft.irfft(torch.fft.rfft(x, n) * torch.fft.rfft(tail, n) * shape, n)[:, :samples]

    def _recorded(self, rows: int, samples: int) -> Tensor:
        which = self._rng.integers(len(self._at), size=rows)
        at, length = (torch.from_numpy(v[which]).to(self._device)[:, None] for v in (self._at, self._length))
        begin = (torch.rand(rows, 1, device=self._device) * length).long()
        steps = (torch.arange(samples, device=self._device)[None] * self._uniform(rows, 0.85, 1.15)).long()
        found = self._noise[at + (begin + steps) % length].float() / 32768
        return found / found.square().mean(1, keepdim=True).clamp_min(1e-9).sqrt()

    def _made(self, rows: int, samples: int) -> tuple[Tensor, Tensor]:
        """Give shaped noise that swells, and hum."""
        even = samples + samples % 2
        hertz = torch.fft.rfftfreq(even, 1 / 16000, device=self._device)[None].clamp_min(20)
        slope = (hertz / 1000) ** -self._uniform(rows, 0, 1.3) * (
            1 + (hertz / self._uniform(rows, 1000, 9000)) ** 4
        ) ** -0.5
        shaped = torch.fft.irfft(torch.fft.rfft(torch.randn(rows, even, device=self._device)) * slope, even)[
            :, :samples
        ]
        seconds = torch.arange(samples, device=self._device)[None] / 16000
        pitch = torch.where(self._chance(rows, 0.5), self._uniform(rows, 49.5, 60.5), self._uniform(rows, 70, 240))
        hum = torch.zeros_like(shaped)
        for harmonic in (1, 2, 3, 5, 7):
            wave = torch.sin(2 * math.pi * pitch * harmonic * seconds + 6.3 * self._uniform(rows, 0, 1))
            hum = hum + wave * self._levels(rows, -20, 0)
        hum = hum + 0.2 * shaped / shaped.std(1, keepdim=True)
        swell = 1 + self._uniform(rows, 0, 0.8) * torch.sin(
            2 * math.pi * self._uniform(rows, 0.2, 6) * seconds + 6.3 * self._uniform(rows, 0, 1)
        )
        return shaped * swell, hum

    def _noise_for(self, rows: int, samples: int) -> Tensor:
        noise = self._recorded(rows, samples)
        second = self._recorded(rows, samples) * self._levels(rows, -10, 0)
        noise = torch.where(self._chance(rows, 0.25), noise + second, noise)
        shaped, hum = self._made(rows, samples)
        pick = torch.rand(rows, 1, device=self._device)
        noise = torch.where(pick < 0.27, shaped, torch.where(pick < 0.32, hum, noise))
        noise = torch.where(pick < 0.14, self._store.babble(rows, samples), noise)
        return noise / noise.square().mean(1, keepdim=True).clamp_min(1e-9).sqrt()

    def __call__(self, clean: Tensor, total: Tensor) -> Tensor:
        """Give what the microphone gives; behind `total` samples of a row there is nothing."""
        rows, samples = clean.shape
        x = self._room_and_headset(clean)
        top = x.abs().amax(1, keepdim=True)
        active = x.abs() > 0.05 * top
        power = (x.square() * active).sum(1, keepdim=True) / active.sum(1, keepdim=True).clamp_min(1)
        power = torch.where(top < 1e-3, torch.full_like(power, 4e-3), power)
        ratio_db = torch.where(self._chance(rows, HARD_SHARE), self._uniform(rows, 0, 16), self._uniform(rows, -3, 32))
        noise = self._noise_for(rows, samples) * (power / 10 ** (ratio_db / 10)).sqrt()
        own = torch.randn(rows, samples, device=self._device) * power.sqrt() * self._levels(rows, -62, -28)
        y = x + noise * ~self._chance(rows, QUIET_SHARE) + own
        y = y / y.abs().amax(1, keepdim=True).clamp_min(1e-4) * self._levels(rows, -30, 0)
        peak = y.abs().amax(1, keepdim=True)
        over = torch.where(self._chance(rows, 0.07), self._levels(rows, 3, 15), torch.ones_like(peak))
        y = torch.minimum(torch.maximum(y * over, -peak), peak)
        y = (y * 32767).round() / 32768
        return y * (torch.arange(samples, device=self._device)[None] < total[:, None])
