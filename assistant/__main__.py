"""`splice-assistant` and `python -m assistant`: nothing is imported before Ctrl-C ends it quietly."""

import os
import signal
import sys
from types import FrameType

EXIT_INTERRUPTED = 130
"""As shells tell a program that Ctrl-C ended: 128 and the number of the signal."""


def _leave(_: int, __: FrameType | None) -> None:
    os._exit(EXIT_INTERRUPTED)  # in the middle of an import anything else could be taken for a fault of a library


def main() -> int:
    """Run a command and give its exit code."""
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:  # else it is to be ignored, as behind nohup
        signal.signal(signal.SIGINT, _leave)
    from assistant.app import cli

    return cli.main()


if __name__ == "__main__":
    sys.exit(main())
