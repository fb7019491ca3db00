"""Answers and options as JSON's own types and back; NaN inside is null outside.

A part that an answer may lack (`X | None = None`) is left out where it is lacking; a tuple of
parts may stand flat among its owner's keys while there is only one.
"""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Iterator
from typing import Any, TypeVar, get_origin

import numpy as np
from cattrs import Converter
from cattrs.errors import BaseValidationError
from cattrs.gen import make_dict_structure_fn, make_dict_unstructure_fn

from workbench.base.errors import StoreError
from workbench.base.statements import PlusMinus, Statement, Value, as_written

Answer = TypeVar("Answer")

FLAT_IF_ALONE = {"flat if alone": True}
"""Metadata of a field, a tuple of parts: a single one's keys stand beside its owner's, whose own
values hold where both have one; only of several does the field itself stand there."""


def to_plain(answer: object) -> dict[str, Any]:
    """An answer or options in JSON's own types."""
    plain: dict[str, Any] = _DATA.unstructure(answer)
    return plain


def to_text(answer: object) -> str:
    """An answer or options as one line of JSON."""
    return json.dumps(to_plain(answer), ensure_ascii=False, allow_nan=False)


def from_plain(plain: dict[str, Any], kind: type[Answer]) -> Answer:
    """An answer back from JSON's own types. Raises StoreError where they do not fit.

    A finished sentence where a statement should be is one of an earlier program.
    """
    try:
        return _DATA.structure(plain, kind)
    except (BaseValidationError, KeyError, TypeError, ValueError) as error:
        raise StoreError(
            "A row of the store is damaged: it holds no answer of the kind it says ({kind}).",
            kind=kind.__name__,
        ) from error


def from_text(text: str, kind: type[Answer]) -> Answer:
    """An answer back from a line of JSON. Raises StoreError where it holds none."""
    try:
        plain = json.loads(text)
    except ValueError:
        raise StoreError("A row of the store is damaged: its text is no JSON object.") from None
    return from_plain(plain, kind)


def statement_of(plain: Any) -> Statement | None:
    """The statement that JSON's own types hold; None where they hold something else."""
    if isinstance(plain, dict) and plain.keys() == {"what", "values"}:
        return _statement_in(plain, None)
    return None


def statements_in(plain: Any, at: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    """(where, statement as data) of all that an answer in JSON's own types says."""
    if isinstance(plain, dict):
        if plain.keys() == {"what", "values"}:
            yield at, plain
            return
        for key, value in plain.items():
            yield from statements_in(value, f"{at}.{key}" if at else str(key))
    elif isinstance(plain, list):
        for place, value in enumerate(plain):
            yield from statements_in(value, f"{at}[{place}]")


def new_converter() -> Converter:
    """What turns answers into JSON's own types; a view may then say its statements."""
    converter = Converter(unstruct_collection_overrides={tuple: list})
    converter.register_unstructure_hook(float, _number_out)
    converter.register_structure_hook(float, _number_in)
    converter.register_unstructure_hook_func(_is_array, _array_out)
    converter.register_structure_hook_func(_is_array, _array_in)
    converter.register_unstructure_hook(np.ndarray, _array_out)
    converter.register_structure_hook(Statement, _statement_in)
    converter.register_structure_hook(Statement | None, _statement_or_none_in)
    converter.register_unstructure_hook_factory(
        dataclasses.is_dataclass, lambda kind: _without_lacking(kind, converter)
    )
    converter.register_structure_hook_factory(
        lambda kind: bool(_flat_field(kind)), lambda kind: _flat_in(kind, converter)
    )
    # Registered last, so that it stands before the rule for dataclasses.
    converter.register_unstructure_hook(Statement, _statement_out)
    return converter


def _without_lacking(kind: Any, converter: Converter) -> Any:
    whole = make_dict_unstructure_fn(kind, converter)
    lacking = {one.name for one in dataclasses.fields(kind) if one.default is None}
    flat = _flat_field(kind)

    def out(answer: Any) -> dict[str, Any]:
        plain = whole(answer)
        plain = {k: v for k, v in plain.items() if not (v is None and k in lacking)}
        if flat and len(plain[flat]) == 1:
            plain = {**plain.pop(flat)[0], **plain}
        return plain

    return out


def _flat_field(kind: Any) -> str:
    """The field of a dataclass that is flat if alone, '' where none is."""
    fields = dataclasses.fields(kind) if dataclasses.is_dataclass(kind) else ()
    return next((one.name for one in fields if "flat if alone" in one.metadata), "")


def _flat_in(kind: Any, converter: Converter) -> Any:
    whole, flat = make_dict_structure_fn(kind, converter), _flat_field(kind)

    def into(plain: dict[str, Any], _: object) -> Any:
        return whole(plain if flat in plain else {**plain, flat: [plain]}, kind)

    return into


def _number_out(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _number_in(value: float | None, _: object) -> float:
    return math.nan if value is None else float(value)


def _is_array(kind: object) -> bool:
    return get_origin(kind) is np.ndarray


def _array_out(array: Any) -> list[Any]:
    numbers = array.astype(object)
    numbers[~np.isfinite(array)] = None
    plain: list[Any] = numbers.tolist()
    return plain


def _array_in(numbers: list[Any], kind: Any) -> Any:
    dtype = kind.__args__[-1].__args__[0]
    missing = np.nan if np.issubdtype(dtype, np.floating) else 0
    return np.array([missing if one is None else one for one in numbers], dtype=dtype)


def _statement_out(said: Statement) -> dict[str, Any]:
    values = {name: _value_out(value) for name, value in said.values.items()}
    return {"what": str(said.what), "values": values}


def _value_out(value: Value) -> Any:
    if isinstance(value, Statement):
        return _statement_out(value)
    if isinstance(value, PlusMinus):
        return {"value": _number_out(value.value), "U": _number_out(value.U)}
    if isinstance(value, tuple):
        return [_value_out(one) for one in value]
    if isinstance(value, str):
        return str(value)
    if isinstance(value, bool | int):
        return value
    return _number_out(value)


def _statement_in(plain: Any, _: object) -> Statement:
    if isinstance(plain, str):
        return as_written(plain)
    values = {name: _value_in(value) for name, value in plain["values"].items()}
    return Statement(plain["what"], values)


def _statement_or_none_in(plain: Any, _: object) -> Statement | None:
    """None for an empty text too: so an earlier program wrote that there is nothing to say."""
    return _statement_in(plain, None) if plain else None


def _value_in(plain: Any) -> Value:
    if isinstance(plain, dict):
        if "what" in plain:
            return _statement_in(plain, None)
        return PlusMinus(_number_in(plain["value"], None), _number_in(plain["U"], None))
    if isinstance(plain, list):
        return tuple(_value_in(one) for one in plain)
    if plain is None:
        return math.nan
    value: Value = plain
    return value


_DATA = new_converter()
