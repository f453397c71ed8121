"""What a program of faults comes to."""

from dataclasses import dataclass, field


@dataclass
class Outcome:
    """Counts; `lost` is what nobody would have been told of."""

    what: str
    tried: int = 0
    survived: int = 0
    lost: list[str] = field(default_factory=list)
    notes: dict[str, int] = field(default_factory=dict)

    def take(self, fault: str) -> None:
        """Count one trial; an empty fault is one survived."""
        self.tried += 1
        if fault:
            self.lost.append(fault)
        else:
            self.survived += 1

    def note(self, name: str, count: int = 1) -> None:
        """Count something that is worth telling."""
        self.notes[name] = self.notes.get(name, 0) + count

    def __str__(self) -> str:
        """Give it as a line of a table."""
        told = ", ".join(f"{name} {count:,}" for name, count in sorted(self.notes.items()))
        return f"| {self.what} | {self.tried:,} | {self.survived:,} | {len(self.lost):,} | {told} |"
