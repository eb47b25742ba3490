"""The command line: commands, common options, exit codes (0 good, 1 the expected did not come, 2 bad input).

Everything heavy is imported by the command that needs it. Results go to stdout, diagnostics to stderr;
with --json stdout holds one JSON value, on failure too.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Mapping, Sequence
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import TYPE_CHECKING, Any

from diag import __version__
from diag.arguments import BAD_INPUT, Parser, Printed, complain, tell
from diag.errors import DiagError, OutputError, UsageError, own_fault
from diag.files import typed_path

if TYPE_CHECKING:
    from diag.call.desk import Desk
    from diag.reason.judge import Engine
    from diag.store.open import Store

GOOD, NOT_AS_EXPECTED = 0, 1


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command and return its exit code; whatever happens is told in a line or two."""
    arguments = list(sys.argv[1:] if argv is None else argv)
    _console()
    out = Printed(sys.stdout)
    with redirect_stdout(out), redirect_stderr(Printed(sys.stderr)):
        try:
            code = _run(arguments)
            out.flush()
            return code
        except BrokenPipeError:
            out.let_go()
            return GOOD
        except KeyboardInterrupt:
            print("stopped", file=sys.stderr)
            return BAD_INPUT
        except OutputError as error:
            return complain(error, as_json=False)


def _run(arguments: list[str]) -> int:
    if arguments == ["--version"]:
        print(f"diag {__version__}")
        return GOOD
    try:
        options = _parser().parse_args(arguments)
        return int(options.run(options))
    except (BrokenPipeError, OutputError):
        raise
    except DiagError as error:
        return complain(error, as_json="--json" in arguments)
    except Exception as error:
        return complain(own_fault(error), as_json="--json" in arguments)


def _console() -> None:
    """See that all streams are there, and that a character which one of them cannot take does not end a command."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:  # no console at all, as under a window system
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115
        reconfigure = getattr(getattr(sys, name), "reconfigure", None)
        if reconfigure:
            reconfigure(errors="replace")


def _common() -> Parser:
    common = Parser(add_help=False, argument_default=argparse.SUPPRESS, allow_abbrev=False)
    common.add_argument("--store", metavar="PATH|URL",
                        help="where calls are kept (else DIAG_STORE, else your data folder)")
    common.add_argument("--knowledge", metavar="DIR", action="append",
                        help="knowledge folder; repeatable, later ones overlay")
    common.add_argument("--units", choices=("us", "metric"), help="units to show values in")
    common.add_argument("--json", action="store_true", help="one JSON value on stdout")
    common.add_argument("--no-mouse", action="store_true", help="leave the mouse to the terminal")
    common.add_argument("--no-color", action="store_true", help="no colours")
    return common


def _parser() -> Parser:
    common = _common()
    parser = Parser(
        prog="diag", parents=[common],
        description="Find what is wrong in the seed path of a vacuum planter, prove the repair, write it up.",
    )
    parser.add_argument("--version", action="store_true", help="print the version (-v: what it runs on)")
    parser.add_argument("-v", "--verbose", action="store_true", help=argparse.SUPPRESS)
    parser.set_defaults(run=_start)
    commands: Any = parser.add_subparsers(metavar="command", parser_class=Parser)

    plain = commands.add_parser("plain", parents=[common], help="the same conversation line by line")
    plain.add_argument("call", nargs="?", help="call to go on with (any unique beginning of its id)")
    plain.set_defaults(run=_plain)

    replay = commands.add_parser("replay", parents=[common], help="replay transcripts and check what must come out")
    replay.add_argument("files", nargs="+", metavar="FILE")
    replay.set_defaults(run=_replay)

    hear = commands.add_parser("hear", parents=[common], help="what is heard in a caller's words")
    hear.add_argument("said", metavar="TEXT|FILE", help="the words, or a YAML list of entries with `say`")
    hear.set_defaults(run=_hear)

    for name, text, run in (
        ("measure", "work out readings: spacing, stand, vacuum, drive, fan, wire, slip", _measure),
        ("knowledge", "lint, show, train, trial, play, effect, new, schema, watch", _knowledge),
        ("calls", "list, show, export, import, search, verify, sign, backup, repair, erase", _calls),
    ):
        # No prefix character: options, --help among them, are left to the command itself.
        command = commands.add_parser(name, help=text, add_help=False, prefix_chars="\0")
        command.add_argument("rest", nargs=argparse.REMAINDER)
        command.set_defaults(run=run)

    writeup = commands.add_parser("writeup", parents=[common], help="write a call up")
    writeup.add_argument("call", metavar="CALL|TRANSCRIPT")
    writeup.add_argument("-o", "--output", metavar="FILE", help="FILE.(pdf|html|md|txt|json)")
    writeup.add_argument("--form", choices=("txt", "short", "md", "html", "json"), default="txt", help="without a file")
    writeup.add_argument("--paper", choices=("letter", "a4"), default="letter")
    writeup.add_argument("--replace", action="store_true", help="write over a file that is there")
    writeup.add_argument("--for", dest="audience", choices=("customer", "claim", "service"), default="service")
    writeup.add_argument("--no-personal", action="store_true", help="leave personal data out")
    writeup.add_argument("--width", type=int, default=80, help="columns of plain text")
    writeup.set_defaults(run=_writeup)

    load = commands.add_parser("load-list", parents=[common], help="what to load on the truck for a call")
    load.add_argument("call", metavar="CALL|TRANSCRIPT")
    load.set_defaults(run=_load_list)

    practice = commands.add_parser("practice", parents=[common], help="practise on an invented fault")
    practice.add_argument("--seed", type=int, default=None)
    practice.set_defaults(run=_practice)
    return parser


# --- what commands need -----------------------------------------------------------------------------


def folders(options: argparse.Namespace) -> list[Path]:
    """Return the knowledge folders named, else the shipped one."""
    from diag.knowledge.load import knowledge_folder

    named = [typed_path(p, "--knowledge") for p in getattr(options, "knowledge", None) or ()]
    for path in named:
        if not path.is_dir():
            raise UsageError("No such knowledge folder.", str(path), "Name a folder with YAML files.")
    if named and not any((p / "knowledge.yaml").exists() for p in named):
        return [knowledge_folder(), *named]
    return named or [knowledge_folder()]


def store_place(options: argparse.Namespace) -> str:
    """Return where calls are kept."""
    from platformdirs import user_data_dir

    named = getattr(options, "store", None) or os.environ.get("DIAG_STORE")
    return str(named or Path(user_data_dir("diag", appauthor=False)) / "calls.db")


def open_the_store(options: argparse.Namespace) -> Store:
    """Open the store (made when missing)."""
    from diag.store.open import open_store

    return open_store(store_place(options))


def make_engine(options: argparse.Namespace) -> Engine:
    """Return the engine over the knowledge named, else the shipped one."""
    from diag.knowledge.load import load
    from diag.reason.judge import Engine

    return Engine(load(folders(options)))


def make_desk(options: argparse.Namespace, *, store: bool = True) -> Desk:
    """Return a desk with engine, knowledge and, when asked for, the store."""
    from diag.call.desk import Desk

    engine = make_engine(options)
    if not store:
        return Desk(engine)
    opened = open_the_store(options)
    return Desk(engine, opened, opened.desk_id())


# --- commands ---------------------------------------------------------------------------------------


def _start(options: argparse.Namespace) -> int:
    if options.version:
        return _version(options)
    if not (sys.stdin.isatty() and sys.stdout.isatty()) or os.environ.get("TERM") == "dumb":
        return _plain(options)
    from diag.tui.app import run_app

    return run_app(options, lambda: open_the_store(options), lambda: make_engine(options))


def _version(options: argparse.Namespace) -> int:
    print(f"diag {__version__}")
    if options.verbose:
        import platform

        from diag.knowledge.load import load
        from diag.reason.rules import RuleBase

        knowledge = load(folders(options))
        print(f"Python {platform.python_version()} on {platform.system()}")
        print(f"knowledge {knowledge.version} {knowledge.digest}")
        print(f"trace of the rules by: {RuleBase(knowledge).engine_name}")
    return GOOD


def _plain(options: argparse.Namespace) -> int:
    from diag.plain import run_plain

    return run_plain(make_desk(options), call=getattr(options, "call", None), units=getattr(options, "units", None))


def _replay(options: argparse.Namespace) -> int:
    from diag.call.replay import replay_files, told

    results = replay_files(options.files, make_desk(options, store=False).engine)
    tell(results, told(results), as_json=getattr(options, "json", False))
    if any(r["problems"] for r in results):
        return BAD_INPUT
    return GOOD if all(r["ok"] for r in results) else NOT_AS_EXPECTED


def _hear(options: argparse.Namespace) -> int:
    from diag.hear.cli import hear
    from diag.knowledge.load import load

    return hear(options.said, load(folders(options)), as_json=getattr(options, "json", False))


def _rest(options: argparse.Namespace) -> tuple[list[str], argparse.Namespace]:
    """Split common options from those of a command with subcommands of its own."""
    known, rest = _common().parse_known_args(options.rest)
    for name in ("store", "knowledge", "units", "json"):
        if hasattr(options, name) and not hasattr(known, name):
            setattr(known, name, getattr(options, name))
    return rest, known


def _measure(options: argparse.Namespace) -> int:
    from diag.analyses.cli import main as measure

    def generic(quantity: str) -> Mapping[str, float]:
        from diag.knowledge.limits import generic_limits
        from diag.knowledge.load import knowledge_folder

        return generic_limits(knowledge_folder(), quantity)

    rest, known = _rest(options)
    units = ["--units", known.units] if getattr(known, "units", None) else []
    return measure([*rest, *units], json_out=getattr(known, "json", False), generic=generic)


def _knowledge(options: argparse.Namespace) -> int:
    rest, known = _rest(options)
    json_out = getattr(known, "json", False)
    if rest[:1] == ["trial"]:
        from diag.trial.cli import main as trial

        return trial(rest[1:], folders=folders(known), json_out=json_out)
    if rest[:1] == ["play"]:
        from diag.trial.cli import play_main as play

        return play(rest[1:], folders=folders(known), json_out=json_out)
    if rest[:1] == ["effect"]:
        from diag.trial.effect import main as effect

        return effect(rest[1:], json_out=json_out)
    if rest[:1] == ["train"]:
        from diag.hear.cli import train
        from diag.knowledge.load import load

        return train(rest[1:], knowledge=load(folders(known)), json_out=json_out)
    from diag.knowledge.cli import main as knowledge

    return knowledge(rest, knowledge=folders(known), json_out=json_out)


def _calls(options: argparse.Namespace) -> int:
    from diag.store.cli import main as calls

    rest, known = _rest(options)
    return calls(rest, open_store=lambda: open_the_store(known), json_out=getattr(known, "json", False))


def _writeup(options: argparse.Namespace) -> int:
    from diag.writeup.cli import write_up

    return write_up(options, lambda store: make_desk(options, store=store))


def _load_list(options: argparse.Namespace) -> int:
    from diag.writeup.cli import load_list

    return load_list(options, lambda store: make_desk(options, store=store))


def _practice(options: argparse.Namespace) -> int:
    from diag.trial.practice import run_practice

    return run_practice(make_desk(options), seed=options.seed)
