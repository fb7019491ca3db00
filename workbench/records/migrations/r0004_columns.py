"""Columns: what a sealed recording's blocks are packed into. Those of before are packed later."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


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
    _keep_for_good()


def _keep_for_good() -> None:
    """Triggers against a slip of the hand, and of two programs that pack one recording at once:
    pieces are changed never, taken away or added only until the recording counts as packed."""
    if op.get_bind().dialect.name == "sqlite":
        for table, verb, of in (
            ("packed", "UPDATE", None),
            ("packed", "DELETE", None),
            ("piece", "UPDATE", None),
            ("piece", "DELETE", "OLD"),
            ("piece", "INSERT", "NEW"),
        ):
            only = f"WHEN EXISTS (SELECT 1 FROM packed WHERE recording = {of}.recording) "
            op.execute(
                f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
                f"{only if of else ''}"
                f"BEGIN SELECT RAISE(ABORT, 'a {table} is written once and kept'); END"
            )
        return
    op.execute(
        "CREATE FUNCTION kept_once_packed() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        "IF EXISTS (SELECT 1 FROM packed WHERE recording = COALESCE(NEW.recording, OLD.recording)) "
        "THEN RAISE EXCEPTION 'a % is written once and kept', TG_TABLE_NAME; END IF; "
        "RETURN COALESCE(NEW, OLD); END $$"
    )
    for table, verb, function in (
        ("packed", "UPDATE OR DELETE", "written_once"),
        ("piece", "UPDATE", "written_once"),
        ("piece", "DELETE OR INSERT", "kept_once_packed"),
    ):
        op.execute(
            f"CREATE TRIGGER {table}_{function}_{verb[:2].lower()} BEFORE {verb} ON {table} "
            f"FOR EACH ROW EXECUTE FUNCTION {function}()"
        )
