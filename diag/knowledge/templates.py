"""Entries to fill in: what a new cause, check, rule or vocabulary entry looks like, and the words it may use."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Mapping
from typing import get_args

from diag.analyses.catalogue import CATALOGUE, results_of
from diag.errors import UsageError
from diag.knowledge import model
from diag.knowledge.base import Knowledge
from diag.knowledge.condition import HEADS

_CAUSE = """\
- id: {id}
  label: What is wrong, in the trade's words
  plain: The same in a grower's words
  subsystem: SUBSYSTEM
  per_mille: 5
  kind: KIND
  rows: one
  follows: meter
  effect: skips
  onset: constant
  pattern: "which rows, and when"
  symptoms: {SYMPTOM: usually}
  shows:
    CHECK: {OUTCOME: almost_always}
  mechanism: How it spoils metering, in one sentence.
  repair:
    do: What mends it.
    minutes: 10
    by: technician
    parts: []
    tools: []
    hazards: []
    verify: VERIFICATION
  leaning: wear
  prevention: What keeps it away.
  season: any
  source: [common_practice]
"""
_CHECK = """\
- id: {id}
  asks: What is found out
  why: Why it is asked, one sentence that can be read aloud.
  phone: "One question of at most twenty words?"
  read_back: "The exact form of the answer."
  steps:
    - {state: parked_safe, do: "What is done, with everything stopped."}
  hazards: []
  hazards_reason: Why nothing can hurt anybody.
  takes: choice
  minutes: {desk: 1, grower: 3, site: 3}
  who: grower
  tools: []
  expected: what is seen when all is well
  outcomes:
    wrong: {says: what is seen when it is bad, share: 0.01}
    right: {says: what is seen otherwise, normal: true, usual: 0.97}
  tells:
    - {follows: meter, shows: {wrong: sometimes}}
  source: [common_practice]
"""
_MEASURED = """\
- id: {id}
  asks: What is measured
  why: Why it is measured, one sentence that can be read aloud.
  steps:
    - {state: parked_safe, do: "What is done, with everything stopped."}
  hazards: []
  hazards_reason: Why nothing can hurt anybody.
  takes: {kind: numbers, quantity: vacuum, per: row, least: 2}
  compute: vacuum_row_map
  minutes: {site: 10, each_row: 5}
  who: technician
  tools: []
  expected: what the figures are when all is well
  outcomes:
    one_low: {says: what one odd row means, share: 0.02, when: {result: pattern, is: one_low}}
    all_low: {says: what all rows low mean, share: 0.02, when: {result: pattern, is: all_low}}
    even: {says: what is seen otherwise, otherwise: true, normal: true, usual: 0.96}
  tells:
    - {rows: one, shows: {one_low: sometimes}}
  source: [common_practice]
"""
_RULE = """\
- id: {id}
  when:
    all:
      - {answer: CHECK, is: OUTCOME}
  then:
    finds: FINDING
  because: One sentence; it is read under "why".
  source: [common_practice]
"""
_CAUTION = """\
  - id: {id}
    word: WARNING
    text: "What to do, before the step."
    hazards: [HAZARD]
    source: [common_practice]
"""
_LIMIT = """\
  - id: {id}
    label: what the limit parts
    quantity: vacuum
    value: 1 inH2O
    source: [common_practice]
"""
_FINDING = """\
  - {id: {id}, label: what is concluded}
"""
_VERIFICATION = """\
  - id: {id}
    label: kind of repair
    measures: What is measured again
    sample: how much of it
    accept: When it counts as proved
    checks: [CHECK]
    passes: {CHECK: [OUTCOME]}
    seeds: {roll: 100, file: 300, claim: 500}
    source: [common_practice]
"""

TEMPLATES: Mapping[str, str] = {
    "cause": _CAUSE, "check": _CHECK, "measured_check": _MEASURED, "rule": _RULE, "caution": _CAUTION, "limit": _LIMIT,
    "finding": _FINDING, "verification": _VERIFICATION,
}


def template(kind: str, key: str, known: Knowledge) -> str:
    """Return an entry of this kind to fill in; words in capitals stand for ids. Raises UsageError.

    Comments above it name the words that its fields may hold.
    """
    if kind not in TEMPLATES:
        raise UsageError(f"There is no template for {kind!r}.", "knowledge new", f"Known: {', '.join(TEMPLATES)}.")
    if not re.fullmatch(r"[a-z][a-z0-9_]{0,47}", key):
        remedy = "Small letters, digits and _, a letter first."
        raise UsageError(f"{key!r} is no id.", "knowledge new", remedy)
    entry = TEMPLATES[kind].replace("{id}", key)
    legal = [line for name, words in _words(kind, known).items() for line in _comment(name, words)]
    return "\n".join([*legal, entry])


def _comment(name: str, words: Iterable[str]) -> list[str]:
    """Return one field's legal words as comment lines."""
    return textwrap.wrap(f"{name}: {' | '.join(words)}", 100, initial_indent="# ", subsequent_indent="#   ",
                         break_on_hyphens=False)


def _words(kind: str, known: Knowledge) -> dict[str, Iterable[str]]:
    """Return field -> words it may hold, as this knowledge has them."""
    fields = model.Cause.model_fields | model.Repair.model_fields | model.Check.model_fields
    attributes: dict[str, Iterable[str]] = {
        "rows": get_args(model.Rows), "follows": get_args(model.Follows), "effect": get_args(model.Effect),
        "onset": get_args(model.Onset),
    }
    chances = {"chances": [f"{w.name} {w.chance:g}" for w in known.likelihoods.values()]}
    ends: dict[str, Iterable[str]] = {**chances, "applies (left out: every machine)": known.machines,
                                      "hazards": known.hazards}
    checks: dict[str, Iterable[str]] = {
        "state": known.states, "takes": get_args(model.AnswerKind), "who": get_args(fields["who"].annotation),
        "look": known.looks, "when_seen": get_args(fields["when_seen"].annotation),
        "tells, one or more of a field": (), **{f"  {name}": words for name, words in attributes.items()},
    }
    by_kind: dict[str, dict[str, Iterable[str]]] = {
        "cause": {"per_mille, calls in 1,000": _quartiles(c.per_mille for c in known.causes.values()),
                  "subsystem": known.subsystems, "kind": known.kinds, **attributes,
                  "by": get_args(fields["by"].annotation), "verify": known.verifications,
                  "leaning": get_args(fields["leaning"].annotation), "season": known.seasons, **ends},
        "check": {**checks, **ends},
        "measured_check": {**checks, **ends, "compute": CATALOGUE,
                           "results of vacuum_row_map": results_of(["vacuum_row_map"])},
        "rule": {"when": [h.rstrip("_") for h in HEADS], "then": model.Then.model_fields},
        "caution": {"hazards": known.hazards},
    }
    return by_kind.get(kind, {})


def _quartiles(values: Iterable[float]) -> list[str]:
    """Return how often a cause here is met: rare, usual and common ones."""
    every = sorted(values)
    places = {"a quarter of the causes here below": 1, "half": 2, "three quarters": 3}
    return [f"{words} {every[len(every) * n // 4]:g}" for words, n in places.items()] if every else []
