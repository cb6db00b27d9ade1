package alarm

import (
	"go/ast"
	"go/parser"
	"go/token"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// A site sets delays as it likes, but those of alarms on which lives hang only to
// the more sensitive side; what a test behind the alarm decides stays.
func TestDelaysOfTheSite(t *testing.T) {
	minutes := func(n int) logbook.Duration { return logbook.Duration(time.Duration(n) * time.Minute) }
	site := &logbook.Site{Alarms: map[string]logbook.Delays{
		Fault:      {On: minutes(30), Off: minutes(1), Deadband: 0.2},
		AirGas:     {On: minutes(30), Off: minutes(1), Deadband: 0.01},
		DoorOpened: {On: minutes(30)},
		Fire:       {Off: minutes(60)},
		Leak:       {On: minutes(60)},
		Uneven:     {On: logbook.Duration(1000 * time.Hour), Off: logbook.Duration(1000 * time.Hour), Deadband: 7},
	}}
	get := func(name string) []any { k := Of(site, name); return []any{k.On, k.Off, k.Deadband} }
	assert.Equal(t, []any{30 * time.Minute, time.Minute, 0.2}, get(Fault))
	assert.Equal(t, []any{2 * time.Minute, 15 * time.Minute, 0.1}, get(AirGas), "never later, never over sooner")
	assert.Equal(t, time.Duration(0), get(DoorOpened)[0])
	assert.Equal(t, time.Hour, get(Fire)[1])
	assert.Equal(t, time.Duration(0), get(Leak)[0])
	assert.Equal(t, []any{2 * time.Hour, 24 * time.Hour, 0.5}, get(Uneven), "an alarm that waits for weeks is none")
	site.Alarms[AirGas] = logbook.Delays{On: logbook.Duration(30 * time.Second), Off: minutes(60), Deadband: 0.3}
	assert.Equal(t, []any{30 * time.Second, time.Hour, 0.3}, get(AirGas), "sooner, over later")
}

// Every alarm has its kind, with a priority; nobody is woken for more than the
// table says.
func TestEveryAlarmHasItsKind(t *testing.T) {
	file, err := parser.ParseFile(token.NewFileSet(), "names.go", nil, 0)
	require.NoError(t, err)
	n := 0
	ast.Inspect(file, func(node ast.Node) bool {
		if v, ok := node.(*ast.ValueSpec); ok && !strings.HasPrefix(v.Names[0].Name, "Code") {
			name, err := strconv.Unquote(v.Values[0].(*ast.BasicLit).Value)
			require.NoError(t, err)
			k, ok := kinds[name]
			require.True(t, ok, name)
			require.NotEmpty(t, k.Priority, name)
			n++
		}
		return true
	})
	require.Equal(t, len(kinds), n)
	for _, c := range []struct {
		name, code string
		wake       bool
	}{
		{AirGas, logbook.WhereDoor, true}, {AirGas, logbook.WhereOffice, true}, {AirGas, logbook.WhereDwelling, true},
		{AirGas, logbook.WhereInside, false}, {AirGas, "", false}, {AirGas, logbook.WhereOutside, false},
		{DoorOpened, "", true}, {MaskedLong, "", true},
		{Fire, CodeAttention, false}, {Fire, CodeTopOfRange, false}, {Fire, "water", true}, {Fire, "rise", true}, {Fire, "over-range", true},
		{AtRisk, "", false}, {AtRisk, CodeCollapsing, true},
		{Leak, "", false}, {Rebound, "", false}, {PowerLost, "", false}, {PumpOff, "", false}, {"of a newer program", "", false},
	} {
		assert.Equal(t, c.wake, Wakes(&logbook.Alarm{Alarm: c.name, Code: c.code}), "%s %s", c.name, c.code)
	}
}
