"""The tables as peewee models, for this package only.

Keys of other tables are plain fields: the database checks them (see the migrations), and nothing is
ever loaded behind one's back. Tables written and read only by SQL have no model.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache, reduce
from operator import or_
from typing import Any

from peewee import SQL, AutoField, BooleanField, FloatField, IntegerField, Model, TextField

from msdtrack.store.connection import db
from msdtrack.store.statements import listed, rows

_LONGEST_SOUGHT = 1000
"""Nothing that is searched for is longer, in characters; SQLite fails at 50,000."""


class _Table(Model):
    class Meta:
        database = db
        legacy_table_names = False


class Part(_Table):
    """A component type, as last corrected."""

    number = TextField(primary_key=True)
    msl = TextField()
    description = TextField()
    body_mm = FloatField(null=True)
    family = TextField(null=True)
    pins = IntegerField(null=True)
    square = BooleanField(null=True)
    large_bga = BooleanField()
    stacked_die = BooleanField()
    compound_confirmed = BooleanField()
    label_floor_life_hours = FloatField(null=True)
    carrier_max_c = FloatField(null=True)
    max_bake_c = FloatField(null=True)
    peak_body_c = FloatField(null=True)
    maker_bake = TextField(null=True)
    recorded_at = IntegerField()


class Person(_Table):
    """Somebody with a badge."""

    code = TextField(primary_key=True)
    name = TextField()
    recorded_at = IntegerField()
    retired_at = IntegerField(null=True)


class Place(_Table):
    """A place without its air."""

    id = AutoField()
    code = TextField(unique=True)
    name = TextField()
    kind = TextField()
    created_at = IntegerField()
    oven_max_c = FloatField(null=True)
    oven_max_rh_pct = FloatField(null=True)


class PlaceSetting(_Table):
    """Assumed air and tolerance of a place from a date."""

    id = AutoField()
    place = TextField()
    from_at = IntegerField()
    assumed_temp_c100 = IntegerField()
    assumed_rh_c100 = IntegerField()
    tolerance_temp_c100 = IntegerField()
    tolerance_rh_c100 = IntegerField()
    person = TextField(null=True)
    recorded_at = IntegerField()


class Policy(_Table):
    """A choice of the site from a date; the value is JSON."""

    id = AutoField()
    name = TextField()
    from_at = IntegerField()
    value = TextField()
    person = TextField(null=True)
    recorded_at = IntegerField()


class FactChange(_Table):
    """The trace of one corrected fact; before and after are JSON."""

    id = AutoField()
    what = TextField()
    key = TextField()
    field = TextField()
    before = TextField()
    after = TextField()
    person = TextField(null=True)
    reason = TextField()
    recorded_at = IntegerField()


class Carrier(_Table):
    """A carrier as received or split off; dates are ISO 8601 text."""

    code = TextField(primary_key=True)
    part = TextField()
    lot = TextField()
    quantity = IntegerField()
    kind = TextField()
    received_at = IntegerField()
    recorded_at = IntegerField()
    bag = TextField(null=True)
    sealed_on = TextField(null=True)
    shelf_life_ends = TextField(null=True)
    place = TextField(null=True)
    parent = TextField(null=True)
    split_event = TextField(null=True)
    msl = TextField(null=True)
    body_mm = FloatField(null=True)
    label_floor_life_hours = FloatField(null=True)
    person = TextField(null=True)


class Request(_Table):
    """A request and its answer, as JSON."""

    id = TextField(primary_key=True)
    scope = TextField()
    content_hash = TextField()
    status = IntegerField()
    answer = TextField()
    recorded_at = IntegerField()


class PrintLog(_Table):
    """One printed label."""

    id = AutoField()
    code = TextField()
    layout = TextField()
    stuck_on = TextField()
    at = IntegerField()
    person = TextField(null=True)
    reprint = BooleanField()


def dicts(query: Any) -> list[dict[str, Any]]:
    """Return the rows of a query by column name."""
    return list(query.dicts())


def having(
    table: type[_Table], column: str, values: Iterable[str], order_by: str = ""
) -> list[dict[str, Any]]:
    """Return the rows whose column has one of the values, by column name.

    What `dicts` does, without having peewee put the same query together each time, which takes
    longer than answering it: a carrier's state asks half a dozen of these.
    """
    names, flags = _columns(table)
    condition, given = listed(column, values)
    order = f" ORDER BY {order_by}" if order_by else ""
    sql = f"SELECT {', '.join(names)} FROM {table._meta.table_name} WHERE {condition}{order}"
    found = [dict(zip(names, row, strict=True)) for row in rows(sql, given)]
    for row in found:
        for name in flags:
            row[name] = None if row[name] is None else bool(row[name])
    return found


@cache
def _columns(table: type[_Table]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    fields = table._meta.sorted_fields
    flags = tuple(field.column_name for field in fields if isinstance(field, BooleanField))
    return tuple(field.column_name for field in fields), flags


def holding(text: str, *columns: Any) -> Any:
    """Return the condition that one of the columns holds the text, in any case."""
    if len(text) > _LONGEST_SOUGHT:
        return SQL("1 = 0")
    return reduce(or_, (column.contains(text) for column in columns))


def tuples(query: Any) -> list[tuple[Any, ...]]:
    """Return the rows of a query as tuples."""
    return list(query.tuples())
