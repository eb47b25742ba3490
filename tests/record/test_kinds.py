"""A kind of event is declared once: everything that reads or writes it follows from the declaration."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any

import jsonschema
import pytest
from hypothesis import given, settings
from record.making import Desk, desks, to_text

from diag.errors import RecordError
from diag.record import fields as f
from diag.record.body import Body
from diag.record.fold import fold
from diag.record.graph import verify
from diag.record.kinds import KINDS, Free, RowsTold, Text
from diag.record.transcript import read_transcript, transcript_text
from diag.store.exchange import schema

GOLDEN = Path(__file__).parents[1] / "data" / "golden"


class Soaked(Body):
    """A kind that only this test knows: it has rained in."""

    KIND, SAYS = "soaked", "rain: {depth} on {rows}"

    depth: Annotated[Any, f.MEASURED]
    rows: RowsTold = None
    where: Free = None
    words: Text = None


@pytest.fixture
def soaked(monkeypatch: pytest.MonkeyPatch) -> None:
    """The kind is known for one test."""
    monkeypatch.setitem(KINDS, "soaked", Soaked)  # type: ignore[arg-type]


@pytest.mark.usefixtures("soaked")
def test_a_new_kind_needs_nothing_but_its_declaration(tmp_path: Path) -> None:
    """Checked, sealed, folded, written as a transcript, read again, in the schema: from the class alone."""
    desk = Desk()
    desk.open()
    event = desk.add("soaked", depth={"value": "12", "unit": "mm"}, rows=[7, 8, 9], where="by the gate", words="Rain.")
    assert ({"depth": {"value": "12", "unit": "mm"}, "rows": [7, 8, 9]}, {"where", "words"}) == (
        event.body, set(event.sealed))
    (told,) = desk.state.of(Soaked)
    assert ((7, 8, 9), "by the gate", event.id) == (told.rows, told.where, told.event)
    assert [] == verify(desk.events, desk.sealed)

    text = transcript_text(desk.events, desk.sealed)
    assert "depth: 12 mm" in text
    (tmp_path / "call.yaml").write_text(text, encoding="utf-8")
    back = read_transcript(tmp_path / "call.yaml")
    assert [e.body for e in desk.events] == [e.body for e in back.events]
    assert "by the gate" == fold(back.events, back.sealed).of(Soaked)[0].where
    jsonschema.validate(json.loads(to_text(desk.events, desk.sealed)), schema())
    with pytest.raises(RecordError, match=r"soaked.depth must be a measured value"):
        desk.add("soaked", depth="wet")


@pytest.mark.parametrize("name", ["whole.json", "without_personal.json"])
def test_old_exports_fit_the_schema(name: str) -> None:
    """What earlier programs exported, events of form 1 and of a newer program, is in the form the schema tells."""
    jsonschema.validate(json.loads((GOLDEN / name).read_text(encoding="utf-8")), schema())


@given(desks())
@settings(max_examples=15)
def test_every_export_fits_the_schema(made: list[Desk]) -> None:
    """Random calls of today fit as well, and a field that no kind has does not."""
    for desk in made:
        told = json.loads(to_text(desk.events, desk.sealed))
        jsonschema.validate(told, schema())
        told["events"][-1]["body"]["no_such_field"] = 1
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(told, schema())
