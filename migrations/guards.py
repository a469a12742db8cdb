"""Triggers that refuse changes of rows which are locked for good, on both databases.

What a migration has locked is compared, word by word, with what a database holds: how a lock is
spelt here must not change once a database was made with it.
"""

from dataclasses import dataclass

from alembic import op
from sqlalchemy import Connection, text

REFUSED = "is locked for good: add a new row instead"
NOTED_LOCKS = "wickbook_locks"
POSTGRESQL_EVENTS = ("update", "delete", "truncate")


@dataclass(frozen=True)
class RowLock:
    """A table whose rows are locked: where the condition on OLD holds, and but for some updates."""

    table: str
    when: str
    unlocked_update: str


def lock_rows(table: str, *, when: str = "", unlocked_update: str = "") -> None:
    """Refuse UPDATE and DELETE (and TRUNCATE, and REPLACE) of a table's rows, whoever asks.

    `when` limits it to rows for which the condition on OLD holds; `unlocked_update` is a condition
    on OLD and NEW under which an UPDATE is let through. Call it when the table has all its unique
    indexes: on SQLite each of them is a way to replace a row.
    """
    lock = RowLock(table, when, unlocked_update)
    op.get_bind().info.setdefault(NOTED_LOCKS, {})[table] = lock
    if op.get_bind().dialect.name == "postgresql":
        op.execute(spell_function(table))
        for event in POSTGRESQL_EVENTS:
            for statement in spell_postgresql_trigger(lock, event):
                op.execute(statement)
    else:
        _lock_on_sqlite(table, when, unlocked_update)


def unlock_rows(table: str) -> None:
    """Take the triggers of a table away again."""
    op.get_bind().info.get(NOTED_LOCKS, {}).pop(table, None)
    if op.get_bind().dialect.name == "postgresql":
        for event in POSTGRESQL_EVENTS:
            op.execute(f"DROP TRIGGER {table}_no_{event} ON {table}")
        op.execute(f"DROP FUNCTION refuse_change_of_{table}()")
    else:
        for event in ("update", "delete", "replace", "replace_by_update"):
            op.execute(f"DROP TRIGGER {table}_no_{event}")


def list_noted_locks(connection: Connection) -> tuple[RowLock, ...]:
    """Return the locks that migrations made over this connection and left in place."""
    return tuple(connection.info.get(NOTED_LOCKS, {}).values())


def spell_function_body(table: str) -> str:
    """Spell what the function of a table's locks does on PostgreSQL."""
    return (
        f"BEGIN RAISE EXCEPTION '{table} {REFUSED}' "
        "USING ERRCODE = 'integrity_constraint_violation'; "
        "END"
    )


def spell_function(table: str) -> str:
    """Spell the function that a table's locks call on PostgreSQL."""
    return (
        f"CREATE FUNCTION refuse_change_of_{table}() RETURNS trigger LANGUAGE plpgsql AS $$ "
        f"{spell_function_body(table)} $$"
    )


def spell_postgresql_trigger(lock: RowLock, event: str, *, on: str = "") -> tuple[str, str]:
    """Spell a lock against one event on PostgreSQL: the trigger, and that it is for always.

    `on` is another table to put it on than its own.
    """
    name, where = f"{lock.table}_no_{event}", on or lock.table
    each = "FOR EACH STATEMENT"
    if event != "truncate":
        each = f"FOR EACH ROW {_spell_condition(event, lock.when, lock.unlocked_update)}"
    trigger = (
        f"CREATE TRIGGER {name} BEFORE {event.upper()} ON {where} "
        f"{each} EXECUTE FUNCTION refuse_change_of_{lock.table}()"
    )
    return trigger, spell_enabling(lock.table, event, on=where)


def spell_enabling(table: str, event: str, *, on: str = "") -> str:
    """Spell that a lock holds always on PostgreSQL.

    A session that calls itself a replica passes by triggers that are not for always.
    """
    return f"ALTER TABLE {on or table} ENABLE ALWAYS TRIGGER {table}_no_{event}"


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


def spell_same(*columns: str) -> str:
    """Spell the condition that an UPDATE leaves these columns as they are, also where empty."""
    return " AND ".join(
        f"COALESCE(NEW.{column} = OLD.{column}, NEW.{column} IS NULL AND OLD.{column} IS NULL)"
        for column in columns
    )
