package configs

import (
	"embed"
	"io/fs"
)

//go:embed mosquitto systemd
var shipped embed.FS

// Shipped returns the files for the programs around the daemon, by folder:
//
//	mosquitto    a broker that loses nothing it has acknowledged
//	systemd      a hardened service with a watchdog, and its account
func Shipped() fs.FS { return shipped }
