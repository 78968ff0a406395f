package process

import (
	"os"
	"runtime/debug"
)

// TuneMemory lets the garbage collector run a quarter as often as is usual, unless GOGC says otherwise: what the server keeps is little
// against what its calls use and drop, so that five times of it is cheap.
func TuneMemory() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(400)
	}
}
