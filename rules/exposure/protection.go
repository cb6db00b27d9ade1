package exposure

import "math"

// ProtectionSource says where the steps of Protection come from.
const ProtectionSource = "NIOSH Pocket Guide to Chemical Hazards, npgd0505 (phosphine)"

// Step is the least breathing protection for a concentration in air.
type Step struct {
	APF           int     // assigned protection factor
	UpToPPM       float64 // the step ends here; 0 = it has no end
	SelfContained bool    // a self-contained apparatus with a full facepiece and positive pressure
}

// steps are the respirator recommendations of the NIOSH Pocket Guide for phosphine;
// the last is that for air that is not known or above the IDLH of 50 ppm.
var steps = []Step{{APF: 10, UpToPPM: 3}, {APF: 25, UpToPPM: 7.5}, {APF: 50, UpToPPM: 15}, {APF: 1000, UpToPPM: 50}, {APF: 10000, SelfContained: true}}

// Protection returns the least step of breathing protection for air that may hold ppm now; the
// highest where that is not known. It does not say what the air will be in a minute: where gas
// stands under a sheet that may tear, whoever goes in wears more.
func Protection(ppm float64, known bool) Step {
	for _, s := range steps {
		if known && ppm <= s.UpToPPM && !math.IsNaN(ppm) {
			return s
		}
	}
	return steps[len(steps)-1]
}
