"""Every error meant for the user: what is wrong, where, and what to do about it.

DiagError
├── UnitError        a measured value that cannot be read
│   └── AmbiguousError    figures with two meanings
├── MeasureError     readings that cannot be analysed
├── KnowledgeError   the YAML knowledge base
├── RulesError       two ways of running the rules that do not agree
├── RecordError      events that do not hang together
│   └── TranscriptError   a transcript file written by hand
├── ProgramError     what this program itself does wrong
├── StoreError       the place where calls are kept
│   └── AwayError    a server that cannot be reached or does not answer in time
├── OutputError      a result that cannot be printed
└── UsageError       a command that cannot be carried out as typed
"""

from __future__ import annotations

from pathlib import Path


class DiagError(Exception):
    """An error told in three parts: what, where and the remedy. Exit code 2 on the command line."""

    def __init__(self, what: str, where: str = "", remedy: str = "") -> None:
        super().__init__(what, where, remedy)
        self.what = what
        self.where = where
        self.remedy = remedy

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        cure = f" {self.remedy}" if self.remedy else ""
        return f"{place}{self.what}{cure}"

    def at(self, where: str) -> DiagError:
        """Return the same error with the place named (kept if it already has one)."""
        return self if self.where else type(self)(self.what, where, self.remedy)

    def as_json(self) -> dict[str, str]:
        """Return the three parts as JSON-ready text."""
        return {"what": self.what, "where": self.where, "remedy": self.remedy}


class UnitError(DiagError):
    """A measured value that cannot be read: no unit, wrong dimension, impossible size."""


class AmbiguousError(UnitError):
    """Figures that can be read in two ways: both are told, none is taken."""


class MeasureError(DiagError):
    """Readings that cannot be analysed."""


class KnowledgeError(DiagError):
    """A fault in the YAML knowledge base; `where` is file:line."""


class RulesError(DiagError):
    """The rules, run in two ways over the same facts, do not agree: an error of the program."""


class RecordError(DiagError):
    """Events that do not hang together."""


class TranscriptError(RecordError):
    """A transcript file that cannot be read as a call; `where` is file:line."""


class StoreError(DiagError):
    """The store cannot be opened, read or written."""


class BehindError(StoreError):
    """Others added to the call meanwhile: nothing was written, what they added is to be taken in first."""


class AwayError(StoreError):
    """The server with the calls cannot be reached, or does not answer in time."""


class UsageError(DiagError):
    """A command that cannot be carried out as typed."""


class OutputError(DiagError):
    """A result that cannot be printed, as where a disk is full."""


class ProgramError(DiagError):
    """Something that this program itself does wrong."""


def own_fault(error: Exception) -> ProgramError:
    """Return an error that nobody foresaw as one that says where it arose and what is lost: nothing."""
    trace = error.__traceback__
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    place = f"{Path(trace.tb_frame.f_code.co_filename).name}:{trace.tb_lineno}" if trace is not None else ""
    told = " ".join(str(error).split())[:200]
    return ProgramError(f"This program does something wrong: {type(error).__name__}: {told}.", place,
                        "What was recorded is kept. Send this line to whoever looks after the program.")
