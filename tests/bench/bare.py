"""README's first command, and what follows it, where there is no root, compiler, PortAudio and espeak.

    python -m tests.bench.bare

In a mount namespace of its own (unshare(1); it needs the rights of root for that), files of compilers, PortAudio and
espeak are covered by an empty one, and all commands run as a user without rights (uid 65534) with an empty home, from
a copy of what git has. It is this system otherwise: its Python, its C library, its package index. Each command is
shown with its exit code, its time and its last lines; at the end what it takes on the disk.
"""

import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
NOBODY = 65534
HIDDEN = re.compile(r"/lib(portaudio|espeak)[^/]*\.so[^/]*$")
PROGRAMS = ("cc", "gcc", "g++", "c++", "c99", "clang", "espeak", "espeak-ng", "sudo")
SHOWN_LINES = 12
THEN = (
    "check",
    "devices",
    "devices --try",
    "demo --voice speaker",
    "keys card card.svg",
    "settings --write",
    "work --cable 25",
)
"""What is run behind the first command."""


def to_hide() -> list[Path]:
    """Find what is to be covered; the real files, since a link cannot be covered."""
    listed = subprocess.run(["ldconfig", "-p"], capture_output=True, text=True, check=True).stdout
    libraries = [Path(line.rpartition("=> ")[2]) for line in listed.splitlines() if HIDDEN.search(line)]
    programs = [Path(found) for name in PROGRAMS if (found := shutil.which(name))]
    return sorted({path.resolve() for path in (*libraries, *programs)})


def copied(folder: Path) -> Path:
    """Copy what git has, for the user without rights."""
    tree = folder / "splice-assistant"
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True).stdout
    for name in filter(None, listed.decode().split("\0")):
        target = tree / name
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(ROOT / name, target)
    (folder / "home").mkdir()
    subprocess.run(["chown", "-R", str(NOBODY), str(folder)], check=True)
    return tree


def first_command() -> str:
    """Give README's first command."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
    return next(line.strip() for line in readme if line.startswith("    python3 -m venv"))


def run(command: str, tree: Path) -> int:
    """Run a command as the user without rights, and show what came of it."""
    pip = {name: value for name, value in os.environ.items() if name.startswith("PIP_")}
    environment = {
        "HOME": str(tree.parent / "home"),
        "PATH": "/usr/local/bin:/usr/bin:/bin",
        "LANG": "C.UTF-8",
        "PULSE_SERVER": "unix:/nowhere",
        **pip,
    }
    began = time.monotonic()
    done = subprocess.run(
        ["setpriv", f"--reuid={NOBODY}", f"--regid={NOBODY}", "--clear-groups", "bash", "-c", command],
        cwd=tree,
        env=environment,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    print(f"\n$ {command}\n  exit code {done.returncode}, {time.monotonic() - began:.0f} s")
    for line in done.stdout.splitlines()[-SHOWN_LINES:]:
        print(f"  {line}")
    return done.returncode


def inside() -> int:
    """Do it, in the namespace: cover the files, and run everything."""
    hidden = to_hide()
    for path in hidden:
        subprocess.run(["mount", "--bind", "/dev/null", str(path)], check=True)
    print("Covered:", *hidden)
    with tempfile.TemporaryDirectory(prefix="bare-") as name:
        folder = Path(name)
        folder.chmod(0o755)
        tree = copied(folder)
        code = run(first_command(), tree)
        for command in THEN:
            faults = run(f".venv/bin/splice-assistant {command}", tree) == 70
            code = code or faults
        sizes = subprocess.run(["du", "-sm", str(tree / ".venv")], capture_output=True, text=True, check=True)
        print(f"\nOn the disk: {sizes.stdout.split()[0]} MB")
    return code


def main() -> int:
    """Open the namespace and do it there; 1 where the first command fails or one ends as a fault of the program."""
    if "--inside" in sys.argv:
        return inside()
    command = ["unshare", "--mount", sys.executable, "-m", "tests.bench.bare", "--inside"]
    return subprocess.run(command, cwd=ROOT, check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
