"""Triggers that refuse changes of rows which are locked for good, on both databases."""

from alembic import op

REFUSED = "is locked for good: add a new row instead"


def lock_rows(table: str, *, when: str = "", unlocked_update: str = "") -> None:
    """Refuse UPDATE and DELETE (and TRUNCATE) of a table's rows, whoever asks.

    `when` limits it to rows for which the condition on OLD holds; `unlocked_update` is a condition
    on OLD and NEW under which an UPDATE is let through.
    """
    if op.get_bind().dialect.name == "postgresql":
        _lock_on_postgresql(table, when, unlocked_update)
    else:
        _lock_on_sqlite(table, when, unlocked_update)


def unlock_rows(table: str) -> None:
    """Take the triggers of a table away again."""
    if op.get_bind().dialect.name == "postgresql":
        for event in ("update", "delete", "truncate"):
            op.execute(f"DROP TRIGGER {table}_no_{event} ON {table}")
        op.execute(f"DROP FUNCTION refuse_change_of_{table}()")
    else:
        for event in ("update", "delete", "insert"):
            op.execute(f"DROP TRIGGER IF EXISTS {table}_no_{event}")


def _lock_on_postgresql(table: str, when: str, unlocked_update: str) -> None:
    op.execute(
        f"CREATE FUNCTION refuse_change_of_{table}() RETURNS trigger LANGUAGE plpgsql AS $$ "
        f"BEGIN RAISE EXCEPTION '{table} {REFUSED}' "
        "USING ERRCODE = 'integrity_constraint_violation'; "
        "END $$"
    )
    for event in ("update", "delete"):
        condition = _spell_condition(event, when, unlocked_update)
        op.execute(
            f"CREATE TRIGGER {table}_no_{event} BEFORE {event.upper()} ON {table} "
            f"FOR EACH ROW {condition} EXECUTE FUNCTION refuse_change_of_{table}()"
        )
    op.execute(
        f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} "
        f"FOR EACH STATEMENT EXECUTE FUNCTION refuse_change_of_{table}()"
    )


def _lock_on_sqlite(table: str, when: str, unlocked_update: str) -> None:
    for event in ("update", "delete"):
        condition = _spell_condition(event, when, unlocked_update)
        op.execute(
            f"CREATE TRIGGER {table}_no_{event} BEFORE {event.upper()} ON {table} "
            f"FOR EACH ROW {condition} "
            f"BEGIN SELECT RAISE(ABORT, '{table} {REFUSED}'); END"
        )


def _spell_condition(event: str, when: str, unlocked_update: str) -> str:
    conditions = [f"({when})"] if when else []
    if event == "update" and unlocked_update:
        conditions.append(f"NOT ({unlocked_update})")
    return f"WHEN ({' AND '.join(conditions)})" if conditions else ""
