"""Entries to fill in: what a new cause, check, rule or vocabulary entry looks like."""

from __future__ import annotations

import re
from collections.abc import Mapping

from diag.errors import UsageError

_CAUSE = """\
- id: {id}
  label: What is wrong, in the trade's words
  plain: The same in a grower's words
  subsystem: SUBSYSTEM
  per_mille: 1
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
  minutes: {desk: 2, grower: 5, site: 5}
  who: grower
  tools: []
  expected: what is seen when all is well
  outcomes:
    wrong: {says: what is seen when it is bad}
    right: {says: what is seen otherwise, normal: true, usual: 0.95}
  tells:
    - {follows: meter, shows: {wrong: sometimes}}
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
    "cause": _CAUSE, "check": _CHECK, "rule": _RULE, "caution": _CAUTION, "limit": _LIMIT,
    "finding": _FINDING, "verification": _VERIFICATION,
}


def template(kind: str, key: str) -> str:
    """Return an entry of this kind to fill in; words in capitals stand for ids. Raises UsageError."""
    if kind not in TEMPLATES:
        known = ", ".join(TEMPLATES)
        raise UsageError(f"There is no template for {kind!r}.", "knowledge new", f"Known: {known}.")
    if not re.fullmatch(r"[a-z][a-z0-9_]{0,47}", key):
        remedy = "Small letters, digits and _, a letter first."
        raise UsageError(f"{key!r} is no id.", "knowledge new", remedy)
    return TEMPLATES[kind].replace("{id}", key)
