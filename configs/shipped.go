package configs

import (
	"embed"
	"io/fs"
)

//go:embed grafana/*.json grafana/provisioning mosquitto prometheus systemd
var shipped embed.FS

// Shipped returns the files for the programs around the daemon, by folder:
//
//	prometheus   what to scrape, alerts that the daemon cannot raise itself, and their test
//	grafana      two boards and how to provision them
//	mosquitto    a broker that saves each message at once
//	systemd      a hardened service with a watchdog, and its account
func Shipped() fs.FS { return shipped }
