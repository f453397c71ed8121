"""Printing what a command has to tell: whatever a file or a log holds, it cannot steer the terminal."""

import sys

from assistant.texts import harmless


def tell(text: str = "", *, end: str = "\n", error: bool = False, flush: bool = False) -> None:
    """Print text, on request as an error."""
    print(harmless(text), end=end, file=sys.stderr if error else sys.stdout, flush=flush)


def tell_meanwhile(text: str) -> None:
    """Show text in place of that shown before in this way; only where there is a terminal to show it on."""
    if sys.stdout.isatty():
        print(f"\r\x1b[K{harmless(text)}", end="", flush=True)
