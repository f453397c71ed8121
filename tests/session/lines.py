"""Lines of a log made without the program, as the format says."""

import hashlib
import json

FIRST_SUM = "0" * 16


def line_of(content: object, before: str = FIRST_SUM) -> bytes:
    """Make a line: 16 hex digits of SHA-256 over the sum before and the rest of the line, then the rest."""
    body = json.dumps(content).encode()[1:-1]
    return b'{"sum":"%s",%s}\n' % (hashlib.sha256(before.encode() + body).hexdigest()[:16].encode(), body)
