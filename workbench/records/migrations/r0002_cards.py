"""A card beside each result, and a title and a note for recordings: what a person may change."""

from __future__ import annotations

import json
import tomllib

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

_LONGEST = 200


def upgrade() -> None:
    for name in ("title", "note"):
        op.add_column("recording", sa.Column(name, sa.Text, nullable=False, server_default=""))
    card = op.create_table(
        "card",
        sa.Column(
            "result",
            sa.Integer,
            sa.ForeignKey("result.number"),
            primary_key=True,
            autoincrement=False,
        ),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("recording", sa.Integer),
        sa.Column("table_name", sa.Text, nullable=False),
        sa.Column("created_utc", sa.String(40), nullable=False),
        sa.Column("head", sa.Text, nullable=False),
        sa.Column("machine_name", sa.Text, nullable=False),
        sa.Column("title", sa.Text, nullable=False, server_default=""),
        sa.Column("note", sa.Text, nullable=False, server_default=""),
        sa.Column("deleted_utc", sa.String(40)),
    )
    connection = op.get_bind()
    numbers = connection.execute(sa.text("SELECT number FROM result")).scalars().all()
    one = sa.text(
        "SELECT number AS result, kind, recording, table_name, created_utc, answer, machine_text "
        "FROM result WHERE number = :number"
    )
    for number in numbers:
        row = connection.execute(one, {"number": number}).one()._asdict()
        row |= {"head": _head(row.pop("answer")), "machine_name": _name(row.pop("machine_text"))}
        connection.execute(sa.insert(card).values(row))


def _head(answer: str) -> str:
    """The answer's numbers and short words; nothing of one that is damaged."""
    try:
        found = json.loads(answer)
    except ValueError:
        found = None
    if not isinstance(found, dict):
        return "{}"
    kept = {
        name: value
        for name, value in found.items()
        if not isinstance(value, dict | list)
        and not (isinstance(value, str) and len(value) > _LONGEST)
    }
    return json.dumps(kept, ensure_ascii=False)


def _name(machine: str) -> str:
    try:
        return str(tomllib.loads(machine).get("name", ""))
    except tomllib.TOMLDecodeError:
        return ""
