"""`diag knowledge effect OLD NEW`: what a change of the knowledge does to entries and to recorded calls."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from diag.arguments import Parser, tell
from diag.errors import DiagError
from diag.knowledge.base import Knowledge
from diag.knowledge.load import data_folder, knowledge_folder, load

WHOLE = "knowledge.yaml"
"""File that a whole knowledge has and an overlay need not."""
KINDS = ("symptoms", "causes", "checks", "rules", "cautions", "limits", "verifications", "sources")


def main(argv: Sequence[str], *, json_out: bool) -> int:
    """Print the effect; 1 when any recorded call comes out differently."""
    parser = Parser(prog="diag knowledge effect", description="What a change of the knowledge does.")
    parser.add_argument("old", type=Path)
    parser.add_argument("new", type=Path)
    parser.add_argument("--calls", nargs="*", metavar="TRANSCRIPT", help="recorded calls (else the demonstration ones)")
    options = parser.parse_args(list(argv))
    files = options.calls or [str(p) for p in sorted(data_folder("transcripts_demo").glob("*.yaml"))]
    report = effect(load(_folders(options.old)), load(_folders(options.new)), files)
    tell(report, told(report), as_json=json_out)
    return 1 if any(c["differs"] for c in report["calls"]) else 0


def _folders(path: Path) -> list[Path]:
    """Return what is loaded of a folder: it alone when it is whole, else the knowledge that came with it laid over."""
    return [knowledge_folder(), path] if path.is_dir() and not (path / WHOLE).exists() else [path]


def effect(old: Knowledge, new: Knowledge, files: Iterable[str]) -> dict[str, Any]:
    """Return entries added, removed and changed, and each call's ranking under both."""
    from diag.reason.judge import Engine

    engines = Engine(old, counter=True), Engine(new, counter=True)
    entries = {kind: _entries(getattr(old, kind), getattr(new, kind)) for kind in KINDS}
    return {
        "old": {"version": old.version, "digest": old.digest},
        "new": {"version": new.version, "digest": new.digest},
        "entries": {kind: e for kind, e in entries.items() if any(e.values())},
        "calls": [_call(name, *engines) for name in files],
    }


def _entries(old: Mapping[str, Any], new: Mapping[str, Any]) -> dict[str, list[str]]:
    return {
        "added": sorted(set(new) - set(old)),
        "removed": sorted(set(old) - set(new)),
        "changed": sorted(k for k in set(old) & set(new) if old[k] != new[k]),
    }


def _call(name: str, old: Any, new: Any) -> dict[str, Any]:
    before, after = _top(name, old), _top(name, new)
    return {"file": name, "before": before, "after": after, "differs": before != after}


def _top(name: str, engine: Any) -> list[list[str]]:
    """Return the first three causes with their belief; ids this knowledge no longer knows move nothing."""
    from diag.call.desk import Desk
    from diag.record.transcript import read_transcript

    try:
        transcript = read_transcript(Path(name))
        call = Desk(engine).replayed(transcript.events[0].call, transcript.events, transcript.sealed)
        return [[r.cause, r.belief] for r in call.think().judgement.ranking[:3]]
    except DiagError as error:
        return [["not read", str(error)]]


def told(report: Mapping[str, Any]) -> str:
    """Return the report as text."""
    lines = []
    for kind, entry in report["entries"].items():
        lines += [f"{kind} {what}: {', '.join(ids)}" for what, ids in entry.items() if ids]
    for call in report["calls"]:
        if call["differs"]:
            lines.append(f"DIFFERENT {call['file']}")
            lines += [f"  {w:<7}{', '.join(f'{c} ({b})' for c, b in call[w])}" for w in ("before", "after")]
    same = sum(not c["differs"] for c in report["calls"])
    lines.append(f"{same} of {len(report['calls'])} recorded calls come out as before")
    return "\n".join(lines)
