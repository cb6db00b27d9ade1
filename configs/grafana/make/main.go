// Command make writes the boards for Grafana that are shipped with undersheet: it
// builds them with Grafana's own library, so that a mistyped option does not
// compile, and writes them as JSON.
//
//	go generate ./...      in this folder, after a change
//
// Two boards: depot.json, for the room where people look at all stores at once, and
// stack.json, for one treatment. The library has many modules behind it, so this is
// a module of its own and the daemon does not need it.
//
// It refuses to write a board that Grafana's library finds fault with.
package main

import (
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"

	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
)

//go:generate go run . -out ..

func main() {
	out := flag.String("out", ".", "folder for the boards")
	flag.Parse()
	if err := write(*out); err != nil {
		fmt.Fprintln(os.Stderr, "make boards:", err)
		os.Exit(1)
	}
}

// boards builds all boards, by the names of their files.
func boards() map[string]*dashboard.DashboardBuilder {
	return map[string]*dashboard.DashboardBuilder{"depot.json": depotBoard(), "stack.json": stackBoard()}
}

// write writes every board into a folder.
func write(folder string) error {
	for name, b := range boards() {
		text, err := render(b)
		if err != nil {
			return fmt.Errorf("board %s: %w", name, err)
		}
		if err := os.WriteFile(filepath.Join(folder, name), text, 0o644); err != nil {
			return err
		}
	}
	return nil
}

// render makes a board's JSON; the same board gives the same bytes.
func render(b *dashboard.DashboardBuilder) ([]byte, error) {
	board, err := b.Build()
	if err != nil {
		return nil, err
	}
	if err := board.Validate(); err != nil {
		return nil, err
	}
	text, err := json.MarshalIndent(board, "", "  ")
	return append(text, '\n'), err
}
