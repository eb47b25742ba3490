"""Read the YAML knowledge base into one frozen, cross-checked Knowledge.

A knowledge folder holds vocabularies (`*.yaml`, each a mapping of sections) and entries
(`causes/*.yaml`, `checks/*.yaml`, `rules/*.yaml`, each a list). Several folders overlay one another:
an entry in a later folder replaces the entry of the same id in an earlier one.
"""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from diag.errors import KnowledgeError
from diag.knowledge import model, story_terms, vocabulary
from diag.knowledge.base import SECTIONS, Knowledge, Place, Problem
from diag.knowledge.machines import GROUPS
from diag.knowledge.shares import YES
from diag.knowledge.words import Lexicon
from diag.knowledge.yamlfile import Lines, load_yaml

ENTRY_FOLDERS = ("causes", "checks", "rules")
CALLERS = "callers"
"""Folder of callers' texts and the weights trained on them; its texts are not read at start."""


def knowledge_folder() -> Path:
    """Return the knowledge folder: inside the wheel, else beside the package in a checkout."""
    return data_folder("knowledge", "knowledge.yaml")


def data_folder(name: str, witness: str = "") -> Path:
    """Return a folder of data files shipped in the wheel, or the same folder of a checkout."""
    package = Path(__file__).resolve().parent.parent
    for candidate in (package / "data" / name, package.parent / name):
        if (candidate / witness).exists():
            return candidate
    raise KnowledgeError(
        f"The folder {name!r} was not found.", str(package), "Install the program again, or name it with --knowledge."
    )


def load(folders: Sequence[Path] = ()) -> Knowledge:
    """Load the knowledge; raise KnowledgeError with the first problem's place (and how many there are)."""
    knowledge, problems = read(folders or (knowledge_folder(),))
    if problems or knowledge is None:
        first = problems[0]
        more = f" ({len(problems) - 1} more: run `diag knowledge lint`)" if len(problems) > 1 else ""
        raise KnowledgeError(f"{first.id}: {first.what}{more}", f"{first.file}:{first.line}", first.remedy)
    return knowledge


def read(folders: Sequence[Path]) -> tuple[Knowledge | None, list[Problem]]:
    """Read and cross-check; return the knowledge (None when it cannot be built) and every problem found."""
    from diag.knowledge.lint.crosscheck import crosscheck

    gathered = _Gathered()
    for folder in folders:
        gathered.add_folder(folder)
    knowledge = gathered.build()
    problems = list(gathered.problems)
    if knowledge is not None:
        problems.extend(crosscheck(knowledge))
    return knowledge, problems


def expand(check: model.Check) -> Iterable[tuple[str, model.Check]]:
    """Yield (id, check) as asked: itself, or one yes/no check per item of a `several` check.

    "No" to an item is the normal answer, unless the item says that it is.
    """
    if check.takes.kind != "several":
        yield check.id, check
        return
    for name, item in check.items.items():
        key = f"{check.id}.{name}"
        usual = None if item.share is None else 1 - item.share
        no = model.Outcome(says="no", otherwise=True, normal=not item.normal, usual=usual)
        changes = {
            "id": key,
            "asks": item.says,
            "look": check.look or check.id,
            "takes": model.Takes(kind="yes_no"),
            "items": {},
            "outcomes": {YES: item, "no": no},
            "tells": tuple(
                line.model_copy(update={"shows": {YES: line.shows[name]}})
                for line in check.tells if name in line.shows
            ),
        }
        yield key, check.model_copy(update=changes)


@dataclass(frozen=True)
class _Section:
    """Entries of one kind as they stand in a file."""

    folder: Path
    kind: str
    data: Any
    file: str
    lines: Lines
    path: tuple[str | int, ...]


def _overlaid(raw: Any, earlier: BaseModel | None) -> Any:
    """Return an entry with what it keeps of the one it replaces: a limit its book value, its analyses and readings."""
    if not isinstance(earlier, vocabulary.Limit) or not isinstance(raw, dict):
        return raw
    return {"book": earlier.book, "context": earlier.context, "of": earlier.of, **raw}


class _Gathered:
    """Entries read so far, by section."""

    def __init__(self) -> None:
        self.entries: dict[str, dict[str, Any]] = {name: {} for name in SECTIONS}
        self.places: dict[tuple[str, str], Place] = {}
        self.problems: list[Problem] = []
        self.head: dict[str, Any] = {}
        self.lexicon: Lexicon | None = None
        self.sections: list[_Section] = []
        self.hashed: list[tuple[str, bytes]] = []
        self.callers: list[Path] = []

    def add_folder(self, folder: Path) -> None:
        files = sorted(folder.glob("*.yaml"), key=lambda p: p.name)
        for name in ENTRY_FOLDERS:
            files += sorted((folder / name).glob("*.yaml"), key=lambda p: p.name)
        if not files:
            self._problem(str(folder), 1, "knowledge", "No knowledge files here.",
                          remedy="Name the folder that holds them.")
        if (folder / CALLERS).is_dir():
            self.callers.append(folder / CALLERS)
        for path in files:
            self._add_file(folder, path)

    def _add_file(self, folder: Path, path: Path) -> None:
        shown = f"{folder.name}/{path.relative_to(folder).as_posix()}"
        try:
            self.hashed.append((shown, path.read_bytes().replace(b"\r\n", b"\n")))
            data, lines = load_yaml(path, name=shown)
        except KnowledgeError as error:
            file, _, line = error.where.rpartition(":")
            self._problem(file or shown, int(line) if line.isdigit() else 1, path.stem, error.what, remedy=error.remedy)
            return
        except OSError as error:
            self._problem(shown, 1, path.stem, f"Cannot be read: {error.strerror}.",
                          remedy="Check the file and its rights.")
            return
        if path.parent != folder:
            self.sections.append(_Section(folder, path.parent.name, data, shown, lines=lines, path=()))
        elif path.stem == "lexicon":
            self._add_lexicon(data, shown, lines)
        elif isinstance(data, dict):
            for key, value in data.items():
                if key in SECTIONS:
                    self.sections.append(_Section(folder, key, value, shown, lines=lines, path=(key,)))
                elif key in ("version", "requires_program", "settings", "write_up"):
                    self.head[key] = value
                    self.places["head", key] = Place(shown, lines.at((key,)), lines, (key,))
                else:
                    self._problem(shown, lines.at((key,)), key, "Unknown section.",
                                  remedy=f"Known: {', '.join(SECTIONS)}.")
        else:
            self._problem(shown, 1, path.stem, "A mapping of sections is expected.",
                          remedy="Start with `sections: [...]`.")

    def _add_lexicon(self, data: Any, shown: str, lines: Lines) -> None:
        try:
            self.lexicon = Lexicon.model_validate(data)
        except ValidationError as error:
            self._invalid("lexicon", error, shown, lines, path=())

    def _add_entries(self, section: _Section, seen: set[tuple[Path, str, str]]) -> None:
        kind, shown, lines, path = section.kind, section.file, section.lines, section.path
        if not isinstance(section.data, list):
            self._problem(shown, lines.at(path), kind, "A list of entries is expected.", remedy="Write `- id: ...`.")
            return
        entry_model = SECTIONS[kind]
        key_field = "id" if "id" in entry_model.model_fields else "name"
        groups = {name: group.applies for name, group in self.entries["machines"].items()}
        for number, raw in enumerate(section.data):
            here = (*path, number)
            key = str(raw.get(key_field, f"entry {number + 1}")) if isinstance(raw, dict) else f"entry {number + 1}"
            if (section.folder, kind, key) in seen:
                where = self.places[kind, key]
                self._problem(shown, lines.at(here), key, f"Already stands in {where.file}:{where.line}.",
                              remedy="Rename it.")
                continue
            try:
                entry = entry_model.model_validate(_overlaid(raw, self.entries[kind].get(key)),
                                                   context={GROUPS: groups})
            except ValidationError as error:
                self._invalid(key, error, shown, lines, path=here)
                continue
            seen.add((section.folder, kind, key))
            self.entries[kind][sys.intern(key)] = entry
            self.places[kind, key] = Place(shown, lines.at(here), lines, here)

    def _invalid(
        self, key: str, error: ValidationError, shown: str, lines: Lines, path: tuple[str | int, ...]
    ) -> None:
        for item in error.errors():
            place = tuple(p for p in item["loc"] if isinstance(p, str | int))
            field_name = ".".join(str(p) for p in place) or "entry"
            what = f"{field_name}: {item['msg']}."
            self._problem(shown, lines.at((*path, *place)), key, what, remedy=_remedy(item))

    def _problem(self, file: str, line: int, key: str, what: str, remedy: str) -> None:
        self.problems.append(Problem(file, line, key, what, remedy=remedy))

    def _head(self, name: str, of: type[BaseModel]) -> BaseModel | None:
        place = self.places.get(("head", name))
        try:
            return of.model_validate(self.head.get(name, {}))
        except ValidationError as error:
            if place and place.lines:
                self._invalid(name, error, place.file, place.lines, path=(name,))
            else:
                self._problem("knowledge.yaml", 1, name, "Missing.", remedy="The folder needs a knowledge.yaml.")
            return None

    def build(self) -> Knowledge | None:
        seen: set[tuple[Path, str, str]] = set()
        for section in sorted(self.sections, key=lambda s: s.kind != "machines"):
            self._add_entries(section, seen)
        settings = self._head("settings", vocabulary.Settings)
        write_up = self._head("write_up", story_terms.WriteUp)
        if not isinstance(settings, vocabulary.Settings) or not isinstance(write_up, story_terms.WriteUp):
            return None
        digest = hashlib.sha256(b"".join(s.encode() + b"\0" + raw + b"\0" for s, raw in sorted(self.hashed)))
        questions = {key: q for c in self.entries["checks"].values() for key, q in expand(c)}
        return Knowledge(
            version=str(self.head.get("version", "0")),
            digest=f"sha256:{digest.hexdigest()}",
            settings=settings,
            write_up=write_up,
            lexicon=self.lexicon or Lexicon.model_validate({}),
            questions=questions,
            places=self.places,
            callers=tuple(self.callers),
            **self.entries,
        )


def _remedy(item: Any) -> str:
    kind = item["type"]
    if kind == "extra_forbidden":
        return "Remove the field, or correct its name."
    if kind == "missing":
        return "Add the field."
    return f"Found: {str(item.get('input'))[:60]!r}."
