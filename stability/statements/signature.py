"""Signing: an Ed25519 key in a file that a passphrase opens, signatures, and fingerprints of keys.

Texts are hexadecimal in lower case. Every byte of a key file is covered by a digest: the cipher alone would
turn a changed byte into another key.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass

from stability.errors import InputError
from stability.statements.record import canonical, digest_of, parsed

__all__ = ["SigningKey", "fingerprint", "make_key", "open_key", "same_fingerprint", "signed_by"]

KIND = "stability signing key"
LEAST_PASSPHRASE = 8


@dataclass(frozen=True, slots=True)
class SigningKey:
    """An opened key: its public half, and the act of signing."""

    public: str
    sign: Callable[[bytes], str]


def fingerprint(public: str) -> str:
    """Return the fingerprint of a public key, in groups that can be read out over the telephone.

    >>> fingerprint("00" * 32)
    '6668-7aad-f862-bd77-6c8f-c18b-8e9f-8e20'
    """
    digest = hashlib.sha256(bytes.fromhex(public)).hexdigest()[:32]
    return "-".join(digest[at : at + 4] for at in range(0, 32, 4))


def same_fingerprint(public: str, told: str) -> bool:
    """Say whether a fingerprint as typed, or a whole public key, is that of a public key."""
    plain = "".join(told.split()).replace("-", "").replace(":", "").casefold()
    return plain in (fingerprint(public).replace("-", ""), public)


def make_key(passphrase: str) -> tuple[bytes, str]:
    """Return a new key as the content of a file, and its public half.

    Raises
    ------
    InputError
        If the passphrase is too short.
    """
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    if len(passphrase) < LEAST_PASSPHRASE:
        raise InputError(
            f"the passphrase has {len(passphrase)} characters; expected at least {LEAST_PASSPHRASE}"
        )
    key = Ed25519PrivateKey.generate()
    sealed = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.BestAvailableEncryption(passphrase.encode("utf-8")),
    )
    public = key.public_key().public_bytes_raw().hex()
    content = {"kind": KIND, "public": public, "sealed": sealed.decode("ascii")}
    return canonical({**content, "digest": digest_of(canonical(content))}), public


def open_key(content: bytes, passphrase: str) -> SigningKey:
    """Return the key in the content of a file.

    Raises
    ------
    InputError
        If the file is no key, was changed, or the passphrase does not open it.
    """
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    data = parsed(content, "the key file")
    told = {name: data.get(name) for name in ("kind", "public", "sealed")} if isinstance(data, dict) else {}
    if not isinstance(data, dict) or told.get("kind") != KIND:
        raise InputError("the key file holds no signing key", hint="stability statement key FILE makes one")
    if digest_of(canonical(told)) != data.get("digest") or set(data) != {*told, "digest"}:
        raise InputError("the key file was changed: it does not match its digest")
    try:
        key = serialization.load_pem_private_key(
            str(data["sealed"]).encode(), password=passphrase.encode("utf-8")
        )
    except (ValueError, TypeError):
        raise InputError("the passphrase does not open this key") from None
    if not isinstance(key, Ed25519PrivateKey) or key.public_key().public_bytes_raw().hex() != data["public"]:
        raise InputError("the key file was changed: its two halves do not match")
    return SigningKey(str(data["public"]), lambda message: key.sign(message).hex())


def signed_by(public: str, signature: str, message: bytes) -> bool:
    """Say whether a signature is that of a public key on a message."""
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        key, sign = bytes.fromhex(public), bytes.fromhex(signature)
        if (key.hex(), sign.hex()) != (public, signature):
            return False  # capitals or blanks: not as it was written
        Ed25519PublicKey.from_public_bytes(key).verify(sign, message)
    except (ValueError, InvalidSignature):
        return False
    return True
