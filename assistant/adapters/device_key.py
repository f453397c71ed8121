"""The device's Ed25519 key, by the package cryptography: made once, kept in a file of mode 0600."""

import os
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.errors import AssistantError

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

PUBLIC_SUFFIX = ".public.pem"


def make_key(path: Path) -> Path:
    """Make a key and give the file of its public half, which lies beside it.

    Raises:
        AssistantError: there is one already, or the files cannot be written.

    """
    from cryptography.hazmat.primitives import serialization as form
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    key = Ed25519PrivateKey.generate()
    private = key.private_bytes(form.Encoding.PEM, form.PrivateFormat.PKCS8, form.NoEncryption())
    public = key.public_key().public_bytes(form.Encoding.PEM, form.PublicFormat.SubjectPublicKeyInfo)
    beside = path.with_suffix(PUBLIC_SUFFIX)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
        with os.fdopen(handle, "wb") as file:
            file.write(private)
        beside.write_bytes(public)
    except FileExistsError as error:
        raise AssistantError(f"{path}: there is a key already; move it away to make another") from error
    except OSError as error:
        raise AssistantError(f"{path}: the key cannot be written ({error.strerror}); check the folder") from error
    return beside


def load_key(path: Path) -> "Ed25519PrivateKey":
    """Read the private key.

    Raises:
        AssistantError: there is none, or it is no Ed25519 key.

    """
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    try:
        key = load_pem_private_key(path.read_bytes(), None)
    except OSError as error:
        raise AssistantError(
            f"{path}: there is no key ({error.strerror}); splice-assistant key new makes one"
        ) from error
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
    """Tell whether a signature, in hex, is that of a public key, in hex, under a text."""
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(public_key)).verify(bytes.fromhex(signature), text)
    except (InvalidSignature, ValueError):
        return False
    return True
