"""`diag writeup` and `diag load-list`: a stored call or a transcript, written out."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from diag.arguments import asked
from diag.call.desk import CallDesk, Desk
from diag.errors import StoreError, UsageError
from diag.files import typed_path

if TYPE_CHECKING:
    from diag.writeup.page.formats import Order

MakeDesk = Callable[[bool], Desk]


def write_up(options: argparse.Namespace, make_desk: MakeDesk) -> int:
    """Write a call up, to a file or to stdout; return the exit code."""
    from diag.writeup.page.formats import FORMATS
    from diag.writeup.saving import form_of, ordered

    output = typed_path(options.output, "--output") if options.output else None
    if output is not None:
        form_of(output, "--output")
    if options.width < 40:
        raise UsageError("--width is at least 40 columns.", "--width", "Leave it out, or give a larger one.")
    as_json = getattr(options, "json", False)
    call = open_call(options.call, make_desk)
    try:
        record_judgement(call)
        order = ordered(call, options.audience, personal=not options.no_personal, units=getattr(options, "units", None),
                        width=options.width, paper=options.paper)
    finally:
        call.shut()
    if output is None:
        form = ".json" if as_json else f".{options.form}"
        sys.stdout.write(FORMATS[form].make(order).decode())
        return 0
    _save(output, order, options)
    if as_json:
        import json

        print(json.dumps({"file": str(output), "call": order.story.record.call}))
    else:
        print(f"Written: {output.resolve()}")
    return 0


def _save(output: Path, order: Order, options: argparse.Namespace) -> None:
    """Write the file; an older one is replaced only when that was said, or is said now."""
    from diag.writeup.saving import save

    replace = options.replace
    if not replace and output.exists() and sys.stdin.isatty() and not getattr(options, "json", False):
        replace = asked(f"{output} is there already. Replace it? [no] ").strip().casefold() in ("y", "yes")
    save(output, order, replace=replace, where=str(output))


def load_list(options: argparse.Namespace, make_desk: MakeDesk) -> int:
    """Print what to load for a call; return the exit code."""
    from diag.writeup.load_list import load_list as chosen
    from diag.writeup.load_page import as_json, load_text

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
        with suppress(StoreError):  # a store that may only be read, or is held: the page is written all the same
            call.judged("write_up")
