#!/usr/bin/python3
"""An independent Modbus RTU master for tests: client.py DEVICE

Reads one request per line of standard input, "FUNCTION UNIT ADDRESS COUNT", with
Debian's python3-pymodbus, and prints one line of JSON for each answer: a list of
registers, {"exception": code}, or {"silent": true}.
"""
import json
import sys

from pymodbus.client import ModbusSerialClient
from pymodbus.exceptions import ModbusIOException
from pymodbus.transaction import ModbusRtuFramer

client = ModbusSerialClient(
    port=sys.argv[1], framer=ModbusRtuFramer, baudrate=19200, timeout=1, retries=0
)
if not client.connect():
    sys.exit("connect to %s" % sys.argv[1])
READ = {
    1: client.read_coils,
    3: client.read_holding_registers,
    4: client.read_input_registers,
}
for line in sys.stdin:
    function, unit, address, count = map(int, line.split())
    answer = READ[function](address, count, slave=unit)
    if isinstance(answer, ModbusIOException):
        print('{"silent": true}', flush=True)
    elif answer.isError():
        print(json.dumps({"exception": answer.exception_code}), flush=True)
    else:
        print(json.dumps(answer.registers), flush=True)
