"""How well callers are heard, on texts of hands that taught nothing: shares with their 95 % intervals."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from diag.hear.complaint import Match
from diag.hear.texts import Text
from diag.measure.counting import wilson

FIRST = (1, 3, 9)


@dataclass(frozen=True, slots=True)
class Share:
    """`k` of `n`, with its Wilson interval."""

    k: int
    n: int

    def __str__(self) -> str:
        if not self.n:
            return "none to judge"
        low, high = wilson(self.k, self.n)
        return f"{100 * self.k / self.n:.1f} % ({100 * low:.0f}-{100 * high:.0f})"

    def as_json(self) -> dict[str, Any]:
        """Return counts, share and interval."""
        low, high = wilson(self.k, self.n) if self.n else (0.0, 1.0)
        return {"k": self.k, "n": self.n, "share": round(self.k / self.n, 4) if self.n else None,
                "interval": [round(low, 4), round(high, 4)]}


def judge(texts: Sequence[Text], hear: Callable[[str], Match]) -> dict[str, Share]:
    """Return by name how the texts were heard.

    `first`, `first_3`, `first_9`: a right symptom is among so many; `ticked`: what is ticked by itself is right;
    `taken`: complaints whose best symptom is ticked; `turned_away`: complaints called none; `false_alarms`: texts that
    are no complaint and are taken for one.
    """
    heard = [(text, hear(text.say)) for text in texts]
    complaints = [(set(t.right), m) for t, m in heard if t.right]
    others = [m for t, m in heard if not t.right]
    ticked = [(s in right) for right, m in complaints for s in m.ticked] + [False for m in others for _ in m.ticked]
    found = {
        f"first_{most}": _share(bool(right & {p.symptom for p in m.proposals[:most]}) for right, m in complaints)
        for most in FIRST
    }
    return found | {
        "ticked": _share(ticked),
        "taken": _share(bool(right & set(m.ticked)) for right, m in complaints),
        "turned_away": _share(bool(m.none) for _, m in complaints),
        "false_alarms": _share(not m.none for m in others),
    }


def together(several: Iterable[dict[str, Share]]) -> dict[str, Share]:
    """Return the sums of several judgements."""
    found: dict[str, Share] = {}
    for one in several:
        for name, share in one.items():
            before = found.get(name, Share(0, 0))
            found[name] = Share(before.k + share.k, before.n + share.n)
    return found


def _share(good: Iterable[bool]) -> Share:
    counted = list(good)
    return Share(sum(counted), len(counted))
