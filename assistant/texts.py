"""Text from outside: made well-formed where it comes in, and cleaned where it goes out."""

import re

REPLACED = "\N{REPLACEMENT CHARACTER}"
_HALVES = re.compile("[\ud800-\udfff]")


def well_formed(text: str) -> str:
    """Give a text that can be written in UTF-8: halves of characters, as bytes that are none become, are replaced."""
    if _HALVES.search(text) is None:
        return text
    return text.encode("utf-16-le", "surrogatepass").decode("utf-16-le", "replace")


def harmless(text: str) -> str:
    """Give a text that cannot steer a terminal: only what can be printed, and the ends of lines, stay."""
    if text.isprintable():
        return text
    return "".join(sign if sign.isprintable() or sign == "\n" else REPLACED for sign in text)
