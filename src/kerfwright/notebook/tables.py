"""The tables as this version knows them; the migrations make them, and a test holds the two together."""

from __future__ import annotations

from datetime import UTC, datetime

from sqlalchemy import Column, DateTime, Dialect, ForeignKey, Index, Integer, MetaData, String, Table, Text
from sqlalchemy.types import TypeDecorator

VERSION_TABLE = "notebook_version"
NEWEST = "0001"  # the migration that this version ends with
KNOWN = (NEWEST,)  # every migration of this version, oldest first


class UtcTime(TypeDecorator[datetime]):
    """A moment in UTC. SQLite drops the zone and PostgreSQL answers in the server's: both come back as aware UTC."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Toward the database."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a moment without a time zone")
        return value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """From the database."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


metadata = MetaData()

KINDS = Table("notebook_kinds", metadata, Column("kind", String(40), primary_key=True))

FACTS = Table(
    "notebook_facts",
    metadata,
    Column("number", Integer, primary_key=True),  # order of arrival: a correction always comes after what it corrects
    Column("id", String(36), nullable=False, unique=True),
    Column("kind", String(40), ForeignKey("notebook_kinds.kind"), nullable=False),
    Column("key", String(200), nullable=False),
    Column("recorded_at", UtcTime, nullable=False),
    Column("schema", String(100), nullable=False),
    Column("payload", Text, nullable=False),
    Column("sha256", String(64), nullable=False),
    Column("supersedes", String(36), ForeignKey("notebook_facts.id"), nullable=True),
    Index("notebook_facts_by_key", "kind", "key"),
    Index("notebook_facts_by_time", "recorded_at"),
    Index("notebook_facts_by_supersedes", "supersedes"),
)
