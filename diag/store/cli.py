"""`diag calls ...`: list, show, search, export, import, verify, backup, erase."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from diag.errors import UsageError
from diag.record.graph import show_call_id
from diag.text import one_line

if TYPE_CHECKING:
    from diag.store.open import CallSummary, Store

NAMED = ("show", "export", "verify", "erase")


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> Any:
        raise UsageError(f"{message}.", self.prog, f"See `{self.prog} --help`.")


def _parser() -> _Parser:
    parser = _Parser(prog="diag calls", description="The calls kept on this machine.")
    commands: Any = parser.add_subparsers(dest="command", required=True, metavar="command", parser_class=_Parser)
    listing = commands.add_parser("list", help="calls, those waited for first")
    listing.add_argument("--most", type=int, default=50)
    search = commands.add_parser("search", help="calls whose words, customer, machine, lot or cause hold a text")
    search.add_argument("text", nargs="+")
    search.add_argument("--most", type=int, default=50)
    commands.add_parser("show", help="everything recorded in a call").add_argument("call")
    export = commands.add_parser("export", help="write calls to a file")
    export.add_argument("call", nargs="+")
    export.add_argument("-o", "--output", required=True, metavar="FILE")
    export.add_argument("--no-personal", action="store_true", help="without names, words and places")
    commands.add_parser("import", help="take calls from an export; merges what both sides have").add_argument("file")
    verify = commands.add_parser("verify", help="was the record altered after the fact, and where")
    verify.add_argument("call")
    verify.add_argument("--head", help="hash printed in a write-up: shows whether newer events were cut off")
    commands.add_parser("backup", help="copy the whole store to a file").add_argument("file")
    erase = commands.add_parser("erase", help="erase names, words and places of a call for good")
    erase.add_argument("call")
    erase.add_argument("--yes", action="store_true", help="do not ask")
    return parser


def main(argv: Sequence[str], *, open_store: Callable[[], Store], json_out: bool) -> int:
    """Carry out a command; 1 when a verified call was altered."""
    options = _parser().parse_args(list(argv))
    store = open_store()
    if options.command in NAMED:
        given = options.call if isinstance(options.call, list) else [options.call]
        found = [store.find(c) for c in given]
        options.call = found if isinstance(options.call, list) else found[0]
    command = {
        "list": _list, "search": _list, "show": _show, "export": _export, "import": _import, "verify": _verify,
        "backup": _backup, "erase": _erase,
    }[options.command]
    return command(store, options, json_out)


def _told(json_out: bool, value: Any, text: str) -> None:
    print(json.dumps(value, ensure_ascii=False, indent=1) if json_out else text)


def _list(store: Store, options: argparse.Namespace, json_out: bool) -> int:
    search = " ".join(options.text) if options.command == "search" else None
    calls = store.calls(options.most, search)
    lines = [summary_line(c) for c in calls] or ["No calls." if search is None else f"No call holds {search!r}."]
    more = store.count(search) - len(calls)
    if more > 0:
        lines.append(f"... and {more} more (--most {options.most + more})")
    _told(json_out, [c.as_json() for c in calls], "\n".join(lines))
    return 0


def summary_line(c: CallSummary) -> str:
    """Return one line of a list of calls."""
    waiting = c.status + (f" for {c.waiting_for}" if c.waiting_for else "") + (f" until {c.due}" if c.due else "")
    rows = f"rows {c.rows}" if c.rows else ""
    parts = [
        show_call_id(c.call), c.opened[:10], waiting, c.customer, c.place, c.machine, rows,
        one_line(c.words, limit=60), c.result.replace("_", " "), "PRACTICE" if c.practice else "",
    ]
    return "  ".join(p for p in parts if p)


def _show(store: Store, options: argparse.Namespace, json_out: bool) -> int:
    from diag.record.fold import sealed_view

    events, sealed = store.events(options.call), store.sealed(options.call)
    personal = sealed_view(events, sealed)
    entries = [{**e.as_json(), "text": personal.get(e.id, {})} for e in events]
    lines = []
    for number, e in enumerate(events, 1):
        told = "; ".join(f"{k}: {one_line(v, limit=200)}" for k, v in personal.get(e.id, {}).items())
        body = ", ".join(f"{k} {json.dumps(v, ensure_ascii=False)}" for k, v in e.body.items())
        lines.append(f"{number:>3} {e.at} {e.by:<11} {e.kind:<12} {body}" + (f"  [{told}]" if told else ""))
    _told(json_out, {"call": options.call, "events": entries}, "\n".join(lines))
    return 0


def _export(store: Store, options: argparse.Namespace, json_out: bool) -> int:
    store.export_file(options.call, options.output, personal=not options.no_personal)
    told = {"calls": options.call, "file": options.output, "personal": not options.no_personal}
    without = " without personal data" if options.no_personal else ""
    _told(json_out, told, f"{len(options.call)} calls written to {options.output}{without}.")
    return 0


def _import(store: Store, options: argparse.Namespace, json_out: bool) -> int:
    done = store.import_file(options.file)
    told = {"calls": list(done.calls), "events": done.events, "erased": done.erased}
    text = f"{len(done.calls)} calls in the file, {done.events} events new here."
    if done.erased:
        text += f" {done.erased} texts erased here, as the other side had erased them."
    _told(json_out, told, text)
    return 0


def _verify(store: Store, options: argparse.Namespace, json_out: bool) -> int:
    flaws = store.verify(options.call, options.head)
    told = [{"n": f.n, "kind": f.kind, "event": f.event, "what": f.what} for f in flaws]
    lines = [f"{f.where}: {f.what}" for f in flaws]
    if not flaws:
        whole = "and ends with the event of that hash"
        whole = whole if options.head else "newest events cut off cannot be seen without --head"
        lines = [f"{show_call_id(options.call)}: nothing inside was altered or dropped ({whole})."]
    _told(json_out, {"call": options.call, "altered": bool(flaws), "flaws": told}, "\n".join(lines))
    return 1 if flaws else 0


def _backup(store: Store, options: argparse.Namespace, json_out: bool) -> int:
    size = store.backup(options.file)
    _told(json_out, {"file": options.file, "calls": size}, f"{size} calls copied to {options.file}.")
    return 0


def _erase(store: Store, options: argparse.Namespace, json_out: bool) -> int:
    shown = show_call_id(options.call)
    if not options.yes:
        said = input(f"Erase names, words and places of {shown} for good? Type the first five characters of its id: ")
        if said.strip().upper() != shown[:5]:
            raise UsageError("Not erased.", shown, "Type the first five characters to confirm, or give --yes.")
    store.erase(options.call, at=datetime.now(UTC), by="technician")
    text = f"{shown}: personal data and free text erased here. Exports and backups handed out are outside its reach."
    _told(json_out, {"call": options.call, "erased": True}, text)
    return 0
