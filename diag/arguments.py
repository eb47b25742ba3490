"""What all commands share: one parser class, one way to print a result, one way to complain."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any, NoReturn, TextIO

from diag.errors import DiagError, OutputError, UsageError
from diag.text import printable

BAD_INPUT = 2


class Printed:
    """A stream that shows what could drive the terminal instead of sending it: the one cleaning of all output."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, said: str) -> int:
        """Write text as it may be printed. Raises OutputError when it is not taken."""
        with self._told():
            return self._stream.write(printable(said))

    def flush(self) -> None:
        """Hand over what was written. Raises OutputError when it is not taken."""
        with self._told():
            self._stream.flush()

    def let_go(self) -> None:
        """Write no more of what was kept back: nobody takes it."""
        with suppress(OSError, ValueError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), self._stream.fileno())

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except BrokenPipeError:
            raise
        except OSError as error:
            self.let_go()
            what = f"The result cannot be written: {error.strerror or type(error).__name__}."
            raise OutputError(what, "output", "Make room, or send it elsewhere.") from None

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


def asked(question: str) -> str:
    """Return what is typed at the terminal in answer to a question. Raises EOFError at the end of the input."""
    return input(printable(question))


class Parser(argparse.ArgumentParser):
    """argparse that tells errors the way all others are told."""

    def error(self, message: str) -> NoReturn:
        command = self.prog.partition(" ")[2]
        raise UsageError(f"{message[:1].upper()}{message[1:]}.", command, f"See `{self.prog} --help`.")


def tell(value: Any, text: str, *, as_json: bool) -> None:
    """Print a result: one JSON value, or its text."""
    print(json.dumps(value, ensure_ascii=False, indent=1) if as_json else text)


def complain(error: DiagError, *, as_json: bool) -> int:
    """Print an error, JSON to stdout or text to stderr; return the exit code."""
    if as_json:
        print(json.dumps({"error": error.as_json()}, ensure_ascii=False))
    else:
        print(f"diag: {error}", file=sys.stderr)
    return BAD_INPUT
