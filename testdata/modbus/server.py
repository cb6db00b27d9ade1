#!/usr/bin/python3
"""An independent Modbus RTU slave for tests: server.py DEVICE

Debian's python3-pymodbus serves units 7 and 9 on the serial device at 19200
baud. The values stand in their registers as pymodbus and Python's struct lay
them out, not as the program under test does. Prints "ready" when it listens.
"""
import asyncio
import struct
import sys

from pymodbus.constants import Endian
from pymodbus.datastore import (
    ModbusSequentialDataBlock,
    ModbusServerContext,
    ModbusSlaveContext,
)
from pymodbus.payload import BinaryPayloadBuilder
from pymodbus.server import StartAsyncSerialServer
from pymodbus.transaction import ModbusRtuFramer


def registers(raw):
    """The registers that send the bytes raw in this order."""
    return list(struct.unpack(">%dH" % (len(raw) // 2), raw))


def built(add, value, wordorder):
    """Two registers as pymodbus's own payload builder fills them."""
    b = BinaryPayloadBuilder(byteorder=Endian.Big, wordorder=wordorder)
    getattr(b, add)(value)
    return b.to_registers()


def swapped(raw):
    """raw with the two bytes of each register exchanged."""
    return b"".join(raw[i + 1 : i + 2] + raw[i : i + 1] for i in range(0, len(raw), 2))


def values():
    """int16, uint16 (AB, BA), then int32, uint32, float32 (ABCD, CDAB, BADC, DCBA)."""
    out = registers(struct.pack(">h", -1234)) + registers(struct.pack("<h", -1234))
    out += registers(struct.pack(">H", 54321)) + registers(struct.pack("<H", 54321))
    for add, code, value in (
        ("add_32bit_int", "i", -123456789),
        ("add_32bit_uint", "I", 3456789012),
        ("add_32bit_float", "f", 412.625),
    ):
        out += built(add, value, Endian.Big)
        out += built(add, value, Endian.Little)
        out += registers(swapped(struct.pack(">" + code, value)))
        out += registers(struct.pack("<" + code, value))
    return out


def unit(holding, inputs):
    """A unit whose first register has address 0."""
    return ModbusSlaveContext(
        hr=ModbusSequentialDataBlock(0, holding),
        ir=ModbusSequentialDataBlock(0, inputs),
        zero_mode=True,
    )


async def main():
    nan = registers(struct.pack(">f", float("nan")))
    context = ModbusServerContext(
        slaves={
            7: unit(values(), nan + values()),
            9: unit([n for n in range(125)], [0]),
        },
        single=False,
    )
    server = await StartAsyncSerialServer(
        context=context,
        framer=ModbusRtuFramer,
        port=sys.argv[1],
        baudrate=19200,
        ignore_missing_slaves=True,
        defer_start=True,
    )
    await server.start()
    print("ready", flush=True)
    await server.serve_forever()


asyncio.run(main())
