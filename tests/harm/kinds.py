"""The kinds of input that reach the program, each with good examples, words that belong there, and what takes it."""

from __future__ import annotations

import contextlib
import io
import random
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from harm.base import DEMO, ROOT, SMALL, engine, files, folder, many, text
from harm.calls import (
    a_hostile_export,
    a_newer_export,
    exports,
    take_export,
    take_newer_export,
    take_settings,
    take_transcript,
)
from harm.commands import a_command_line, some_lines, take_arguments, take_lines
from harm.mutate import changed
from harm.watch import check_printed, within
from PIL import Image

from diag import figures
from diag.ask import photos
from diag.call.desk import Desk
from diag.errors import DiagError
from diag.figures.rows import parse_rows
from diag.figures.table import read_file
from diag.hear.complaint import listener
from diag.knowledge.load import load
from diag.knowledge.yamlfile import load_yaml
from diag.record.kinds import KINDS as EVENTS
from diag.store.sqlstore import Store

Attempt = Callable[[bytes, Path], None]


@dataclass(frozen=True)
class Kind:
    """One kind of input. `attempt` takes it in a folder of its own; only a DiagError may come out."""

    attempt: Attempt
    seeds: Callable[[], list[bytes]]
    words: Callable[[], tuple[str, ...]] = tuple
    made: Callable[[random.Random], bytes] | None = None
    """How inputs come about, where not by changing the examples."""
    seconds: float = 2.0
    """CPU time that one input may take."""
    cost: float = 1.0
    """How dear an attempt is beside the cheapest: dear kinds get a smaller share."""
    guided: bool = False
    """Whether a coverage-guided fuzzer follows the branches of what takes it."""

    def draw(self, rng: random.Random) -> bytes:
        """Return an input."""
        return self.made(rng) if self.made else changed(rng, self.seeds(), self.words())


def once(name: str, rng: random.Random) -> str:
    """Try one drawn input of a kind; "" or the input that failed, raised with its trace."""
    data = KINDS[name].draw(rng)
    try:
        attempt(name, data)
    except Exception as error:
        error.add_note(f"input: {data[:4000]!r}")
        raise
    return ""


def attempt(name: str, data: bytes) -> None:
    """Give an input of a kind to what takes it. Raises what no input may raise."""
    with folder() as place, within(KINDS[name].seconds):
        try:
            KINDS[name].attempt(data, place)
        except DiagError as refused:
            check_printed(str(refused).replace("\n", " "))


# ------------------------------------------------------------------------------------------- texts

_ASKED = [
    figures.Asked("pressure", "inH2O"), figures.Asked("pressure", "inH2O", "rows", rows=12),
    figures.Asked("length", "in", "list"), figures.Asked("count"),
    figures.Asked("pressure", None, "rows"),
    figures.Asked("pressure", "kPa", "labels", labels=("left wing", "right wing", "middle")),
    figures.Asked("speed", "mph"), figures.Asked("time", "s", "list", least=3), figures.Asked("percent", None, "one"),
]


def _figures(data: bytes, _: Path) -> None:
    said = text(data)
    for asked in _ASKED:
        with contextlib.suppress(DiagError):
            figures.read(said, asked)
    for take in (figures.count, figures.k_of_n, figures.by_row, figures.setting, figures.plain, figures.whole,
                 lambda s: figures.counts(s, ("a", "b", "none")), lambda s: figures.log(s, _ASKED[0]),
                 lambda s: figures.number_in(s, 9)):
        with contextlib.suppress(DiagError):
            take(said)


def _rows(data: bytes, _: Path) -> None:
    sections = {"left wing": [1, 2, 3, 4], "right wing": [9, 10, 11, 12]}
    for count in (None, 12):
        with contextlib.suppress(DiagError):
            parse_rows(text(data), count, sections)


def _complaint(data: bytes, _: Path) -> None:
    listener(engine(whole=True).knowledge).match(text(data))


def _complaints() -> list[bytes]:
    data, _ = load_yaml(ROOT / "tests" / "complaints.yaml")
    said = [str(entry.get("say", entry.get("words", ""))) for entry in data[:200]] if isinstance(data, list) else []
    return [s.encode() for s in said if s] or [b"Row 7 skips and doubles since Monday, gauge reads 18 inches"]


def _yaml(data: bytes, place: Path) -> None:
    (place / "x.yaml").write_bytes(data)
    load_yaml(place / "x.yaml")


def _table(data: bytes, place: Path) -> None:
    (place / "x.csv").write_bytes(data)
    for wanted in (("vacuum", "value"), ("spacing",), ("time", "torque")):
        with contextlib.suppress(DiagError):
            read_file(place / "x.csv", wanted)


# ------------------------------------------------------------------------------------------- files

_KNOWN = sorted(SMALL.rglob("*.yaml"))


def _knowledge(data: bytes, place: Path) -> None:
    number, _, changed_file = data.partition(b"\n")
    name = _KNOWN[int(number) % len(_KNOWN)] if number.isdigit() and len(number) < 9 else _KNOWN[0]
    shutil.copytree(SMALL, place / "knowledge")
    (place / "knowledge" / name.relative_to(SMALL)).write_bytes(changed_file)
    load([place / "knowledge"])


def _knowledge_files() -> list[bytes]:
    return [f"{i}\n".encode() + p.read_bytes() for i, p in enumerate(_KNOWN)]


def _yaml_words() -> tuple[str, ...]:
    fields = {name for kind in EVENTS.values() for name in kind.model_fields}
    return (*EVENTS, *(f"{f}: " for f in sorted(fields)), "{all: 3}", "{7-9: 11 inH2O}", "3 of 20", "+1min",
            "-3d", "rows: all", "before", "[a, b]", "{}", "[]",
            "true", "12")


def _picture(data: bytes, place: Path) -> None:
    (place / "x.jpg").write_bytes(data)
    with Store(place / "calls.db", random.Random(1).randbytes) as store:
        call = Desk(engine(), store, store.desk_id()).new_call("site")
        photos.take(call, place / "x.jpg", "what it shows")


def a_picture(form: str, size: tuple[int, int]) -> bytes:
    """Return a picture of noise."""
    out = io.BytesIO()
    Image.effect_noise(size, 50).convert("RGB").save(out, form)
    return out.getvalue()


@cache
def _pictures() -> list[bytes]:
    return [a_picture(form, (40, 30)) for form in ("PNG", "JPEG", "BMP", "TIFF", "WEBP", "GIF")]


KINDS = {
    "figures": Kind(
        _figures,
        many("6: 18.2, 7: 11 inH2O", "18 1/2 in", "3 of 20", "1,234.5 mbar", "row 7 11, row 8 18.2", "6.5 6.4 13.1 in",
             "left wing 18 right wing 17", "12 ft 6 in", "0:00 18, 0:05 17.5"),
        lambda: ("inH2O", "kPa", " of ", "row ", "rows 3-7 ", "again", "skip", "1/2", "in", "mph", ":"),
        guided=True),
    "rows": Kind(
        _rows, many("7", "3, 7-9", "all but 4", "left wing", "every 2nd from 1", "rows 3 to 9 and 12"),
        lambda: ("all", " but ", "every ", "2nd", "from", "left wing", "-", " to "), guided=True),
    "complaints": Kind(
        _complaint, _complaints, lambda: ("row 7", "doubles", "not ", "vacuum 18", "skips", "gauge"),
        cost=8, guided=True),
    "yaml": Kind(_yaml, files(*_KNOWN, *DEMO[:2]), _yaml_words, cost=3, guided=True),
    "tables": Kind(
        _table, many("row,vacuum inH2O\n1,18\n2,17.5\n", "spacing;row\n6,5 in;1\n6,4;1\n", "18\n17\n19\n",
                     "time s\ttorque\n0\t1.5\n1\t1.6\n"),
        lambda: (",", ";", "row", "inH2O", "\n1,2\n"), cost=2, guided=True),
    "knowledge": Kind(_knowledge, _knowledge_files, _yaml_words, cost=20),
    "transcripts": Kind(take_transcript, files(*DEMO[:8]), _yaml_words, seconds=10, cost=60),
    "pictures": Kind(_picture, _pictures, cost=10),
    "exports": Kind(
        take_export, exports, lambda: ("null", "{}", "[]", "1.5", "1e5", '"v": 3', '"n": 0'), seconds=10, cost=20,
        guided=True),
    "hostile exports": Kind(take_export, list, made=a_hostile_export, seconds=10, cost=80),
    "newer events": Kind(take_newer_export, list, made=a_newer_export, seconds=10, cost=60),
    "settings": Kind(
        take_settings, many('{"units": "us", "channel": "site"}', '"us"', "[1, 2]", '{"units": 3}', "1",
                        '{"units": null, "channel": []}', '{"on truck": ["x"]}'),
        lambda: ('"units"', '"channel"', "null", "[]", "{}", "99"), cost=40),
    "arguments": Kind(take_arguments, list, made=a_command_line, seconds=20, cost=40),
    "typed": Kind(take_lines, list, made=some_lines, seconds=20, cost=60),
}
