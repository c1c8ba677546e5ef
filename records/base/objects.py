"""Look for what was added to a base's schema, replaced or taken out of it.

A trigger or a rule changes what is stored as it is stored, and a view in a table's
place shows what is not: neither leaves a trace in the chain of checksums.
"""

from collections.abc import Iterator
from typing import Any

from sqlalchemy import Connection, text

from .schema import METADATA, VERSION_TABLE

__all__ = ["strange_object"]

_SQLITE = (
    "SELECT type, name FROM sqlite_master WHERE type IN ('trigger', 'view') "
    "ORDER BY type, name"
)
# Of the schema that the base is in; what an extension brought along is the extension's.
_POSTGRESQL = """
WITH ours AS (
    SELECT oid, relname, relkind, relrowsecurity FROM pg_class AS c
    WHERE relnamespace = CAST(current_schema() AS regnamespace) AND NOT EXISTS (
        SELECT 1 FROM pg_depend
        WHERE classid = CAST('pg_class' AS regclass) AND objid = c.oid AND deptype = 'e'
    )
)
SELECT CASE relkind WHEN 'f' THEN 'foreign table' ELSE 'view' END, relname, 'was added'
FROM ours WHERE relkind IN ('v', 'm', 'f')
UNION ALL
SELECT 'trigger', tgname || ' of ' || relname,
    CASE WHEN tgisinternal THEN 'was switched off' ELSE 'was added' END
FROM pg_trigger JOIN ours ON ours.oid = tgrelid
WHERE NOT tgisinternal OR tgenabled <> 'O'
UNION ALL
SELECT 'rule', rulename || ' of ' || relname, 'was added'
FROM pg_rewrite JOIN ours ON ours.oid = ev_class WHERE relkind IN ('r', 'p')
UNION ALL
SELECT 'row security', 'of ' || relname, 'was switched on' FROM ours
WHERE relrowsecurity
ORDER BY 1, 2
"""


def strange_object(connection: Connection) -> str | None:
    """Name the first object of the schema that is not as it was made; None: all are."""
    return next(_differing_tables(connection), None) or next(_added(connection), None)


def _added(connection: Connection) -> Iterator[str]:
    """Name what the tables do not have by themselves: triggers, views, rules."""
    if connection.dialect.name == "sqlite":
        for kind, name in connection.exec_driver_sql(_SQLITE):
            yield f"{kind} {name!r} was added"
        return
    for kind, name, what in connection.execute(text(_POSTGRESQL)):
        yield f"{kind} {name!r} {what}"


def _differing_tables(connection: Connection) -> Iterator[str]:
    """Name what differs in the tables themselves."""
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    options = {"version_table": VERSION_TABLE, "compare_type": True}
    context = MigrationContext.configure(connection, opts=options)
    for found in compare_metadata(context, METADATA):
        # What was changed in one column comes as a list.
        yield _in_words(found[0] if isinstance(found, list) else found)


def _in_words(found: tuple[Any, ...]) -> str:
    what, kind = found[0].split("_", 1)
    if what == "modify":
        return f"column {f'{found[2]}.{found[3]}'!r} was changed"
    named = found[-1]
    table = getattr(named, "table", None)
    name = named.name if table is None else f"{named.name} of {table.name}"
    said = {"fk": "foreign key"}.get(kind, kind)
    return f"{said} {name!r} {'is missing' if what == 'add' else 'was added'}"
