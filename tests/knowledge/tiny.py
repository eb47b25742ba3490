"""A knowledge base of two causes that lints clean, kept as plain data so that a test can spoil one thing."""

from __future__ import annotations

import copy
import shutil
from pathlib import Path
from typing import Any

import yaml

from diag.knowledge.lint.run import lint
from diag.knowledge.load import knowledge_folder

COPIED = ("knowledge.yaml", "states.yaml", "axes.yaml")
"""Settings, mark words, machine states and axes are those of the shipped knowledge."""

_SOURCE = ["common_practice"]


class _Flat(yaml.SafeDumper):
    """Writes shared lists out each time instead of as anchors."""

    def ignore_aliases(self, data: Any) -> bool:
        return True


def _cause(key: str, label: str, symptoms: dict[str, str]) -> dict[str, Any]:
    return {
        "shows": {f"{key}_look": {"bad": "almost_always"}},
        "id": key, "label": label, "subsystem": "meter", "per_mille": 10, "kind": "wear", "pattern": "one row",
        "symptoms": symptoms, "mechanism": f"{label} spoils it.",
        "repair": {"do": f"Renew what is {label}.", "minutes": 5, "by": "technician", "parts": ["seal"],
                   "tools": ["lamp"], "hazards": ["hands_in_meter"], "verify": "proof"},
        "leaning": "wear", "prevention": "Look each winter.", "season": "any", "source": _SOURCE,
    }


def _check(key: str, cause: str) -> dict[str, Any]:
    return {
        "id": key, "asks": f"Look at {cause}", "why": "It decides.", "phone": f"What does {cause} look like to you?",
        "read_back": "Good or bad.", "look": "meter_open",
        "steps": [{"state": "parked_safe", "do": "Look at it with a lamp.", "hazards": ["hands_in_meter"]}],
        "hazards": ["seed_handled"], "takes": "choice", "minutes": {"desk": 1, "grower": 2, "site": 2},
        "prep": {"meter_off": 1}, "who": "grower", "tools": ["lamp"], "expected": "good",
        "outcomes": {"bad": {"says": "bad"}, "good": {"says": "good", "normal": True}},
        "source": _SOURCE,
    }


class Tiny:
    """The tiny knowledge: `sections` of the vocabulary, `causes`, `checks`, `rules`; `lint()` writes and lints."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / "knowledge"
        named = {
            "subsystems": [{"name": "meter", "label": "meter", "means": "It meters."}],
            "looks": [{"name": "meter_open", "label": "open", "asks": "What do you see?"}],
            "preparations": [{"name": "meter_off", "label": "meter off"}],
            "parts": [{"name": "seal", "label": "seal"}],
            "tools": [{"name": "lamp", "label": "lamp"}],
            "kinds": [{"name": "wear", "label": "wear"}],
            "seasons": [{"name": "any", "label": "any"}],
            "hazards": [
                {"name": "hands_in_meter", "label": "hands", "hands_on": True},
                {"name": "seed_handled", "label": "seed"},
                {"name": "phone_guided", "label": "by phone"},
                {"name": "couplers", "label": "couplers", "hands_on": True, "never_phone": True},
                {"name": "under_machine", "label": "under", "hands_on": True, "never_phone": True},
            ],
            "cautions": [{
                "id": "care", "word": "WARNING", "text": "Take care.", "source": _SOURCE,
                "hazards": ["hands_in_meter", "seed_handled", "phone_guided", "couplers", "under_machine"],
            }],
            "sources": [
                {"name": "common_practice", "kind": "common_practice", "title": "Trade practice"},
                {"name": "P1", "kind": "published", "title": "A paper"},
            ],
            "verifications": [{
                "id": "proof", "label": "proof", "measures": "It", "sample": "one", "accept": "Good",
                "checks": ["alpha_look"], "passes": {"alpha_look": ["good"]}, "source": _SOURCE,
            }],
            "symptoms": [{
                "id": name, "label": name, "wordings": ["one", "two", "three"], "measure": "count it",
                "first_checks": ["alpha_look"], "concepts": {"hole": 4}, "source": _SOURCE,
            } for name in ("gaps", "heaps")],
        }
        self.sections: dict[str, list[dict[str, Any]]] = copy.deepcopy(named)
        self.lexicon: dict[str, Any] = {
            "concepts": [{"name": "hole", "meaning": "a hole", "phrases": ["hole"]}],
        }
        self.causes = [_cause("alpha", "worn thin", {"gaps": "often"}), _cause("beta", "bent", {"heaps": "often"})]
        self.checks = [_check("alpha_look", "alpha"), _check("beta_look", "beta")]
        self.rules: list[dict[str, Any]] = []

    @property
    def alpha(self) -> dict[str, Any]:
        """The cause alpha."""
        return self.causes[0]

    @property
    def check(self) -> dict[str, Any]:
        """The check that decides alpha."""
        return self.checks[0]

    def write(self) -> Path:
        """Write the knowledge and return its folder."""
        shutil.rmtree(self.folder, ignore_errors=True)
        self.folder.mkdir(parents=True)
        for name in COPIED:
            shutil.copy(knowledge_folder() / name, self.folder / name)
        parts = {
            "words.yaml": self.sections, "lexicon.yaml": self.lexicon, "causes/all.yaml": self.causes,
            "checks/all.yaml": self.checks, "rules/all.yaml": self.rules,
        }
        for name, data in parts.items():
            path = self.folder / name
            path.parent.mkdir(exist_ok=True)
            if data:
                path.write_text(yaml.dump(data, Dumper=_Flat, sort_keys=False), encoding="utf-8")
        return self.folder

    def lint(self) -> list[str]:
        """Return what the linter finds, as "id: what"."""
        return [f"{p.id}: {p.what}" for p in lint([self.write()]).problems]
