"""`diag knowledge lint|show|schema|new|watch`: what the people who write the knowledge work with."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from diag.arguments import Parser, tell
from diag.errors import KnowledgeError, UsageError
from diag.text import count

if TYPE_CHECKING:
    from diag.knowledge.base import Knowledge

CLEAN, FLAWED, REFUSED = 0, 1, 2


def _parser() -> Parser:
    parser = Parser(prog="diag knowledge", description="Look after the knowledge base.")
    verbs = parser.add_subparsers(dest="verb", required=True, metavar="lint|show|schema|new|watch")
    linted = verbs.add_parser("lint", help="test the knowledge and list what is wrong")
    linted.add_argument("--tables", action="store_true", help="print every chance that is told, and its ratio")
    shown = verbs.add_parser("show", help="print one entry with everything resolved")
    shown.add_argument("id", metavar="ID")
    schema = verbs.add_parser("schema", help="print a JSON schema for editors")
    schema.add_argument("section", nargs="?", metavar="SECTION", help="causes, checks, rules; none: the rest")
    new = verbs.add_parser("new", help="print an entry to fill in")
    new.add_argument("kind", metavar="KIND")
    new.add_argument("id", metavar="ID")
    watch = verbs.add_parser("watch", help="lint again whenever a file changes")
    watch.add_argument("--every", type=float, default=1.0, metavar="SECONDS")
    return parser


def main(argv: Sequence[str], *, knowledge: list[Path], json_out: bool) -> int:
    """Carry out one command; return 0, 1 (problems found) or 2 (the knowledge cannot be read).

    Raises DiagError for a command that cannot be carried out.
    """
    options = _parser().parse_args(list(argv))
    runs: dict[str, Callable[[Any, list[Path], bool], int]] = {
        "lint": _lint, "show": _show, "schema": _schema, "new": _new, "watch": _watch,
    }
    return runs[options.verb](options, knowledge, json_out)


def _lint(options: Any, folders: list[Path], json_out: bool) -> int:
    from diag.knowledge.lint.run import lint

    report = lint(folders)
    if options.tables and report.knowledge and not json_out:
        from diag.knowledge.lint.shows import table_lines

        print("\n".join(table_lines(report.knowledge)))
    tell(report.as_json(), lint_text(report), as_json=json_out)
    if report.knowledge is None:
        return REFUSED
    return FLAWED if report.problems else CLEAN


def lint_text(report: Any) -> str:
    """Return a lint report as lines of text: every problem, then the counts."""
    lines = [str(problem) for problem in report.problems]
    numbers = {name: n for name, n in report.counts.items() if name != "by_mark"}
    marks = report.counts.get("by_mark", {})
    lines.append(", ".join(f"{n} {name}" for name, n in numbers.items()))
    lines.append("sources named: " + ", ".join(f"{n} {name.replace('_', ' ')}" for name, n in marks.items()))
    lines.append(count(len(report.problems), "problem") if report.problems else "no problems")
    return "\n".join(line for line in lines if line)


def _show(options: Any, folders: list[Path], json_out: bool) -> int:
    import difflib

    from diag.knowledge.lint.run import COUNTED
    from diag.knowledge.show import show

    base = _readable(folders)
    found = base.find(options.id)
    if not found:
        names = sorted({key for kind in (*COUNTED, "limits", "findings") for key in getattr(base, kind)})
        close = difflib.get_close_matches(options.id, names, n=3, cutoff=0.5)
        hint = f"Did you mean {' or '.join(close)}?" if close else "Look into the YAML files for its name."
        raise UsageError(f"Nothing is called {options.id!r}.", "knowledge", hint)
    if json_out:
        dumped = [
            {"kind": kind, "place": base.place(kind, options.id),
             "entry": entry.model_dump(mode="json", exclude_defaults=True, by_alias=True)}
            for kind, entry in found
        ]
        print(json.dumps(dumped, indent=1))
    else:
        print("\n\n".join(show(base, kind, options.id) for kind, _ in found))
    return CLEAN


def _readable(folders: list[Path]) -> Knowledge:
    """Return the knowledge although something in it may be wrong. Raises KnowledgeError."""
    from diag.knowledge.load import read

    base, problems = read(folders)
    if base is None:
        first = problems[0]
        raise KnowledgeError(first.what, f"{first.file}:{first.line}", first.remedy)
    return base


def _schema(options: Any, folders: list[Path], json_out: bool) -> int:
    from diag.knowledge.schema import entry_schema, vocabulary_schema

    print(json.dumps(entry_schema(options.section) if options.section else vocabulary_schema(), indent=1))
    return CLEAN


def _new(options: Any, folders: list[Path], json_out: bool) -> int:
    from diag.knowledge.templates import template

    known = _readable(folders)
    text = template(options.kind, options.id, known)
    taken = [kind for kind, _ in known.find(options.id)]
    if taken:
        raise UsageError(f"{options.id} is taken in {taken[0]}.", "knowledge", "Choose another id.")
    tell({"template": text}, text.rstrip(), as_json=json_out)
    return CLEAN


def _watch(options: Any, folders: list[Path], json_out: bool) -> int:
    try:
        watch(folders, lambda: time.sleep(options.every))
    except KeyboardInterrupt:
        return CLEAN
    return CLEAN


def watch(folders: Sequence[Path], pause: Callable[[], Any], say: Callable[[str], Any] = print) -> None:
    """Lint whenever a file of the folders changes; `pause` waits between looks and ends it by raising."""
    from diag.knowledge.lint.run import lint

    seen: Any = None
    while True:
        now = sorted((str(p), p.stat().st_mtime_ns) for folder in folders for p in folder.rglob("*.yaml"))
        if now != seen:
            seen = now
            say(lint_text(lint(folders)))
        pause()
