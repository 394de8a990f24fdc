"""What the models object to, said as: what is wrong, what was expected, what to do."""

from __future__ import annotations

import difflib
import types
from typing import Any, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from drivers.quantities import ABSOLUTE_ZERO_C
from plans.errors import Problem, shown
from plans.reading import place

_EXPECTED_TYPE = {
    "float_type": "a number is expected here, without quotes",
    "float_parsing": "a number is expected here, without quotes",
    "int_type": "a whole number is expected here, without quotes",
    "int_from_float": "a whole number is expected here",
    "string_type": 'a text is expected here, in "quotes"',
    "bool_type": "true or false is expected here, without quotes",
    "date_type": "a date is expected here, without quotes, e.g. 2026-01-15",
    "datetime_type": "a date with time is expected here, without quotes, e.g. 2026-01-15T17:00:00Z",
    "model_type": "a table of keys is expected here",
    "model_attributes_type": "a table of keys is expected here",
    "dict_type": "a table of keys is expected here",
    "tuple_type": "a list of tables is expected here; write the heading in double brackets, [[like this]]",
}
_BOUND = {
    "greater_than": ("must be above {gt}", "gt"),
    "greater_than_equal": ("must be {ge} or more", "ge"),
    "less_than": ("must be below {lt}", "lt"),
    "less_than_equal": ("must be {le} or less", "le"),
}


def problems_of(fault: ValidationError, model: type[BaseModel], file: str) -> list[Problem]:
    """Every objection of a model to one file."""
    return [_problem(detail, model, file) for detail in fault.errors(include_url=False)]


def _problem(detail: ErrorDetails, model: type[BaseModel], file: str) -> Problem:
    is_table = isinstance(detail["input"], dict) and detail["type"] == "value_error"
    value = "" if is_table or detail["type"] == "missing" else shown(detail["input"])
    return Problem(file, place(detail["loc"], is_table), value, _sentence(detail, model))


def _sentence(detail: ErrorDetails, model: type[BaseModel]) -> str:
    kind, context, key = (
        detail["type"],
        detail.get("ctx", {}),
        str(detail["loc"][-1]) if detail["loc"] else "",
    )
    if kind == "missing":
        return "this is missing and has no default; add it."
    if kind == "extra_forbidden":
        return _unknown_key(detail["loc"], model)
    if kind == "value_error":
        return str(context["error"])
    if kind == "literal_error":
        return f"expected one of {context['expected']}{_close_to(detail['input'], context['expected'])}."
    if kind in _EXPECTED_TYPE:
        return f"{_EXPECTED_TYPE[kind]}."
    if kind in _BOUND:
        return _out_of_bounds(kind, context, detail["input"], key)
    return _length_or_form(kind, context)


def _out_of_bounds(kind: str, context: dict[str, Any], value: Any, key: str) -> str:
    if key.endswith("_c") and isinstance(value, int | float) and value < ABSOLUTE_ZERO_C:
        return f"below absolute zero ({ABSOLUTE_ZERO_C} °C); correct the temperature."
    template, name = _BOUND[kind]
    return f"{template.format(**{name: context[name]})}; correct the value."


def _length_or_form(kind: str, context: dict[str, Any]) -> str:
    if kind == "too_short":
        return f"empty; at least {context['min_length']} is needed."
    if kind == "too_long":
        return f"{context['actual_length']} entries; at most {context['max_length']} are allowed."
    if kind == "string_too_short":
        return "this text is empty; write something."
    if kind == "string_too_long":
        return f"this text is too long; at most {context['max_length']} characters."
    if kind == "string_pattern_mismatch" and "A-Z" in str(context["pattern"]):
        return "only letters, digits and . _ / - are allowed here, and a letter or digit first."
    return "this cannot be used here; see the example plans for the form expected."


def _unknown_key(path: tuple[int | str, ...], model: type[BaseModel]) -> str:
    known = _keys_at(path[:-1], model)
    close = difflib.get_close_matches(str(path[-1]), known, n=1, cutoff=0.6)
    if close:
        return f"unknown key; did you mean {close[0]}?"
    return f"unknown key; known here are {', '.join(sorted(known))}. Take it out or correct it."


def _keys_at(path: tuple[int | str, ...], model: type[BaseModel]) -> list[str]:
    here = model
    named = False
    for step in path:
        if named or not isinstance(step, str):
            named = False
            continue
        field = next(field for name, field in here.model_fields.items() if (field.alias or name) == step)
        named = get_origin(field.annotation) is dict  # a table of tables: the next key is a name of theirs
        here = _model_in(field.annotation)
    return [field.alias or name for name, field in here.model_fields.items()]


def _model_in(annotation: Any) -> type[BaseModel]:
    if get_origin(annotation) in (Union, types.UnionType, tuple):
        return _model_in(next(part for part in get_args(annotation) if part not in (type(None), ...)))
    if get_origin(annotation) is dict:
        return _model_in(get_args(annotation)[1])
    assert isinstance(annotation, type) and issubclass(annotation, BaseModel)
    return annotation


def _close_to(value: Any, expected: str) -> str:
    words = expected.replace("'", "").replace(" or ", ", ").split(", ")
    close = difflib.get_close_matches(str(value), words, n=1, cutoff=0.6)
    return f"; did you mean {close[0]}?" if close else ""
