"""Columns: what a sealed recording's blocks are packed into. Those of before are packed later."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

_KEPT = [("packed", "UPDATE"), ("piece", "UPDATE")]


def upgrade() -> None:
    number = sa.Column(
        "recording",
        sa.Integer,
        sa.ForeignKey("recording.number"),
        primary_key=True,
        autoincrement=False,
    )
    op.create_table(
        "packed",
        number,
        sa.Column("clocks", sa.Text, nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
    )
    op.create_table(
        "piece",
        sa.Column("recording", sa.Integer, sa.ForeignKey("recording.number"), primary_key=True),
        sa.Column("sequence", sa.Integer, primary_key=True),
        sa.Column("stream", sa.Integer, sa.ForeignKey("stream.id"), nullable=False),
        sa.Column("items", sa.Integer, nullable=False),
        sa.Column("sha256", sa.LargeBinary, nullable=False),
        sa.Column("data", sa.LargeBinary, nullable=False),
    )
    for table, verb in _KEPT:
        if op.get_bind().dialect.name == "sqlite":
            what = f"BEGIN SELECT RAISE(ABORT, 'a {table} is written once and kept'); END"
        else:
            what = "FOR EACH ROW EXECUTE FUNCTION written_once()"
        op.execute(f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} {what}")
