"""Licences of all that an installation brings, from each package's own metadata; `python -m tests.licences` makes the
block of `models_readme/licences.md`.
"""

import re
from importlib.metadata import Distribution, distribution
from pathlib import PurePosixPath

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

OURS = "splice-assistant"
FOR_DEVELOPERS = ("all", "dev", "page", "engines")
"""Extras that are not listed: the first holds no other package, and nobody passes the rest on."""
EXTRAS = ("", *(n for n in distribution(OURS).metadata.get_all("Provides-Extra") or () if n not in FOR_DEVELOPERS))
"""The base first, then in the order of the project's file; what an extra brings besides is told of it."""
LONGEST_NAME = 60
"""Characters: a longer text under License is the licence itself."""
_LIBRARY = re.compile(r"(?P<name>lib[\w+-]+?)(-[0-9a-f]{8,})*(\.so(\.[\w.-]+)?|\.dylib|\.dll)$")


def closure(extra: str) -> dict[str, Distribution]:
    """Give every package that an extra, and the base, bring here: name -> what is installed."""
    found: dict[str, Distribution] = {}
    waiting = [(OURS, frozenset({extra} - {""}))]
    done = set()
    while waiting:
        name, extras = waiting.pop()
        if (name, extras) in done:
            continue
        done.add((name, extras))
        installed = distribution(name)
        if name != OURS:
            found[name] = installed
        for line in installed.requires or ():
            wanted = Requirement(line)
            if wanted.marker is None or any(wanted.marker.evaluate({"extra": one}) for one in (*extras, "")):
                waiting.append((canonicalize_name(wanted.name), frozenset(wanted.extras)))
    return found


def licence(package: Distribution) -> str:
    """Give the licence by the package's own metadata; empty where it says nothing."""
    data = package.metadata
    expression = data.get("License-Expression")
    classifiers = [
        text.rpartition(" :: ")[2] for text in data.get_all("Classifier") or () if text.startswith("License")
    ]
    written = data.get("License") or ""
    if written == "UNKNOWN" or len(written) > LONGEST_NAME or "\n" in written:
        written = ""
    return str(expression or written or ", ".join(classifiers))


def libraries(package: Distribution) -> list[str]:
    """List the shared libraries that lie in the package, without versions; its own Python modules are none."""
    names = {
        found["name"].rstrip("_")
        for file in package.files or ()
        if (found := _LIBRARY.match(PurePosixPath(str(file)).name))
    }
    return sorted(names)


def table() -> str:
    """Give the table of packages, licences and libraries, and which extra brings each."""
    rows = ["| package | comes with | licence, by its own metadata | libraries in it |", "| --- | --- | --- | --- |"]
    told: set[str] = set()
    for extra in EXTRAS:
        for name, package in sorted(closure(extra).items()):
            if name not in told:
                told.add(name)
                rows.append(
                    f"| {name} | {extra or 'the base'} | {licence(package) or '(says nothing)'} | "
                    f"{', '.join(libraries(package))} |"
                )
    return "\n".join(rows) + "\n"


if __name__ == "__main__":
    print(table(), end="")
