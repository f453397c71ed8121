"""The one command that brings what is missing, on this system and for the way this program was installed."""

import json
import shutil
import sys
from importlib.metadata import PackageNotFoundError, distribution
from importlib.util import find_spec
from pathlib import Path
from urllib.parse import unquote, urlsplit

DISTRIBUTION = "splice-assistant"
EXTRAS = {"english": "ctranslate2", "office": "duckdb", "vosk": "vosk"}
"""Extra -> a module that comes with it alone."""
TOOLS = {"uv-receipt.toml": "uv tool install --force", "pipx_metadata.json": "pipx install --force"}
"""Note that an installer of commands leaves in the environment it made -> how it installs again."""
PORTAUDIO = {
    "apt-get": "apt-get install libportaudio2",
    "dnf": "dnf install portaudio",
    "zypper": "zypper install libportaudio2",
    "pacman": "pacman -S portaudio",
    "apk": "apk add portaudio",
    "brew": "brew install portaudio",
}
"""Package manager -> its command for PortAudio, as the package indexes of these systems name it."""


def portaudio_command() -> str:
    """Tell how to install PortAudio here."""
    for manager, command in PORTAUDIO.items():
        if shutil.which(manager):
            return command if manager == "brew" else f"sudo {command}"
    return "install the library PortAudio with the package manager of this system"


def source_folder() -> Path | None:
    """Give the folder or file that this program was installed from, where it is known and still there (PEP 610)."""
    try:
        noted = distribution(DISTRIBUTION).read_text("direct_url.json")
    except PackageNotFoundError:
        noted = None
    if noted:
        path = Path(unquote(urlsplit(str(json.loads(noted).get("url", ""))).path))
    else:
        path = Path(__file__).parent.parent
    return path if path.is_file() or (path / "pyproject.toml").is_file() else None


def install_command(extra: str) -> str:
    """Tell how to install an extra of this program; nobody has registered it anywhere, so that its folder is needed."""
    source = source_folder()
    where = "" if source else " in the folder of splice-assistant"
    for note, command in TOOLS.items():
        if (Path(sys.prefix) / note).is_file():  # these begin anew: what is here has to be named again
            here = [name for name, module in EXTRAS.items() if name != extra and find_spec(module) is not None]
            return f"{command} '{source or '.'}[{','.join((*here, extra))}]'{where}"
    return f"{sys.executable} -m pip install '{source or '.'}[{extra}]'{where}"
