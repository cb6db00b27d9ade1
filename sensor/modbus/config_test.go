package modbus_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/sensor/modbus"
	"undersheet/sensor/port"
)

func valid() modbus.Config {
	return modbus.Config{
		Name: "rack 1",
		Port: port.Config{Device: "/dev/ttyUSB0"},
		Units: []modbus.Unit{{Address: 7, Registers: []modbus.Register{
			{Channel: "a", Function: 3, Address: 0, Type: "float32"},
			{Channel: "b", Function: 4, Address: 65535, Type: "int16", Order: "BA"},
		}}},
	}
}

func TestValidateFindsNoFault(t *testing.T) { require.NoError(t, valid().Validate()) }

func TestValidateSaysWhatAndWhere(t *testing.T) {
	for want, spoil := range map[string]func(c *modbus.Config){
		`modbus instrument "": name: missing`:                        func(c *modbus.Config) { c.Name = "" },
		`modbus instrument "rack 1": port: device: missing`:          func(c *modbus.Config) { c.Port.Device = "" },
		`modbus instrument "rack 1": units: none`:                    func(c *modbus.Config) { c.Units = nil },
		`units[0] (address 0): address: must be from 1 to 247`:       func(c *modbus.Config) { c.Units[0].Address = 0 },
		`units[0] (address 248): address: must be from 1 to 247`:     func(c *modbus.Config) { c.Units[0].Address = 248 },
		`units[1] (address 7): address: is that of another unit too`: func(c *modbus.Config) { c.Units = append(c.Units, c.Units[0]) },
		`timeout: must be from 1ms to 1m (got 1h0m0s)`:               func(c *modbus.Config) { c.Units[0].Timeout = time.Hour },
		`retries: must be from 0 to 10 (got -1)`:                     func(c *modbus.Config) { c.Units[0].Retries = -1 },
		`every: must be from 10ms to 24h (got 1ns)`:                  func(c *modbus.Config) { c.Units[0].Every = 1 },
		`registers: none`: func(c *modbus.Config) { c.Units[0].Registers = nil },
		`registers[0] (channel ""): channel: missing`:                                      func(c *modbus.Config) { c.Units[0].Registers[0].Channel = "" },
		`registers[1] (channel "a"): channel: is that of another register too`:             func(c *modbus.Config) { c.Units[0].Registers[1].Channel = "a" },
		`registers[0] (channel "a"): function: must be 3`:                                  func(c *modbus.Config) { c.Units[0].Registers[0].Function = 6 },
		`registers[0] (channel "a"): type: must be int16, uint16, int32`:                   func(c *modbus.Config) { c.Units[0].Registers[0].Type = "float" },
		`address: 65535 and the type uint32 reach beyond register 65535`:                   func(c *modbus.Config) { c.Units[0].Registers[1].Type, c.Units[0].Registers[1].Order = "uint32", "" },
		`order: must be ABCD, CDAB, BADC or DCBA, or AB or BA (got "ACBD")`:                func(c *modbus.Config) { c.Units[0].Registers[0].Order = "ACBD" },
		`order: float32 takes two registers and needs an order of four letters (got "BA")`: func(c *modbus.Config) { c.Units[0].Registers[0].Order = "BA" },
		`scale: must be a finite number (got NaN)`:                                         func(c *modbus.Config) { c.Units[0].Registers[0].Scale = math.NaN() },
		`offset: must be a finite number (got +Inf)`:                                       func(c *modbus.Config) { c.Units[0].Registers[0].Offset = math.Inf(1) },
	} {
		c := valid()
		spoil(&c)
		require.ErrorContains(t, c.Validate(), want)
	}
}

func TestValidateTellsAllFaultsAtOnce(t *testing.T) {
	c := valid()
	c.Name, c.Units[0].Address, c.Units[0].Registers[1].Type = "", 0, "x"
	require.Len(t, strings.Split(c.Validate().Error(), "\n"), 3)
}

// MODBUS over Serial Line V1.02, section 2.5.1.1: t3.5 at 11 bits a character,
// fixed at 1.750 ms above 19200 bits per second.
func TestSilence(t *testing.T) {
	for baud, want := range map[int]time.Duration{
		1200:   32083 * time.Microsecond,
		9600:   4010 * time.Microsecond,
		19200:  2005 * time.Microsecond,
		38400:  1750 * time.Microsecond,
		115200: 1750 * time.Microsecond,
	} {
		got := modbus.Silence(port.Config{Baud: baud, Parity: "even"})
		require.InDelta(t, want.Seconds(), got.Seconds(), 1e-6, "%d baud", baud)
	}
}
