"""Calls that an earlier program kept and exported (data/golden) open unchanged: five invented calls, one of them with
every kind of event and field of form 1, one with an event of a newer program."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from diag.errors import RecordError
from diag.record.fold import fold, sealed_view
from diag.store.exchange import Export
from diag.store.open import Store, open_store

GOLDEN = Path(__file__).parents[1] / "data" / "golden"
EVERY, NEWER = "AEVERYK1ND", "ANEWERCA11"
IDS = ["1PZ6B9Y6TA", EVERY, NEWER, "ETPT99QDYR", "PVWP8YSV9C"]


@pytest.fixture
def old(tmp_path: Path) -> Iterator[Store]:
    """A copy of the store of an earlier program."""
    shutil.copy(GOLDEN / "store.db", tmp_path / "calls.db")
    with open_store(tmp_path / "calls.db") as store:
        yield store


def test_an_old_store_is_read_without_a_change(old: Store, tmp_path: Path) -> None:
    """Every call of it is whole, listed as it was, and reading leaves every byte of the file."""
    listed = {c.call: (c.customer, c.status, c.events) for c in old.calls()}

    assert {
        IDS[0]: ("Hazel Brindle", "open", 20), EVERY: ("Alder Flat", "open", 43), NEWER: ("Bent Creek", "open", 3),
        IDS[3]: ("Clover Wend", "waiting", 11), IDS[4]: ("Birch Tamble", "closed", 20)} == listed
    assert [()] * 5 == [old.verify(call).flaws for call in IDS]
    assert ["the old 12-row"] == [p.personal["label"] for p in old.profiles()]
    assert ("us", 5) == (old.get_setting("units"), sum(1 for call in IDS if fold(old.events(call)).call == call))
    assert (GOLDEN / "store.db").read_bytes() == (tmp_path / "calls.db").read_bytes()


@pytest.mark.parametrize(("name", "personal"), [("whole.json", True), ("without_personal.json", False)])
def test_an_old_export_comes_in_and_goes_out_again_byte_by_byte(tmp_path: Path, old: Store, name: str,
                                                                personal: bool) -> None:
    """The old store and a new one that took the old export both export the very same file."""
    with open_store(tmp_path / "new.db") as new:
        new.import_file(GOLDEN / name)
        for store in (old, new):
            store.export_file(IDS, tmp_path / "out.json", personal=personal)
            assert (GOLDEN / name).read_bytes() == (tmp_path / "out.json").read_bytes()


def test_every_kind_of_old_event_still_says_what_it_said(old: Store) -> None:
    """Labels that stood open in events of form 1 are told like the sealed ones of today."""
    events = old.events(EVERY)
    state = fold(events)
    told = json.loads((GOLDEN / "told.json").read_text(encoding="utf-8"))
    texts = sealed_view(events, old.sealed(EVERY))

    assert told["texts"] == sorted(t for v in texts.values() for t in v.values())
    assert told["answers"] == [[a.check, a.status, a.outcome, a.epoch] for a in state.answers]
    assert told["machine"] == [state.machine.rows, sorted(state.machine.sections), sorted(state.machine.axes)]
    assert told["situation"] == [state.situation.since, state.situation.seed_lot_code, state.situation.rhythm]
    assert told["now"] == [state.channel, state.epoch, len(state.repairs), len(state.proofs), len(state.swaps),
                           [n.name for n in state.not_put_back], len(state.cautions), state.closed is None]
    assert (old.events(NEWER)[-1].id,) == fold(old.events(NEWER)).unknown


def test_an_altered_old_export_is_refused(tmp_path: Path) -> None:
    """The golden export is checked, not only read: one figure changed and nothing comes in."""
    text = (GOLDEN / "whole.json").read_text(encoding="utf-8")
    (tmp_path / "x.json").write_text(text.replace('"rows":[7]', '"rows":[8]', 1), encoding="utf-8")
    with Export(tmp_path / "x.json") as export:
        assert list(export.calls())
    with open_store(tmp_path / "new.db") as new, pytest.raises(RecordError, match="changed after it was recorded"):
        new.import_file(tmp_path / "x.json")
