"""A call written out as a transcript."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from decimal import Decimal
from pathlib import Path
from typing import Any

import yaml

from diag.errors import TranscriptError
from diag.files import reason_of, write_whole
from diag.record.event import Event, Sealed, place_of
from diag.record.graph import keep_sealed, order, references
from diag.record.hand import Naming
from diag.record.ids import is_hash
from diag.record.kinds import KINDS

_PLAIN = re.compile(r"[A-Za-z][A-Za-z0-9_]*(?: [A-Za-z0-9_/]+)*|[0-9]+(?:\.[0-9]+)? [A-Za-z][A-Za-z0-9_/]*")


def write_transcript(events: Iterable[Event], sealed: Iterable[Sealed], path: Path | str, *, title: str = "",
                     invented: bool = False, expect: Mapping[str, Any] | None = None) -> None:
    """Write a call as a transcript file that reads back to the same state.

    Only the given sealed values are written: leave them out for a file without personal data. Raises
    TranscriptError when the call holds events of a newer program, or the file cannot be written.
    """
    text = transcript_text(events, sealed, title=title, invented=invented, expect=expect)
    try:
        write_whole(Path(path), text.encode())
    except OSError as e:
        what = f"The file cannot be written: {reason_of(e)}."
        raise TranscriptError(what, str(path), "Choose another folder.") from None


def transcript_text(events: Iterable[Event], sealed: Iterable[Sealed], *, title: str = "",
                    invented: bool = False, expect: Mapping[str, Any] | None = None) -> str:
    """Return the text of a transcript; see write_transcript."""
    known = order(events)
    for event in known:
        if not event.known:
            what = "This event is of a newer program."
            raise TranscriptError(what, place_of(event), "Export the call instead.")
    texts: dict[str, dict[str, str]] = {}
    for value in keep_sealed(known, sealed):
        texts.setdefault(value.event, {})[value.field] = value.value
    naming = Naming(_names(known))
    head = {"title": title or "A recorded call", "invented": invented, "start": known[0].at}
    lines = [f"{key}: {_flow(value)}" for key, value in head.items()] + ["events:"]
    at = known[0].at
    for event in known:
        lines += _step(event, texts.get(event.id, {}), naming, at)
        at = event.at
        if event.kind == "machine":
            naming.rows = event.body.get("rows", naming.rows)
    if expect:
        lines += ["expect:", *(f"  {key}: {_flow(value)}" for key, value in expect.items())]
    return "\n".join(lines) + "\n"


def _names(events: list[Event]) -> dict[str, str]:
    """Return {event id: name} for the events that others refer to."""
    wanted = {named for event in events for _, named, _ in references(event)}
    return {e.id: f"{e.kind}_{i}" for i, e in enumerate(events, 1) if e.id in wanted}


def _step(event: Event, texts: Mapping[str, str], naming: Naming, since: str) -> list[str]:
    """Return the lines of one step."""
    entry: dict[str, Any] = {"kind": event.kind}
    if event.id in naming.names:
        entry["as"] = naming.names[event.id]
    if event.at != since:
        entry["at"] = event.at
    entry["by"] = event.by
    told = event.told(texts).model_dump(context=naming, by_alias=True, exclude_unset=True)
    if event.kind == "repair":
        told = {**({"interim": True} if told.pop("kind") == "interim" else {}), **told}
    if event.kind == "erased":
        told["targets"] = []  # what was erased is not in the file, so there is nothing to name
    texts_of = {name: text for name, text in texts.items() if name in KINDS[event.kind].texts()}
    lines = [f"    {key}: {_flow(_lists(value))}" for key, value in {**entry, **told, **texts_of}.items()]
    return [f"  - {lines[0].strip()}", *lines[1:]]


def _lists(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value


class _Dumper(yaml.SafeDumper):
    """Writes flow values; text is quoted wherever it could be taken for something else."""


def _text(dumper: yaml.SafeDumper, text: str) -> yaml.Node:
    style = None if _PLAIN.fullmatch(text) or is_hash(text) else '"'
    return dumper.represent_scalar("tag:yaml.org,2002:str", text, style)


def _number(dumper: yaml.SafeDumper, number: Decimal) -> yaml.Node:
    sort = "float" if "." in str(number) else "int"
    return dumper.represent_scalar(f"tag:yaml.org,2002:{sort}", str(number))


_Dumper.add_representer(str, _text)
_Dumper.add_representer(Decimal, _number)


def _flow(value: Any) -> str:
    text = yaml.dump(value, Dumper=_Dumper, default_flow_style=True, sort_keys=False, allow_unicode=True,
                     width=10**9)
    return text.removesuffix("\n").removesuffix("\n...")
