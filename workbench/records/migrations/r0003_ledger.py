"""The ledger; of an older store it begins with all that was found in it."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from workbench.records.ledger import Deed, EntryKind, contents, enter

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "ledger",
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("previous", sa.String(64), nullable=False),
        sa.Column("deed", sa.String(20), nullable=False),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("subject", sa.Integer, nullable=False),
        sa.Column("found", sa.String(64), nullable=False),
        sa.Column("content", sa.String(64), nullable=False),
        sa.Column("when_utc", sa.String(40), nullable=False),
        sa.Column("program_version", sa.String(40), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
    )
    for verb in ("UPDATE", "DELETE"):
        _refuse(verb)
    connection, given = op.get_bind(), op.get_context().opts
    found, when_utc = given["found"], given["when_utc"]
    if found is None:
        enter(connection, Deed.MADE, EntryKind.FORMAT, int(revision), when_utc)
        return
    enter(connection, Deed.TAKEN_OVER, EntryKind.FORMAT, int(found), when_utc)
    for kind in (EntryKind.RECORDING, EntryKind.RESULT):
        for number in sorted(contents(connection, kind)):
            enter(connection, Deed.TAKEN_OVER, kind, number, when_utc)


def _refuse(verb: str) -> None:
    """A trigger against a slip of the hand; what a hand means to do, the chain tells."""
    if op.get_bind().dialect.name == "sqlite":
        what = "BEGIN SELECT RAISE(ABORT, 'the ledger is written once and kept'); END"
    else:
        what = "FOR EACH ROW EXECUTE FUNCTION written_once()"
    op.execute(f"CREATE TRIGGER ledger_no_{verb.lower()} BEFORE {verb} ON ledger {what}")
