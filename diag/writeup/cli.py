"""`diag writeup` and `diag load-list`: a stored call or a transcript, written out."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path

from diag.call.desk import CallDesk, Desk
from diag.errors import UsageError
from diag.writeup.story.model import Story

MakeDesk = Callable[[bool], Desk]
FORMATS = (".pdf", ".md", ".txt", ".json")


def write_up(options: argparse.Namespace, make_desk: MakeDesk) -> int:
    """Write a call up, to a file or to stdout; return the exit code."""
    from diag.writeup.story import tell

    output = Path(options.output) if options.output else None
    if output is not None and output.suffix.lower() not in FORMATS:
        remedy = f"Name a file ending in {', '.join(FORMATS)}."
        raise UsageError(f"{output.name} has no known ending.", "--output", remedy)
    if options.width < 40:
        raise UsageError("--width is at least 40 columns.", "--width", "Leave it out, or give a larger one.")
    call = open_call(options.call, make_desk)
    try:
        record_judgement(call)
        story = tell(call, personal=not options.no_personal, units=getattr(options, "units", None))
    finally:
        call.shut()
    as_json = getattr(options, "json", False)
    if output is None:
        sys.stdout.write(_text(story, ".json" if as_json else ".txt", options))
        return 0
    _save(output, story, options)
    if as_json:
        import json

        print(json.dumps({"file": str(output), "call": story.record.call}))
    return 0


def _save(output: Path, story: Story, options: argparse.Namespace) -> None:
    suffix = output.suffix.lower()
    try:
        if suffix == ".pdf":
            from diag.writeup.page.pdf import render_pdf

            output.write_bytes(render_pdf(story, options.audience))
        else:
            output.write_text(_text(story, suffix, options), encoding="utf-8", newline="\n")
    except OSError as error:
        raise UsageError(f"Cannot be written: {error.strerror}.", str(output), "Name another place.") from None


def _text(story: Story, suffix: str, options: argparse.Namespace) -> str:
    from diag.writeup.page.render import render_json, render_markdown, render_text

    if suffix == ".md":
        return render_markdown(story, options.audience)
    if suffix == ".json":
        return render_json(story, options.audience)
    return render_text(story, options.width, options.audience)


def load_list(options: argparse.Namespace, make_desk: MakeDesk) -> int:
    """Print what to load for a call; return the exit code."""
    from diag.writeup.load_list import as_json, load_text
    from diag.writeup.load_list import load_list as chosen

    call = open_call(options.call, make_desk)
    try:
        loaded = chosen(call)
    finally:
        call.shut()
    if getattr(options, "json", False):
        import json

        print(json.dumps(as_json(loaded), indent=1))
    else:
        print(load_text(loaded), end="")
    return 0


def open_call(name: str, make_desk: MakeDesk) -> CallDesk:
    """Return a stored call by the beginning of its id, or the call of a transcript file."""
    if "/" in name or "\\" in name or Path(name).suffix:
        return _from_file(name, make_desk(False))
    desk = make_desk(True)
    assert desk.store is not None
    return desk.open_call(desk.store.find(name))


def _from_file(name: str, desk: Desk) -> CallDesk:
    from diag.call.replay import known_ids
    from diag.record.transcript import read_transcript

    try:
        transcript = read_transcript(Path(name), known_ids(desk.engine.knowledge))
    except OSError as error:
        raise UsageError(f"Cannot be read: {error.strerror}.", name, "Check the file's name.") from None
    return desk.replayed(transcript.events[0].call, transcript.events, transcript.sealed)


def record_judgement(call: CallDesk) -> None:
    """Record what is believed at this write-up, unless the record already ends with it or is closed."""
    if call.desk.store is None or call.state.closed or not call.state.writable:
        return
    if call.events[-1].kind != "judged":
        call.judged("write_up")
