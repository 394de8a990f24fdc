"""The same questions through PyVISA's Python backend and pymodbus, used as their documents show."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable
from contextlib import suppress
from typing import Any

from drivers.wires.memory import FarEnd
from tests.conversation.served import on_pty, on_tcp

Report = Callable[[int, float | None], None]
AskAll = Callable[[FarEnd, int, float, Report], None]


def _visa(resource_name: str, count: int, within_s: float, report: Report) -> None:
    import pyvisa

    manager = pyvisa.ResourceManager("@py")
    resource: Any = manager.open_resource(resource_name, read_termination="\n", write_termination="\n")
    resource.timeout = 1000.0 * within_s
    for question in range(count):
        number = None
        with suppress(pyvisa.Error, ValueError, OSError):
            number = float(resource.query(f"V? {question}"))
        report(question, number)
    resource.close()


def visa_socket(far_end: FarEnd, count: int, within_s: float, report: Report) -> None:
    """query() in try/except over a TCP socket resource."""
    with on_tcp(far_end) as port:
        _visa(f"TCPIP::127.0.0.1::{port}::SOCKET", count, within_s, report)


def visa_serial(far_end: FarEnd, count: int, within_s: float, report: Report) -> None:
    """query() in try/except over a pseudo-terminal."""
    with on_pty(far_end) as name:
        _visa(f"ASRL{name}::INSTR", count, within_s, report)


def modbus_rtu(retries: int) -> AskAll:
    """pymodbus's asynchronous serial client over a pseudo-terminal."""

    def ask_all(far_end: FarEnd, count: int, within_s: float, report: Report) -> None:
        with on_pty(far_end) as name:
            asyncio.run(_ask_rtu(name, retries, count, within_s, report))

    return ask_all


async def _ask_rtu(port: str, retries: int, count: int, within_s: float, report: Report) -> None:
    from pymodbus import ModbusException
    from pymodbus.client import AsyncModbusSerialClient

    logging.getLogger("pymodbus").setLevel(logging.CRITICAL)  # it prints its traffic on every error
    client = AsyncModbusSerialClient(port, baudrate=115200, timeout=within_s, retries=retries)
    await client.connect()
    for question in range(count):
        number = None
        with suppress(ModbusException):
            reply = await client.read_holding_registers(question, count=2, device_id=1)
            if not reply.isError():
                number = float(client.convert_from_registers(reply.registers, client.DATATYPE.INT32))  # type: ignore[arg-type]
        report(question, number)
        if not client.connected:
            await client.connect()
    client.close()


STOCK: dict[str, tuple[str, AskAll]] = {
    "PyVISA @py, TCP socket, query": ("text", visa_socket),
    "PyVISA @py, serial, query": ("text", visa_serial),
    "pymodbus RTU, retries=0": ("modbus rtu", modbus_rtu(0)),
    "pymodbus RTU, retries=3": ("modbus rtu", modbus_rtu(3)),
}
