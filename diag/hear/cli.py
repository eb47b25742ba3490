"""`diag hear` and `diag knowledge train`: hearing one text or a file of them, and teaching it."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from diag.arguments import Parser
from diag.errors import DiagError, UsageError
from diag.text import clean, count

if TYPE_CHECKING:
    from diag.hear.complaint import Match
    from diag.hear.fact import FactFound
    from diag.hear.train import Trainer
    from diag.knowledge.base import Knowledge

SHOWN = 9


def hear(said: str, knowledge: Knowledge, *, as_json: bool) -> int:
    """Print what is heard in a text, or in each entry of a YAML file of texts. Raises DiagError."""
    from diag.hear.complaint import listener

    heard = [(text, listener(knowledge).match(text)) for text in texts_of(said)]
    if as_json:
        print(json.dumps([as_told(text, found) for text, found in heard], indent=1, ensure_ascii=False))
    else:
        print("\n\n".join("\n".join(_lines(text, found, knowledge)) for text, found in heard))
    return 0


def texts_of(said: str) -> list[str]:
    """Return the text itself, or the `say` of each entry of a file. Raises UsageError, KnowledgeError."""
    from diag.knowledge.yamlfile import load_yaml

    path = Path(said)
    if path.suffix not in (".yaml", ".yml"):
        return [said]
    if not path.is_file():
        raise UsageError("No such file.", said, "Name a YAML file with a list of entries with `say`.")
    data, lines = load_yaml(path)
    if not isinstance(data, list):
        raise UsageError("A list of texts is expected.", f"{said}:1", "Write `- say: ...`.")
    for number, entry in enumerate(data):
        if not isinstance(entry, dict) or not isinstance(entry.get("say"), str):
            raise UsageError("No text here.", f"{said}:{lines.at((number,))}", "Write `- say: ...`.")
    return [entry["say"] for entry in data]


def as_told(text: str, found: Match) -> dict[str, Any]:
    """Return what was heard as plain JSON values."""
    return {
        "say": clean(text),
        "none": bool(found.none),
        "seems": found.none,
        "proposals": [
            {"symptom": p.symptom, "score": p.score, "believed": p.believed, "reason": p.reason}
            for p in found.proposals
        ],
        "ticked": {"symptoms": list(found.ticked), "facts": [_fact(f) for f in found.facts if f.ticked]},
        "denied": list(found.said_not),
        "danger": [_fact(f) for f in found.danger],
        "facts": [_fact(f) for f in found.facts],
    }


def _fact(fact: FactFound) -> dict[str, Any]:
    return {"kind": fact.kind, "value": fact.value, "said": fact.said, "ticked": fact.ticked}


def _lines(text: str, found: Match, knowledge: Knowledge) -> list[str]:
    lines = [f'"{clean(text).strip()}"']
    lines += [f'danger first: {f.value} ("{f.said}")' for f in found.danger]
    if found.none:
        lines.append(f"no complaint of the list: {found.none}")
    for p in found.proposals[:SHOWN]:
        mark = "x" if p.ticked else " "
        lines.append(f"[{mark}] {p.score:.2f} {knowledge.symptoms[p.symptom].label}: {p.reason}".rstrip(": "))
    lines += [f"not: {knowledge.symptoms[s].label}" for s in found.said_not]
    lines += [f'[{"x" if f.ticked else " "}] {f.kind} {f.value} ("{f.said}")' for f in found.facts]
    return lines


# ------------------------------------------------------------------------------------------------ training


def train(argv: Sequence[str], *, knowledge: Knowledge, json_out: bool) -> int:
    """Train on all texts of the knowledge and write the weights beside the last ones. Raises DiagError."""
    parser = Parser(prog="diag knowledge train", description="Learn from the callers' texts in callers/.")
    parser.add_argument("--judge", action="store_true", help="first leave each hand out and tell how it is heard")
    options = parser.parse_args(list(argv))
    trainer = _trainer(knowledge)
    model = trainer.finished()
    told: dict[str, Any] = {"texts": len(trainer.texts), "digest": model.digest}
    if options.judge:
        told["judged"] = _judged(trainer, json_out)
    from diag.hear.model import FILE

    path = knowledge.callers[-1] / FILE
    model.save(path)
    told |= {"file": str(path), "bytes": path.stat().st_size}
    if json_out:
        print(json.dumps(told, indent=1))
    else:
        print(f"{count(told['texts'], 'text')} learnt, {told['bytes'] // 1024} kB written to {path}")
    return 0


def _trainer(knowledge: Knowledge) -> Trainer:
    if not knowledge.callers:
        raise UsageError("No texts to learn from.", "knowledge", "Make a folder callers/ with a YAML file of texts.")
    try:
        import sklearn  # noqa: F401
    except ImportError as error:
        raise DiagError("Training needs scikit-learn.", "train", "Install it: pip install 'diag[train]'.") from error
    from diag.hear.texts import read_texts
    from diag.hear.train import Trainer

    return Trainer(knowledge, read_texts(knowledge.callers, list(knowledge.symptoms)))


def _judged(trainer: Trainer, json_out: bool) -> dict[str, Any]:
    """Return how each hand is heard by what the others teach; print it as it comes."""
    from diag.hear.complaint import Listener
    from diag.hear.judged import judge, judge_facts, together
    from diag.hear.told import lists_all

    knowledge = trainer.knowledge
    found = {}
    thorough = lists_all(trainer.texts)
    for hand in trainer.hands():
        model = trainer.train(frozenset([hand]), trainer.constants)
        listener = Listener(knowledge.symptoms.values(), knowledge.lexicon, model)
        theirs = [t for t in trainer.texts if t.hand == hand]
        found[hand] = judge(theirs, listener.match)
        if any(t.told for t in theirs):
            found[hand] |= judge_facts(theirs, listener.match, knowledge.lexicon, thorough=hand in thorough)
        if not json_out:
            print(f"{hand}: " + ", ".join(f"{name} {share}" for name, share in found[hand].items()), flush=True)
    found["all"] = together(found.values())
    if not json_out:
        print("all: " + ", ".join(f"{name} {share}" for name, share in found["all"].items()))
    return {hand: {name: share.as_json() for name, share in shares.items()} for hand, shares in found.items()}
