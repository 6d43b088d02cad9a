"""The first notebook: kinds and facts, and the database itself refusing to change or remove a fact."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

FIRST_KINDS = ("machine", "board", "coupon", "reading", "job", "outcome")

# REPLACE would remove the old row without asking the trigger on DELETE, so a known id is refused on the way in.
SQLITE_TRIGGERS = (
    "CREATE TRIGGER notebook_facts_no_update BEFORE UPDATE ON notebook_facts "
    "BEGIN SELECT RAISE(ABORT, 'a fact is never changed: add a correction'); END",
    "CREATE TRIGGER notebook_facts_no_delete BEFORE DELETE ON notebook_facts "
    "BEGIN SELECT RAISE(ABORT, 'a fact is never removed: add a correction'); END",
    "CREATE TRIGGER notebook_facts_no_replace BEFORE INSERT ON notebook_facts "
    "WHEN EXISTS (SELECT 1 FROM notebook_facts WHERE id = NEW.id OR number = NEW.number) "
    "BEGIN SELECT RAISE(ABORT, 'a fact is never replaced: add a correction'); END",
)
POSTGRES_TRIGGERS = (
    "CREATE FUNCTION notebook_refuse() RETURNS trigger LANGUAGE plpgsql AS "
    "$$ BEGIN RAISE EXCEPTION 'a fact is never changed or removed: add a correction' USING ERRCODE = 'restrict_violation'; END $$",
    "CREATE TRIGGER notebook_facts_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON notebook_facts "
    "FOR EACH STATEMENT EXECUTE FUNCTION notebook_refuse()",
)


def upgrade() -> None:
    """Make the tables, then lock the door behind them."""
    kinds = op.create_table("notebook_kinds", sa.Column("kind", sa.String(40), primary_key=True))
    op.bulk_insert(kinds, [{"kind": kind} for kind in FIRST_KINDS])
    op.create_table(
        "notebook_facts",
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("id", sa.String(36), nullable=False, unique=True),
        sa.Column("kind", sa.String(40), sa.ForeignKey("notebook_kinds.kind"), nullable=False),
        sa.Column("key", sa.String(200), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("schema", sa.String(100), nullable=False),
        sa.Column("payload", sa.Text, nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("supersedes", sa.String(36), sa.ForeignKey("notebook_facts.id"), nullable=True),
    )
    op.create_index("notebook_facts_by_key", "notebook_facts", ["kind", "key"])
    op.create_index("notebook_facts_by_time", "notebook_facts", ["recorded_at"])
    op.create_index("notebook_facts_by_supersedes", "notebook_facts", ["supersedes"])
    for statement in POSTGRES_TRIGGERS if op.get_bind().dialect.name == "postgresql" else SQLITE_TRIGGERS:
        op.execute(statement)


def downgrade() -> None:
    """There is no way back: a notebook is never made poorer."""
    raise NotImplementedError("a notebook only goes forward")
