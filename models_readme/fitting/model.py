"""Whisper tiny.en in PyTorch, from CTranslate2's file, every matrix of its layers with an optional low-rank update.

Written for training only. Names are those of the file, so that what is learnt goes back into the same format; see
`assistant/adapters/whisper_weights.py`, which reads it and adds the factors. Checked against CTranslate2 in float32:
log probabilities differ by at most 8e-5.
"""

from typing import Any

import numpy as np
import torch
import torch.nn.functional as F  # noqa: N812, as everybody writes it
from numpy.typing import NDArray
from torch import Tensor, nn

HEADS, LAYERS = 6, 4


class Whisper(nn.Module):
    """rank 0: the frozen base. Above: W + B@A for every matrix of the layers and conv2; norms and biases as well."""

    def __init__(self, variables: dict[str, NDArray[Any]], rank: int = 0) -> None:
        """Take the variables of the file."""
        super().__init__()
        self.names: dict[str, str] = {}
        self.low, self.small = nn.ParameterDict(), nn.ParameterDict()
        self.effective: dict[str, Tensor] = {}
        for name, values in variables.items():
            if values.dtype not in (np.float16, np.float32):
                continue
            weight, key = torch.from_numpy(values.astype(np.float32)), name.replace("/", "__")
            self.names[name] = key
            self.register_buffer("b__" + key, weight)
            if not rank:
                continue
            if weight.ndim == 1 and "layer" in name:
                self.small[key] = nn.Parameter(weight.clone())
            if name.endswith("weight") and ("linear_" in name or "conv" in name):
                rows, columns = weight.shape[0], weight[0].numel()
                least = min(rank, columns // 4)
                self.low[key + "__A"] = nn.Parameter(torch.randn(least, columns) / columns**0.5)
                self.low[key + "__B"] = nn.Parameter(torch.zeros(rows, least))

    def base(self, key: str) -> Tensor:
        """Give a matrix as it was."""
        found: Tensor = getattr(self, "b__" + key)
        return found

    def merge(self) -> None:
        """Compute the matrices in effect, once a step (they are small), as differentiable tensors."""
        self.effective = {}
        for name, key in self.names.items():
            weight = self.small[key] if key in self.small else self.base(key)
            if key + "__A" in self.low:
                weight = weight + (self.low[key + "__B"] @ self.low[key + "__A"]).reshape(weight.shape)
            self.effective[name] = weight

    def _linear(self, x: Tensor, name: str) -> Tensor:
        return F.linear(x, self.effective[name + "/weight"], self.effective[name + "/bias"])

    def _norm(self, x: Tensor, name: str) -> Tensor:
        return F.layer_norm(x, x.shape[-1:], self.effective[name + "/gamma"], self.effective[name + "/beta"])

    def _attend(self, q: Tensor, k: Tensor, v: Tensor, causal: bool = False) -> Tensor:
        q, k, v = (x.view(x.shape[0], x.shape[1], HEADS, -1).transpose(1, 2) for x in (q, k, v))
        return F.scaled_dot_product_attention(q, k, v, is_causal=causal).transpose(1, 2).flatten(2)

    def _self_attention(self, x: Tensor, name: str, causal: bool) -> Tensor:
        q, k, v = self._linear(self._norm(x, name + "/layer_norm"), name + "/linear_0").chunk(3, -1)
        return x + self._linear(self._attend(q, k, v, causal), name + "/linear_1")

    def _forward(self, x: Tensor, name: str) -> Tensor:
        inner = F.gelu(self._linear(self._norm(x, name + "/layer_norm"), name + "/linear_0"))
        return x + self._linear(inner, name + "/linear_1")

    def encode(self, mel: Tensor) -> Tensor:
        """(batch, 80, frames) -> (batch, frames / 2, 384)."""
        w = self.effective
        x = F.gelu(F.conv1d(mel, w["encoder/conv1/weight"], w["encoder/conv1/bias"], padding=1))
        x = F.gelu(F.conv1d(x, w["encoder/conv2/weight"], w["encoder/conv2/bias"], stride=2, padding=1))
        x = x.transpose(1, 2)
        x = x + w["encoder/position_encodings/encodings"][: x.shape[1]]
        for layer in range(LAYERS):
            x = self._self_attention(x, f"encoder/layer_{layer}/self_attention", causal=False)
            x = self._forward(x, f"encoder/layer_{layer}/ffn")
        return self._norm(x, "encoder/layer_norm")

    def decode(self, tokens: Tensor, encoded: Tensor, start: int = 0) -> Tensor:
        """(batch, n) -> logits of the next token behind each position from `start` on."""
        embeddings = self.effective["decoder/embeddings/weight"]
        positions = self.effective["decoder/position_encodings/encodings"][: tokens.shape[1]]
        x = F.embedding(tokens, embeddings) + positions
        for layer in range(LAYERS):
            x = self._self_attention(x, f"decoder/layer_{layer}/self_attention", causal=True)
            name = f"decoder/layer_{layer}/attention"
            q = self._linear(self._norm(x, name + "/layer_norm"), name + "/linear_0")
            k, v = self._linear(encoded, name + "/linear_1").chunk(2, -1)
            x = x + self._linear(self._attend(q, k, v), name + "/linear_2")
            x = self._forward(x, f"decoder/layer_{layer}/ffn")
        return F.linear(self._norm(x, "decoder/layer_norm")[:, start:], embeddings)

    def factors(self) -> dict[str, NDArray[np.float16]]:
        """Give what is shipped: the factors, and the changes of norms and biases, in float16."""
        out = {key: value.detach().half().cpu().numpy() for key, value in self.low.items()}
        small = {key: value.detach() - self.base(key) for key, value in self.small.items()}
        return out | {key: value.half().cpu().numpy() for key, value in small.items()}


def mel_bank() -> NDArray[np.float32]:
    """Give Whisper's 80 Slaney mel filters over 201 bins."""
    top = 15 + np.log(8000 / 1000) / (np.log(6.4) / 27)
    mel = np.linspace(0, top, 82)
    hertz = np.where(mel >= 15, 1000 * np.exp(np.log(6.4) / 27 * (mel - 15)), mel * 200 / 3)
    bins = np.fft.rfftfreq(400, 1 / 16000)
    up = (bins[None] - hertz[:-2, None]) / (hertz[1:-1] - hertz[:-2])[:, None]
    down = (hertz[2:, None] - bins[None]) / (hertz[2:] - hertz[1:-1])[:, None]
    bank = np.maximum(0, np.minimum(up, down)) * (2 / (hertz[2:] - hertz[:-2]))[:, None]
    return np.asarray(bank, dtype=np.float32)


class Features(nn.Module):
    """The program's log-mel features (`recogniser_whisper.features`) for a batch."""

    def __init__(self) -> None:
        """Make bank and window."""
        super().__init__()
        self.register_buffer("bank", torch.from_numpy(mel_bank()))
        self.register_buffer("window", torch.hann_window(400, periodic=True))

    def forward(self, sound: Tensor, lengths: Tensor, context: int) -> Tensor:
        """Sound (batch, n) in -1 to 1, its lengths in samples, frames of context -> (batch, 80, context)."""
        need = 160 * (context - 1) + 400
        x = F.pad(sound, (200, 0))[:, :need]
        x = F.pad(x, (0, need - x.shape[1]))
        power = torch.fft.rfft(x.unfold(1, 400, 160) * self.window, 400).abs().square()
        log = torch.log10((power @ self.bank.T).clamp_min(1e-10)).transpose(1, 2)
        count = ((lengths + 80) // 160 + 1).clamp(max=context)
        inside = torch.arange(context, device=log.device)[None, None] < count[:, None, None]
        top = log.masked_fill(~inside, -99).amax((1, 2), keepdim=True)
        log = (torch.maximum(log, top - 8) + 4) / 4
        low = log.masked_fill(~inside, 99).amin((1, 2), keepdim=True)
        return torch.where(inside, log, low)
