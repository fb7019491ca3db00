"""The first format: recordings, their streams and blocks, and results."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

_KEPT = [("result", "UPDATE"), ("result", "DELETE"), ("block", "UPDATE")]


def upgrade() -> None:
    op.create_table(
        "recording",
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("simulated", sa.Boolean, nullable=False),
        sa.Column("program_version", sa.String(40), nullable=False),
        sa.Column("started_utc", sa.String(40), nullable=False),
        sa.Column("started_host_s", sa.Float),
        sa.Column("machine_name", sa.Text, nullable=False),
        sa.Column("machine_text", sa.Text, nullable=False),
        sa.Column("heartbeat_utc", sa.String(40), nullable=False),
        sa.Column("ended_utc", sa.String(40)),
        sa.Column("end_reason", sa.Text, nullable=False),
        sa.Column("summary", sa.Text, nullable=False),
        sa.Column("sha256", sa.String(64)),
        sa.Column("deleted_utc", sa.String(40)),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "stream",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("recording", sa.Integer, sa.ForeignKey("recording.number"), nullable=False),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("input", sa.Text, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("quantity", sa.Text, nullable=False),
        sa.UniqueConstraint("recording", "kind", "input", "name", "quantity", name="stream_once"),
    )
    op.create_table(
        "block",
        sa.Column("recording", sa.Integer, sa.ForeignKey("recording.number"), primary_key=True),
        sa.Column("sequence", sa.Integer, primary_key=True),
        sa.Column("stream", sa.Integer, sa.ForeignKey("stream.id"), nullable=False),
        sa.Column("items", sa.Integer, nullable=False),
        sa.Column("sha256", sa.LargeBinary, nullable=False),
        sa.Column("data", sa.LargeBinary, nullable=False),
    )
    op.create_table(
        "result",
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("answer", sa.Text, nullable=False),
        sa.Column("options", sa.Text, nullable=False),
        sa.Column("recording", sa.Integer, sa.ForeignKey("recording.number")),
        sa.Column("recording_sha256", sa.String(64), nullable=False),
        sa.Column("table_text", sa.Text),
        sa.Column("table_name", sa.Text, nullable=False),
        sa.Column("machine_text", sa.Text, nullable=False),
        sa.Column("program_version", sa.String(40), nullable=False),
        sa.Column("created_utc", sa.String(40), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sqlite_autoincrement=True,
    )
    _keep_for_good()


def _keep_for_good() -> None:
    """Triggers that refuse to change what was written once."""
    if op.get_bind().dialect.name == "sqlite":
        for table, verb in _KEPT:
            op.execute(
                f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, 'a {table} is written once and kept'); END"
            )
        return
    op.execute(
        "CREATE FUNCTION written_once() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION 'a % is written once and kept', TG_TABLE_NAME; END $$"
    )
    for table, verb in _KEPT:
        op.execute(
            f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION written_once()"
        )
