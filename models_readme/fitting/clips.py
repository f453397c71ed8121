"""All clips on the GPU, and batches put together of them: what is said where, by whom, how fast, how loud.

In: shards of `synthesis.py` (new ones are taken in as they come) and the plan, jobs.json. Out: sound (batch, samples)
in -1 to 1 without noise, with the tokens that are said. Kinds of a batch's rows are drawn by SHARES: say (a sentence
in one breath), join (single words of one speaker, with gaps), word, talk, other (a word that is not ours), mixed
(words of ours with one that is not), empty. Ours are the first three.
"""

import bisect
import random
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import torch
from torch import Tensor

RATE = 16_000
SHARES = {"say": 0.25, "join": 0.22, "word": 0.03, "talk": 0.23, "other": 0.17, "mixed": 0.05, "empty": 0.05}
OURS = ("say", "join", "word")
PARTS = 8
MARGIN_FRAMES = 32
"""The program takes the smallest multiple of 80 frames that holds the sound and these."""
MOST_TOKENS = 24
LONGEST = 9.2 * RATE


@dataclass(frozen=True, slots=True)
class Clip:
    """Where one clip lies in the sound of the store."""

    at: int
    length: int
    kind: str
    speaker: int
    tokens: list[int]
    text: str


@dataclass(slots=True)
class Spoken:
    """One row of a batch before it is sound: parts (clip, place in samples), tokens, length in samples."""

    parts: list[tuple[Clip, float]] = field(default_factory=list)
    tokens: list[int] = field(default_factory=list)
    length: float = 0.0


class Store:
    """All clips, by kind, and which sentences can be joined of whose words."""

    def __init__(self, plan: dict[str, Any], device: str, rng: random.Random) -> None:
        """Take the plan; no clips yet."""
        self._plan, self._device, self._rng = plan, device, rng
        self._join = [text.split() for text in plan["join"]]
        self._seen: set[Path] = set()
        self.sound = torch.zeros(16, dtype=torch.int16, device=device)
        self.clips: list[Clip] = []
        self.by: dict[str, list[Clip]] = {}
        self._of_speaker: dict[int, dict[str, list[Clip]]] = {}
        self._joinable: list[tuple[list[str], list[int]]] = []
        self._lengths: dict[str, list[int]] = {}

    def fresh(self, files: list[Path]) -> list[Clip]:
        """Put the sound of new shards on the GPU and give their clips, which are not in use yet."""
        parts, found, at = [self.sound], list[Clip](), len(self.sound)
        for file in files:
            if file in self._seen:
                continue
            self._seen.add(file)
            shard = np.load(file)
            parts.append(torch.from_numpy(shard["sound"]).to(self._device))
            for job, offset, length in shard["index"]:
                kind, speaker, _, _, tokens, text = self._plan["jobs"][job]
                if length < LONGEST:
                    found.append(Clip(at + int(offset), int(length), kind, speaker, tokens, text))
            at += len(parts[-1])
        self.sound = torch.cat(parts)
        return found

    def take(self, clips: list[Clip]) -> None:
        """Use these clips from now on."""
        self.clips += clips
        for clip in clips:
            self.by.setdefault(clip.kind, []).append(clip)
            if clip.kind == "word":
                self._of_speaker.setdefault(clip.speaker, {}).setdefault(clip.text, []).append(clip)
        for kind, some in self.by.items():
            some.sort(key=lambda clip: clip.length)
            self._lengths[kind] = [clip.length for clip in some]
        who: dict[str, set[int]] = {}
        for speaker, words in self._of_speaker.items():
            for word in words:
                who.setdefault(word, set()).add(speaker)
        self._joinable = []
        for words in self._join:
            speakers = set.intersection(*[who.get(word, set()) for word in words])
            if speakers and len(words) <= PARTS:
                self._joinable.append((words, sorted(speakers)))

    def _joined(self, limit: float) -> Spoken | None:
        """Join words of one speaker; a long gap is written as a comma, as the model writes pauses."""
        rng, comma, ids = self._rng, self._plan["comma"], self._plan["word_ids"]
        words, speakers = rng.choice(self._joinable)
        of = self._of_speaker[rng.choice(speakers)]
        out = Spoken()
        for number, word in enumerate(words, 1):
            clip = rng.choice(of[word])
            out.parts.append((clip, out.length))
            out.length += clip.length
            out.tokens = out.tokens + ids[word]
            if number < len(words):
                gap_s = rng.uniform(0.3, 0.7) if rng.random() < 0.07 else rng.uniform(0.0, 0.22)
                out.length += gap_s * RATE
                out.tokens = out.tokens + (comma if gap_s >= 0.3 else [])
        return out if out.length <= limit else None

    def _mixed(self, limit: float) -> Spoken | None:
        """Put a word that is not ours among words of ours: no sentence of ours."""
        rng = self._rng
        clips = [rng.choice(self.by["other"]), *rng.choices(self.by["word"], k=rng.choice([1, 1, 2]))]
        rng.shuffle(clips)
        out = Spoken()
        for clip in clips:
            out.parts.append((clip, out.length))
            out.length += clip.length + rng.uniform(0.0, 0.2) * RATE
            out.tokens = out.tokens + clip.tokens
        return out if out.length <= limit else None

    def _one(self, kind: str, limit: float) -> Spoken | None:
        if kind == "empty":
            return Spoken(length=self._rng.uniform(0.2, 1) * limit)
        if kind == "join":
            return self._joined(limit)
        if kind == "mixed":
            return self._mixed(limit)
        fitting = bisect.bisect_right(self._lengths[kind], limit)
        if not fitting:
            return None
        clip = self.by[kind][self._rng.randrange(fitting)]
        return Spoken([(clip, 0.0)], clip.tokens, clip.length)

    def batch(self, context: int, size: int) -> "Batch":
        """Draw a batch for a context of so many frames."""
        rng = self._rng
        place = {name: np.zeros((size, PARTS), np.float32) for name in ("length", "begin", "gain")}
        source = np.zeros((size, PARTS), np.int64)
        total, rate, ours = np.zeros(size, np.float32), np.ones(size, np.float32), np.zeros(size, bool)
        tokens: list[list[int]] = []
        room = context * 160 - MARGIN_FRAMES * 160 * 0.6
        for row in range(size):
            spoken, kind = None, ""
            while spoken is None or len(spoken.tokens) > MOST_TOKENS:
                kind = rng.choices(list(SHARES), list(SHARES.values()))[0]
                rate[row] = rng.uniform(0.92, 1.08)
                spoken = self._one(kind, (room - 2400) * rate[row])
            length = spoken.length / rate[row]
            lead = (rng.uniform(1.3, 1.8) if rng.random() < 0.5 else rng.uniform(0.02, 1.6)) * RATE
            tail = (rng.uniform(0.2, 0.45) if rng.random() < 0.7 else rng.uniform(0.05, 1.2)) * RATE
            lead = min(lead, 0.95 * (room - length))
            total[row] = lead + length + min(tail, room - length - lead)
            for part, (clip, at) in enumerate(spoken.parts[:PARTS]):
                source[row, part], place["length"][row, part] = clip.at, clip.length
                place["begin"][row, part] = lead + at / rate[row]
                place["gain"][row, part] = 10 ** (rng.uniform(-3, 2) / 20)
            tokens.append(spoken.tokens)
            ours[row] = kind in OURS
        on = {name: torch.from_numpy(values).to(self._device) for name, values in place.items()}
        extra = [torch.from_numpy(values).to(self._device) for values in (source, total, rate, ours)]
        used = max(1, int((place["length"] > 0).sum(1).max()))
        return Batch(on["length"], on["begin"], on["gain"], *extra, used, tokens)

    def babble(self, size: int, samples: int) -> Tensor:
        """Give several talkers at once."""
        out = torch.zeros(size, samples, device=self._device)
        some = self.by["talk"] + self.by["say"]
        for _ in range(4):
            clips = self._rng.choices(some, k=size)
            at = torch.tensor([clip.at for clip in clips], device=self._device)[:, None]
            length = torch.tensor([clip.length for clip in clips], device=self._device)[:, None]
            begin = (torch.rand(size, 1, device=self._device) * length).long()
            where = at + (torch.arange(samples, device=self._device)[None] + begin) % length
            level = 10 ** (-8 * torch.rand(size, 1, device=self._device) / 20)
            out += self.sound[where].float() / 32768 * level
        return out


@dataclass(frozen=True, slots=True)
class Batch:
    """What is said where, on the GPU; (rows, parts) in samples."""

    length: Tensor
    begin: Tensor
    gain: Tensor
    source: Tensor
    total: Tensor
    rate: Tensor
    ours: Tensor
    used: int
    tokens: list[list[int]]

    def clean(self, sound: Tensor, samples: int) -> Tensor:
        """Lay the clips into rows of so many samples; a changed rate changes pitch and pace together."""
        at = torch.arange(samples, device=sound.device)[None]
        out = torch.zeros(len(self.total), samples, device=sound.device)
        for part in range(self.used):
            place = (at - self.begin[:, part : part + 1]) * self.rate[:, None]
            whole = place.floor()
            inside = (place >= 0) & (place < self.length[:, part : part + 1] - 1)
            index = torch.where(inside, whole, torch.zeros_like(whole)).long() + self.source[:, part : part + 1]
            share = place - whole
            value = sound[index].float() * (1 - share) + sound[(index + 1).clamp(max=len(sound) - 1)].float() * share
            out += torch.where(inside, value * self.gain[:, part : part + 1], 0)
        return out / 32768
