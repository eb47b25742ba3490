"""Plain readings: a usual value told without a complaint about it is a fact, and nothing wrong is heard in it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from diag.hear.said import Said
from diag.hear.said_figures import Figure
from diag.hear.said_rows import MachineRows, Rows
from diag.units import Measured


def plain_readings(said: Said, found: Sequence[Figure], named: Iterable[Rows | MachineRows]) -> frozenset[int]:
    """Return the places of words that tell a usual value and nothing else: "row 7 skips, vacuum gauge reads 18".

    Only beside a complaint of something else, where no other number may be compared with it (rows, speeds may not),
    and where the sentence does not set it against something ("but").
    """
    taken = {at for f in found for at in range(f.first, f.last)} | {at for r in named for at in range(r.first, r.last)}
    if any(word.value is not None and at not in taken for at, word in enumerate(said.words)):
        return frozenset()
    alone = [f for f in found if f.quantity.usual and sum(g.quantity is f.quantity for g in found) == 1]
    places = frozenset(at for f in alone if _is_usual(f) for at in _told_alone(said, f))
    return places if places and _complains_besides(said, places) else frozenset()


def _complains_besides(said: Said, places: frozenset[int]) -> bool:
    """Tell whether something seen is told in words that name none of the parts that the reading names."""
    parts = {said.words[at].stem for at in places}
    seen = (h for h in said.hits if (c := said.lexicon.by_name.get(h.owner)) and c.kind == "seen")
    return any(
        said.status(hit) == "said" and parts.isdisjoint(w.stem for w in said.counted[hit.first : hit.last])
        for hit in seen
    )


def _is_usual(figure: Figure) -> bool:
    usual = figure.quantity.usual
    if usual is None or figure.doubt:
        return False
    low, high = (Measured(f"{n:g}", usual.unit).si() for n in (usual.low, usual.high))
    return bool(low <= figure.value.si() <= high)


def _told_alone(said: Said, figure: Figure) -> range:
    """Return the words from pause to pause around a figure where they only name it, else none."""
    words, lexicon = said.words, said.lexicon
    first, last = figure.first, figure.last
    while first and words[first - 1].part == words[figure.first].part:
        first -= 1
    while last < len(words) and words[last].pause == words[figure.first].pause:
        last += 1
    spoken = {*lexicon.talk.plain, *figure.quantity.near, *lexicon.skipped_words}
    others = [w.text for w in (*words[first : figure.first], *words[figure.last : last]) if w.text not in spoken]
    around = [words[at] for at in (first - 1, last) if 0 <= at < len(words)]
    against = any(w.text in lexicon.talk.breaks and w.sentence == words[figure.first].sentence for w in around)
    return range(first, first) if others or against else range(first, last)
