"""The one language of conditions: what outcomes of a reading and rules wait for, as a tree over single tests."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Literal, Self

from pydantic import Field, model_validator

from diag.knowledge.fields import FrozenModel, Id, OneOrMore, Target
from diag.knowledge.vocabulary import Bound


class When(FrozenModel):
    """A test of one thing known, or all, any or none of several conditions.

    An outcome tests results of its own reading (`result`); a rule tests what the call knows, results of a
    check's reading among it (`reading` names the check).
    """

    all: tuple[When, ...] = ()
    any: tuple[When, ...] = ()
    not_: When | None = Field(default=None, alias="not")
    answer: Id | None = None
    answered: Id | None = None
    finding: Id | None = None
    symptom: Id | None = None
    axis: Id | None = None
    change: Id | None = None
    flag: Id | None = None
    channel: Literal["phone", "site"] | None = None
    rows: OneOrMore = ()
    reading: Id | None = None
    result: Id | None = None
    call: Id | None = None
    belief: Target | None = None
    repaired: Target | None = None
    is_: OneOrMore = Field(default=(), alias="is")
    below: Bound | None = None
    above: Bound | None = None
    between: tuple[Bound, Bound] | None = None
    at_least: Literal["likely", "open"] | None = None

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        heads = [name for name in HEADS if getattr(self, name)]
        if self.result and not self.reading:
            heads.append("result")
        if len(heads) != 1:
            raise ValueError(f"a condition holds exactly one of {', '.join(HEADS)}, result".replace("not_", "not"))
        tests = sum((bool(self.is_), *(b is not None for b in (self.below, self.above, self.between))))
        if (self.answer or self.axis) and not self.is_:
            raise ValueError("answer and axis need `is`")
        if (self.reading or self.result) and (not self.result or tests != 1):
            raise ValueError("a reading needs `result` and exactly one of below, above, between, is")
        if self.call and (tests != 1 or self.is_ or self.between):
            raise ValueError("call needs exactly one of below, above")
        if self.belief and not self.at_least:
            raise ValueError("belief needs `at_least`")
        return self

    @property
    def bounds(self) -> tuple[Bound, ...]:
        """The limits that a result is compared with."""
        return tuple(b for b in (self.below, self.above, *(self.between or ())) if b is not None)

    def leaves(self) -> Iterator[When]:
        """Yield every single test of the tree."""
        children = (*self.all, *self.any, *((self.not_,) if self.not_ else ()))
        if not children:
            yield self
        for child in children:
            yield from child.leaves()

    def holds(self, leaf: Callable[[When], bool]) -> bool:
        """Return whether the condition holds, given whether a single test does."""
        if self.all:
            return all(child.holds(leaf) for child in self.all)
        if self.any:
            return any(child.holds(leaf) for child in self.any)
        if self.not_:
            return not self.not_.holds(leaf)
        return leaf(self)


HEADS = ("all", "any", "not_", "answer", "answered", "finding", "symptom", "axis", "change", "flag", "channel", "rows",
         "reading", "call", "belief", "repaired")
"""What a condition can be about; a bare `result` is one of the reading whose outcome it is."""
