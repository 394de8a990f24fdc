"""The register family of profiles: Modbus RTU and Modbus TCP."""

from __future__ import annotations

from collections.abc import Callable

from drivers.errors import GarbledReply
from drivers.framing import Framing
from drivers.modbus import (
    MAX_READ,
    READ_HOLDING,
    READ_INPUT,
    RtuFraming,
    TcpFraming,
    confirm_write,
    read_request,
    registers_of,
    write_request,
)
from drivers.profile_fields import NumberField, Value, Values, read_number_field
from drivers.profile_table import Table
from drivers.registers import ORDERS, TYPES, RegisterType

_FUNCTIONS = {"holding": READ_HOLDING, "input": READ_INPUT}
Take = Callable[[bytes], Value]


def read_framing(link: Table) -> Callable[[str], Framing]:
    """RTU on serial lines, the TCP header elsewhere; key `unit_id`, and `rtu_over_tcp` for converters."""
    unit = link.whole("unit_id", 1, 247)
    raw_rtu = link.flag("rtu_over_tcp", False)
    return lambda wire: RtuFraming(unit) if raw_rtu or wire == "serial" else TcpFraming(unit)


def read_question(table: Table) -> tuple[bytes, Callable[[bytes], Values], dict[str, str], frozenset[str]]:
    """Keys table, address, count, fields: (PDU, decode, units of numbers, names of flags)."""
    request, start, count = _read_block(table)
    fields = table.table("fields")
    takes: list[tuple[str, Take]] = []
    units: dict[str, str] = {}
    for name in fields.names():
        field = fields.table(name)
        take, unit = _read_field(field, start, count)
        takes.append((name, take))
        if unit is not None:
            units[name] = unit
        field.finish()

    def decode(body: bytes) -> Values:
        registers = registers_of(request, body)
        return {name: take(registers) for name, take in takes}

    return request, decode, units, frozenset(name for name, _ in takes) - frozenset(units)


def _read_block(table: Table) -> tuple[bytes, int, int]:
    function = _FUNCTIONS[table.choice("table", _FUNCTIONS, "holding")]
    start, count = table.whole("address", 0, 65535), table.whole("count", 1, MAX_READ)
    if start + count > 65536:
        raise table.fault("count", "the block ends behind the last register, 65535")
    return read_request(function, start, count), start, count


def _read_type(table: Table) -> RegisterType:
    return RegisterType(
        table.choice("type", TYPES),
        table.choice("word_order", ORDERS, "big"),
        table.choice("byte_order", ORDERS, "big"),
    )


def _read_field(table: Table, start: int, count: int) -> tuple[Take, str | None]:
    kind = _read_type(table)
    first = table.whole("at", 0, 65535) - start
    if not 0 <= first <= count - kind.count:
        raise table.fault("at", f"is outside the block of {count} registers from {start}")
    unpack, begin, end = kind.unpacker(2 * first), 2 * first, 2 * (first + kind.count)
    if table.has("bit"):
        mask = 1 << table.whole("bit", 0, 16 * kind.count - 1)
        if kind.name == "float32":
            raise table.fault("bit", "a float32 has no bits to look at")
        return (lambda registers: bool(int(unpack(registers)) & mask)), None
    if table.has("on"):
        return _switch(unpack, _switch_numbers(table)), None
    return _number(unpack, begin, end, read_number_field(table))


def _number(unpack: Callable[[bytes], float], begin: int, end: int, field: NumberField) -> tuple[Take, str]:
    sample = field.sample
    return (lambda registers: sample(unpack(registers), registers[begin:end].hex())), field.unit


def _switch_numbers(table: Table) -> dict[float, bool]:
    return {table.whole("on", 0, 65535): True, table.whole("off", 0, 65535): False}


def _switch(unpack: Callable[[bytes], float], meanings: dict[float, bool]) -> Take:
    def take(registers: bytes) -> bool:
        number = unpack(registers)
        if number not in meanings:
            raise GarbledReply(f"{number:g} is neither on nor off")
        return meanings[number]

    return take


def read_encoder(table: Table, switch: bool, scale: float, offset: float) -> Callable[[float], bytes]:
    """Keys at, type, word_order, byte_order; for a switch the register values on and off."""
    address, kind = table.whole("at", 0, 65535), _read_type(table)
    if switch:
        on, off = table.whole("on", 0, 65535), table.whole("off", 0, 65535)
        return lambda value: write_request(address, kind.pack(on if value else off))
    return lambda value: write_request(address, kind.pack((value - offset) / scale))


def read_confirm(table: Table) -> Callable[[bytes, bytes], None]:
    """Every Modbus write is answered."""
    return confirm_write


def read_identity(table: Table) -> tuple[bytes, Callable[[bytes], dict[str, str]], set[str]]:
    """Keys table, address, count, fields: (PDU, decode, names of the parts)."""
    request, values_of, units, flags = read_question(table)

    def decode(body: bytes) -> dict[str, str]:
        values = values_of(body)
        return {name: _plain(value.value) for name, value in values.items() if not isinstance(value, bool)}

    return request, decode, set(units) | flags


def _plain(number: float | None) -> str:
    """Every digit of a whole number: a long serial number differs from the next one in its last."""
    if number is None:
        return "none"
    return f"{number:.0f}" if number.is_integer() else f"{number:g}"
