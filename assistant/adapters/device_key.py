"""The device's Ed25519 key, by the package cryptography; its file is for its owner only."""

import importlib.util
import stat
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.errors import AssistantError
from assistant.mending import install_command

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

PUBLIC_SUFFIX = ".public.pem"
OTHERS = 0o077
"""Rights of others than the owner."""


def _want_library() -> None:
    """Have the package, or say how to get it: what cannot be checked must not pass for checked, nor for broken.

    Raises:
        AssistantError: it is not installed.

    """
    if importlib.util.find_spec("cryptography") is None:
        raise AssistantError(f"seals: the package cryptography is not here; {install_command('seals')}")


def new_pair() -> tuple[bytes, bytes]:
    """Make a key and give its private and its public half, as PEM.

    Raises:
        AssistantError: the package cryptography is not installed.

    """
    _want_library()
    from cryptography.hazmat.primitives import serialization as form
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    key = Ed25519PrivateKey.generate()
    private = key.private_bytes(form.Encoding.PEM, form.PrivateFormat.PKCS8, form.NoEncryption())
    return private, key.public_key().public_bytes(form.Encoding.PEM, form.PublicFormat.SubjectPublicKeyInfo)


def load_key(path: Path) -> "Ed25519PrivateKey":
    """Read the private key.

    Raises:
        AssistantError: there is none, others may read it, or it is no Ed25519 key.

    """
    _want_library()
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    try:
        data, mode = path.read_bytes(), stat.S_IMODE(path.stat().st_mode)
    except OSError as error:
        raise AssistantError(
            f"{path}: there is no key ({error.strerror}); splice-assistant key new makes one"
        ) from error
    if mode & OTHERS:
        raise AssistantError(
            f"{path}: others may read this key (mode {mode:04o}), so that anybody may have sealed with it; "
            "move it away, and splice-assistant key new makes another"
        )
    try:
        key = load_pem_private_key(data, None)
    except (ValueError, TypeError) as error:
        raise AssistantError(f"{path}: is no private key; splice-assistant key new makes one") from error
    if not isinstance(key, Ed25519PrivateKey):
        raise AssistantError(f"{path}: is no Ed25519 key; splice-assistant key new makes one")
    return key


def load_public_key(path: Path) -> str:
    """Read a public key and give it in hex.

    Raises:
        AssistantError: it cannot be read, or is no Ed25519 key.

    """
    _want_library()
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
    from cryptography.hazmat.primitives.serialization import load_pem_public_key

    try:
        key = load_pem_public_key(path.read_bytes())
    except OSError as error:
        raise AssistantError(f"{path}: cannot be read ({error.strerror}); give the public key of the device") from error
    except (ValueError, TypeError) as error:
        raise AssistantError(f"{path}: is no public key; give the file that ends in {PUBLIC_SUFFIX}") from error
    if not isinstance(key, Ed25519PublicKey):
        raise AssistantError(f"{path}: is no Ed25519 key; give the file that ends in {PUBLIC_SUFFIX}")
    return key.public_bytes_raw().hex()


def sign(key: "Ed25519PrivateKey", text: bytes) -> str:
    """Sign a text and give the signature in hex."""
    return key.sign(text).hex()


def public_half(key: "Ed25519PrivateKey") -> str:
    """Give the public half of a key in hex."""
    return key.public_key().public_bytes_raw().hex()


def is_signed(text: bytes, signature: str, public_key: str) -> bool:
    """Tell whether a signature, in hex, is that of a public key, in hex, under a text.

    Raises:
        AssistantError: the package cryptography is not installed.

    """
    _want_library()
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(public_key)).verify(bytes.fromhex(signature), text)
    except (InvalidSignature, ValueError):
        return False
    return True


def is_public_key(text: str) -> bool:
    """Tell whether a text is a public key in hex: 32 bytes (RFC 8032)."""
    return len(text) == 64 and not text.strip("0123456789abcdef")
