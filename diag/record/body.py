"""The body of an event: what all kinds have in common. The kinds themselves are declared in kinds.py.

Free text is sealed when an event is made, and put back where it belongs when the event is read. In events of form 1
free labels stood open in the body, and only text of any length was sealed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Annotated, Any, ClassVar, Self, get_origin

from pydantic import (
    BaseModel,
    ConfigDict,
    PrivateAttr,
    ValidationError,
    ValidationInfo,
    model_serializer,
    model_validator,
)
from pydantic_core import PydanticCustomError

from diag.record import fields as f
from diag.record.hand import Context

GONE = "(not here)"
"""What stands for a free label that is not here: erased, or not handed over."""

class BodyFields(BaseModel):
    """A mapping with named fields: a body, or a part of one."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    SHORT: ClassVar[str] = ""
    """The field meant when a transcript gives a single value."""
    BY_HAND: ClassVar[Mapping[str, Any]] = {}
    """What holds where a transcript says nothing."""

    @model_validator(mode="before")
    @classmethod
    def _from_hand(cls, value: Any, info: ValidationInfo) -> Any:
        if not isinstance(info.context, Context):
            return value
        if cls.SHORT and not isinstance(value, Mapping):
            value = {cls.SHORT: value}
        return {**cls.BY_HAND, **cls.spelled_out(value)} if isinstance(value, Mapping) else value

    @classmethod
    def spelled_out(cls, told: Mapping[str, Any]) -> dict[str, Any]:
        """Return what a transcript says with its short forms written out: one value for a list of one."""
        lists = {i.alias or name for name, i in cls.model_fields.items() if get_origin(i.annotation) is tuple}
        return {name: [v] if name in lists and not isinstance(v, list) else v for name, v in told.items()}

    @classmethod
    def __get_pydantic_json_schema__(cls, core: Any, handler: Any) -> dict[str, Any]:
        """Return the schema of the stored form: text is never in it, free labels only in events of form 1."""
        told: dict[str, Any] = handler.resolve_ref_schema(handler(core))
        kinds = {i.alias or name: f.type_of(i) for name, i in cls.model_fields.items()}
        told["properties"] = {n: s for n, s in told.get("properties", {}).items() if kinds[n] is not f.TEXT}
        sealed = {n for n, kind in kinds.items() if kind is not None and kind.free("any text")}
        told["required"] = [n for n in told.get("required", ()) if n not in sealed]
        return told

    @model_serializer(mode="wrap")
    def _to_hand(self, handler: Any, info: Any) -> Any:
        told = handler(self)
        short = info.context is not None and self.SHORT
        return told[short] if short and told == {**self.BY_HAND, short: told[short]} else told


@dataclass(frozen=True)
class InCall:
    """What the call knows of an event beside what it says."""

    event: str = ""
    number: int = 0
    """Position in reading order, counted from 1."""
    n: int = 0
    by: str = ""
    desk: str = ""
    at: str = ""
    epoch: int = 0
    """How many repairs came before it."""
    replaces: str | None = None
    """The withdrawn event that this one corrects."""
    proves: str | None = None
    """The repair whose proof an answer belongs to."""
    pieces: Mapping[str, Mapping[int, Any]] = field(default_factory=dict)
    """Pieces that did not sit in their own row at an answer: piece -> {row: home row or "spare"}, for its rows."""


class Body(BodyFields):
    """What one kind of event says. Every kind may tell when it happened, where that is not when it was typed."""

    KIND: ClassVar[str]
    WITHDRAWABLE: ClassVar[bool] = True
    LISTED: ClassVar[bool] = False
    """True when a list of calls depends on it."""
    SAYS: ClassVar[str] = ""
    """Its line in the trail, with fields in braces; "" where words for it are made elsewhere, or none are needed."""

    happened: Annotated[str | None, f.TIME] = None
    _in_call: InCall = PrivateAttr(default_factory=InCall)

    def placed(self, in_call: InCall) -> Self:
        """Return it with what the call knows of its event."""
        made = self.model_copy()
        made._in_call = in_call
        return made

    @property
    def in_call(self) -> InCall:
        """What the call knows of its event; read past pydantic's look-up, which takes ten times as long."""
        kept: InCall = (self.__pydantic_private__ or {})["_in_call"]
        return kept

    @property
    def event(self) -> str:
        """The id of its event."""
        return self.in_call.event

    @property
    def number(self) -> int:
        """Position in reading order, counted from 1."""
        return self.in_call.number

    @property
    def by(self) -> str:
        """Role of who said or did it."""
        return self.in_call.by

    @property
    def at(self) -> str:
        """When it was typed, UTC."""
        return self.in_call.at

    @property
    def epoch(self) -> int:
        """How many repairs came before it."""
        return self.in_call.epoch

    @classmethod
    @cache
    def texts(cls) -> frozenset[str]:
        """Return the fields that hold text of any length."""
        return frozenset(name for name, info in cls.model_fields.items() if f.type_of(info) is f.TEXT)

    @classmethod
    def merged(cls, told: Iterable[Self]) -> Self:
        """Return what holds after all of them: later ones add to mappings and replace the rest."""
        values: dict[str, Any] = {}
        for body in told:
            for name in body.model_fields_set:
                value = getattr(body, name)
                values[name] = {**values.get(name, {}), **value} if isinstance(value, dict) else value
        return cls.model_construct(**values)


def broken(what: str, remedy: str = "") -> PydanticCustomError:
    """Return the error of a field, or of fields that do not go together."""
    return PydanticCustomError("broken", "{what}", {"what": what, "remedy": remedy})


# ------------------------------------------------------------------------------------------- free text


def parted(kind: type[Body], body: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, str]]:
    """Return a body without its free text, and the free text by its place: "since", "parts/0/item"."""
    free = [leaf for leaf in f.leaves(kind, body) if leaf.type.free(leaf.value)]
    texts = {"/".join(map(str, leaf.path)): leaf.value for leaf in free}
    return _copied(body, texts.keys(), ""), texts


def _copied(value: Any, left_out: Iterable[str], path: str) -> Any:
    if isinstance(value, Mapping):
        places = {key: f"{path}{key}" for key in value}
        return {k: _copied(v, left_out, f"{places[k]}/") for k, v in value.items() if places[k] not in left_out}
    return [_copied(v, left_out, f"{path}{i}/") for i, v in enumerate(value)] if isinstance(value, list) else value


def filled(body: Mapping[str, Any], texts: Mapping[str, str]) -> dict[str, Any]:
    """Return a body with free text back in its places. Raises KeyError for a place that is not there or taken."""
    made: dict[str, Any] = _copied(body, (), "")
    for path, text in texts.items():
        *steps, name = path.split("/")
        place: Any = made
        try:
            for step in steps:
                place = place[int(step) if isinstance(place, list) else step]
            if name in place:
                raise KeyError(path)
            place[name] = text
        except (LookupError, TypeError, ValueError):
            raise KeyError(path) from None
    return made


def faults(kind: type[Body], v: int, body: Mapping[str, Any], sealed: Iterable[str]) -> Iterator[tuple[f.Path, str]]:
    """Yield (place, what is wrong) for the body of an event of form `v` and the places of its sealed values."""
    told: dict[str, Any] = dict(body)
    for path in sealed:
        try:
            full = filled(told, {path: GONE})
        except KeyError:
            full = told
        if path in _free_places(kind, v, full):
            told = full
        else:
            yield (path,), f"is not a sealed field here (known: {', '.join(sorted(kind.texts())) or 'none'})"
    yield from misfits(kind, told)
    for path in _free_places(kind, v, body):
        yield tuple(path.split("/")), "is free text and must be sealed"


def misfits(kind: type[Body], told: Mapping[str, Any]) -> Iterator[tuple[f.Path, str]]:
    """Yield (place, what is wrong) for a body in full, free text in its places."""
    try:
        kind.model_validate(told)
    except ValidationError as e:
        yield from (fault_of(kind, error) for error in e.errors(include_url=False))


def _free_places(kind: type[Body], v: int, body: Mapping[str, Any]) -> set[str]:
    """Return where free text stands that an event of form `v` must have sealed."""
    free = (leaf for leaf in f.leaves(kind, body) if leaf.type.free(leaf.value) and (v > 1 or leaf.type is f.TEXT))
    return {"/".join(map(str, leaf.path)) for leaf in free}


def fault_of(kind: type[Body], error: Any) -> tuple[f.Path, str]:
    """Return (place, what is wrong) of one error that the model found."""
    place, sort = tuple(error["loc"]), error["type"]
    if sort == "missing":
        return place[:-1], f"needs the field {place[-1]}"
    if sort == "extra_forbidden":
        known = [i.alias or n for n, i in kind.model_fields.items() if f.TEXT not in i.metadata]
        inside = f" (known: {', '.join(known)})" if len(place) == 1 else ""
        return place, f"is not a field here{inside}"
    wants = {"tuple_type": "must be a list", "dict_type": "must be a mapping", "model_type": "must be a mapping"}
    return tuple(p for p in place if p != "[key]"), wants.get(sort, error["msg"])
