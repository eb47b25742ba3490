"""`diag calls ...`: list, show, search, export, import, verify, sign, backup, repair, erase."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from diag.arguments import Parser, asked, tell
from diag.errors import UsageError
from diag.record.graph import show_call_id
from diag.text import count, one_line

if TYPE_CHECKING:
    from diag.store.kept import Incoming
    from diag.store.open import CallSummary, Store

NAMED = ("show", "export", "verify", "sign", "erase")
DESTROYS = {"closed": "closes it", "reopened": "opens it again", "withdrawn": "withdraws what was recorded"}


def _parser() -> Parser:
    parser = Parser(prog="diag calls", description="The calls kept on this machine.")
    commands: Any = parser.add_subparsers(dest="command", required=True, metavar="command", parser_class=Parser)
    listing = commands.add_parser("list", help="calls, those waited for first")
    listing.add_argument("--most", type=int, default=50)
    search = commands.add_parser("search", help="calls whose words, customer, machine, lot or cause hold a text")
    search.add_argument("text", nargs="+")
    search.add_argument("--most", type=int, default=50)
    commands.add_parser("show", help="everything recorded in a call").add_argument("call")
    export = commands.add_parser("export", help="write calls to a file, or one call as a transcript (.yaml)")
    export.add_argument("call", nargs="+")
    export.add_argument("-o", "--output", required=True, metavar="FILE")
    export.add_argument("--no-personal", action="store_true", help="without names, words and places")
    imports = commands.add_parser("import", help="take calls from an export; merges what both sides have")
    imports.add_argument("file")
    imports.add_argument("--yes", action="store_true", help="do not ask before it erases, closes or withdraws")
    verify = commands.add_parser("verify", help="was the record altered after the fact, and where")
    verify.add_argument("call")
    verify.add_argument("--head", help="hash printed in a write-up: shows whether newer events were cut off")
    commands.add_parser("sign", help="sign all that was recorded in a call, with your key").add_argument("call")
    commands.add_parser("backup", help="copy the whole store to a file").add_argument("file")
    commands.add_parser("schema", help="print the JSON schema of an export")
    repair = commands.add_parser("repair", help="make damaged lists anew, and say what can be saved")
    repair.add_argument("-o", "--output", metavar="FILE", help="save what is whole of damaged calls")
    erase = commands.add_parser("erase", help="erase names, words, photos and profiles of a call for good")
    erase.add_argument("call")
    erase.add_argument("--yes", action="store_true", help="do not ask")
    return parser


def main(argv: Sequence[str], *, open_store: Callable[[], Store], json_out: bool) -> int:
    """Carry out a command; 1 when a verified call was altered."""
    options = _parser().parse_args(list(argv))
    if options.command == "schema":
        from diag.store.exchange import schema

        print(json.dumps(schema(), indent=1))
        return 0
    store = open_store()
    if options.command in NAMED:
        given = options.call if isinstance(options.call, list) else [options.call]
        found = [store.find(c) for c in given]
        options.call = found if isinstance(options.call, list) else found[0]
    command = {
        "list": _list, "search": _list, "show": _show, "export": _export, "import": _import, "verify": _verify,
        "backup": _backup, "erase": _erase, "repair": _repair, "sign": _sign,
    }[options.command]
    return command(store, options, json_out)


def _list(store: Store, options: argparse.Namespace, json_out: bool) -> int:
    search = " ".join(options.text) if options.command == "search" else None
    calls = store.calls(options.most, search)
    lines = [summary_line(c) for c in calls] or ["No calls." if search is None else f"No call holds {search!r}."]
    more = store.count(search) - len(calls)
    if more > 0:
        lines.append(f"... and {more} more (--most {options.most + more})")
    tell([c.as_json() for c in calls], "\n".join(lines), as_json=json_out)
    if waits := store.waits:
        print(f"diag: {store.place}: {waits}; these are the calls as far as they are here.", file=sys.stderr)
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
        body = ", ".join(f"{one_line(k)} {one_line(json.dumps(v, ensure_ascii=False))}" for k, v in e.body.items())
        head = f"{number:>3} {e.at} {one_line(e.by):<11} {one_line(e.kind):<12} {body}"
        lines.append(head + (f"  [{told}]" if told else ""))
    tell({"call": options.call, "events": entries}, "\n".join(lines), as_json=json_out)
    return 0


def _export(store: Store, options: argparse.Namespace, json_out: bool) -> int:
    if options.output.endswith((".yaml", ".yml")):
        _transcript(store, options)
    else:
        store.export_file(options.call, options.output, personal=not options.no_personal)
    told = {"calls": options.call, "file": options.output, "personal": not options.no_personal}
    without = " without personal data" if options.no_personal else ""
    tell(told, f"{len(options.call)} calls written to {options.output}{without}.", as_json=json_out)
    return 0


def _transcript(store: Store, options: argparse.Namespace) -> None:
    """Write one call as a transcript, which `diag replay` plays again and a hand can change."""
    from diag.record.transcript_write import write_transcript

    if len(options.call) != 1:
        raise UsageError("A transcript holds one call.", options.output, "Name one call, or export to a .json file.")
    (call,) = options.call
    write_transcript(store.events(call), [] if options.no_personal else store.sealed(call), options.output)


def _import(store: Store, options: argparse.Namespace, json_out: bool) -> int:
    coming = store.preview_import(options.file)
    harm = [f"{show_call_id(c.call)}: {_harm(c)}" for c in coming if not c.harmless]
    if harm and not options.yes:
        _confirm("This file does more than add:\n" + "\n".join(harm) + "\nTake it? Type yes: ", "yes", "Not imported.",
                 options.file)
    done = store.import_file(options.file)
    told = {"calls": [c.call for c in done], "events": sum(c.events for c in done),
            "erased": sum(c.erases for c in done)}
    text = f"{len(done)} calls in the file, {told['events']} events new here."
    tell(told, "\n".join([text, *harm]), as_json=json_out)
    return 0


def _harm(incoming: Incoming) -> str:
    """Return what an import erases, ends or takes back in a call."""
    told = [f"erases {count(incoming.erases, 'text')}"] if incoming.erases else []
    return ", ".join([*told, *dict.fromkeys(DESTROYS[kind] for kind in incoming.ends)])


def _confirm(question: str, wanted: str, refused: str, where: str) -> None:
    """Ask before something goes for good. Raises UsageError for any other answer, also for none."""
    try:
        said = asked(question)
    except EOFError:
        said = ""
    if said.strip().upper() != wanted.upper():
        raise UsageError(refused, where, f"Type {wanted} to confirm, or give --yes.")


def _verify(store: Store, options: argparse.Namespace, json_out: bool) -> int:
    found = store.verify(options.call, options.head)
    told = [{"n": f.n, "kind": f.kind, "event": f.event, "what": f.what} for f in found.flaws]
    lines = [f"{f.where}: {f.what}" for f in found.flaws]
    if not found.flaws:
        lines = [f"{show_call_id(options.call)}: every event fits its hash and those before it, every text that is "
                 "here its seal, the list what the events give."]
        lines += [] if options.head else ["Newest events cut off, or everything written anew, would not show: compare "
                                          "a hash that was printed (--head)."]
    tell({"call": options.call, "altered": bool(found.flaws), "flaws": told, "remarks": found.remarks,
                     "heads": found.heads}, "\n".join([*lines, *found.remarks]), as_json=json_out)
    return 1 if found.flaws else 0


def _sign(store: Store, options: argparse.Namespace, json_out: bool) -> int:
    key = store.sign(options.call, at=datetime.now(UTC))
    shown = show_call_id(options.call)
    tell({"call": options.call, "key": key}, f"{shown} is signed with key {key}. Tell that number to whoever verifies "
                                             "it, by another way than the file.", as_json=json_out)
    return 0


def _repair(store: Store, options: argparse.Namespace, json_out: bool) -> int:
    done = store.repair()
    lines = [f"{count(done.calls, 'call')} looked through.", *(f"Made anew: {r}." for r in done.rebuilt),
             *(f"Damaged: {what}." for what in done.lost)]
    saved = store.export_saved(options.output) if options.output else []
    if saved:
        lines.append(f"What is whole of {count(len(saved), 'call')} is in {options.output}. Take it into a new store: "
                     "diag --store NEW calls import FILE.")
    elif done.lost and not options.output:
        lines.append("To save what is whole: diag calls repair -o FILE.")
    tell({"calls": done.calls, "rebuilt": done.rebuilt, "lost": done.lost, "saved": saved}, "\n".join(lines),
         as_json=json_out)
    return 1 if done.lost else 0


def _backup(store: Store, options: argparse.Namespace, json_out: bool) -> int:
    size = store.backup(options.file)
    tell({"file": options.file, "calls": size}, f"{size} calls copied to {options.file}.", as_json=json_out)
    return 0


def _erase(store: Store, options: argparse.Namespace, json_out: bool) -> int:
    shown, found = show_call_id(options.call), store.erasure(options.call)
    goes = [count(found.texts, "text"), count(found.photos, "photo"),
            *(f"the machine profile {label}" for label in found.profiles)]
    if not options.yes:
        _confirm(f"Erase of {shown} for good: {', '.join(goes)}? Type the first five characters of its id: ", shown[:5],
                 "Not erased.", shown)
    store.erase_all(options.call, at=datetime.now(UTC), by="technician")
    lines = [f"{shown}: {', '.join(goes)} erased here.",
             "Exports, backups and pages handed out before are outside its reach."]
    if found.open_labels:
        told = "; ".join(found.open_labels)
        lines.append(f"Not erased, since an older program wrote it into the chain itself: {told}.")
    if store.shared:
        lines.append("The server keeps dead rows and logs. Its owner runs: VACUUM FULL sealed, event, call, profile; "
                     "then CHECKPOINT; and deletes archived log and backups from before today.")
    tell({"call": options.call, "erased": True, "texts": found.texts, "photos": found.photos,
                     "profiles": found.profiles, "not_erased": found.open_labels}, "\n".join(lines), as_json=json_out)
    return 0
