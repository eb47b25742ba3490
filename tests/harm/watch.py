"""What no input may do: end in a traceback, hang, drive the terminal, or make more than one JSON value."""

from __future__ import annotations

import contextlib
import io
import random
import signal
import sys
import time
import traceback
import unicodedata
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

HANGS = 60.0
"""Seconds after which an attempt counts as hanging, on a machine that does other things too."""
OWN_FAULT = "This program does something wrong"
"""How an error is told that nobody foresaw."""


class FailedError(AssertionError):
    """Something that no input may do."""


class SaidError(FailedError):
    """What was printed would drive a terminal."""


def check_printed(text: str) -> None:
    """Raise SaidError for control characters, direction marks and lone surrogates."""
    for place, c in enumerate(text):
        if c not in "\n\t" and unicodedata.category(c) in ("Cc", "Cf", "Cs"):
            raise SaidError(f"U+{ord(c):04X} was printed: {text[max(0, place - 40):place + 20]!r}")


class Typed(io.StringIO):
    """What stands at standard input: the same text as characters and as bytes."""

    @property
    def buffer(self) -> io.BytesIO:
        """The bytes of it."""
        return io.BytesIO(self.getvalue().encode("utf-8", "surrogatepass"))


def run_command(arguments: list[str], typed: str = "") -> tuple[int, str]:
    """Run a command of the program here; return its exit code and what it printed, errors too."""
    from diag.cli import main

    out, error, kept = io.StringIO(), io.StringIO(), sys.stdin
    sys.stdin = Typed(typed)
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(error):
            try:
                code = main(arguments)
            except SystemExit as e:
                code = e.code if isinstance(e.code, int) else 0
    finally:
        sys.stdin = kept
    check_printed(out.getvalue())
    check_printed(error.getvalue())
    if code not in (0, 1, 2):
        raise FailedError(f"exit code {code}")
    if OWN_FAULT in out.getvalue() + error.getvalue():
        raise FailedError(out.getvalue()[-500:] + error.getvalue()[-500:])
    return code, out.getvalue() + error.getvalue()


@contextlib.contextmanager
def within(seconds: float) -> Iterator[None]:
    """Fail when the work inside takes more than so much CPU time, or hangs."""
    def ring(*_: Any) -> None:
        raise FailedError(f"hangs: more than {HANGS:.0f} s")

    can = hasattr(signal, "SIGALRM")
    before = signal.signal(signal.SIGALRM, ring) if can else None
    if can:
        signal.setitimer(signal.ITIMER_REAL, HANGS)
    began = time.process_time()
    try:
        yield
    finally:
        if can:
            signal.setitimer(signal.ITIMER_REAL, 0)
            signal.signal(signal.SIGALRM, before)
    taken = time.process_time() - began
    if taken > seconds:
        raise FailedError(f"{taken:.1f} s of CPU time, more than {seconds:.0f}")


def rounds(name: str, count: int, seed: int, once: Callable[[random.Random], str], keep: Path | None = None,
           ) -> list[str]:
    """Do something so many times, each with chance of its own; return every failure with its number and trace.

    `once` returns "" or what went wrong; `keep` is a file to which failures are added at once.
    """
    failed: list[str] = []
    for number in range(count):
        try:
            said = once(random.Random(f"{name} {seed} {number}"))
        except Exception as e:
            said = f"{type(e).__name__}: {e}\n" + "".join(traceback.format_tb(e.__traceback__)[-4:])
        if said:
            failed.append(f"{name}, seed {seed}, number {number}: {said}")
            if keep is not None:
                with keep.open("a", encoding="utf-8", errors="backslashreplace") as file:
                    file.write(failed[-1] + "\n\n")
    return failed
