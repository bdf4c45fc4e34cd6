"""Triggers that refuse to change or delete what was entered, in the words of each kind of database."""

from __future__ import annotations

from alembic import op

REFUSAL = "what was entered is never changed or deleted"


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
