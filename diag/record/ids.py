"""Ids, times and other small forms: what they look like, how they are made, shown and found again."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from typing import TypeGuard

from diag.errors import UsageError
from diag.text import one_line

Salts = Callable[[int], bytes]
"""A source of random bytes: secrets.token_bytes, or a fixed one in tests and transcripts."""

_ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"  # Crockford base 32
_ID = re.compile(r"[a-z][a-z0-9_]{0,79}(?:\.[a-z0-9_]{1,80})*")
_DECIMAL = re.compile(r"-?[0-9]{1,20}(?:\.[0-9]{1,20})?")
_STAMP = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z")
_HASH = re.compile(r"[0-9a-f]{64}")
_CALL = re.compile(r"[0-9A-HJKMNP-TV-Z]{10}")


def is_hash(value: object) -> bool:
    """Tell whether a value is a SHA-256 in lower-case hex."""
    return isinstance(value, str) and _HASH.fullmatch(value) is not None


def is_call_id(value: object) -> bool:
    """Tell whether a value is a call id: ten characters of Crockford base 32."""
    return isinstance(value, str) and _CALL.fullmatch(value) is not None


def is_stamp(value: object) -> bool:
    """Tell whether a value is a UTC time in whole seconds, such as 2026-05-04T06:40:00Z."""
    if not isinstance(value, str) or not _STAMP.fullmatch(value):
        return False
    try:
        datetime.fromisoformat(value)
    except ValueError:
        return False
    return True


def is_decimal(value: object) -> bool:
    """Tell whether a value is a plain decimal as text: "18.5", "-3"."""
    return isinstance(value, str) and _DECIMAL.fullmatch(value) is not None


def is_id(value: object) -> bool:
    """Tell whether a value is a name of small letters, figures and _."""
    return isinstance(value, str) and _ID.fullmatch(value) is not None


def is_label(value: object) -> TypeGuard[str]:
    """Tell whether a value is clean text on one line, at most 100 characters."""
    return isinstance(value, str) and 0 < len(value) <= 100 and value == one_line(value)


def stamp(moment: datetime) -> str:
    """Return an aware time as UTC in whole seconds, such as 2026-05-04T06:40:00Z."""
    if moment.tzinfo is None:
        raise ValueError("a time without zone cannot be recorded")
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def new_call_id(random: Salts) -> str:
    """Return a new call id: ten characters of Crockford base 32 (50 random bits)."""
    bits = int.from_bytes(random(7), "big")
    return "".join(_ALPHABET[bits >> shift & 31] for shift in range(45, -1, -5))


def new_desk_id(random: Salts) -> str:
    """Return a new id for an installation, of the same form as a call id."""
    return new_call_id(random)


def show_call_id(call: str) -> str:
    """Return a call id as it is shown: K7Q2M-4TXB9."""
    return f"{call[:5]}-{call[5:]}" if is_call_id(call) else one_line(call, limit=20)


def find_call_id(prefix: str, ids: Iterable[str]) -> str:
    """Return the one call id that begins as typed (any case, hyphen or none, O for 0, I or L for 1).

    Raises UsageError when no id or more than one begins so.
    """
    typed = one_line(prefix, limit=40)
    wanted = typed.upper().replace("-", "").replace(" ", "").translate(str.maketrans("OIL", "011"))
    found = sorted({i for i in ids if i.startswith(wanted)}) if wanted else []
    if len(found) == 1:
        return found[0]
    if not found:
        raise UsageError(f'There is no call "{typed}".', "", "List the calls to see their ids.")
    some = ", ".join(map(show_call_id, found[:3])) + (", ..." if len(found) > 3 else "")
    raise UsageError(f'"{typed}" fits {len(found)} calls: {some}', "", "Type one more character.")
