"""Which causes are told, what each shown word rests on, what was ruled out, and the whys."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from diag.call.bearing import AGAINST_STRONGLY, FOR, Bearing, rules_out
from diag.call.desk import CallDesk
from diag.call.shown import (
    CONFIRMED,
    INCONCLUSIVE,
    NOT_TESTED,
    POSSIBLE,
    PROBABLE,
    RULED_OUT,
    WORDS,
    Bench,
)
from diag.knowledge.model import Cause as Known
from diag.reason.judgement import LIKELY, OPEN
from diag.record.kinds import Repaired
from diag.writeup.story.details import notes_of
from diag.writeup.story.model import CauseTold, Ground, Item, MadeTest, Other, Root, Why

LEANINGS: Mapping[str, str] = {
    "wear": "wear or upkeep", "defect": "a fault of making", "adjudicate": "for the payer to judge",
    "seed": "the seed, not the machine",
}
AS_WELL = 10.0
"""How many times better the best cause may fit all answers, and another still fits as well (estimate)."""
MOST_FITTING = 3
"""Causes that a customer is told of while none is shown."""
LEFT_OUT = "left out of this copy"
"""What stands for words that a copy without personal data does not hold."""
MOST_READ = 3
"""Readings that are told beside what a word rests on."""


class Causes:
    """The causes of one call as the write-up tells them."""

    def __init__(self, call: CallDesk, bench: Bench, tests: Sequence[MadeTest], items: Mapping[str, Item]) -> None:
        self.call, self.bench, self.items = call, bench, items
        self.knowledge, self.state = call.engine.knowledge, call.state
        self.tests = {t.event: t for t in tests}
        can_be = {r.cause for r in call.think().judgement.ranking}
        mended = {c for r in call.state.repairs for c in r.causes}
        self.words = {c: w for c, w in bench.words().items() if c in can_be | mended}
        self.repaired = tuple(
            dict.fromkeys(c for r in self.state.repairs if r.kind == "repair" for c in r.causes if c in self.words)
        )

    # --- which ------------------------------------------------------------------------------------

    def told(self) -> tuple[CauseTold, ...]:
        """Return the causes told as found: those mended, then those shown; () when there is none."""
        shown = [c for c, w in self.words.items() if w in (CONFIRMED, PROBABLE) and c not in self.repaired]
        mended = [c for c in self.repaired if self.words[c] != RULED_OUT]
        ranked = sorted(mended, key=self._rank) + sorted(shown, key=self._rank)
        return tuple(self._cause(c) for c in ranked)

    def _rank(self, cause: str) -> tuple[int, float, str]:
        strength = 1.0
        for test in self._speaking(cause):
            strength *= test.ratio
        return WORDS.index(self.words[cause]), -strength, cause

    def others(self, told: Sequence[CauseTold]) -> tuple[Other, ...]:
        """Return every other cause of such a complaint that was tested, and those still likely or open.

        Those that fit as well stand in the order in which the desk and the load list name them.
        """
        gone = {c.cause for c in told}
        judged = self.call.think().judgement.ranking
        standing = {r.cause for r in judged if r.belief in (LIKELY, OPEN)}
        confirmed = any(c.word == CONFIRMED for c in told)
        shown = [c.cause for c in told if c.word in (CONFIRMED, PROBABLE)] if confirmed else []
        complaint = {symptom for symptom, _ in self.state.accepted}
        found = []
        for cause, word in self.words.items():
            if cause in gone or (word == NOT_TESTED and cause not in standing):
                continue
            known = self.knowledge.causes[cause]
            speaks = bool(self._speaking(cause))
            if not (speaks or cause in standing or complaint & set(known.symptoms)):
                continue
            demanded = self.bench.demanded(cause, shown) if shown else ()
            found.append(Other(cause, known.label, known.plain or known.label, known.kind, word=word,
                               ground=self._ground_of(cause, word), speaks=speaks,
                               as_well=word == POSSIBLE and self._fit(cause) * AS_WELL >= 1,
                               sound=self._sound(cause, itself=True), unlike=self._sound(cause, itself=False),
                               subsystem=self.knowledge.subsystems[known.subsystem].label,
                               demanded=tuple(e for e in demanded if e in self.tests)))
        place = {r.cause: i for i, r in enumerate(judged)}

        def order(other: Other) -> tuple[int, bool, float, str]:
            fits = place.get(other.cause, 0) if other.as_well else -self._fit(other.cause)
            return WORDS.index(other.word), not other.as_well, fits, other.label

        return tuple(sorted(found, key=order))

    def _fit(self, cause: str) -> float:
        """Return how well all that was answered before a repair fits a cause, against the best of the others."""
        return self.bench.fits.lead(self.bench.fits.before, cause)

    def _sound(self, cause: str, *, itself: bool) -> tuple[str, ...]:
        """Return deciding looks, at the thing itself or at something else, that found nothing and speak against it."""
        looks = [t for t in self.bench.tests(cause) if t.deciding and t.normal and not t.valued
                 and self.bench.aims(t.check, cause) == itself]
        return tuple(t.event for t in looks if t.ratio <= AGAINST_STRONGLY and t.event in self.tests)

    def fits(self, told: Sequence[CauseTold], others: Sequence[Other]) -> tuple[str, ...]:
        """Return in plain words what the answers speak for most; () where a cause is told."""
        known = [self.knowledge.causes[o.cause] for o in others if o.as_well and o.speaks and not (o.sound or o.unlike)]
        return () if told else tuple(c.plain or c.label for c in known[:MOST_FITTING])

    def addressed(self) -> tuple[str, ...]:
        """Return the kinds of cause of such a complaint of which a firm test rules one out, or decides for it."""
        tested = [c for c in self.bench.rivals if any(t.decides or rules_out(t) for t in self.bench.tests(c))]
        return tuple(sorted({self.knowledge.causes[c].kind for c in tested}))

    # --- one cause --------------------------------------------------------------------------------

    def _cause(self, cause: str) -> CauseTold:
        known = self.knowledge.causes[cause]
        first = not self.repaired or cause == self.repaired[0]
        seen = self.items.get("mechanism") if first else None
        return CauseTold(
            cause=cause, label=known.label, plain=known.plain or known.label, part=self._part(known),
            word=self.words[cause], kind=known.kind, mode=self._mode(known),
            mechanism=known.mechanism, seen=seen.told.text if seen else "",
            root=self._root(known, first), leaning=self._leaning(known), prevention=known.prevention,
            deciding=self._deciding(cause), reversal=self.bench.reversal(cause),
            grounds=tuple(self._ground(t) for t in self._speaking(cause) if t.contrast >= 1),
            repaired=cause in self.repaired, brings=tuple(known.symptoms), rows=self._rows(cause),
            repairs=tuple(r.event for r in self._repairs(cause)),
        )

    def _repairs(self, cause: str) -> list[Repaired]:
        return [r for r in self.state.repairs if r.kind == "repair" and cause in r.causes]

    def _rows(self, cause: str) -> tuple[int, ...]:
        """Return where a cause was mended, else in which rows in trouble the tests that speak for it were made."""
        proving, repairs = self.bench.proving, self._repairs(cause)
        if repairs:
            mended = [proving.rows(r) for r in repairs]
            return tuple(sorted(frozenset().union(*mended))) if all(mended) else ()
        trouble = self.state.situation.rows
        in_trouble = set(trouble if isinstance(trouble, tuple) else ())
        speaking = {t.event for t in self._speaking(cause) if t.deciding}
        made = [proving.covers(a) & in_trouble for a in self.bench.answers if a.event in speaking]
        return tuple(sorted(frozenset().union(*made) or in_trouble))

    def _part(self, known: Known) -> str:
        """Return the first part of its repair where one like it was fitted."""
        labels = [self.knowledge.parts[p].label for p in known.repair.parts[:1]]
        names = {n.casefold().replace("_", " ") for n in (*labels, *known.repair.parts[:1])}
        fitted = {p.item.casefold().replace("_", " ") for r in self.state.repairs if known.id in r.causes
                  for p in r.parts}
        return labels[0] if names & fitted else ""

    def _leaning(self, known: Known) -> str:
        """Return what such findings usually mean; "" once a person has named the kind of root."""
        named = "category" in self.items or (known.leaning == "wear" and known.kind != "wear")
        return "" if named else LEANINGS[known.leaning]

    def _mode(self, known: Known) -> str:
        named = [s for s, _ in self.state.accepted]
        ordered = [s for s in named if s in known.symptoms] + named
        for symptom in ordered:
            for mode in self.knowledge.failure_modes.values():
                if symptom in mode.symptoms:
                    return mode.label
        return ""

    def _root(self, known: Known, first: bool) -> Root:
        category, proposed, events = self._category(known, first)
        label = self.knowledge.categories[category].label if category in self.knowledge.categories else ""
        for other, word in self.words.items():
            leads = [b.cause for b in self.knowledge.causes[other].leads_to]
            mended = word == POSSIBLE and {other, known.id} <= set(self.repaired)
            if known.id in leads and (word in (CONFIRMED, PROBABLE) or mended):
                rests = tuple(t.event for t in self._speaking(other))
                return Root(self.knowledge.causes[other].label, word, category, label, proposed=proposed,
                            events=rests or events)
        told = self.items.get("root") if first else None
        if told is None:
            kept = first and any(n.body["item"] == "root" for n in notes_of(self.call))
            return Root(LEFT_OUT if kept else "", NOT_TESTED, category, label, proposed=proposed, events=events)
        return Root(told.told.text, self._root_word(known.id, told, category), category, label, proposed=proposed,
                    events=told.told.events)

    def _root_word(self, cause: str, told: Item, category: str) -> str:
        """A root that somebody names is possible; with firm evidence (sisters compared where needed) probable.

        It is never surer than the cause.
        """
        firm = any(self.tests[e].firm for e in told.told.events if e in self.tests)
        entry = self.knowledge.categories.get(category)
        siblings = "siblings" in self.items or not (entry and entry.needs_siblings)
        sure = self.words[cause] in (CONFIRMED, PROBABLE)
        return PROBABLE if firm and siblings and sure else POSSIBLE

    def _category(self, known: Known, first: bool) -> tuple[str, bool, tuple[str, ...]]:
        named = self.items.get("category") if first else None
        if named is not None:
            return named.code, False, named.told.events
        for category in self.knowledge.categories.values():
            if known.kind in category.kinds:
                return category.name, True, ()
        return ("unknown" if "unknown" in self.knowledge.categories else ""), True, ()

    # --- grounds ------------------------------------------------------------------------------------

    def _speaking(self, cause: str) -> list[Bearing]:
        """Return the tests that speak for a cause: firm ones first, deciding first, strongest first."""
        tests = [t for t in self.bench.tests(cause) if t.ratio >= FOR and t.event in self.tests]
        return sorted(tests, key=lambda t: (not t.firm, not t.deciding, -t.ratio))

    def _deciding(self, cause: str) -> Ground | None:
        """Return the test that decided: the last of a reversal, else the strongest deciding one."""
        reversing = self.bench.reversal(cause)
        if reversing and self.words[cause] == CONFIRMED:
            return self._ground_at(reversing[-1])
        deciding = [t for t in self._speaking(cause) if t.decides]
        return self._ground(deciding[0]) if deciding else None

    def _ground_of(self, cause: str, word: str) -> Ground | None:
        if word == RULED_OUT:
            against = [t for t in self.bench.tests(cause) if rules_out(t) and t.event in self.tests]
            return self._ground(min(against, key=lambda t: t.ratio)) if against else None
        if word == INCONCLUSIVE:
            both = [t for t in self.bench.tests(cause) if t.ratio != 1.0 and t.event in self.tests]
            return self._ground(both[-1]) if both else None
        speaking = self._speaking(cause)
        return self._ground(speaking[0]) if speaking else None

    def _ground(self, bearing: Bearing) -> Ground:
        return self._ground_at(bearing.event)

    def _ground_at(self, event: str) -> Ground:
        """Return a test and what it gave; many readings stand in its own line of the record."""
        test = self.tests[event]
        where = f", {test.where}" if test.where and not test.values else ""
        many = len(test.values) > MOST_READ
        says = test.says if test.says and many else f"{test.reading}: {test.says}" if test.says else test.reading
        return Ground(event, test.asks + where, says)

    # --- whys ---------------------------------------------------------------------------------------

    def whys(self, told: Sequence[CauseTold]) -> Iterator[Why]:
        """Yield the chain from what was seen down to the root, each why answered by the next, as far as it goes."""
        labels = {s: known.label for s, known in self.knowledge.symptoms.items()}
        manner = self.items.get("mechanism")
        for cause in told:
            seen = [labels[s] for s, _ in self.state.accepted if s in cause.brings]
            ground = cause.deciding or (cause.grounds[0] if cause.grounds else None)
            if not ground:
                continue
            if seen:
                yield Why(", ".join(seen), f"{cause.label} ({ground.asks}: {ground.says})", (ground.event,))
            if cause.seen and manner:
                yield Why(cause.label, cause.seen, manner.told.events)
            if cause.root.text and cause.root.events:
                yield Why(cause.seen or cause.label, cause.root.text, cause.root.events)
