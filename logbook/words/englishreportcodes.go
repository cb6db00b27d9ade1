package words

// englishReportCodes are the words of the concentration report for codes of the log.
var englishReportCodes = map[string]string{
	"report/check/swapped": "swapped",

	"report/worth/none": "not recorded", "report/worth/failed": "had failed", "report/worth/overdue": "overdue", "report/worth/open": "passed; next not said", "report/worth/valid": "valid",

	"report/shown/met": "met", "report/shown/not-met": "not met", "report/shown/not-shown": "not shown", "report/shown/not-decidable": "not decidable",

	"report/loss/not-fitted": "not told: there was no fit", "report/loss/not-read": "not told: fewer than 24 hours were read",
	"report/loss/not-told": "not told: the readings do not tell release from loss, or too vaguely",

	"report/result/reached": "reached", "report/result/not-reached": "not reached", "report/result/too-cold": "the goods are colder",

	"report/gate/shut": "shut", "report/gate/airing": "airing", "report/gate/check-owed": "check owed", "report/gate/cleared": "cleared",

	"report/level/twa-8h": "average over 8 h", "report/level/short-term-15min": "mean of 15 min", "report/level/ceiling": "ceiling", "report/level/peak": "peak",

	"report/limit/below": "below", "report/limit/reached": "reached or passed", "report/limit/not-read": "not read",

	"report/identity/not stated": "not stated",

	"report/named/fumigator": "fumigator in charge", "report/named/second": "second person", "report/named/in": "inside", "report/named/at-door": "at the door",
	"report/named/laid": "laid the dose",

	"report/value/none-found": "none found", "report/value/live-found": "live ones found", "report/value/exposure": "the exposure", "report/value/month": "a month",
	"report/value/spent": "shown spent", "report/value/not-spent": "not spent", "report/value/in-order": "in order", "report/value/wanting": "wanting", "report/value/not-known": "not known",
	"report/value/buried": "buried", "report/value/handed-over": "handed over", "report/value/heaped": "heaped", "report/value/closed-drum": "closed in a drum", "report/value/zero": "zero",
	"report/value/bump": "bump test", "report/value/calibration": "calibration", "report/value/breath-out": "breath", "report/value/span gas": "span gas",

	"report/field/stack": "stack", "report/field/line": "line", "report/field/store": "store", "report/field/point": "point", "report/field/zero": "zero", "report/field/flow": "flow, L/min",
	"report/field/end_test": "test from the far end", "report/field/span": "span gas", "report/field/read": "read", "report/field/unit": "unit", "report/field/seen": "answered",
	"report/field/lag": "lag", "report/field/channel": "channel", "report/field/check": "check", "report/field/applied": "applied", "report/field/passed": "passed",
	"report/field/due": "next due", "report/field/out": "out", "report/field/in": "in", "report/field/form": "form", "report/field/count": "pieces", "report/field/batch": "batch",
	"report/field/invoice": "invoice", "report/field/in_order": "in order", "report/field/wanting": "wanting", "report/field/second": "second person",
	"report/field/store_empty": "store empty", "report/field/product": "product", "report/field/placement": "laid on", "report/field/places": "places", "report/field/people": "people",
	"report/field/protection": "worn", "report/field/treatment": "treatment", "report/field/protocol": "protocol", "report/field/commodity": "commodity", "report/field/tonnes": "weight, t",
	"report/field/volume_m3": "volume, m³", "report/field/phosphine_g": "phosphine, g", "report/field/grain_temp_c": "temperature of the goods, °C",
	"report/field/gas_space_m3": "gas space, m³", "report/field/grain_moisture_pct": "moisture, %", "report/field/exposure_hours": "exposure, h", "report/field/bags": "bags",
	"report/field/lot": "lot", "report/field/destination": "destination", "report/field/pests": "against", "report/field/length_m": "length, m", "report/field/width_m": "width, m",
	"report/field/height_m": "height, m", "report/field/sheet": "sheet and seal", "report/field/dose_source": "dose from", "report/field/fumigator": "fumigator in charge",
	"report/field/value": "value", "report/field/method": "method", "report/field/instrument": "instrument", "report/field/accuracy": "accuracy",
	"report/field/detection_limit": "detection limit", "report/field/at_door": "at the door", "report/field/early": "why early", "report/field/despite": "why nevertheless",
	"report/field/residue": "residue", "report/field/shown_by": "shown by", "report/field/how": "how", "report/field/where": "where", "report/field/to": "to", "report/field/why": "why",
	"report/field/insects": "live insects", "report/field/alarm": "alarm", "report/field/of": "entry", "report/field/entry": "instead", "report/field/withdrawn": "withdrawn",
	"report/field/name": "name", "report/field/media": "kind", "report/field/sha256": "SHA-256", "report/field/data": "picture", "report/field/person": "person",
	"report/field/serial": "serial number", "report/field/expires": "expires", "report/field/minutes": "minutes of use", "report/field/positions": "positions", "report/field/after": "after",
	"report/field/result": "result", "report/field/live": "alive", "report/field/dead": "dead", "report/field/found": "found and done",
	"report/field/closed_vehicle": "closed lorry or container", "report/field/follow_up": "follow-up", "report/field/owed": "of",

	"page/report-pdf": "for paper (PDF)", "page/report-json": "for programs (JSON)",

	"form/treatment-started/dose_source": "Dose taken from", "form/treatment-started/dose_source/hint": "The label, the national guide or the plan that says so.",
	"form/treatment-started/fumigator": "Licensed fumigator in charge", "form/treatment-started/second": "Second person", "form/treatment-started/pests": "Done against",
	"form/treatment-started/bags": "Bags", "form/treatment-started/lot": "Lot or consignment", "form/treatment-started/destination": "Destination of the goods",
	"form/treatment-started/length_m": "Length of the stack", "form/treatment-started/width_m": "Width of the stack", "form/treatment-started/height_m": "Height of the stack",
	"form/treatment-started/sheet": "Sheet, and how its edge is sealed",

	"form/dose-placed/batch": "Batch", "form/dose-placed/product": "Name and registration number of the product", "form/dose-placed/placement": "Where it was laid, and on what",
}
