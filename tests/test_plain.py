"""The line dialogue, driven by a script: every word of its help does what it says."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from diag.call.desk import Desk
from diag.errors import ProgramError
from diag.knowledge.base import Knowledge
from diag.knowledge.load import load
from diag.plain import WIDTH, Dialogue, asking, run_plain
from diag.reason.judge import Engine
from diag.say import follows
from diag.store.open import open_store


class Script:
    """Feeds lines and keeps what was written."""

    def __init__(self, *lines: str) -> None:
        self.lines: Iterator[str] = iter(lines)
        self.written: list[str] = []

    def read(self, prompt: str) -> str:
        """Return the next line; the end of the script is the end of the input."""
        self.written.append(prompt)
        try:
            return next(self.lines)
        except StopIteration:
            raise EOFError from None

    @property
    def text(self) -> str:
        """Everything written."""
        return "\n".join(self.written)


@pytest.fixture(scope="module")
def engine(small: Knowledge) -> Engine:
    """One engine for all dialogues here."""
    return Engine(small)


def talk(engine: Engine, *lines: str) -> tuple[Script, Dialogue]:
    """Run a dialogue over a script; return what was written and the dialogue."""
    script = Script(*lines)
    dialogue = Dialogue(Desk(engine), script.read, script.written.append, "us")
    try:
        dialogue.start(None)
    except Exception as error:
        if type(error).__name__ not in ("EOFError", "LeaveError"):
            raise
    return script, dialogue


INTAKE = ("s", "nothing anybody knows", "2")
"""On site, words that match nothing: the second of what is offered (thin) is turned on."""


def test_a_store_that_is_held_does_not_end_the_dialogue(engine: Engine, tmp_path: Path) -> None:
    """Held by another program when it begins and while it goes on: told, tried again, nothing lost."""
    with open_store(tmp_path / "calls.db", patience=0.01) as store:
        Desk(engine, store, store.desk_id()).new_call("site")
        holder = sqlite3.connect(tmp_path / "calls.db", isolation_level=None)
        holder.execute("BEGIN EXCLUSIVE")
        released = iter(["", "1", "note it holds", "quit"])

        def read(prompt: str) -> str:
            line = next(released)
            if line == "":
                holder.execute("COMMIT")
            return line

        told: list[str] = []
        assert 0 == run_plain(Desk(engine, store, store.desk_id()), read=read, write=told.append)
        holder.close()
        assert "Another program holds the store" in " ".join(" ".join(told).split())
        assert "note" == store.events(store.call_ids()[0])[-1].kind


@pytest.mark.parametrize("error", [ValueError("x"), KeyError("x"), RecursionError()])
def test_an_error_nobody_foresaw_ends_a_turn_and_not_the_dialogue(engine: Engine, error: Exception,
                                                                  monkeypatch: pytest.MonkeyPatch) -> None:
    """It is told with its place, and the next line is taken; one that comes before any line ends it, told as well."""
    def fails(*_: object) -> None:
        raise error

    monkeypatch.setattr("diag.plain.looking.Looking.causes", fails)
    script, dialogue = talk(engine, *INTAKE, "causes", "note taken all the same", "quit")
    assert "This program does something wrong" in script.text
    assert "note" == dialogue.call.events[-1].kind
    monkeypatch.setattr("diag.plain.asking.Asking.turn", fails)
    with pytest.raises(ProgramError, match="does something wrong"):
        talk(engine, *INTAKE)


def test_a_call_end_to_end(engine: Engine) -> None:
    """Complaint, answers, repair, measuring again, proof, close."""
    script, dialogue = talk(
        engine, *INTAKE, "blue", "repair beta", "", "", "", "", "", "10", ".", "take plain", "ok",
        "proof", "", "accepted", ".", "close", "mended", ".",
    )
    state = dialogue.call.state
    assert [a.outcome for a in state.answers] == ["blue", "ok"]
    assert (state.repairs[0].causes, state.repairs[0].minutes) == (("beta",), 10)
    assert state.proofs[0].verdict == "accepted"
    assert state.closed is not None
    assert state.closed.result == "mended"
    assert "Measure again: only that shows that it is mended." in script.text


def test_after_a_repair_the_check_in_hand_is_let_go(engine: Engine) -> None:
    """What was asked before the repair is not asked on: the proof comes next."""
    mending = ("repair beta", "", "", "", "", "", "10", ".")
    for said, kept in ((("take split",), "split"), (("take split", *mending), None)):
        _, dialogue = talk(engine, *INTAKE, *said)
        assert kept == dialogue.talk.taken


def test_every_word_of_the_help_is_understood(engine: Engine) -> None:
    """The help is made from the words: each stands there, and begins with what to do first."""
    script, dialogue = talk(engine, *INTAKE, "help")
    assert "Do this first" in script.text
    assert all(f"  {name} " in script.text for name in dialogue.words)


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("why", "it saves about"), ("causes", "1 in "), ("how alpha", "complaint"), ("not beta", "Beta is"),
        ("rules", "rests on"), ("trail", "call opened"), ("list plain", "take plain: Plain look"), ("what", "if red"),
        ("help", "undo"), ("undo", "Taken back: "), ("redo", "nothing to do again"), ("how zebra", "No cause fits"),
        ("take zebra", "No check fits"), ("change 99", "See `trail`"), ("proof", "No repair is recorded"),
        ("swap meter", "swap meter 5 6"), ("wait forever", "nothing to wait for"), ("rows 9-x", "Not done"),
        ("photo no/such.jpg", "No such file"), ("zebra", "Not understood: zebra"),
    ],
)
def test_words_at_a_question(engine: Engine, said: str, told: str) -> None:
    """Each word answers at the prompt; what cannot be done says why and what to do."""
    script, _ = talk(engine, *INTAKE, said, ".")
    assert told in script.text


def test_not_sure_and_cannot_here_are_recorded(engine: Engine) -> None:
    """ "?" and "x" are statuses, not answers."""
    _, dialogue = talk(engine, *INTAKE, "?", "ask on", "x")
    assert {a.status for a in dialogue.call.state.answers} == {"unsure", "cannot_here"}


def test_a_list_is_one_question(engine: Engine) -> None:
    """what_changed is asked whole; several items are taken at once."""
    _, dialogue = talk(engine, *INTAKE, "take what_changed.seed", "1 2")
    assert [(a.check, a.outcome) for a in dialogue.call.state.answers] == [
        ("what_changed.seed", "yes"), ("what_changed.bolt", "yes"),
    ]


def test_notes_swaps_changes_and_waiting(engine: Engine) -> None:
    """Everything beside answers is recorded, and what is not put back is said."""
    script, dialogue = talk(
        engine, *INTAKE, "note [red] not markup", "swap meter 5 6", "changed vacuum", "", "20", "18", ".",
        "before turned the screw", "", "", "", "", "better", ".", "wait caller", ".", "rows 3, 7-8", "causes",
    )
    state = dialogue.call.state
    assert dialogue.call.text_of("note", "text") == "[red] not markup"
    assert (state.swaps[0].from_row, state.swaps[0].to_row) == (5, 6)
    assert state.situation.rows == (3, 7, 8)
    assert state.done_before[0].effect == "better"
    assert "Not put back: vacuum (was 20)" in script.text


def test_hostile_words_are_only_words(engine: Engine) -> None:
    """Control bytes, markup and length do not hurt; the line stays inside the width."""
    script, dialogue = talk(engine, "s", "\x1b]0;x\x07 [/b] =1+1 " + "z" * 5000, "1", "note \x1b[31m\u202ered")
    assert "\x1b" not in script.text
    assert dialogue.call.text_of("note", "text") == "[31mred"
    said = [line for chunk in script.written for line in chunk.splitlines() if " " in line.strip()]
    assert max(len(line) for line in said if "zzz" not in line) <= max(WIDTH, 90)


def test_left_and_taken_up_again(engine: Engine, tmp_path: object) -> None:
    """A call left in the middle is offered at the next start and goes on where it was."""
    store = open_store(f"{tmp_path}/calls.db")
    desk = Desk(engine, store, store.desk_id())
    first = Script(*INTAKE, "blue", "quit")
    assert run_plain(desk, read=first.read, write=first.written.append) == 0
    second = Script("1", "trail")
    assert run_plain(desk, read=second.read, write=second.written.append) == 0
    assert "Plain look: blue" in second.text
    call_id = store.call_ids()[0]
    third = Script("causes")
    assert run_plain(desk, call=call_id[:5].lower(), read=third.read, write=third.written.append) == 0
    assert "Beta" in third.text


def test_what_was_recorded_is_said_back_and_undone_whole(engine: Engine) -> None:
    """The echo names the answer and its undo; undo says what it took back."""
    script, dialogue = talk(engine, *INTAKE, "take what_changed.seed", "1 2", "undo")
    assert "undo takes it back." in script.text
    assert "Taken back: " in script.text
    assert dialogue.call.state.answers == ()


@pytest.mark.parametrize("said", ["\u00b2", "9" * 5000, "1/0", "~nosuch", "[/x]"])
def test_no_line_ends_the_dialogue(engine: Engine, said: str) -> None:
    """Whatever is typed at any question, one guard holds: the dialogue goes on, nothing is recorded."""
    for before in ((), ("take what_changed.seed",), ("take ratio",), ("change 2",), ("emergency",), ("proof",)):
        script, dialogue = talk(engine, *INTAKE, *before, said, "trail")
        assert dialogue.call.state.answers == ()
        assert "complaint" in script.text


def test_the_question_comes_first(engine: Engine) -> None:
    """A screen reader hears the question before anything about it."""
    script, _ = talk(engine, *INTAKE)
    asked = [line for chunk in script.written for line in chunk.split("\n")]
    at = max(i for i, line in enumerate(asked) if not line)
    assert asked[at + 1].startswith(("Plain look", '"'))
    assert any(line.startswith("Now: ") for line in asked[at + 2:])


def test_every_act_that_is_offered_can_be_carried_out(engine: Engine) -> None:
    """Each answer of what is worth doing is a word of the dialogue, or is known to the asking itself."""
    known = {c.name for c in Dialogue(Desk(engine), input, print, "us").words.values()}
    by_itself = {"ask_on", "measure", "channel", "search", "readings", "not_known"}
    for action, choices in follows.ACTS.items():
        for choice in choices if action != "practice" else ():
            assert choice.key in by_itself or asking.ACTS[choice.key] in known, choice.key


def test_words_of_a_repair_that_name_no_cause_tell_what_was_done(engine: Engine) -> None:
    """repair and any words: they become what was done; the cause is then picked from the list."""
    _, dialogue = talk(engine, *INTAKE, "repair dried the plug, new pin", "1", ".")
    (mended,) = dialogue.call.state.repairs
    assert "dried the plug, new pin" == dialogue.call.text_of("repair", "words")
    assert len(mended.causes) == 1


def test_nothing_typed_at_a_danger_says_what_is_to_be_typed() -> None:
    """The remedy is that of the question that stands there."""
    here = Path(__file__).parent
    engine = Engine(load([here / "data" / "small", here / "screens" / "knowledge"]))
    script, dialogue = talk(engine, *INTAKE, "take spun", "", "", "x")
    assert "Type the word DANGER, in capitals, or x" in script.text
    assert not [a for a in dialogue.call.state.answers if a.status == "given"]
