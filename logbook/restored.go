package logbook

// KindRestored is the first entry of a logbook that was restored from a backup.
const KindRestored Kind = "logbook-restored"

// Restored says that the log goes on from a backup under a new log id. What
// happened between the backup and now is lost, so no clearance from before it
// can hold any longer.
type Restored struct {
	Header
	Log  string `json:"log"`  // the new log id, in hexadecimal
	Was  string `json:"was"`  // the log id of the backup, in hexadecimal
	From string `json:"from"` // hash of the backup's last block header, in hexadecimal
}

// Validate implements Entry.
func (r *Restored) Validate() error { return need("log", r.Log, "was", r.Was, "from", r.From) }
