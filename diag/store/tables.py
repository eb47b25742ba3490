"""The tables of a store."""

from __future__ import annotations

from sqlalchemy import Column, ForeignKey, Integer, LargeBinary, MetaData, String, Table, Text, UniqueConstraint

SCHEMA = 1

metadata = MetaData()

calls = Table(
    "call", metadata,
    Column("id", String(10), primary_key=True),
    Column("changed", String(20), nullable=False),
    Column("events", Integer, nullable=False),
    Column("due", String(20), nullable=False),
    Column("summary", Text, nullable=False),
    Column("search", Text, nullable=False),
)
events = Table(
    "event", metadata,
    Column("id", String(64), primary_key=True),
    Column("call", String(10), ForeignKey("call.id"), nullable=False),
    Column("arrival", Integer, nullable=False),
    Column("v", Integer, nullable=False),
    Column("kind", String(100), nullable=False),
    Column("form", Text, nullable=False),
    UniqueConstraint("call", "arrival"),
)
sealed = Table(
    "sealed", metadata,
    Column("event", String(64), ForeignKey("event.id"), primary_key=True),
    Column("field", String(100), primary_key=True),
    Column("call", String(10), ForeignKey("call.id"), nullable=False, index=True),
    Column("salt", LargeBinary, nullable=False),
    Column("value", Text, nullable=False),
)
profiles = Table(
    "profile", metadata,
    Column("id", String(40), primary_key=True),
    Column("body", Text, nullable=False),
    Column("personal", Text, nullable=False),
)
settings = Table(
    "setting", metadata,
    Column("key", String(100), primary_key=True),
    Column("value", Text, nullable=False),
)
