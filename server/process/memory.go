package process

import (
	"os"
	"runtime"
	"runtime/debug"
	"runtime/metrics"
)

// Garbage that may pile up before it is collected: four times of what the server keeps, as that is little against what its calls use
// and drop; but no more than roomForGarbage, or a third of what it keeps when that is more, as in a fit on a long log.
const (
	mostGarbage    = 400 // percent
	leastGarbage   = 35
	roomForGarbage = 100 << 20
)

// TuneMemory sets how much garbage may pile up, anew after each collection, unless GOGC says it.
func TuneMemory() {
	if os.Getenv("GOGC") != "" {
		return
	}
	debug.SetGCPercent(mostGarbage)
	afterCollection(mostGarbage)
}

// afterCollection waits for the next collection, adapts what may pile up until the one after it, and waits for that.
func afterCollection(percent int) {
	runtime.AddCleanup(&struct{ _ [16]byte }{}, func(before int) {
		live := []metrics.Sample{{Name: "/gc/heap/live:bytes"}}
		metrics.Read(live)
		now := int(min(max(100*roomForGarbage/max(live[0].Value.Uint64(), 1), leastGarbage), mostGarbage))
		if now != before {
			debug.SetGCPercent(now)
		}
		afterCollection(now)
	}, percent)
}
