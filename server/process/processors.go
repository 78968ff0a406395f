package process

import (
	"os"
	"runtime"
)

// processors is how many there are to compute on, as Go finds it at the start: the limits of a container and GOMAXPROCS count.
var processors = runtime.GOMAXPROCS(0)

// TuneProcessors gives Go's scheduler one processor more than calls may compute on at once, unless GOMAXPROCS says otherwise, and leaves
// it to the system to share out the real ones. With all of its processors computing, and more waiting for them, the scheduler looks at the
// network a few times a second only: a call's head is read seconds after it came, however short the queues are kept. One that calls do not
// compute on is always looking. Each more costs every call some hundredths.
func TuneProcessors() {
	if os.Getenv("GOMAXPROCS") == "" {
		runtime.GOMAXPROCS(processors + 1)
	}
}
