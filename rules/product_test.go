package rules

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"undersheet/logbook"
	"undersheet/rules/plan"
)

func tablets(n int) logbook.Product { return logbook.Product{Form: "Tablet", Count: n} }

// fresh findings by code.
func (d *day) findings() map[string]logbook.Finding {
	m := map[string]logbook.Finding{}
	for _, f := range of[*logbook.Finding](d.fresh()) {
		m[f.Code] = *f
	}
	return m
}

// A stock register has what came in, what was used and the closing balance (common
// practice; the columns of the Indian register of stock).
func TestStockRegister(t *testing.T) {
	d := aday(t)
	d.act(&logbook.StockReceived{Product: tablets(500)}, logbook.KindStockReceived, 0)
	d.act(&logbook.DosePlaced{OnStack: onA(), Product: logbook.Product{Form: "tablets", Count: 200}, People: []string{"Ada", "Bo"}, Protection: "full masks"}, logbook.KindDosePlaced, 0)
	assert.NotContains(t, d.findings(), "stock-negative")
	assert.Equal(t, 300, d.state.Stock["tablets"].Left)
	d.act(&logbook.StockCounted{Product: tablets(290)}, logbook.KindStockCounted, 0)
	assert.Equal(t, logbook.Number(-10), d.findings()["stock-count-off"].Value)
	d.act(&logbook.DosePlaced{OnStack: onA(), Product: tablets(291), People: []string{"Ada"}}, logbook.KindDosePlaced, 0)
	found := d.findings()
	assert.Equal(t, logbook.Number(-1), found["stock-negative"].Value)
	assert.Contains(t, found, "dose-placed-alone")
	assert.Contains(t, found, "dose-placed-no-protection")
}

// Whatever comes in which order, what is left is what came in or was counted less
// what was used, and less than nothing is never unseen.
func TestStockIsNeverNegativeUnseen(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		d, left := aday(t), 0
		for range rapid.IntRange(1, 12).Draw(r, "acts") {
			n := rapid.IntRange(0, 100).Draw(r, "pieces")
			d.fresh()
			switch rapid.IntRange(0, 2).Draw(r, "act") {
			case 0:
				d.act(&logbook.StockReceived{Product: tablets(n)}, logbook.KindStockReceived, 0)
				left += n
			case 1:
				d.act(&logbook.StockCounted{Product: tablets(n)}, logbook.KindStockCounted, 0)
				left = n
			case 2:
				d.act(&logbook.DosePlaced{OnStack: onA(), Product: tablets(n)}, logbook.KindDosePlaced, 0)
				left -= n
				if _, told := d.findings()["stock-negative"]; told != (left < 0) {
					r.Fatalf("left %d, told %v", left, told)
				}
			}
			d.now = d.now.Add(time.Minute)
			if got := d.state.Stock["tablets"].Left; got != left {
				r.Fatalf("left %d, want %d", got, left)
			}
		}
	})
}

// What goes in comes out: residue is counted, shown spent, never heaped or closed in
// (Alberta's Blue Book: residue holds traces of undecomposed phosphide; piling and
// wetting it can set it on fire).
func TestResidue(t *testing.T) {
	d := underGas(t)
	d.act(&logbook.DosePlaced{OnStack: onA(), Product: tablets(200), People: []string{"Ada", "Bo"}, Protection: "full masks"}, logbook.KindDosePlaced, 0)
	assert.NotContains(t, d.findings(), "dose-placed-differs", "200 tablets of 1 g are the 200 g on record")
	d.act(&logbook.ResidueTaken{OnStack: onA(), Product: tablets(190), Residue: logbook.ResidueSpent, ShownBy: "no gas in water"}, logbook.KindResidueTaken, 0)
	assert.Empty(t, d.findings())
	d.act(&logbook.ResidueDisposed{OnStack: onA(), Product: tablets(190), How: logbook.DisposedBuried, Where: "pit"}, logbook.KindResidueDisposed, 0)
	f := d.findings()["residue-count"]
	assert.Equal(t, [2]logbook.Number{190, 200}, [2]logbook.Number{f.Value, f.Limit}, "ten are missing")
	d.act(&logbook.ResidueTaken{OnStack: onA(), Product: tablets(10), Residue: logbook.ResidueNotKnown}, logbook.KindResidueTaken, 0)
	assert.Contains(t, d.findings(), "residue-live")
	d.act(&logbook.ResidueDisposed{OnStack: onA(), Product: tablets(10), How: logbook.DisposedBuried, Where: "pit"}, logbook.KindResidueDisposed, 0)
	assert.Contains(t, d.findings(), "residue-buried-live")
	for how, code := range map[string]string{logbook.DisposedHeap: "residue-heaped", logbook.DisposedDrum: "residue-closed-drum", logbook.DisposedHanded: "residue-handed-to-nobody"} {
		d.act(&logbook.ResidueDisposed{OnStack: onA(), Product: tablets(1), How: how, Where: "yard"}, logbook.KindResidueDisposed, 0)
		assert.Contains(t, d.findings(), code)
	}
}

// Residue is of the treatment that is named: of two of one stack, the older one's is not
// settled by the newer one's. A name that nobody knows settles nothing.
func TestResidueNamesItsTreatment(t *testing.T) {
	d := underGas(t)
	place := func(n int) {
		d.act(&logbook.DosePlaced{OnStack: onA(), Product: tablets(n), People: []string{"Ada", "Bo"}, Protection: "full masks"}, logbook.KindDosePlaced, 0)
	}
	taken := func(name string, n int) {
		d.act(&logbook.ResidueTaken{OnStack: onA(), Product: tablets(n), Residue: logbook.ResidueSpent, ShownBy: "no gas in water", Treatment: name}, logbook.KindResidueTaken, 0)
	}
	gone := func(name string, n int) {
		d.act(&logbook.ResidueDisposed{OnStack: onA(), Product: tablets(n), How: logbook.DisposedBuried, Where: "pit", Treatment: name}, logbook.KindResidueDisposed, 0)
	}
	residue := func() (owed []string) {
		for _, o := range d.owes() {
			if strings.HasSuffix(o, logbook.FollowResidue) {
				owed = append(owed, o)
			}
		}
		return owed
	}
	place(200)
	d.run(1)
	d.air()
	d.doseOf("five-day", "A-2")
	place(50)
	d.run(1)
	d.air()
	require.Equal(t, []string{"A-1 residue-disposal", "A-2 residue-disposal"}, residue())
	laid := map[string]int{}
	for _, x := range d.state.View().FollowUps {
		if x.FollowUp == logbook.FollowResidue {
			laid[x.Treatment] = x.Product[0].Inside()
		}
	}
	require.Equal(t, map[string]int{"A-1": 200, "A-2": 50}, laid, "each with its own")
	d.findings()
	taken("a-1 ", 200)
	gone("A-1", 200)
	require.NotContains(t, d.findings(), "residue-count")
	require.Equal(t, []string{"A-2 residue-disposal"}, residue())
	taken("A-9", 50)
	gone("A-9", 50)
	require.Contains(t, d.findings(), "nothing-owed")
	require.Equal(t, []string{"A-2 residue-disposal"}, residue())
	taken("A-2", 50)
	gone("A-2", 50)
	require.Empty(t, residue())
}

// Live residue that was taken off the trays holds back airing no more.
func TestLiveResidueOffTheTrays(t *testing.T) {
	d := underGas(t)
	d.act(&logbook.DosePlaced{OnStack: onA(), Product: tablets(50), People: []string{"Ada", "Bo"}, Protection: "full masks"}, logbook.KindDosePlaced, 0)
	d.act(&logbook.DoseAdded{OnStack: onA(), PhosphineG: 50}, logbook.KindDoseAdded, 0)
	assert.Greater(t, d.state.Stacks["A"].Treatment.ReleaseUntil, d.now)
	d.act(&logbook.ResidueTaken{OnStack: onA(), Product: tablets(50), Residue: logbook.ResidueNotSpent}, logbook.KindResidueTaken, 0)
	assert.LessOrEqual(t, d.state.Stacks["A"].Treatment.ReleaseUntil, d.now)
}

// Checks before dosing stand for a day, and the newest counts.
func TestChecksBeforeDosing(t *testing.T) {
	d := aday(t)
	d.dose("five-day")
	assert.Equal(t, "all", d.findings()["checks-owed"].About)

	d = aday(t)
	all := plan.Checks(false)
	d.act(&logbook.ChecksSigned{OnStore: inBarn(), InOrder: all, Second: "Bo"}, logbook.KindChecksSigned, 0)
	d.dose("five-day")
	found := d.findings()
	assert.NotContains(t, found, "checks-owed")
	assert.NotContains(t, found, "checks-wanting")

	d = aday(t)
	d.act(&logbook.ChecksSigned{OnStore: inBarn(), InOrder: all[1:], Wanting: all[:1]}, logbook.KindChecksSigned, 0)
	d.run(1)
	d.dose("five-day")
	found = d.findings()
	assert.Contains(t, found, "checks-signed-alone")
	assert.Equal(t, all[0], found["checks-wanting"].About)

	d = aday(t)
	d.act(&logbook.ChecksSigned{OnStore: inBarn(), InOrder: append([]string{"moonlight"}, all[2:]...), Second: "Bo"}, logbook.KindChecksSigned, 0)
	assert.Contains(t, d.findings(), "check-unknown")
	d.dose("five-day")
	assert.Equal(t, logbook.Number(2), d.findings()["checks-owed"].Value)
}

// A walk that signed no check that there is leaves all of them owed, after a restart as before.
func TestSignedNothingThatIsAsked(t *testing.T) {
	for _, restart := range []bool{false, true} {
		d := aday(t)
		d.act(&logbook.ChecksSigned{OnStore: inBarn(), InOrder: []string{"moonlight"}, Second: "Bo"}, logbook.KindChecksSigned, 0)
		if restart {
			text, err := json.Marshal(d.state)
			require.NoError(t, err)
			d.state = New()
			require.NoError(t, json.Unmarshal(text, d.state))
		}
		d.fresh()
		d.dose("five-day")
		assert.Equal(t, "all", d.findings()["checks-owed"].About, restart)
	}
}

// A licence counts to the end of its last day, wherever that is.
func TestLicences(t *testing.T) {
	for until, told := range map[string]bool{"2026-02-27": true, "2026-02-28": false, "2026-03-01": false, "": false, "soon": false} {
		d := aday(t, func(s *logbook.Site) { s.People = []logbook.Person{{Name: "Ada Moss", LicenceUntil: until}} })
		d.act(&logbook.DosingStarted{OnStack: onA(), StoreEmpty: true, Act: logbook.Act{By: "ada moss"}}, logbook.KindDosingStarted, 0)
		_, got := d.findings()["licence-expired"]
		assert.Equal(t, told, got, until)
	}
}

// Pieces that are laid under a sheet are a dosing, whatever else was recorded: the gate
// shuts. A late note of pieces that were laid before airing began shuts nothing.
func TestPlacedPiecesShutTheGate(t *testing.T) {
	d := cleared(t)
	d.act(&logbook.DosePlaced{OnStack: onA(), Product: tablets(3)}, logbook.KindDosePlaced, 100*time.Hour)
	require.Equal(t, logbook.GateCleared, d.gate())
	d.act(&logbook.DosePlaced{OnStack: onA(), Product: tablets(100)}, logbook.KindDosePlaced, 0)
	assert.Equal(t, logbook.GateShut, d.gate())
	assert.Equal(t, logbook.PhaseDosing, d.state.Stacks["A"].Treatment.Phase)
	d.act(&logbook.TreatmentStarted{OnStack: onA(), Treatment: "A-2", Protocol: "five-day", Commodity: "maize", Tonnes: 100,
		VolumeM3: 150, PhosphineG: 100, GrainTempC: 27}, logbook.KindTreatmentStarted, 0)
	assert.Equal(t, 100, d.state.Stacks["A"].Product["tablets"].Placed, "they stay in the account of the treatment")
}
