"""A PostgreSQL server for tests, and a line to it that can be cut, held up and mended."""

from __future__ import annotations

import contextlib
import os
import random
import socket
import threading
from collections.abc import Iterator

import pytest
from sqlalchemy import create_engine, text
from sqlalchemy.engine import make_url

POSTGRES = os.environ.get("DIAG_TEST_POSTGRES")
"""A throw-away server; every test takes a schema of its own there."""


def url_there() -> str:
    """The server's address; without one the test is skipped, in CI it fails."""
    if not POSTGRES:
        if os.environ.get("CI") == "true":
            pytest.fail("DIAG_TEST_POSTGRES must be set in CI")
        pytest.skip("DIAG_TEST_POSTGRES is not set")
    return POSTGRES


@contextlib.contextmanager
def a_schema() -> Iterator[str]:
    """The address of a new schema, dropped afterwards."""
    url = url_there()
    schema = f"t{random.SystemRandom().getrandbits(60):x}"
    engine = create_engine(url.replace("postgresql://", "postgresql+psycopg://", 1))
    with engine.begin() as connection:
        connection.execute(text(f"CREATE SCHEMA {schema}"))
    try:
        yield f"{url}{'&' if '?' in url else '?'}options=-csearch_path%3D{schema}&application_name={schema}"
    finally:
        with engine.begin() as connection:
            connection.execute(text(f"DROP SCHEMA {schema} CASCADE"))
        engine.dispose()


class Line:
    """A line to the server: `cut` closes it, `held` lets nothing through, `slow` little at a time, `mend` opens it."""

    def __init__(self, url: str) -> None:
        there = make_url(url)
        self._server = (there.host or "127.0.0.1", there.port or 5432)
        self._open: list[socket.socket] = []
        self._passes = threading.Event()
        self._passes.set()
        self.passed = 0
        """Bytes that went through, in both directions."""
        self._delay, self._never = 0.0, threading.Event()
        self._listener: socket.socket | None = None
        self._port = 0
        self.mend()
        self.schema = there.query["application_name"]
        self.url = there.set(host="127.0.0.1", port=self._port).render_as_string(hide_password=False)

    def mend(self) -> None:
        """Take connections (again) and let everything through."""
        self._passes.set()
        if self._listener is None:
            self._listener = socket.create_server(("127.0.0.1", self._port))
            self._port = self._listener.getsockname()[1]
            threading.Thread(target=self._accept, args=(self._listener,), daemon=True).start()

    def cut(self) -> None:
        """Close all connections and take no new ones."""
        if self._listener is not None:
            self._listener.shutdown(socket.SHUT_RDWR)
            self._listener.close()
            self._listener = None
        for end in self._open:
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            end.close()
        self._open.clear()

    def slow(self, seconds: float) -> None:
        """Let every piece wait so long."""
        self._delay = seconds

    def held(self) -> None:
        """Keep connections open and let nothing through."""
        self._passes.clear()

    def _accept(self, listener: socket.socket) -> None:
        while True:
            try:
                desk, _ = listener.accept()
                server = socket.create_connection(self._server)
            except OSError:
                return
            self._open += [desk, server]
            for a, b in ((desk, server), (server, desk)):
                threading.Thread(target=self._pass_on, args=(a, b), daemon=True).start()

    def _pass_on(self, source: socket.socket, target: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while data := source.recv(65536):
                self._passes.wait()
                self.passed += len(data)
                if self._delay:
                    self._never.wait(self._delay)
                target.sendall(data)
        for end in (source, target):
            with contextlib.suppress(OSError):
                end.close()
