"""Signed heads, for those who want more than hashes show: Ed25519, by a key that stays in the user's folder.

What is signed are the newest events of a call; through their hashes that speaks for everything before them.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from diag.errors import RecordError, StoreError
from diag.files import reason_of, write_whole
from diag.record.graph import Event, show_call_id
from diag.record.kinds import Signed

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

FILE = "signing.key"


def signature(folder: Path, call: str, newest: Sequence[Event]) -> dict[str, Any]:
    """Return what an event says that signs these events; the first time a key is made. Raises StoreError."""
    key = _key(folder / FILE)
    if newest and all(e.kind == Signed.KIND for e in newest):
        raise RecordError("Everything in this call is signed already.", show_call_id(call), "")
    return {"key": key.public_key().public_bytes_raw().hex(),
            "signature": key.sign(_message(call, (e.id for e in newest))).hex()}


def fits(event: Event) -> bool | None:
    """Return whether a signature is that of its key over the events before it; None where that cannot be told here."""
    try:
        from cryptography.exceptions import InvalidSignature
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
    except ImportError:
        return None
    try:
        key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(event.body["key"]))
        key.verify(bytes.fromhex(event.body["signature"]), _message(event.call, event.parents))
    except (InvalidSignature, ValueError):
        return False
    return True


def fingerprint(key: str) -> str:
    """Return a public key (hex) as people compare it: 32 hex digits in groups of four."""
    told = hashlib.sha256(bytes.fromhex(key)).hexdigest()[:32]
    return " ".join(told[i : i + 4] for i in range(0, 32, 4))


def _message(call: str, events: Iterable[str]) -> bytes:
    return "\n".join(["diag: newest events of a call, signed", call, *sorted(events)]).encode()


def _key(path: Path) -> Ed25519PrivateKey:
    """Return the key of this user, made where there is none."""
    try:
        from cryptography.hazmat.primitives import serialization as form
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    except ImportError:
        raise StoreError("Signing needs one more package.", "sign", "Install diag with the extra sign.") from None
    try:
        if path.exists():
            if os.name == "posix" and path.stat().st_mode & 0o077:
                raise StoreError("Others may read the signing key.", str(path), f"Take their rights: chmod 600 {path}")
            key = form.load_pem_private_key(path.read_bytes(), None)
            if not isinstance(key, Ed25519PrivateKey):
                raise ValueError
            return key
        made = Ed25519PrivateKey.generate()
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, made.private_bytes(form.Encoding.PEM, form.PrivateFormat.PKCS8, form.NoEncryption()))
        return made
    except OSError as e:
        raise StoreError(f"The signing key cannot be used: {reason_of(e)}.", str(path), "Check the folder.") from None
    except (ValueError, TypeError):
        raise StoreError("This file holds no Ed25519 key.", str(path), "Move it away; a new one is made.") from None
