"""From a call to a file: what is written, safely beside the old one, and what can be done with it afterwards."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Mapping
from dataclasses import replace as changed
from pathlib import Path

from diag.ask.photos import kept_photos
from diag.call.desk import CallDesk
from diag.errors import UsageError
from diag.files import reason_of, write_whole
from diag.units import System
from diag.writeup.completeness import readiness
from diag.writeup.page.audience import CLAIM, SERVICE
from diag.writeup.page.formats import FORMATS, Order
from diag.writeup.story import tell

Copies = Callable[[str], None]
"""Puts text where it can be pasted from."""


def ordered(call: CallDesk, audience: str = SERVICE, *, personal: bool = True, units: System | None = None,
            width: int = 78, paper: str = "letter") -> Order:
    """Return what is to be written of a call for a reader."""
    story = tell(call, personal=personal, units=units)
    whole = story if personal else tell(call, units=units)
    ready = readiness(whole, call.engine.knowledge, claim=audience == CLAIM or whole.claim)
    if not personal:
        ready = changed(ready, missing=tuple(changed(m, detail=m.needs, reason="") for m in ready.missing))
    return Order(story, audience, ready, kept_photos(call) if personal else {}, width=width, paper=paper)


def form_of(path: Path, where: str) -> str:
    """Return the ending that says the form. Raises UsageError for one that is not known."""
    ending = path.suffix.lower()
    if ending not in FORMATS:
        raise UsageError(f"{path.name} has no known ending.", where, f"End it in {', '.join(FORMATS)}.")
    return ending


def save(path: Path, order: Order, *, replace: bool, where: str = "File") -> None:
    """Write a write-up: whole beside the old file, then in its place. Raises UsageError; the old file stays then."""
    data = FORMATS[form_of(path, where)].make(order)
    if path.exists() and not replace:
        remedy = "Say that it is to be replaced, or choose another name."
        raise UsageError("There is such a file already.", where, remedy)
    try:
        write_whole(path, data)
    except (OSError, ValueError) as error:
        raise UsageError(f"Cannot be written: {reason_of(error)}.", where, "Name another place.") from None


CLIPBOARDS = (("clip",), ("pbcopy",), ("wl-copy",), ("xclip", "-selection", "clipboard"))
"""Commands of the systems that take text for pasting."""


def clipboard() -> Copies | None:
    """Return what puts text where it can be pasted from, by the system's own means; None where it has none."""
    command = next((c for c in CLIPBOARDS if shutil.which(c[0])), None)
    if command is None:
        return None

    def copy(text: str) -> None:
        coding = "utf-16-le" if command[0] == "clip" else "utf-8"
        try:
            subprocess.run(command, input=text.encode(coding), check=True, stdout=subprocess.DEVNULL,
                           stderr=subprocess.DEVNULL, timeout=10)
        except (OSError, subprocess.SubprocessError):
            raise UsageError("It could not be copied.", "Copy", "Save it as a .short file instead.") from None

    return copy


def short_text(order: Order) -> str:
    """Return the short form of a write-up, for pasting into a form's field."""
    return FORMATS[".short"].make(order).decode()


def afterwards() -> Mapping[str, str]:
    """Return what this system can do with a file that was written: open it, print it."""
    can = {"open": "open it"}
    if sys.platform == "win32" or shutil.which("lp"):
        can["print"] = "print it"
    return can


def do_afterwards(what: str, path: Path) -> None:
    """Open or print a file with the system's own means. Raises UsageError when it has none."""
    if what == "open":
        import webbrowser

        if not webbrowser.open(path.resolve().as_uri()):
            raise UsageError("Nothing here opens such a file.", "Afterwards", f"It was written: {path}.")
    elif what == "print":
        try:
            if sys.platform == "win32":
                os.startfile(path, "print")
            else:
                subprocess.run(["lp", "--", str(path)], check=True, capture_output=True)
        except (OSError, subprocess.CalledProcessError):
            raise UsageError("It could not be printed.", "Afterwards", f"It was written: {path}.") from None
