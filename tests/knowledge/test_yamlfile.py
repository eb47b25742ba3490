"""YAML files: only plain data, everything with its line, every refusal with place and remedy."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from diag.errors import KnowledgeError, TranscriptError
from diag.knowledge import yamlfile
from diag.knowledge.yamlfile import MAX_DEPTH, load_yaml


def data(text: str, **options: Any) -> Any:
    return load_yaml(text, "some.yaml", **options)[0]


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("true", True), ("false", False), ("null", None), ("", None),
        ("7", 7), ("-3", -3), ("0", 0), ("1.10", 1.1), ("-0.5", -0.5),
        ("yes", "yes"), ("no", "no"), ("on", "on"), ("off", "off"), ("True", "True"), ("~", "~"),
        ("12:30", "12:30"), ("012", "012"), ("2026-05-01", "2026-05-01"), ("0x1f", "0x1f"), (".5", ".5"),
        ("1_000", "1_000"), (".nan", ".nan"), (".inf", ".inf"), ("'7'", "7"), ('"true"', "true"),
        ("18.5 inH2O", "18.5 inH2O"), ("3, 7-9", "3, 7-9"), ("every 2nd", "every 2nd"),
    ],
)
def test_only_plain_numbers_and_true_false_null_have_a_type(written: str, read: object) -> None:
    """The resolver knows nothing but what people mean when they write it plainly."""
    assert (read, type(read)) == (value := data(f"a: {written}\n")["a"], type(value))


def test_keys_are_text() -> None:
    """A row number or `true` as a key stays the text that was written."""
    assert {"7": 1, "true": 2, "no": 3, "1.5": 4} == data("7: 1\ntrue: 2\nno: 3\n1.5: 4\n")


def test_decimals_can_stay_as_typed() -> None:
    """A caller may keep the digits of a decimal instead of a float."""
    assert "18.50" == str(data("a: 18.50", decimals=Decimal)["a"])


def test_lines_of_every_place() -> None:
    """Lines are found for keys, items, flow values and block text; a missing field has its parent's."""
    text = "# head\n- id: one\n  marks:\n    confirms: [a,\n      b]\n- id: two\n  text: |\n    words\n"

    _, lines = load_yaml(text, "some.yaml")

    paths: list[tuple[str | int, ...]] = [
        (), (0,), (0, "id"), (0, "marks", "confirms"), (0, "marks", "confirms", 1), (1,), (1, "text"),
        (1, "missing"), (0, "marks", "missing", "deeper"),
    ]
    assert [2, 2, 2, 4, 5, 6, 7, 6, 3] == [lines.at(p) for p in paths]
    assert "some.yaml:7" == lines.where((1, "text"))


def test_steps_that_are_not_in_the_file_are_passed_over() -> None:
    """A model's own step names in an error path do not hide the line of what stands below."""
    _, lines = load_yaml("a:\n  b:\n    c: 1\n")

    assert 3 == lines.at(("a", "SomeModel", "b", "c"))


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("a: 1\nb: 1e3\n", 2, "exponent"),
        ("a: 1\nb: 2\na: 3\n", 3, "first on line 1"),
        ("x:\n  - a: 1\n    a: 2\n", 3, "twice"),
        ("a: &x [1]\nb: 2\n", 1, "Anchors"),
        ("a: 1\nb: *x\n", 2, "Aliases"),
        ("a: !!python/object/apply:os.getcwd []\n", 1, "Tags"),
        ("a: !note text\n", 1, "Tags"),
        ("a: 1\n---\nb: 2\n", 2, "second document"),
        ("? [a]\n: 1\n", 1, "key must be plain"),
        ("a: [1, 2\n", 2, "not valid YAML"),
        ("a: 1\n b: 2\n", 2, "not valid YAML"),
        ("a: \x1b[31m\n", 1, "not valid YAML"),
        ("a: " + "9" * 40, 1, "too long"),
        ("[" * (MAX_DEPTH + 1), 1, "deeper"),
    ],
)
def test_refused_with_line(text: str, line: int, said: str) -> None:
    """What is refused says what, where by file and line, and what to do."""
    with pytest.raises(KnowledgeError) as caught:
        data(text)

    assert f"some.yaml:{line}" == caught.value.where
    assert said in caught.value.what
    assert caught.value.remedy


def test_alias_bomb_is_refused() -> None:
    """Nested aliases cannot blow up memory: the first anchor is refused."""
    bomb = "a: &a [x,x,x]\nb: &b [*a,*a,*a]\nc: [*b,*b,*b]\n"

    with pytest.raises(KnowledgeError, match="Anchors"):
        data(bomb)


def test_text_is_cleaned() -> None:
    """Control bytes and direction marks hidden in escapes never come in; letters come in composed."""
    assert {"ab": "x[31my", "c": "é"} == data('"a\\u202eb": "x\\e[31my"\nc: "e\\u0301"\n')


def test_other_error_class() -> None:
    """A transcript's fault is raised as such."""
    with pytest.raises(TranscriptError) as caught:
        load_yaml("a: 1e9", "call.yaml", error=TranscriptError)

    assert "call.yaml:1" == caught.value.where


def test_files(tmp_path: Path) -> None:
    """A file is read as UTF-8 with or without a mark; nothing in it is empty, not an error."""
    good, empty = tmp_path / "good.yaml", tmp_path / "empty.yaml"
    good.write_bytes(b"\xef\xbb\xbfa: 1\r\nb: \xc2\xbd\r\n")
    empty.write_bytes(b"# nothing yet\n")

    assert {"a": 1, "b": "½"} == load_yaml(good)[0]
    assert (None, 1) == ((loaded := load_yaml(empty))[0], loaded[1].at(("x",)))


def test_files_that_cannot_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Missing, a folder, not UTF-8, too large: each is said with its place."""
    latin, large = tmp_path / "latin.yaml", tmp_path / "large.yaml"
    latin.write_bytes(b"a: 1\nb: \xbd\n")
    large.write_bytes(b"a: 1\n" * 100)
    monkeypatch.setattr(yamlfile, "MAX_BYTES", 400)
    cases = {tmp_path / "none.yaml": "cannot be read", tmp_path: "file", latin: "UTF-8", large: "larger"}

    for path, said in cases.items():
        with pytest.raises(KnowledgeError, match=said) as caught:
            load_yaml(path)
        assert caught.value.where.startswith(str(path))
    with pytest.raises(KnowledgeError, match=r"^short name:2"):
        load_yaml(latin, "short name")


def test_pure_python_parser_reads_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where PyYAML comes without its C part the result is the same."""
    text = 'a: [1, 2.5, "x", yes]\nb:\n  c: |\n    two\n    lines\n  d: {e: null, f: \'1\'}\n'
    fast = load_yaml(text)
    monkeypatch.setattr(yamlfile, "_Loader", yaml.SafeLoader)

    slow = load_yaml(text)

    assert fast[0] == slow[0]
    assert fast[1].at(("b", "d", "f")) == slow[1].at(("b", "d", "f")) == 6


_plain = st.recursive(
    st.none() | st.booleans() | st.integers(-10**9, 10**9) | st.text("abc xyz:#'\"-[]{},\n1.", max_size=12),
    lambda inner: (
        st.lists(inner, max_size=4) | st.dictionaries(st.text("abcd1", min_size=1), inner, max_size=4)
    ),
    max_leaves=12,
)


@given(_plain)
def test_reads_what_a_yaml_writer_writes(value: object) -> None:
    """Plain data dumped by PyYAML with quoted text comes back the same."""
    text = yaml.safe_dump(value, default_style=None, allow_unicode=True)

    assert value == data(text)


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused_cleanly(text: str) -> None:
    """No input leads to anything but data or the project's own error."""
    try:
        data(text)
    except KnowledgeError as e:
        place = e.where
    else:
        place = "some.yaml:1"

    assert place.startswith("some.yaml:")
