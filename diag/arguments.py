"""What all commands share: one parser class, one way to print a result, one way to complain."""

from __future__ import annotations

import argparse
import json
import sys
from typing import Any, NoReturn

from diag.errors import DiagError, UsageError

BAD_INPUT = 2


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
