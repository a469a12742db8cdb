"""Triggers that refuse changes of rows which are locked for good, on both databases."""

from alembic import op
from sqlalchemy import text

REFUSED = "is locked for good: add a new row instead"


def lock_rows(table: str, *, when: str = "", unlocked_update: str = "") -> None:
    """Refuse UPDATE and DELETE (and TRUNCATE, and REPLACE) of a table's rows, whoever asks.

    `when` limits it to rows for which the condition on OLD holds; `unlocked_update` is a condition
    on OLD and NEW under which an UPDATE is let through. Call it when the table has all its unique
    indexes: on SQLite each of them is a way to replace a row.
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
        for event in ("update", "delete", "replace", "replace_by_update"):
            op.execute(f"DROP TRIGGER {table}_no_{event}")


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
    for event in ("update", "delete", "truncate"):
        # A session that calls itself a replica passes by triggers that are not for always.
        op.execute(f"ALTER TABLE {table} ENABLE ALWAYS TRIGGER {table}_no_{event}")


def _lock_on_sqlite(table: str, when: str, unlocked_update: str) -> None:
    for event in ("update", "delete"):
        condition = _spell_condition(event, when, unlocked_update)
        _add_on_sqlite(table, event, f"BEFORE {event.upper()} ON {table} FOR EACH ROW {condition}")
    # INSERT OR REPLACE and UPDATE OR REPLACE take rows away without asking the trigger for DELETE.
    meets = f"({_spell_meeting(table)})"
    if when:
        meets = f"({when.replace('OLD.', 'held.')}) AND {meets}"
    held = f"SELECT 1 FROM {table} AS held WHERE {meets}"  # noqa: S608
    _add_on_sqlite(table, "replace", f"BEFORE INSERT ON {table} WHEN EXISTS ({held})")
    other = f"EXISTS ({held} AND held.rowid <> OLD.rowid)"
    _add_on_sqlite(table, "replace_by_update", f"BEFORE UPDATE ON {table} WHEN {other}")


def _add_on_sqlite(table: str, event: str, where: str) -> None:
    op.execute(
        f"CREATE TRIGGER {table}_no_{event} {where} "
        f"BEGIN SELECT RAISE(ABORT, '{table} {REFUSED}'); END"
    )


def _spell_meeting(table: str) -> str:
    """Spell the condition under which NEW takes a place that the row `held` has.

    Every table of SQLite has a rowid, which a REPLACE can name even where it is no column.
    """
    ask = op.get_bind().execute
    columns = ask(text("SELECT name FROM pragma_table_info(:t)"), {"t": table}).scalars().all()
    places = ["held.rowid = NEW.rowid"]
    unique = ask(
        text(
            "SELECT i.name, sqlite_master.sql FROM pragma_index_list(:t) AS i"
            ' LEFT JOIN sqlite_master ON sqlite_master.name = i.name WHERE i."unique"'
        ),
        {"t": table},
    )
    for index, sql in unique.all():
        keys = ask(text("SELECT name FROM pragma_index_info(:i)"), {"i": index}).scalars()
        same = " AND ".join(f'held."{key}" = NEW."{key}"' for key in keys)
        _, _, only = (sql or "").partition(" WHERE ")
        if only:
            named = (column for column in columns if column in only)
            fresh = ", ".join(f'NEW."{column}" AS "{column}"' for column in named)
            new = f"SELECT 1 FROM (SELECT {fresh}) WHERE {only}"  # noqa: S608
            same += f" AND ({only}) AND EXISTS ({new})"
        places.append(same)
    return " OR ".join(f"({place})" for place in places)


def _spell_condition(event: str, when: str, unlocked_update: str) -> str:
    conditions = [f"({when})"] if when else []
    if event == "update" and unlocked_update:
        conditions.append(f"NOT ({unlocked_update})")
    return f"WHEN ({' AND '.join(conditions)})" if conditions else ""
