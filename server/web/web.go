// Package web serves the pages: a built single-page application, embedded in the binary, that uses only the public HTTP
// interface. The sources are under ui; `make web` builds them into dist, which is committed, so that Go alone is enough
// to run.
package web

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"strings"
	"time"
)

//go:embed dist
var dist embed.FS

// contentSecurityPolicy allows nothing that does not come from this server as a file of its own. Pictures may also be
// blobs: the photograph that a profile is traced over stays in the browser.
const contentSecurityPolicy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; " +
	"connect-src 'self'; manifest-src 'self'; worker-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// asset is one file of the pages, compressed once.
type asset struct {
	plain, gzipped []byte
	contentType    string
	etag           string
	immutable      bool
}

// Handler serves the pages: the files that they are made of, and under each page's own address the application, which reads the address
// itself. Whatever else is asked for is not found.
func Handler() http.Handler {
	assets, err := load(dist)
	if err != nil {
		// The files are embedded when the binary is built: this cannot fail in a binary that passed its tests.
		panic("web: " + err.Error())
	}
	return handler(assets)
}

func load(files fs.FS) (map[string]*asset, error) {
	assets := map[string]*asset{}
	err := fs.WalkDir(files, "dist", func(name string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		plain, err := fs.ReadFile(files, name)
		if err != nil {
			return err
		}
		var packed bytes.Buffer
		w, err := gzip.NewWriterLevel(&packed, gzip.BestCompression)
		if err != nil {
			return err
		}
		if _, err := w.Write(plain); err != nil {
			return err
		}
		if err := w.Close(); err != nil {
			return err
		}
		sum := sha256.Sum256(plain)
		route := strings.TrimPrefix(name, "dist")
		assets[route] = &asset{
			plain:       plain,
			gzipped:     packed.Bytes(),
			contentType: contentType(name),
			etag:        hex.EncodeToString(sum[:8]),
			immutable:   strings.HasPrefix(route, "/assets/"),
		}
		return nil
	})
	return assets, err
}

// contentType does not ask the machine's own tables for what the pages consist of, so that it is the same everywhere.
func contentType(name string) string {
	switch path.Ext(name) {
	case ".html":
		return "text/html; charset=utf-8"
	case ".js":
		return "text/javascript; charset=utf-8"
	case ".css":
		return "text/css; charset=utf-8"
	case ".svg":
		return "image/svg+xml"
	case ".webmanifest":
		return "application/manifest+json"
	}
	return mime.TypeByExtension(path.Ext(name))
}

// handler serves the files and the pages' own addresses, by GET and HEAD, and nothing else.
func handler(assets map[string]*asset) http.Handler {
	mux := http.NewServeMux()
	for path, a := range assets {
		if path != "/index.html" {
			mux.HandleFunc("GET "+path, a.serve)
		}
	}
	application := assets["/index.html"]
	for _, address := range addresses() {
		mux.HandleFunc("GET "+address, application.serve)
	}
	mux.HandleFunc("GET /", func(w http.ResponseWriter, r *http.Request) {
		if !strings.Contains(r.Header.Get("Accept"), "text/html") {
			http.NotFound(w, r)
			return
		}
		// The application says so, and leads back to its pages.
		r = r.Clone(r.Context())
		r.Header.Del("If-None-Match")
		r.Header.Del("Range")
		application.serve(&notFoundWriter{w}, r)
	})
	return mux
}

// notFoundWriter answers 404 in place of 200.
type notFoundWriter struct{ http.ResponseWriter }

func (w *notFoundWriter) WriteHeader(int) { w.ResponseWriter.WriteHeader(http.StatusNotFound) }

func (a *asset) serve(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Type", a.contentType)
	h.Set("Content-Security-Policy", contentSecurityPolicy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Vary", "Accept-Encoding")
	h.Set("Cache-Control", "no-cache")
	if a.immutable {
		h.Set("Cache-Control", "public, max-age=31536000, immutable")
	}
	body, etag := a.plain, a.etag
	if acceptsGzip(r) && len(a.gzipped) < len(a.plain) {
		h.Set("Content-Encoding", "gzip")
		body, etag = a.gzipped, a.etag+"-gzip"
	}
	// ServeContent answers If-None-Match by this ETag, ranges and HEAD.
	h.Set("ETag", `"`+etag+`"`)
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(body))
}

// acceptsGzip tells whether the request names gzip with a weight above 0 (RFC 9110, section 12.5.3).
func acceptsGzip(r *http.Request) bool {
	for _, offer := range strings.Split(r.Header.Get("Accept-Encoding"), ",") {
		coding, weight, weighted := strings.Cut(strings.TrimSpace(offer), ";")
		if coding != "gzip" {
			continue
		}
		weight = strings.TrimSpace(weight)
		return !weighted || strings.Trim(strings.TrimPrefix(weight, "q="), "0.") != ""
	}
	return false
}
