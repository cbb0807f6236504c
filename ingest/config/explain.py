"""Refusals of single values, in a keeper's words."""

from collections.abc import Mapping
from typing import get_args, get_origin

from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from calibrate.nearest import did_you_mean
from ingest.config.errors import Finding, KeyPath, dotted
from ingest.config.fields import KEY_IN_WORDS, shown
from ingest.config.model import Config
from ingest.config.table import Table

_WANTED = {
    "string_type": "text in quotes",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "float_type": "a number",
    "bool_type": "true or false",
    "tuple_type": "a list",
    "model_type": "a table",
    "mapping_type": "a table",
}
_LIMITS = {
    "greater_than": ("gt", "not above"),
    "greater_than_equal": ("ge", "under"),
    "less_than_equal": ("le", "over"),
}
# Not shown when wrong: the secret itself may stand there by mistake.
_NEAR_SECRETS = {"password_file", "password_env", "token_file", "token_env", "guest_file"}


def explained(error: ErrorDetails) -> Finding:
    """Return what pydantic refused, in a keeper's words."""
    path = tuple(part for part in error["loc"] if part != "[key]")
    if error["loc"][-1] == "[key]":
        return Finding(path, "has a key with other characters than allowed", f"Use {KEY_IN_WORDS}")
    if error["type"] == "extra_forbidden":
        return _unknown(path)
    if error["type"] == "missing":
        return Finding(path, "is missing", _instruction("Add", path))
    if error["type"] == "keeper":
        return Finding(path, str(error["ctx"]["what"]), str(error["ctx"]["remedy"]))
    return Finding(path, _refusal(error), _instruction("Write", path))


def fields_of(table: type[Table]) -> dict[str, FieldInfo]:
    """Return the keys of a table as they are spelled in the file."""
    return {field.alias or name: field for name, field in table.model_fields.items()}


def table_at(path: KeyPath) -> type[Table] | None:
    """Return the model of the table at `path`: `spot.ledge.band` is a `BandConfig`, `spot` alone is none."""
    table: type[Table] = Config
    parts = list(path)
    while parts:
        field = fields_of(table).get(str(parts.pop(0)))
        inner = None if field is None else _table_in(field.annotation)
        if field is None or inner is None:
            return None
        if get_origin(field.annotation) is Mapping:
            if not parts:
                return None
            parts.pop(0)  # the keeper's own key
        table = inner
    return table


def _table_in(annotation: object) -> type[Table] | None:
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return annotation
    return next((found for part in get_args(annotation) if (found := _table_in(part))), None)


def _unknown(path: KeyPath) -> Finding:
    name = str(path[-1])
    table = table_at(path[:-1])
    valid = fields_of(table) if table is not None else {}
    if f"{name}_file" in valid and f"{name}_env" in valid:
        return Finding(path, "would be a secret in this file", f"Use {name}_file or {name}_env in its place")
    return Finding(path, "is unknown here", did_you_mean(name, valid))


def _refusal(error: ErrorDetails) -> str:
    kind, value, context = error["type"], error["input"], error.get("ctx", {})
    given = "" if error["loc"][-1] in _NEAR_SECRETS else f"is {shown(value)}, "
    if kind in _WANTED:
        return f"{given or 'is '}not {_WANTED[kind]}"
    if kind in _LIMITS:
        bound, relation = _LIMITS[kind]
        return f"{given}{relation} {context[bound]:g}"
    if kind == "literal_error":
        return f"{given}not {context['expected']}"
    return f"{given}refused: {error['msg']}"


def _instruction(verb: str, path: KeyPath) -> str:
    table, whole = table_at(path[:-1]), table_at(path)
    field = fields_of(table).get(str(path[-1])) if table is not None else None
    if field is not None and field.examples:
        return f"{verb} {field.description}, for example: {path[-1]} = {field.examples[0]}"
    if whole is not None:
        required = [name for name, inner in fields_of(whole).items() if inner.is_required()]
        return f"{verb} a table [{dotted(path)}] with {', '.join(required)}"
    return f"{verb} a table [{dotted(path)}.<key>] for each {path[-1]}"
