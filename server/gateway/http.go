package gateway

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"net/http"
	"time"

	"google.golang.org/grpc/codes"
)

// safe are the headers that keep a browser from doing more with an answer than it should: no script, style or picture from elsewhere,
// none written into a page, no framing, no use by other sites. Every answer shares them.
var safe = http.Header{
	"Content-Security-Policy":      {"default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self'; connect-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"},
	"X-Content-Type-Options":       {"nosniff"},
	"X-Frame-Options":              {"DENY"},
	"Cross-Origin-Resource-Policy": {"same-origin"},
}

// safePages are those that mean something to documents only: where links lead from, other windows, what scripts may ask the machine for.
var safePages = http.Header{
	"Referrer-Policy":            {"no-referrer"},
	"Cross-Origin-Opener-Policy": {"same-origin"},
	"Permissions-Policy":         {"camera=(), geolocation=(), microphone=()"},
}

// secure sets the safe headers.
func secure(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		maps.Copy(h, safe)
		if r.TLS != nil {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		next.ServeHTTP(w, r)
	})
}

// securePages sets those of pages.
func securePages(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		maps.Copy(w.Header(), safePages)
		next.ServeHTTP(w, r)
	})
}

// headAsGet answers HEAD as GET, of which net/http leaves the body out (RFC 9110, section 9.3.2).
func headAsGet(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodHead {
			asked := *r
			asked.Method = http.MethodGet
			r = &asked
		}
		next.ServeHTTP(w, r)
	})
}

// leaving lets connections end with their answer once the server is about to stop, so that their next request looks for another server.
func leaving(stopping func() bool, next http.Handler) http.Handler {
	if stopping == nil {
		return next
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if stopping() {
			w.Header().Set("Connection", "close")
		}
		next.ServeHTTP(w, r)
	})
}

// limitBody refuses bodies that are too large, before reading them where their size is told.
func limitBody(limit int64, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		// Answers are a caller's own and change.
		w.Header().Set("Cache-Control", "no-store")
		if r.ContentLength > limit {
			w.Header().Set("Connection", "close")
			writeStatus(w, http.StatusRequestEntityTooLarge, codes.InvalidArgument, fmt.Sprintf("The body has %d bytes; allowed: %d.", r.ContentLength, limit))
			return
		}
		r.Body = &limitedBody{ReadCloser: http.MaxBytesReader(w, r.Body, limit)}
		next.ServeHTTP(w, r)
	})
}

// limitedBody knows whether its end was not reached for its size.
type limitedBody struct {
	io.ReadCloser
	tooLarge bool
}

// Read implements io.Reader.
func (b *limitedBody) Read(p []byte) (int, error) {
	n, err := b.ReadCloser.Read(p)
	if err != nil && err != io.EOF {
		tooBig := (*http.MaxBytesError)(nil)
		b.tooLarge = b.tooLarge || errors.As(err, &tooBig)
	}
	return n, err
}

// patient waits for a slow client as long as it takes something now and then. A limit on the whole answer would cut
// long sheets off, none would let a client that takes nothing hold its sheet for ever.
func patient(timeout time.Duration, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		p := &patientWriter{ResponseWriter: w, control: http.NewResponseController(w), timeout: timeout, ends: r.ProtoMajor > 1}
		_ = p.control.SetWriteDeadline(time.Time{}) // that of the request before on this connection
		next.ServeHTTP(p, r)
		// What is still buffered goes out after this.
		_ = p.control.SetWriteDeadline(time.Now().Add(timeout))
	})
}

type patientWriter struct {
	http.ResponseWriter
	control *http.ResponseController
	timeout time.Duration
	ends    bool // a deadline ends the stream even if nothing is being written: HTTP/2
}

// set sets the deadline for what is about to be written, and clear takes it away after, where a stream ends at it even if nothing is being
// written, as while the next part of a sheet is computed. Elsewhere one that has passed means nothing until the next is set. The errors of
// setting it say that the connection is gone, which writing finds out by itself, or that a test's recorder knows no deadlines.
func (w *patientWriter) set() { _ = w.control.SetWriteDeadline(time.Now().Add(w.timeout)) }

func (w *patientWriter) clear() {
	if w.ends {
		_ = w.control.SetWriteDeadline(time.Time{})
	}
}

// Write implements http.ResponseWriter.
func (w *patientWriter) Write(b []byte) (int, error) {
	w.set()
	defer w.clear()
	return w.ResponseWriter.Write(b)
}

// FlushError implements what http.ResponseController looks for.
func (w *patientWriter) FlushError() error {
	w.set()
	defer w.clear()
	return w.control.Flush()
}

// Unwrap lets http.ResponseController find the writer beneath.
func (w *patientWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }
