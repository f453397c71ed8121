"""`python -m assistant` is the command `splice-assistant`."""

import sys

from assistant.app.cli import main

if __name__ == "__main__":
    sys.exit(main())
