"""One entry of the knowledge base, printed to be read: everything resolved into words."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any

from diag.knowledge import model, vocabulary
from diag.knowledge.base import Knowledge
from diag.knowledge.fields import cited
from diag.knowledge.hazards import hazards_of_check, with_wants
from diag.knowledge.lint.shows import OutcomeTable, tables
from diag.knowledge.machines import Applies
from diag.knowledge.words import Symptom
from diag.text import wrap

WIDTH = 78
DIFFERS, LEAST = 1.3, 0.02
"""Ratio to a sound machine, and chance, from which on an outcome is printed for a cause."""


def show(knowledge: Knowledge, kind: str, key: str) -> str:
    """Return an entry as text of at most 78 columns; `kind` is a section, `key` an id or name in it."""
    entry = getattr(knowledge, kind)[key]
    write = _WRITERS.get(kind, _plain)
    head = f"{key}  ({kind}, {knowledge.place(kind, key)})"
    return "\n".join([head, *write(knowledge, entry), *_sources(knowledge, entry)])


def _line(name: str, text: object) -> Iterator[str]:
    """Yield a field, folded, unless it is empty."""
    shown = str(text) if text is not None else ""
    if shown:
        yield wrap(f"{name}: {shown}", WIDTH, "  ").replace("\n  ", "\n    ")


def _list(name: str, items: Iterable[str]) -> Iterator[str]:
    shown = list(items)
    if shown:
        yield f"  {name}:"
        yield from (wrap(f"- {item}", WIDTH, "    ").replace("\n    ", "\n      ") for item in shown)


def _label(table: Mapping[str, Any], key: str) -> str:
    return f"{table[key].label} ({key})" if key in table else key


def machines(knowledge: Knowledge, applies: Applies) -> str:
    """Return in words which machines an entry is bound to, "" for all."""

    def words(axes: Mapping[str, tuple[str, ...]]) -> str:
        parts = []
        for axis, values in axes.items():
            known = {v.name: v.label for v in knowledge.axes[axis].values} if axis in knowledge.axes else {}
            parts.append(" or ".join(known.get(v, v) for v in values))
        return " and ".join(parts)

    always = words(applies.axes)
    either = " or ".join(f"({words(other)})" for other in applies.any)
    return " and ".join(p for p in (always, either) if p)


def _cause(k: Knowledge, cause: model.Cause) -> Iterator[str]:
    repair = cause.repair
    yield from _line("what", cause.label)
    yield from _line("to a grower", cause.plain)
    where = k.subsystems[cause.subsystem]
    yield from _line("where", f"{_label(k.subsystems, where.name)}: {where.means}")
    yield from _line("machines", machines(k, cause.applies) or "all")
    yield from _line("how often", f"{cause.per_mille:g} of 1,000 calls on machines that can have it (estimate)")
    yield from _line("class", _label(k.kinds, cause.kind))
    yield from _line("season", _label(k.seasons, cause.season))
    named = [f"{name} {value}" for name in ("rows", "follows", "effect", "onset") if (value := getattr(cause, name))]
    yield from _line("attributes", ", ".join(named).replace("_", " "))
    yield from _line("pattern", cause.pattern)
    yield from _line("mechanism", cause.mechanism)
    yield from _list("complained of as", (
        f"{_label(k.symptoms, s)}, {w.replace('_', ' ')}" for s, w in cause.symptoms.items()
    ))
    yield from _line("repair", f"{repair.do} {repair.minutes:g} minutes, by {repair.by}.")
    yield from _line("parts", ", ".join(_label(k.parts, p) for p in repair.parts))
    yield from _line("tools", ", ".join(_label(k.tools, t) for t in repair.tools))
    yield from _cautions(k, repair.hazards)
    yield from _line("proof", _label(k.verifications, repair.verify) if repair.verify else "")
    yield from _line("for now", cause.interim.do if cause.interim else "")
    yield from _list("can bring about", (
        f"{_label(k.causes, b.cause)}, {b.chance:g}" for b in cause.leads_to
    ))
    yield from _line("warranty", cause.leaning)
    yield from _line("prevention", cause.prevention)
    yield from _list("what it shows", _answers(k, cause))
    yield from _list("rules", (r for r, rule in k.rules.items() if _marks(k, rule.then.marks, cause)))


def _marks(k: Knowledge, marks: Mapping[str, Iterable[str]], cause: model.Cause) -> bool:
    return any(t in (cause.id, f"@{cause.subsystem}") for targets in marks.values() for t in targets)


def _answers(k: Knowledge, cause: model.Cause) -> Iterator[str]:
    """Yield what a cause shows, by itself and by its attributes: the strongest findings first."""
    found = []
    for key, table in tables(k).items():
        if cause.id in table.rows:
            ratios = table.ratios(cause.id)
            by = "" if key.partition(".")[0] in cause.shows else ", by its attributes"
            found += [(max(ratios.values()), key, _row(table, cause.id) + by)]
    yield from (f"{key}: {text}" for _, key, text in sorted(found, key=lambda f: (-f[0], f[1])))


def _row(table: OutcomeTable, cause: str) -> str:
    """Return what a cause brings in a check where it differs from a sound machine, the likeliest first."""
    ratios = table.ratios(cause)
    shown = sorted(zip(table.check.outcomes, table.shares(cause), strict=True), key=lambda pair: -pair[1])
    told = [f"{o} {p:.2g} (x{ratios[o]:.2g})" for o, p in shown if not 1 / DIFFERS < ratios[o] < DIFFERS]
    return ", ".join(told) or "as on a sound machine"


def _check(k: Knowledge, check: model.Check) -> Iterator[str]:
    minutes = check.minutes
    yield from _line("asks", check.asks)
    yield from _line("why", check.why)
    yield from _line("by phone", check.phone or "not feasible by phone")
    yield from _line("read back", check.read_back)
    yield from _line("look", _label(k.looks, check.look) if check.look else "")
    yield from _line("machines", machines(k, check.applies) or "all")
    yield from _cautions(k, hazards_of_check(k, check))
    yield from _line("no hazards because", check.hazards_reason)
    yield from _list("steps", (f"[{s.state.replace('_', ' ')}] {s.do}" for s in check.steps))
    states = (k.states[name] for name in dict.fromkeys(s.state for s in check.steps))
    yield from _list("states", (f"{state.label}: {state.means}" for state in states))
    yield from _line("who", check.who)
    yield from _line("minutes", ", ".join(
        f"{name} {value:g}" for name, value in minutes.model_dump(exclude={"source"}).items() if value is not None
    ))
    yield from _line("tools", ", ".join(_label(k.tools, t) for t in check.tools))
    yield from _line("worked out by", ", ".join(check.compute))
    yield from _line("expected", check.expected)
    yield from _line("changes", ", ".join(check.destroys))
    yield from _list("tells of attributes, the first line that fits", _tells(check))
    yield from _list("without the tool", (f"{s.check or s.do} {s.weaker_in}" for s in check.stand_ins))
    for key, table in tables(k).items():
        if table.owner == check.id:
            for name, outcome in table.check.outcomes.items():
                yield from _outcome(k, key, table, name, outcome=outcome)


def _outcome(k: Knowledge, key: str, table: OutcomeTable, name: str, outcome: model.Outcome) -> Iterator[str]:
    share = dict(zip(table.check.outcomes, table.base, strict=True))[name]
    place = list(table.check.outcomes).index(name)
    normal = ", normal" if outcome.normal else ""
    yield from _line(key, f"{name} (sound machine {share:.2g}{normal}): {outcome.says}")
    causes = sorted(table.rows, key=lambda c: (-table.rows[c][place], c))
    shows = [c for c in causes if table.ratios(c)[name] >= DIFFERS and table.rows[c][place] >= LEAST]
    yield from _line("  shown by", ", ".join(f"{c} {table.rows[c][place]:.2g}" for c in shows))
    yield from _line("  then", ", ".join(outcome.then_check))
    yield from _line("  advice", outcome.advise)


def _tells(check: model.Check) -> Iterator[str]:
    """Yield the lines by which a check tells of attributes."""
    for line in check.tells:
        named = line.model_dump(exclude_defaults=True, exclude={"shows"})
        when = " and ".join(f"{name} {' or '.join(values)}" for name, values in named.items())
        yield f"{when}: " + ", ".join(f"{o} {str(word).replace('_', ' ')}" for o, word in line.shows.items())


def _cautions(k: Knowledge, hazards: Iterable[str]) -> Iterator[str]:
    wanted = set(with_wants(k, hazards))
    yield from _list("cautions", (
        f"{c.word}: {c.text}" for c in k.cautions.values() if wanted & set(c.hazards)
    ))


def _rule(k: Knowledge, rule: model.Rule) -> Iterator[str]:
    yield from _line("because", rule.because)
    yield from _line("machines", machines(k, rule.applies) or "all")
    yield from _fields({"when": rule.when.model_dump(exclude_defaults=True, by_alias=True),
                        "then": rule.then.model_dump(exclude_defaults=True, by_alias=True)})


def _axis(k: Knowledge, axis: vocabulary.Axis) -> Iterator[str]:
    yield from _line("asks", axis.asks)
    for value in axis.values:
        yield from _line(value.name, f"{value.label}, {value.share:.0%} of machines")
        yield from _line("  seen by", value.tell_by)
        yield from _line("  differs", value.differs)


def _symptom(k: Knowledge, symptom: Symptom) -> Iterator[str]:
    yield from _line("what", symptom.label)
    yield from _line("said like", "; ".join(symptom.wordings))
    yield from _line("to measure", symptom.measure)
    yield from _line("patterns", "; ".join(symptom.patterns))
    yield from _list("first checks", (f"{name}: {k.checks[name].asks}" for name in symptom.first_checks))
    yield from _list("causes", (
        f"{c.label} ({c.id}), {c.symptoms[symptom.id].replace('_', ' ')}"
        for c in k.causes.values() if symptom.id in c.symptoms
    ))


def _source(k: Knowledge, source: vocabulary.Source) -> Iterator[str]:
    yield from _plain(k, source)
    for kind in ("causes", "checks", "rules", "cautions", "limits", "symptoms", "verifications"):
        citing = (key for key, e in getattr(k, kind).items() if source.name in {s for _, s in cited(e)})
        yield from _line(f"cited by {kind}", ", ".join(citing))


def _plain(k: Knowledge, entry: Any) -> Iterator[str]:
    left_out = {"id", "name", "source"}
    yield from _fields(entry.model_dump(exclude_defaults=True, by_alias=True, exclude=left_out))


def _fields(data: Mapping[str, Any]) -> Iterator[str]:
    import yaml

    text = yaml.safe_dump(_lists(dict(data)), sort_keys=False, allow_unicode=True, width=WIDTH - 2)
    yield from (f"  {line}" for line in text.rstrip().splitlines())


def _lists(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _lists(v) for k, v in value.items()}
    return [_lists(v) for v in value] if isinstance(value, list | tuple) else value


def _sources(k: Knowledge, entry: Any) -> Iterator[str]:
    for path, name in cited(entry):
        source = k.sources.get(name)
        if source:
            parts = [source.title, *(p for p in (source.where, source.read) if p)]
            kind = "" if source.kind == "published" else f" [{source.kind.replace('_', ' ')}]"
            beside = " of " + " ".join(str(p) for p in path[:-1]) if len(path) > 1 else ""
            yield from _line(f"source{beside}", f"{name}{kind} {'; '.join(parts)}")


_WRITERS: Mapping[str, Callable[[Knowledge, Any], Iterator[str]]] = {
    "axes": _axis, "causes": _cause, "checks": _check, "rules": _rule, "sources": _source, "symptoms": _symptom,
}
