"""Train the factors on the machine with the GPU.

usage: python train.py IN_FOLDER SHARDS_FOLDER OUT_FOLDER --minutes M [--rank R] [--human] [--push WEIGHT] [--seed N]
IN_FOLDER: model.bin, jobs.json, noise.npz, watch.npz. OUT_FOLDER gets factors.npz (five times) and log.txt.
The loss: cross entropy of what is said (other speech at half weight); on other speech also the distance (KL) to the
base model that hears the clean sound at 1000 frames; and, with --push, the best words of ours that the model itself
finds in other speech are pushed PUSH_NATS below what was said. --human takes digits of people too.
"""

import argparse
import json
import math
import random
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import torch
import torch.nn.functional as F  # noqa: N812, as everybody writes it
from augment import Augment
from clips import MARGIN_FRAMES, Batch, Clip, Store
from model import Features, Whisper
from torch import Tensor

CONTEXTS = {240: 2.0, 320: 4.0, 400: 4.0, 480: 3.0, 560: 2.0, 640: 1.2, 800: 0.6, 1000: 0.4}
TAUGHT_ROWS = 48
"""Rows of other speech a batch that the base model teaches: each has a score for every token."""
OTHER_WEIGHT, KL_WEIGHT, PUSH_NATS, PUSHED_EVERY = 0.5, 0.5, 6.0, 2
FOUND_TOKENS = 8
WORST_SHARE = 0.04
"""Of new clips, the share that the base model finds least likely: synthesis went wrong there."""
LEAST_CLIPS = 1500


class Trainer:
    """Base, student and data of one training."""

    def __init__(self, options: argparse.Namespace, variables: dict[str, Any]) -> None:
        """Load everything."""
        self.options, self.device = options, "cuda" if torch.cuda.is_available() else "cpu"
        self.plan = json.loads((options.data / "jobs.json").read_text())
        self.rng = random.Random(options.seed)
        torch.manual_seed(options.seed)
        self.prompt, self.end = self.plan["prompt"], self.plan["end"]
        self.base = Whisper(variables).to(self.device).eval()
        self.student = Whisper(variables, options.rank).to(self.device)
        self.base.merge()
        self.features = Features().to(self.device)
        self.store = Store(self.plan, self.device, self.rng)
        self.augment = Augment(options.data / "noise.npz", self.store, self.device, options.seed)
        allowed = {token for ids in self.plan["word_ids"].values() for token in ids}
        self.ours = torch.full((variables["decoder/embeddings/weight"].shape[0],), -1e4, device=self.device)
        self.ours[list(allowed)] = 0.0
        self.ours_or_end = self.ours.clone()
        self.ours_or_end[self.end] = 0.0
        self.log_file = (options.out / "log.txt").open("a")

    def log(self, *parts: object) -> None:
        """Print and keep a line."""
        print(*parts, flush=True)
        print(*parts, file=self.log_file, flush=True)

    def autocast(self) -> torch.autocast:
        """Compute in bfloat16 where it may be."""
        return torch.autocast(self.device, torch.bfloat16)

    def rows(self, tokens: list[list[int]]) -> tuple[Tensor, Tensor]:
        """Give what goes in and what should come out, -1 where nothing counts."""
        longest, start = max(map(len, tokens)) + 1, len(self.prompt)
        given = np.full((len(tokens), start + longest - 1), self.end)
        wanted = np.full((len(tokens), longest), -1)
        for row, ids in enumerate(tokens):
            given[row, :start] = self.prompt
            given[row, start : start + len(ids)] = ids
            wanted[row, : len(ids)] = ids
            wanted[row, len(ids)] = self.end
        return torch.from_numpy(given).to(self.device), torch.from_numpy(wanted).to(self.device)

    def logits(self, model: Whisper, given: Tensor, encoded: Tensor) -> Tensor:
        """Give what the model scores behind the prompt."""
        return model.decode(given, encoded, len(self.prompt) - 1)

    def losses(self, logits: Tensor, wanted: Tensor) -> Tensor:
        """Give the negative log probability of each wanted token, 0 where nothing counts."""
        each = F.cross_entropy(logits.flatten(0, 1).float(), wanted.flatten(), ignore_index=-1, reduction="none")
        return each.view_as(wanted)

    @torch.no_grad()
    def misread(self, clips: list[Clip]) -> list[bool]:
        """Tell which clips the base model, hearing them clean, finds least likely of their kind."""
        loss = np.zeros(len(clips))
        for at in range(0, len(clips), 128):
            part = clips[at : at + 128]
            n = min(160_000, max(clip.length for clip in part) + 8000)
            x = torch.zeros(len(part), n, device=self.device)
            for row, clip in enumerate(part):
                kept = min(clip.length, n - 4000)
                x[row, 4000 : 4000 + kept] = self.store.sound[clip.at : clip.at + kept].float() / 32768
            x += 3e-4 * torch.randn_like(x)
            given, wanted = self.rows([clip.tokens for clip in part])
            with self.autocast():
                mel = self.features(x, torch.full((len(part),), n, device=self.device), 1000)
                logits = self.base.decode(given, self.base.encode(mel), len(self.prompt) - 1)
            each = F.cross_entropy(logits.float().transpose(1, 2), wanted, ignore_index=-1, reduction="none")
            loss[at : at + len(part)] = (each.sum(1) / (wanted >= 0).sum(1)).cpu().numpy()
        kinds = np.array([clip.kind for clip in clips])
        worst = np.zeros(len(clips), bool)
        for kind in set(kinds):
            worst |= (kinds == kind) & (loss > np.quantile(loss[kinds == kind], 1 - WORST_SHARE))
        return [bool(one) for one in worst]

    def refresh(self) -> None:
        """Take in new shards."""
        wanted = "esoh" + ("d" if self.options.human else "")
        files = [file for file in sorted(self.options.shards.glob("*.npz")) if file.name[0] in wanted]
        clips = self.store.fresh(files)
        if len(clips) < 30:
            return
        self.store.take([clip for clip, bad in zip(clips, self.misread(clips), strict=True) if not bad])
        self.log(f"clips {len(self.store.clips)}", {kind: len(some) for kind, some in self.store.by.items()})

    @torch.no_grad()
    def found_ours(self, encoded: Tensor) -> list[list[int]]:
        """Give the words of ours that the student, word by word, finds likeliest in sound."""
        given = torch.tensor([self.prompt] * len(encoded), device=self.device)
        done = torch.zeros(len(encoded), dtype=torch.bool, device=self.device)
        for step in range(FOUND_TOKENS):
            allowed = self.ours_or_end if step else self.ours
            scores = self.student.decode(given, encoded, given.shape[1] - 1)[:, -1].float() + allowed
            token = torch.where(done, self.end, scores.argmax(-1))
            given = torch.cat([given, token[:, None]], 1)
            done |= token == self.end
        rows = given[:, len(self.prompt) :].tolist()
        return [row[: row.index(self.end)] if self.end in row else row for row in rows]

    def pushed(self, batch: Batch, other: Tensor, encoded: Tensor, said: Tensor) -> Tensor:
        """Give the loss of words of ours in other speech; `said` is its own log probability."""
        with self.autocast():
            found = self.found_ours(encoded.detach())
            given, wanted = self.rows(found)
            ours = -self.losses(self.logits(self.student, given, encoded), wanted).sum(1)
        rows = other.tolist()
        differs = torch.tensor([batch.tokens[r] != f for r, f in zip(rows, found, strict=True)], device=self.device)
        return (F.softplus(PUSH_NATS + ours - said) * differs).mean()

    def loss(self, step: int) -> tuple[Tensor, Tensor]:
        """Give the loss of one batch, and its parts for the log."""
        context = self.rng.choices(list(CONTEXTS), list(CONTEXTS.values()))[0]
        size = max(16, self.options.batch * 400 // context) if self.device == "cuda" else 8
        batch = self.store.batch(context, size)
        given, wanted = self.rows(batch.tokens)
        other = (~batch.ours).nonzero()[:, 0]
        lengths = batch.total.long()
        with torch.no_grad():
            clean = batch.clean(self.store.sound, context * 160)
            mel = self.features(self.augment(clean, batch.total), lengths, context)
            taught = other[torch.randperm(len(other), device=self.device)[:TAUGHT_ROWS]]
            teaching = clean[taught] + 4e-4 * torch.randn_like(clean[taught])
            with self.autocast():
                encoded = self.base.encode(self.features(teaching, lengths[taught], 1000))
                teacher = self.logits(self.base, given[taught], encoded).float().log_softmax(-1)
        self.student.merge()
        with self.autocast():
            encoded = self.student.encode(mel)
            logits = self.logits(self.student, given, encoded)
        mask = wanted >= 0
        each = self.losses(logits, wanted)
        weight = torch.where(batch.ours, 1.0, OTHER_WEIGHT)[:, None]
        student = logits.index_select(0, taught).float().log_softmax(-1)
        distance = ((teacher.exp() * (teacher - student)).sum(-1) * mask[taught]).sum() / mask[taught].sum()
        share = (~batch.ours[:, None] & mask).sum() / mask.sum()
        loss = (each * weight).sum() / mask.sum() + KL_WEIGHT * distance * share
        push = torch.zeros((), device=self.device)
        if self.options.push and step % PUSHED_EVERY == 0:
            push = self.pushed(batch, other, encoded.index_select(0, other), -each.index_select(0, other).sum(1))
            loss = loss + self.options.push * push
        ours, counted = batch.ours[:, None] & mask, ~batch.ours[:, None] & mask
        told = [(each * ours).sum() / ours.sum(), (each * counted).sum() / counted.sum(), distance, push]
        return loss, torch.stack([one.detach() for one in told])

    def save(self) -> None:
        """Write the factors, so that they appear whole."""
        np.savez(self.options.out / "part.npz", **self.student.factors())  # type: ignore[arg-type]
        (self.options.out / "part.npz").rename(self.options.out / "factors.npz")

    def train(self) -> None:
        """Train for the minutes given."""
        while len(self.store.clips) < LEAST_CLIPS or "say" not in self.store.by:
            self.refresh()
            time.sleep(1)
        rate = self.options.rate
        groups = [
            {"params": list(self.student.low.values()), "lr": rate},
            {"params": list(self.student.small.values()), "lr": rate / 4},
        ]
        optimiser = torch.optim.AdamW(groups, weight_decay=1e-3, betas=(0.9, 0.98))
        began = last = time.time()
        sums, counted, step, saved = torch.zeros(4, device=self.device), 0, 0, 0
        self.watch()
        while (share := (time.time() - began) / (self.options.minutes * 60)) < 1:
            for group, peak in zip(optimiser.param_groups, (rate, rate / 4), strict=True):
                group["lr"] = peak * min(1, (step + 1) / 200) * (0.02 + 0.98 * 0.5 * (1 + math.cos(math.pi * share)))
            loss, told = self.loss(step)
            optimiser.zero_grad(set_to_none=True)
            loss.backward()
            torch.nn.utils.clip_grad_norm_(self.student.parameters(), 1.0)
            optimiser.step()
            step, counted, sums = step + 1, counted + 1, sums + told
            if time.time() - last > 30:
                mean = (sums / counted).tolist()
                self.log(
                    f"{time.time() - began:.0f} s, step {step}: "
                    + ", ".join(f"{n} {v:.3f}" for n, v in zip(("ours", "other", "KL", "push/2"), mean, strict=True))
                )
                sums, counted, last = torch.zeros(4, device=self.device), 0, time.time()
                self.refresh()
                if int(5 * share) > saved:
                    saved = int(5 * share)
                    self.watch()
                    self.save()
        self.watch()
        self.save()
        self.log("done,", step, "steps")

    @torch.no_grad()
    def watch(self) -> None:
        """Hear human calls and talk freely, and log how many are right, or taken for words of ours."""
        packed = np.load(self.options.data / "watch.npz")
        self.student.merge()
        for name in ("quiet", "10"):
            sound, length, at = (packed[f"{part}_{name}"] for part in ("sound", "len", "at"))
            right: dict[str, list[bool]] = {}
            for index in range(0, len(length), 64):
                part = range(index, min(index + 64, len(length)))
                frames = max(int(length[i]) // 160 + 1 for i in part) + MARGIN_FRAMES
                context = min(1000, max(240, 80 * math.ceil(frames / 80)))
                x = torch.zeros(len(part), context * 160, device=self.device)
                kept = [min(int(length[i]), context * 160) for i in part]
                for row, i in enumerate(part):
                    x[row, : kept[row]] = torch.from_numpy(sound[at[i] : at[i] + kept[row]].astype("f4") / 32768).to(
                        self.device
                    )
                with self.autocast():
                    encoded = self.student.encode(self.features(x, torch.tensor(kept, device=self.device), context))
                    heard = self.greedy(encoded)
                for row, i in enumerate(part):
                    kind, text = str(packed[f"kind_{name}"][i]), str(packed[f"text_{name}"][i])
                    wanted = [t for w in text.split() for t in self.plan["word_ids"].get(w, [-1])]
                    ours = bool(heard[row]) and all(self.ours[t] == 0 for t in heard[row])
                    right.setdefault(kind, []).append(ours if kind == "talk" else heard[row] == wanted)
            self.log(
                "  watch",
                name,
                {kind: f"{np.mean(v):.3f}" for kind, v in sorted(right.items())},
                "(talk: taken for ours)",
            )

    def greedy(self, encoded: Tensor) -> list[list[int]]:
        """Hear freely; commas left out."""
        given = torch.tensor([self.prompt] * len(encoded), device=self.device)
        for _ in range(14):
            token = self.student.decode(given, encoded, given.shape[1] - 1)[:, -1].argmax(-1)
            given = torch.cat([given, token[:, None]], 1)
        rows = given[:, len(self.prompt) :].tolist()
        whole = [row[: row.index(self.end)] if self.end in row else row for row in rows]
        return [[token for token in row if token not in self.plan["comma"]] for row in whole]


def main() -> None:
    """Read the options and train."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("data", type=Path)
    parser.add_argument("shards", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--minutes", type=float, default=10)
    parser.add_argument("--rank", type=int, default=16)
    parser.add_argument("--batch", type=int, default=192, help="rows at 400 frames of context")
    parser.add_argument("--rate", type=float, default=1.5e-3)
    parser.add_argument("--push", type=float, default=0.05)
    parser.add_argument("--human", action="store_true")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
    from assistant.adapters.whisper_weights import read

    torch.backends.cuda.enable_cudnn_sdp(False)  # it would compile a plan for every shape: a second a step
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    Trainer(options, read((options.data / "model.bin").read_bytes()).variables).train()


if __name__ == "__main__":
    main()
