"""Looking: causes, why, how, what if, rules, charts, entries, the trail."""

from __future__ import annotations

from diag.ask.search import search_answers, search_causes, search_checks
from diag.errors import UsageError
from diag.plain.talk import WIDTH, Part
from diag.reason.judgement import LIKELY, OPEN
from diag.say import explaining, present


class Looking(Part):
    """Words that show something and record nothing."""

    def causes(self, rest: str) -> None:
        """causes: the ranked causes."""
        for c in present.cause_lines(self.call, self.talk.before, most=20):
            self.say(f"{c.sign} {c.chance:<12} {c.label}")
        self.say(present.rest_line(self.call, 20) or "These are all that can still be it.")

    def now(self) -> str | None:
        """The check that is asked now."""
        offers = self.call.offers()
        return self.talk.taken or (offers[0].check if offers else None)

    def _lines(self, topic: str) -> None:
        self.write(explaining.told(self.call, topic, WIDTH))

    def why(self, rest: str) -> None:
        """why: why this check."""
        if key := self.now():
            self._lines(f"check:{key}")

    def what(self, rest: str) -> None:
        """what [WORDS]: what each answer would do; nothing is recorded."""
        key = self.pick_check(rest) if rest else self.now()
        if key:
            self._lines(f"if:{key}")

    def pick_cause(self, rest: str) -> str | None:
        """Return the cause meant; the first of the ranking when nothing was said."""
        knowledge = self.desk.engine.knowledge
        if not rest:
            ranking = self.call.think().judgement.ranking
            return ranking[0].cause if ranking else None
        found = self.causes_of(rest)
        if not found:
            self.say(f"No cause fits {rest!r}.")
            return None
        chosen = 0 if len(found) == 1 else self.number_of("number", [knowledge.causes[c].label for c in found])
        return None if chosen is None else found[chosen]

    def causes_of(self, rest: str) -> list[str]:
        """Return the causes that hold these words: those that can still be it, else any."""
        knowledge = self.desk.engine.knowledge
        found = [rest] if rest in knowledge.causes else search_causes(knowledge, rest)
        still = {r.cause for r in self.call.think().judgement.ranking if r.belief in (LIKELY, OPEN)}
        return [c for c in found if c in still] or found

    def pick_check(self, rest: str) -> str | None:
        """Return the check meant. Raises UsageError when none fits."""
        knowledge = self.desk.engine.knowledge
        found = [rest] if rest in knowledge.questions else search_checks(knowledge, rest)
        if not found:
            raise UsageError(f"No check fits {rest!r}.", "take", "Try one word of it.")
        chosen = 0 if len(found) == 1 else self.number_of("number", [knowledge.questions[k].asks for k in found])
        return None if chosen is None else found[chosen]

    def how(self, rest: str) -> None:
        """how [WORDS]: what speaks for and against a cause."""
        if cause := self.pick_cause(rest):
            self._lines(f"cause:{cause}")

    def why_not(self, rest: str) -> None:
        """not [WORDS]: why a cause is not at the top."""
        if cause := self.pick_cause(rest):
            self.say(present.why_not_line(self.call, cause))

    def rules(self, rest: str) -> None:
        """rules: which rules fired, on what."""
        self._lines("rules")

    def charts(self, rest: str) -> None:
        """charts: the readings drawn in text."""
        self._lines("charts")

    def show(self, rest: str) -> None:
        """show ID: the entry of the knowledge behind an id."""
        found = self.desk.engine.knowledge.find(rest)
        if not found:
            raise UsageError(f"Nothing is called {rest!r}.", "show", "Ids stand in `rules` and `list`.")
        for kind, _ in found:
            self.write(explaining.entry_text(self.call, kind, rest))

    def trail(self, rest: str) -> None:
        """trail: what was recorded."""
        for _, line in present.trail_lines(self.call):
            self.say(line)

    def list_checks(self, rest: str) -> None:
        """list WORDS: search checks, and results that can be told."""
        knowledge = self.desk.engine.knowledge
        for key in search_checks(knowledge, rest):
            self.say(f"  take {key}: {knowledge.questions[key].asks}")
        for key, outcome in search_answers(knowledge, rest, 6):
            check = knowledge.questions[key]
            self.say(f"  tell: {present.answer_words(check, outcome)}")
