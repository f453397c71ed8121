"""Whisper's log-mel features, worked out as the sound comes."""

import numpy as np
from numpy.typing import NDArray

from assistant.ports import SAMPLE_RATE_HZ, Samples

MEL_BANDS = 80
FLOOR = -1.5
"""Features of no sound at all: (log10(1e-10) + 4) / 4."""
FRAME_LEAD = 80
"""Samples before the first frame, so that frames stand where Whisper's own features have them."""


class LogMel:
    """Whisper's log-mel features, worked out as the sound comes: a third of the time of a decoding."""

    def __init__(self) -> None:
        """Begin with no sound."""
        import kaldi_native_fbank

        options = kaldi_native_fbank.WhisperFeatureOptions()
        options.dim = MEL_BANDS
        self._bank = kaldi_native_fbank.OnlineWhisperFbank(options)
        self._bank.accept_waveform(SAMPLE_RATE_HZ, np.zeros(FRAME_LEAD, np.float32))
        self.samples = 0
        """Samples so far."""

    def accept(self, sound: Samples) -> None:
        """Take sound."""
        self._bank.accept_waveform(SAMPLE_RATE_HZ, sound.astype(np.float32) / 32768)
        self.samples += len(sound)

    def features(self, context: int) -> NDArray[np.float32]:
        """Give the features of the sound so far, shape (1, 80, context); frames that are not whole yet are left out.

        Sound beyond the context is cut off; shorter sound is filled up with the floor.
        """
        count = min(self._bank.num_frames_ready, context)
        if not count:
            return np.full((1, MEL_BANDS, context), FLOOR, dtype=np.float32)
        mel = np.stack([self._bank.get_frame(index) for index in range(count)], axis=1)
        log_mel = np.log10(np.maximum(mel, 1e-10))
        log_mel = (np.maximum(log_mel, log_mel.max() - 8.0) + 4.0) / 4.0
        filled = np.pad(log_mel, ((0, 0), (0, context - count)), constant_values=log_mel.min())
        return np.ascontiguousarray(filled[None], dtype=np.float32)
