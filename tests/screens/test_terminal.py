"""The real program in a real pseudo-terminal: first screen, a call, leaving, coming back, the exit code."""

from __future__ import annotations

import os
import re
import select
import sys
from pathlib import Path

import pytest

from diag.store.open import open_store

pty = pytest.importorskip("pty", reason="there are no pseudo-terminals here")

HERE = Path(__file__).parent
SMALL = HERE.parent / "data" / "small"
SILENT, MOST_WRITTEN = 30.0, 5_000_000
"""Seconds without a sign after which a program counts as stuck, on any machine; bytes that are read at most."""


class Terminal:
    """A program at a terminal of 80 by 24."""

    def __init__(self, *arguments: str, home: Path) -> None:
        import fcntl
        import struct
        import termios

        self._pid, self._fd = pty.fork()
        if self._pid == 0:
            os.environ.update(TERM="xterm-256color", HOME=str(home), XDG_STATE_HOME=str(home), COLUMNS="80", LINES="24")
            os.execv(sys.executable, [sys.executable, "-m", "diag", *arguments])
        fcntl.ioctl(self._fd, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        self.seen = b""

    def wait_for(self, text: str) -> None:
        """Read until the text was written. Raises AssertionError when it falls silent, or ends, without it."""
        while text.encode() not in self.seen and select.select([self._fd], [], [], SILENT)[0]:
            try:
                self.seen += os.read(self._fd, 65536)
            except OSError:
                break
            assert len(self.seen) < MOST_WRITTEN, f"{text!r} did not come among all that was written: {self.shown()}"
        assert text.encode() in self.seen, f"{text!r} did not come; seen: {self.shown()}"

    def shown(self) -> str:
        """Return what was written, without the codes that drive the terminal."""
        plain = re.sub(rb"\x1b(\[[0-9;?=<>]*[a-zA-Z~]|[()][A-Z0-9]|.)", b" ", self.seen)
        return " ".join(plain.decode(errors="replace").split())[-3000:]

    def keys(self, data: bytes) -> None:
        """Send keys one by one, as a person does."""
        self.seen = b""
        for i in range(len(data)):
            os.write(self._fd, data[i : i + 1])

    def key(self, code: bytes) -> None:
        """Send one key of several bytes."""
        self.seen = b""
        os.write(self._fd, code)

    def end(self) -> int:
        """Wait for the program's end and return its exit code."""
        try:
            while select.select([self._fd], [], [], 10.0)[0]:
                if not os.read(self._fd, 65536):
                    break
        except OSError:
            pass
        _, status = os.waitpid(self._pid, 0)
        os.close(self._fd)
        return os.waitstatus_to_exitcode(status)


def arguments(place: Path) -> list[str]:
    """Return the command line for the small knowledge and a store of its own."""
    folders = [f for d in (SMALL, HERE / "knowledge") for f in ("--knowledge", str(d))]
    return ["--store", str(place), "--no-mouse", *folders]


def test_a_call_in_a_real_terminal(tmp_path: Path) -> None:
    """Start, new call, words, desk, one answer, Ctrl+Q: exit code 0, and the answer is on disk; then again."""
    place = tmp_path / "calls.db"
    terminal = Terminal(*arguments(place), home=tmp_path)
    terminal.wait_for("Practise")
    terminal.key(b"\x1b[19~")  # F8: on site
    terminal.wait_for("on site")
    terminal.keys(b"it is thin")
    terminal.wait_for("It sounds like")
    terminal.keys(b"\r")
    terminal.wait_for("to the first question")
    terminal.keys(b"1\r")
    terminal.wait_for("no, ask on")
    terminal.wait_for("Enter records")  # it is drawn: from now on keys count
    terminal.keys(b"5")
    terminal.wait_for("= ")
    terminal.keys(b"\r")
    terminal.wait_for("Enter records")
    terminal.keys(b"1")
    terminal.wait_for("= ")
    terminal.keys(b"\r")
    terminal.wait_for("Ctrl+Z takes it back")
    terminal.key(b"\x11")
    assert terminal.end() == 0
    store = open_store(place)
    (call,) = store.call_ids()
    assert sum(e.kind == "answer" for e in store.events(call)) == 1
    store.close()
    again = Terminal(*arguments(place), home=tmp_path)
    again.wait_for("In work")
    again.key(b"\x11")
    assert again.end() == 0


def test_a_dumb_terminal_gets_the_line_dialogue(tmp_path: Path) -> None:
    """TERM=dumb and pipes: no escape codes, the line dialogue instead."""
    import subprocess

    told = subprocess.run(
        [sys.executable, "-m", "diag", *arguments(tmp_path / "calls.db")],
        input="s\nit is thin\n1\nquit\n", capture_output=True, text=True, timeout=60,
        env={**os.environ, "HOME": str(tmp_path)}, check=False,
    )
    assert told.returncode == 0
    assert "\x1b" not in told.stdout
    assert "Left as it is" in told.stdout
