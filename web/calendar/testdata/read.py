"""Reads iCalendar from standard input with Debian's python3-icalendar and prints what
it understood as JSON: the properties of the calendar, and its events."""
import json
import sys
from datetime import datetime

import icalendar


def moment(p):
    d = p.dt
    return d.isoformat() if isinstance(d, datetime) else "day " + d.isoformat()


cal = icalendar.Calendar.from_ical(sys.stdin.buffer.read())
out = {"name": str(cal["X-WR-CALNAME"]), "version": str(cal["VERSION"]), "errors": [str(e) for e in cal.errors], "events": []}
for e in cal.walk("VEVENT"):
    out["errors"] += [str(x) for x in e.errors]
    out["events"].append({
        "uid": str(e["UID"]), "summary": str(e["SUMMARY"]), "description": str(e.get("DESCRIPTION", "")), "location": str(e.get("LOCATION", "")),
        "start": moment(e["DTSTART"]), "end": moment(e["DTEND"]), "stamp": moment(e["DTSTAMP"]), "modified": moment(e["LAST-MODIFIED"]),
        "sequence": int(e["SEQUENCE"]), "status": str(e["STATUS"]), "alarms": [a["TRIGGER"].dt.total_seconds() / 60 for a in e.walk("VALARM")],
    })
json.dump(out, sys.stdout)
