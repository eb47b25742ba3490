"""From a key to the still screen, by kind of key: python tests/bench/keys.py [--size 80x24] [--calls 4].

CPU ms of this process over the whole knowledge, with a store on disk; all that a key starts is waited for, but
not what each answer of the next question would lead to, which comes after the question. Never in a timed test.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parents[1]))

from screens.driving import drive, make_app, press, still
from textual.pilot import Pilot

from diag.knowledge.load import knowledge_folder, load
from diag.reason.judge import Engine
from diag.say.follows import Lead
from diag.tui.app import DiagApp
from diag.tui.screens import asking

SAYS = "row 7 skips"
ENDS = ("act", "nothing", "proved", "closed")
TYPED = {"danger": tuple("DANGER"), "axis": ("question_mark",), "need": ("question_mark",), "place": (), "say": ("1",)}
"""What is typed at a question that is no check."""


class Timed:
    """Presses keys and keeps how long each took, by its kind."""

    def __init__(self, pilot: Pilot[int], times: dict[str, list[float]]) -> None:
        self.pilot, self.times = pilot, times

    async def __call__(self, kind: str, *keys: str) -> None:
        for key in keys:
            began = time.process_time()
            await self.pilot.press(key)
            await still(self.pilot)
            self.times.setdefault(kind, []).append(1000 * (time.process_time() - began))


async def one_call(app: DiagApp, pilot: Pilot[int], timed: Timed) -> None:
    """Take a call, answer up to eight questions, look around, and go back to the calls."""
    await timed("letter of the words", *SAYS)
    await press(pilot, "enter", "1", "enter")
    for _ in range(8):
        asked = app.screen.turn  # type: ignore[attr-defined]
        if asked.kind in ENDS:
            break
        last = str(min(9, len(asked.choices)))
        await timed("arrow", *(("down", "up") if asked.choices else ()))
        await timed("digit or letter", *TYPED.get(asked.kind, (last,)))
        await timed("Enter records", "enter")
    for kind, key in (("F9", "f9"), ("F4", "f4"), ("F3", "f3")):
        await timed(kind, key)
        await timed("letter of a search", *("fold" if key == "f3" else ""))
        await timed("Esc", "escape")
    await timed("F2", "f2")


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--size", default="80x24")
    parser.add_argument("--calls", type=int, default=4)
    options = parser.parse_args()
    columns, lines = map(int, options.size.split("x"))
    times: dict[str, list[float]] = {}
    asking.follows = lambda *_: Lead("", "")  # type: ignore[assignment]

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        for _ in range(options.calls):
            await one_call(app, pilot, Timed(pilot, times))

    with tempfile.TemporaryDirectory() as folder:
        drive(make_app(Engine(load([knowledge_folder()])), Path(folder) / "calls.db"), body, (columns, lines))
    times["all"] = [t for taken in times.values() for t in taken]
    for kind, taken in times.items():
        ordered = sorted(taken)
        p50, p95 = (ordered[min(len(ordered) - 1, int(share * len(ordered)))] for share in (0.5, 0.95))
        print(f"{kind:20} n {len(ordered):4}  p50 {p50:6.1f}  p95 {p95:6.1f} ms")


if __name__ == "__main__":
    main()
