package form

import (
	"time"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/rules/dose"
)

// Slips of the pen: what no depot can mean. A form asks again; what is so all the same goes
// in with "undersheet act".
const (
	oldest    = 60 * 24 * time.Hour // that an act of before may be
	mostTonne = 10000               // under one sheet
	mostM3    = 20000               // under one sheet
)

// canBurn asks again for a reading of a line at or above the lower explosive limit: it is
// rather written in the wrong unit. One of the air is taken as it is, since it can only keep
// people out.
func canBurn(d Depot, e logbook.Acting) []Fault {
	h := e.(*logbook.HandReading)
	if h.Store != "" {
		return nil
	}
	if ppm, err := dose.PPM(float64(h.Value), h.Unit, dose.StandardC, dose.StandardKPa); err != nil || ppm < dose.LELppm {
		return nil
	}
	return []Fault{{"value", words.Text(d.Lang, "form/can-burn", "{limit}", figure(d.Lang, dose.LELppm))}}
}

// doseCanBurn asks again for a dose that would fill the volume under the sheet to the lower
// explosive limit: it is rather grams of the product, or of another stack.
func doseCanBurn(d Depot, e logbook.Acting) []Fault {
	t := e.(*logbook.TreatmentStarted)
	if !(t.VolumeM3 > 0) {
		return nil
	}
	if ppm, err := dose.PPM(t.PhosphineG/t.VolumeM3, logbook.GM3, dose.StandardC, dose.StandardKPa); err != nil || ppm < dose.LELppm {
		return nil
	}
	return []Fault{{"phosphine_g", words.Text(d.Lang, "form/dose-can-burn", "{limit}", figure(d.Lang, dose.LELppm))}}
}
