"""On each card the verdict as left, and for whom and by whom the result was made."""

from __future__ import annotations

import json
from typing import Any

import sqlalchemy as sa
from alembic import op

from workbench.records.ledger import Deed, EntryKind, enter

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

_FORMERLY = {"by": "by", "environment": "conditions", "references": "references"}
"""What the options of a calibration or a preparation held of it, and what it is called now."""


def upgrade() -> None:
    left = sa.Column("as_left", sa.String(20), nullable=False, server_default="")
    op.add_column("card", left)
    op.add_column("card", sa.Column("said", sa.Text, nullable=False, server_default=""))
    connection, when_utc = op.get_bind(), op.get_context().opts["when_utc"]
    query = sa.text(
        "SELECT number, answer, options FROM result WHERE kind IN ('calibrate', 'prepare')"
    )
    change = sa.text("UPDATE card SET as_left = :as_left, said = :said WHERE result = :number")
    for number, answer, options in connection.execute(query).all():
        found, typed = _object(_object(answer).get("as_left")), _object(options)
        said = {now: typed[then] for then, now in _FORMERLY.items() if typed.get(then)}
        verdict = found.get("verdict")
        row = {
            "number": number,
            "as_left": verdict if isinstance(verdict, str) else "",
            "said": json.dumps(said, ensure_ascii=False) if said else "",
        }
        if connection.execute(change, row).rowcount and said:
            enter(connection, Deed.MIGRATED, EntryKind.SAID, number, when_utc)


def _object(plain: Any) -> dict[str, Any]:
    """A JSON object, or the text of one; an empty one where it is damaged."""
    if isinstance(plain, str):
        try:
            plain = json.loads(plain)
        except ValueError:
            plain = None
    return plain if isinstance(plain, dict) else {}
