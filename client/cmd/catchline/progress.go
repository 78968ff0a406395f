package main

import (
	"fmt"
	"io"
	"os"
	"time"

	"github.com/mattn/go-isatty"
)

// progress tells how far long work has come, on standard error: over and over in one line of a terminal, or as a line now and then where it
// was asked for.
type progress struct {
	w        io.Writer // nil: nobody is told
	terminal bool
	what     string
	last     time.Time
	told     bool
}

// progressEvery is how often it is told.
const (
	progressEvery      = 100 * time.Millisecond
	progressEveryLines = time.Second
)

// newProgress tells of work such as "scored".
func (a *app) newProgress(what string) *progress {
	p := &progress{what: what, last: time.Now()}
	if f, ok := a.err.(*os.File); ok && isatty.IsTerminal(f.Fd()) {
		p.w, p.terminal = a.err, true
	} else if a.Progress {
		p.w = a.err
	}
	return p
}

// at tells that so many are done.
func (p *progress) at(done, total int64) {
	if p.w == nil {
		return
	}
	every := progressEveryLines
	if p.terminal {
		every = progressEvery
	}
	if done < total && time.Since(p.last) < every || done >= total && p.terminal && !p.told {
		return
	}
	p.last, p.told = time.Now(), true
	if p.terminal {
		fmt.Fprintf(p.w, "\r%s %d of %d", p.what, done, total)
		return
	}
	fmt.Fprintf(p.w, "%s %d of %d\n", p.what, done, total)
}

// end leaves the terminal's line.
func (p *progress) end() {
	if p.terminal && p.told {
		fmt.Fprint(p.w, "\r\x1b[K")
	}
}
