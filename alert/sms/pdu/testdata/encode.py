"""Writes short messages with gammu, to compare with ours.

Standard input: one JSON object a line {"text", "number", "unicode", "validity", "centre"}.
Standard output: for each, one JSON list of {"pdu": hex, "reference": n}, in the order of the parts.
Needs Debian's python3-gammu.
"""
import json
import sys

import gammu

for line in sys.stdin:
    want = json.loads(line)
    info = {"Class": -1, "Unicode": want["unicode"], "Entries": [{"ID": "ConcatenatedTextLong", "Buffer": want["text"]}]}
    parts = []
    for part in gammu.EncodeSMS(info):
        part["Number"] = want["number"]
        part["SMSC"] = {"Number": want["centre"], "Validity": want["validity"]}
        header = part["UDH"]["Text"]
        parts.append({"pdu": gammu.EncodePDU(part, "Submit").hex().upper(), "reference": header[3] if len(header) > 3 else 0})
    print(json.dumps(parts))
