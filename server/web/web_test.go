package web

import (
	"compress/gzip"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path"
	"regexp"
	"slices"
	"strings"
	"testing"
)

func get(t *testing.T, target string, header map[string]string) *http.Response {
	t.Helper()
	r := httptest.NewRequest(http.MethodGet, target, nil)
	for name, value := range header {
		r.Header.Set(name, value)
	}
	w := httptest.NewRecorder()
	Handler().ServeHTTP(w, r)
	return w.Result()
}

func TestDeepLinksGetTheApplication(t *testing.T) {
	for _, target := range []string{"/", "/studios/north/score?layer=ash~2~b", "/studios/north/glazes/new"} {
		res := get(t, target, nil)
		body, err := io.ReadAll(res.Body)
		if err != nil || res.StatusCode != http.StatusOK || !strings.Contains(string(body), `id="pages"`) {
			t.Errorf("%s: status %d, error %v, body %.80q", target, res.StatusCode, err, body)
		}
		if got := res.Header.Get("Cache-Control"); got != "no-cache" {
			t.Errorf("%s: Cache-Control %q: a new build would not be seen", target, got)
		}
	}
}

func TestMissingFilesAndPagesAreNotFound(t *testing.T) {
	for _, target := range []string{
		"/assets/none.js", "/favicon.ico", "/web.go", "/assets", "/assets/", "/nonsense", "/admin", "/v2/studios", "/studios/north/nonsense",
		"/studios/north/glazes/ash/lots", "/score", "/studio", "/studios/north/Score",
	} {
		if res := get(t, target, nil); res.StatusCode != http.StatusNotFound {
			t.Errorf("%s: status %d, want 404", target, res.StatusCode)
		}
	}
	if res := get(t, "/assets/../../web.go", nil); res.StatusCode == http.StatusOK {
		t.Error("a path leads out of the files")
	}
	// To somebody who opens it, the application says that there is no such page.
	res := get(t, "/studios/north/nonsense", map[string]string{"Accept": "text/html,*/*"})
	if res.StatusCode != http.StatusNotFound || !strings.HasPrefix(res.Header.Get("Content-Type"), "text/html") {
		t.Errorf("status %d of %s, want a page with 404", res.StatusCode, res.Header.Get("Content-Type"))
	}
}

// The server's addresses are those that the application knows.
func TestAddressesAreTheApplications(t *testing.T) {
	text, err := os.ReadFile("ui/src/route.ts")
	if err != nil {
		t.Fatal(err)
	}
	list := regexp.MustCompile(`export const pages = \[([^\]]*)\] as const`).FindSubmatch(text)
	if list == nil {
		t.Fatal("ui/src/route.ts has no list of pages")
	}
	var known []string
	for _, name := range regexp.MustCompile(`"(\w+)"`).FindAllSubmatch(list[1], -1) {
		known = append(known, string(name[1]))
	}
	if !slices.Equal(known, pages) {
		t.Errorf("the application knows %v, the server %v", known, pages)
	}
	for _, page := range known {
		for _, target := range []string{"/studios/north/" + page, "/studios/north/" + page + "/", "/studios/north/" + page + "/one?x=1"} {
			if res := get(t, target, nil); res.StatusCode != http.StatusOK || !strings.HasPrefix(res.Header.Get("Content-Type"), "text/html") {
				t.Errorf("%s: status %d, %s", target, res.StatusCode, res.Header.Get("Content-Type"))
			}
		}
	}
}

func TestHead(t *testing.T) {
	for _, target := range []string{"/", "/studios/north/score", "/mark.svg"} {
		w := httptest.NewRecorder()
		Handler().ServeHTTP(w, httptest.NewRequest(http.MethodHead, target, nil))
		if w.Code != http.StatusOK || w.Header().Get("Content-Length") == "" {
			t.Errorf("HEAD %s: status %d, %v", target, w.Code, w.Header())
		}
	}
}

func TestOnlyReads(t *testing.T) {
	w := httptest.NewRecorder()
	Handler().ServeHTTP(w, httptest.NewRequest(http.MethodPost, "/", nil))
	if w.Code != http.StatusMethodNotAllowed {
		t.Errorf("POST: status %d, want 405", w.Code)
	}
}

// The policy is of use only if the page has nothing inline and names no other host.
func TestPageKeepsItsOwnPolicy(t *testing.T) {
	res := get(t, "/", nil)
	body, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	policy := res.Header.Get("Content-Security-Policy")
	if policy == "" || strings.Contains(policy, "unsafe") {
		t.Errorf("Content-Security-Policy %q", policy)
	}
	for _, inline := range []string{"<style", " style=", "<script>", " onclick=", "http://", "https://"} {
		if strings.Contains(string(body), inline) {
			t.Errorf("the page holds %q", inline)
		}
	}
	// All that it names is there.
	for _, found := range regexp.MustCompile(`(?:src|href)="([^"]+)"`).FindAllStringSubmatch(string(body), -1) {
		if res := get(t, found[1], nil); res.StatusCode != http.StatusOK {
			t.Errorf("%s: status %d", found[1], res.StatusCode)
		}
	}
}

// RFC 9110, section 13.1.2: If-None-Match with the current entity tag is answered 304 without a body.
func TestUnchangedFilesAreNotSentAgain(t *testing.T) {
	for _, coding := range []string{"", "gzip"} {
		first := get(t, "/", map[string]string{"Accept-Encoding": coding})
		tag := first.Header.Get("ETag")
		again := get(t, "/", map[string]string{"Accept-Encoding": coding, "If-None-Match": tag})
		if tag == "" || again.StatusCode != http.StatusNotModified {
			t.Errorf("coding %q: tag %q, status %d, want 304", coding, tag, again.StatusCode)
		}
	}
	plain, packed := get(t, "/", nil).Header.Get("ETag"), get(t, "/", map[string]string{"Accept-Encoding": "gzip"}).Header.Get("ETag")
	if plain == packed {
		t.Errorf("both representations have the entity tag %s (RFC 9110, section 8.8.3)", plain)
	}
}

// RFC 9110, section 12.5.3: a weight of 0 means not acceptable.
func TestGzipOnlyWhereItIsAccepted(t *testing.T) {
	for offer, want := range map[string]string{
		"": "", "gzip": "gzip", "br, gzip;q=0.5": "gzip", "gzip;q=0": "", "gzip; q=0.000": "", "identity": "", "deflate, gzip": "gzip",
	} {
		res := get(t, "/", map[string]string{"Accept-Encoding": offer})
		if got := res.Header.Get("Content-Encoding"); got != want {
			t.Errorf("Accept-Encoding %q: Content-Encoding %q, want %q", offer, got, want)
		}
		if res.Header.Get("Vary") != "Accept-Encoding" {
			t.Errorf("Vary %q", res.Header.Get("Vary"))
		}
	}
	res := get(t, "/", map[string]string{"Accept-Encoding": "gzip"})
	unpacked, err := gzip.NewReader(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	packed, err := io.ReadAll(unpacked)
	if err != nil {
		t.Fatal(err)
	}
	plain, _ := io.ReadAll(get(t, "/", nil).Body)
	if string(packed) != string(plain) {
		t.Error("unpacked, the page is another one")
	}
}

func TestBuiltFilesMayBeKept(t *testing.T) {
	assets, err := load(dist)
	if err != nil {
		t.Fatal(err)
	}
	for route, a := range assets {
		if a.contentType == "" {
			t.Errorf("%s has no content type", route)
		}
		// A name that holds its content's hash may be kept for ever, any other may not.
		hashed := regexp.MustCompile(`-[A-Za-z0-9_-]{8}\.`).MatchString(path.Base(route))
		if a.immutable != hashed {
			t.Errorf("%s: immutable %v, hashed name %v", route, a.immutable, hashed)
		}
	}
}

// All that a browser fetches for all pages together, compressed.
func TestSizeBudget(t *testing.T) {
	const budget = 120_000
	assets, err := load(dist)
	if err != nil {
		t.Fatal(err)
	}
	total := 0
	for route, a := range assets {
		size := min(len(a.gzipped), len(a.plain))
		t.Logf("%8d bytes %s", size, route)
		total += size
	}
	t.Logf("%8d bytes in all", total)
	if total > budget {
		t.Errorf("the pages weigh %d bytes compressed, the budget is %d", total, budget)
	}
}
