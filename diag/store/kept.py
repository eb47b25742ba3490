"""What a store gives back: profiles, what an import brings, what was found when a call was verified."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from diag.record.graph import RecordFlaw


@dataclass(frozen=True)
class Profile:
    """A machine profile; what tells of a person stands apart."""

    id: str
    body: Mapping[str, Any]
    personal: Mapping[str, str]


@dataclass(frozen=True)
class Incoming:
    """What an import brings to one call."""

    call: str
    events: int
    """Events that are new here."""
    erases: int
    """Texts here that it erases."""
    ends: tuple[str, ...]
    """Kinds of new events that close, reopen or withdraw."""

    @property
    def harmless(self) -> bool:
        """True when nothing that stands here goes or ends."""
        return not self.erases and not self.ends


@dataclass(frozen=True)
class Verified:
    """What was found when a stored call was checked."""

    call: str
    flaws: tuple[RecordFlaw, ...]
    """Ways in which it is not as it was made."""
    remarks: tuple[str, ...]
    """What is no flaw but must be known: texts that are not here, side branches."""
    heads: tuple[str, ...]
    """Its newest events."""


@dataclass(frozen=True)
class Erasure:
    """What erasing a call does and cannot do."""

    texts: int
    photos: int
    profiles: tuple[str, ...]
    """Labels of machine profiles with the same owner, serial or label."""
    open_labels: tuple[str, ...]
    """Labels that stand open in events of an older form and cannot be taken out of the chain."""


@dataclass(frozen=True)
class Repairs:
    """What was looked through and put right, and what is beyond it."""

    calls: int
    rebuilt: tuple[str, ...]
    """Rows made anew from the events: "call K7Q2M-4TXB9: its line in the list"."""
    lost: tuple[str, ...]
    """What cannot be read, and how much of the call can be saved."""
