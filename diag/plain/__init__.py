"""The conversation line by line: for a pipe, a screen reader, a dumb terminal, or by choice.

Every answer is recorded at once. At every question a word does more: `help` lists them.
"""

from __future__ import annotations

from diag.plain.dialogue import Dialogue, run_plain
from diag.plain.talk import WIDTH

__all__ = ["WIDTH", "Dialogue", "run_plain"]
