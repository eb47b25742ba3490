"""What a write-up must hold, as the knowledge says it: completeness rules, details, categories, terms."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from diag.knowledge.fields import FrozenModel, Id, Ids, Number, OneOrMore, Text, Texts

MOMENTS: tuple[str, ...] = ("before_touching", "before_repair", "before_leaving", "later")
"""Last moments at which something can still be had, in order."""


class CompletenessRule(FrozenModel):
    """Something a write-up must have, and the question that mends it."""

    id: Id
    needs: Text
    """What is missing, in words."""
    field: Id
    """Which part of the story is tested; see writeup/completeness.py."""
    for_: Literal["claim", "all"] = Field(alias="for")
    closings: Ids = ()
    """Ways of closing it is asked for; () = all. A claim asks for it whatever the closing."""
    not_closings: Ids = ()
    """Ways of closing it is never asked for, a claim or not."""
    destroyed: bool = False
    """True when the thing itself is gone after its moment, so that it is too late; else it can still be asked for."""
    by: Literal["before_touching", "before_repair", "before_leaving", "later"]
    """The last moment at which it can be had."""
    asks: Text
    needs_given: Text | None = None
    """What is missing where all its details are given and it still does not hold."""
    asks_given: Text | None = None
    """The question then."""
    at_end: bool = False
    """True when a call that is open and not mended yet is asked for it only as a claim."""
    part: bool = False
    """True when it is asked only where a part may be at fault: not where settings alone were changed."""
    minutes: Number
    severity: Literal["must", "should"]
    """must: nothing is filed without it; should: may be left out with a reason."""
    in_claim: Literal["must", "should"] | None = None
    """Severity in a claim, where it differs."""
    details: Ids = ()
    """Details that mend it when they are given."""
    checks: Ids = ()
    """Checks whose answers mend it."""
    words: Texts = ()
    """Stock phrases that say nothing."""
    least: Number | None = None
    """Fewest words or entries."""
    share: Number | None = None
    """Share of 1 from which on it fires."""
    kinds: Ids = ()
    """Cause kinds or categories it speaks of."""
    source: OneOrMore


class Detail(FrozenModel):
    """Something a write-up needs that no check and no step of the call gives; it is asked for and noted."""

    name: Id
    label: Text
    group: Literal["identity", "usage", "dates", "conditions", "findings", "claim", "labour", "after"]
    """Part of the write-up it stands in."""
    takes: Literal["date", "amount", "choice", "words"]
    quantity: str | None = None
    """Quantity of an amount."""
    choices: dict[Id, Text] = Field(default_factory=dict)
    claim: bool = False
    """True when only a claim needs it."""


class Category(FrozenModel):
    """Why a thing failed, for the payer: the root, never the mechanism."""

    name: Id
    label: Text
    kinds: Ids = ()
    """Kinds of cause it is proposed for."""
    needs_siblings: bool = False
    """True when like parts must have been compared before it is claimed."""


class FailureMode(FrozenModel):
    """The manner in which a function is lost, as it is seen."""

    name: Id
    label: Text
    symptoms: Ids = ()


class WriteUp(FrozenModel):
    """Terms of a shop's own contracts; nothing here has a built-in value."""

    filing_window_days: int | None = None
    """Days after the repair within which a claim must be filed."""
    labour_allowance: dict[Id, Number] = Field(default_factory=dict)
    """Activity -> hours allowed."""
    longest_gap_minutes: Number = 60.0
    """A longer silence between two entries is not taken for work."""
    carry_minutes: dict[Literal["pocket", "box", "bulky"], Number] = Field(default_factory=dict)
    """What loading and carrying a thing is worth, in minutes, by its size."""
    always: Texts = ()
    """What is on the truck at every call."""
    at_hand: Ids = ()
    """Tools that need no loading: always on the truck, or found on the farm."""
