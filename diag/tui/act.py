"""What can be done on a screen: one table feeds the keys, the footer, the help page and the command palette."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from textual.binding import Binding, BindingType


@dataclass(frozen=True)
class Act:
    """One thing that can be done; without a key it is in the command palette only."""

    action: str
    name: str
    tells: str
    key: str = ""
    shown: bool = False
    """True for the few that stand in the bottom line."""
    first: bool = False
    """True when the key goes before the field that has the focus."""


def bindings(acts: Iterable[Act]) -> list[BindingType]:
    """Return the key bindings of those that have a key."""
    return [
        Binding(
            a.key,
            a.action,
            a.name,
            show=a.shown,
            tooltip=a.tells,
            priority=a.first or _is_function_key(a.key),
            key_display=key_name(a.key),
        )
        for a in acts
        if a.key
    ]


def _is_function_key(key: str) -> bool:
    """Function keys go before the field, which may have uses of its own for them."""
    return key[:1] == "f" and key[1:].isdigit()


def key_name(key: str) -> str:
    """Return a key as it is printed on the keyboard: F1, Ctrl+P."""
    words = {"escape": "Esc", "enter": "Enter", "pageup": "PgUp", "pagedown": "PgDn", "space": "Space", "ctrl": "Ctrl"}
    return "+".join(words.get(p, p.upper()) for p in key.split(",")[0].split("+"))
