"""The tables of a migration, and triggers that refuse to change or delete what was entered.

Every migration ever shipped is written in these words: what they make never changes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import sqlalchemy as sa
from alembic import op

REFUSAL = "what was entered is never changed or deleted"


def number(name: str, empty: bool = False) -> sa.Column[Any]:
    return sa.Column(name, sa.Integer(), autoincrement=False, nullable=empty)


def text(name: str, empty: bool = False) -> sa.Column[Any]:
    return sa.Column(name, sa.Text(), nullable=empty)


def texts(*names: str) -> Iterator[sa.Column[Any]]:
    return map(text, names)


def make(
    name: str,
    *columns: sa.Column[Any],
    key: str,
    unique: Sequence[str] = (),
    refers: Mapping[str, str] | None = None,
    index: Sequence[str] = (),
) -> None:
    """Make a table; `refers` gives for a column the one that it refers to, `index` the columns with an index each."""
    op.create_table(
        name,
        *columns,
        *(sa.ForeignKeyConstraint([column], [to]) for column, to in (refers or {}).items()),
        sa.PrimaryKeyConstraint(key),
        *([sa.UniqueConstraint(*unique)] if unique else []),
    )
    for column in index:
        op.create_index(op.f(f"ix_{name}_{column}"), name, [column], unique=False)


def make_entered(name: str, *columns: sa.Column[Any], **more: Any) -> None:
    """Make a table of rows that are entered: each numbered, with when and by whom."""
    make(name, number("id"), *columns, *texts("at", "by"), key="id", **more)


def guard(table: str) -> None:
    """Refuse UPDATE, DELETE and (where there is such a thing) TRUNCATE on a table from now on."""
    if op.get_bind().dialect.name == "sqlite":
        for act in ("update", "delete"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{act} BEFORE {act.upper()} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
            )
        return
    op.execute(
        "CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{REFUSAL}'; END $$"
    )
    for act in ("update", "delete", "truncate"):
        op.execute(
            f"CREATE TRIGGER {table}_no_{act} BEFORE {act.upper()} ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
        )
