"""`diag knowledge trial` and `diag knowledge play`."""

from __future__ import annotations

import argparse
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from diag.arguments import Parser, tell
from diag.errors import UsageError


def main(argv: Sequence[str], *, folders: Sequence[Path], json_out: bool) -> int:
    """Run a trial and print its report."""
    from diag.trial.score import trial

    parser = Parser(prog="diag knowledge trial", description="Simulated calls drawn from the knowledge itself.")
    parser.add_argument("--calls", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--channel", choices=("phone", "site"), default="site")
    parser.add_argument("--two-faults", type=float, default=0.0, metavar="SHARE", help="share of calls with two faults")
    parser.add_argument("--no-yardsticks", action="store_true", help="only the tool itself")
    parser.add_argument("--no-worlds", action="store_true", help="only a world as the knowledge says")
    parser.add_argument("--load", action="store_true", help="try the load list: second trips and what is carried")
    options = parser.parse_args(list(argv))
    if options.calls < 1 or not 0 <= options.two_faults <= 1:
        raise UsageError("--calls is at least 1, --two-faults from 0 to 1.", "diag knowledge trial", "Correct them.")
    if options.load:
        return _load(folders, options, json_out)
    report = trial(
        folders, calls=options.calls, seed=options.seed, channel=options.channel, two_share=options.two_faults,
        yardsticks=not options.no_yardsticks, worlds=not options.no_worlds,
    )
    tell(report, told(report), as_json=json_out)
    return 0


PLAY = """\
Each call of FILE is worked by the desk's own first offers and advice. FILE is a YAML list of calls, or a folder
of such files: a shop's own calls, played again after every edit of its knowledge.

  - id: c01
    channel: phone                       # or site
    axes: {meter: flat, crop: corn}      # as far as known
    rows: 16
    trouble: [7]                         # rows in trouble, "all", or left out
    words: Row seven skips.              # heard when there are no symptoms
    symptoms: [skips_high]
    changes: []                          # also flags, target, speed, book
    truth: [seal_worn]                   # [] where no cause of the knowledge is it
    ans: {seal_feel: hard}               # check: outcome; all else as on a sound machine

In place of `ans`, `shows: {check: {outcome: chance}}` answers with the likeliest outcome; with --seed a drawn one."""


def play_main(argv: Sequence[str], *, folders: Sequence[Path], json_out: bool) -> int:
    """Play the calls of a file and print what came of them."""
    from diag.trial import play

    parser = Parser(prog="diag knowledge play", description=PLAY, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("file", metavar="FILE", type=Path, help="calls, or a folder of files of calls")
    parser.add_argument("--channel", choices=("phone", "site"), help="instead of each call's own")
    parser.add_argument("--most", type=int, default=12, metavar="N", help="checks at most (12)")
    parser.add_argument("--seed", type=int, help="draw symptoms and outcomes by their chances")
    options = parser.parse_args(list(argv))
    if options.most < 0:
        raise UsageError("--most is at least 0.", "diag knowledge play", "Correct it.")
    result = play.play_file(folders, options.file, channel=options.channel, most=options.most, seed=options.seed)
    tell(result, play.told(result), as_json=json_out)
    return 0


def _load(folders: Sequence[Path], options: argparse.Namespace, json_out: bool) -> int:
    from diag.knowledge.load import load
    from diag.trial.load_sim import load_trial

    ways = load_trial(load(folders), options.calls, options.seed)
    if json_out:
        print(json.dumps({name: asdict(way) for name, way in ways.items()}, indent=1))
        return 0
    print(f"{options.calls} simulated phone calls, seed {options.seed}, then played on at the machine")
    print(f"{'loaded':<15}{'second trips':>14}{'carried':>10}{'things':>8}{'minutes':>9}")
    for name, way in ways.items():
        figures = f"{way.second_trips:>14.1%}{way.carried:>10.1f}{way.things:>8.1f}{way.cost:>9.1f}"
        print(f"{name.replace('_', ' '):<15}{figures}")
    print("carried: what the load is worth in minutes; minutes: second trips and load together")
    return 0


def told(report: Mapping[str, Any]) -> str:
    """Return a report as text."""
    lines = [f"{report['calls']} simulated calls, {report['channel']}, seed {report['seed']}"]
    lines.append(f"{'':<15}{'first':>7}{'top 3':>7}{'checks':>8}{'median':>8}{'mean':>7}{'to mended':>11}"
                 f"{'wrong':>7}{'named':>7}{'unknown':>9}{'calib.':>8}")
    rows = [("this tool", report), *report["worlds"].items(), *report["yardsticks"].items()]
    for name, row in rows:
        lines.append(
            f"{name.replace('_', ' '):<15}{row['top1']:>7.1%}{row['top3']:>7.1%}{row['checks']:>8.0f}"
            f"{row['minutes']:>8.0f}{row['minutes_mean']:>7.0f}{row['to_mended']:>11.0f}"
            f"{row['wrong_first_advice']:>7.1%}{row['named_wrongly']:>7.1%}{row['said_unknown']:>9.1%}"
            f"{row['calibration']:>8.3f}"
        )
    lines.append("median, mean: minutes of checks; to mended: all minutes until every fault is mended and proved")
    lines.append("wrong: the repair advised first was not it; named: a wrong cause at 90 %")
    lines.append("unknown: said to fit no known cause")
    lines.append("stopped: " + ", ".join(f"{k.replace('_', ' ')} {v}" for k, v in report["stopped"].items()))
    worst = (f"{w['cause']} {w['missed']}/{w['calls']}" for w in report["worst"][:8])
    pairs = (f"{c['true']} as {c['named']} {c['calls']}" for c in report["confused"][:8])
    lines += ["most often missed: " + ", ".join(worst), "most often confused: " + ", ".join(pairs)]
    return "\n".join(lines)
