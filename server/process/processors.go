package process

import (
	"os"
	"runtime"
)

// processors is how many there are to compute on, as Go finds it at the start: the limits of a container and GOMAXPROCS count.
var processors = runtime.GOMAXPROCS(0)

// TuneProcessors gives Go's scheduler more processors than what may compute at once, unless GOMAXPROCS says otherwise, and leaves it to
// the system to share out the real ones. With all of its processors computing, and more waiting for them, the scheduler looks at the
// network a few times a second only: a call's head is read seconds after it came, however short the queues are kept. A place that is never taken
// by what computes is always looking. As many compute calls as there are processors, and as many again what is long.
func TuneProcessors() {
	if os.Getenv("GOMAXPROCS") == "" {
		runtime.GOMAXPROCS(2*processors + 1)
	}
}
