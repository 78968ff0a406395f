// Command catchline scores layerings of glaze, logs tiles, fits, plans shelves and keeps a studio's things, by a server or, with
// --embedded, by itself.
//
// Exit codes: 0 done; 1 failed; 2 wrong command line or input; 3 not found; 4 the server cannot be reached or does not answer;
// 5 with --strict: a risk above the tolerated one.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], streams{os.Stdin, os.Stdout, os.Stderr})
	stop()
	os.Exit(code)
}
