package gateway

import (
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"slices"
	"strings"

	"google.golang.org/grpc/codes"
)

// Fence keeps web pages of elsewhere away from a server without keys. Any page that a browser on this machine shows can send requests to
// loopback, and one whose name was made to resolve to loopback (DNS rebinding) can read the answers too. A key would stop both, since no page
// of elsewhere knows it; without keys the fence does, by headers that a browser sets and no page can change.
//
// net/http.CrossOriginProtection is not enough here: it lets every GET pass, believes Sec-Fetch-Site without looking at Origin, and knows no
// hosts, so that a rebound name is "same-origin" to it.
type Fence struct {
	hosts []string // as in a browser's address bar, lower case: the name, or name:port
	log   *slog.Logger
}

// NewFence returns a fence around a server that answers for loopback, for the address that a connection came to, and for these hosts: names
// or addresses, with a port where a browser's address bar shows one. Empty hosts are left out.
func NewFence(hosts []string, log *slog.Logger) *Fence {
	f := &Fence{log: log}
	for _, h := range hosts {
		if h != "" {
			f.hosts = append(f.hosts, strings.ToLower(h))
		}
	}
	return f
}

// refusal is why a request does not pass.
type refusal struct {
	status int
	code   codes.Code
	text   string
}

// Around lets only those requests through that no page of elsewhere has sent. A nil fence lets all through.
func (f *Fence) Around(next http.Handler) http.Handler {
	if f == nil {
		return next
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if no := f.check(r); no != nil {
			f.log.InfoContext(r.Context(), "refused", "method", r.Method, "status", no.status, "reason", no.text)
			writeStatus(w, no.status, no.code, no.text)
			return
		}
		next.ServeHTTP(w, r)
	})
}

func (f *Fence) check(r *http.Request) *refusal {
	if !f.ownHost(r) {
		return &refusal{http.StatusForbidden, codes.PermissionDenied, fmt.Sprintf(
			"The host %s is not one that this server answers for without keys; add it to allowed-hosts.", shown(r.Host))}
	}
	for _, origin := range r.Header.Values("Origin") {
		if !f.ownOrigin(origin, r.Host) {
			return &refusal{http.StatusForbidden, codes.PermissionDenied, fmt.Sprintf(
				"A web page of %s may not use a server without keys; if it is this server's own name, add it to allowed-hosts.", shown(origin))}
		}
	}
	for _, site := range r.Header.Values("Sec-Fetch-Site") {
		if site != "same-origin" && site != "none" && !followsLink(r) {
			return &refusal{http.StatusForbidden, codes.PermissionDenied, fmt.Sprintf(
				"Web pages of elsewhere may not use a server without keys: Sec-Fetch-Site is %s, not same-origin.", shown(site))}
		}
	}
	if r.ContentLength != 0 && fromBrowser(r) && needsNoPreflight(r.Header.Get("Content-Type")) {
		return &refusal{http.StatusUnsupportedMediaType, codes.InvalidArgument, fmt.Sprintf(
			"A browser has to send the body as application/json; got %s.", shown(r.Header.Get("Content-Type")))}
	}
	return nil
}

// ownHost reports whether the request was sent to a name of this server's. Rebinding is about names, so the port does not matter.
func (f *Fence) ownHost(r *http.Request) bool {
	name := hostname(r.Host)
	if name == "localhost" || slices.ContainsFunc(f.hosts, func(h string) bool { return hostname(h) == name }) {
		return true
	}
	ip, err := netip.ParseAddr(name)
	if err != nil {
		return false
	}
	if ip = ip.Unmap(); ip.IsLoopback() {
		return true
	}
	local, ok := r.Context().Value(http.LocalAddrContextKey).(*net.TCPAddr)
	return ok && local.AddrPort().Addr().Unmap().WithZone("") == ip.WithZone("")
}

// ownOrigin reports whether a page of this server's has sent the request: under the host that it was sent to, or under an allowed one, for
// which a proxy may have put another.
func (f *Fence) ownOrigin(origin, host string) bool {
	u, err := url.Parse(origin)
	if err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" {
		return false // null too, which is what a page in a sandbox has
	}
	at := strings.ToLower(u.Host)
	return at == strings.ToLower(host) || slices.Contains(f.hosts, at)
}

// followsLink reports whether somebody opens one of the pages by a link from elsewhere. Pages hold no data and do nothing when opened, and no
// other page can look into them. Where the pages' worker passes the request on, its destination is empty.
func followsLink(r *http.Request) bool {
	to := r.Header.Get("Sec-Fetch-Dest")
	return (r.Method == http.MethodGet || r.Method == http.MethodHead) && !strings.HasPrefix(r.URL.Path, "/v1/") &&
		r.Header.Get("Sec-Fetch-Mode") == "navigate" && (to == "document" || to == "empty")
}

// fromBrowser reports whether the request has a header that browsers alone set.
func fromBrowser(r *http.Request) bool {
	for name := range r.Header {
		if name == "Origin" || strings.HasPrefix(name, "Sec-Fetch-") {
			return true
		}
	}
	return false
}

// needsNoPreflight reports whether a browser sends a body of this type to anybody without asking first (Fetch standard, section 2.2.2,
// "CORS-safelisted request-header"); none is such a type too.
func needsNoPreflight(contentType string) bool {
	essence, _, _ := strings.Cut(contentType, ";")
	switch strings.ToLower(strings.TrimSpace(essence)) {
	case "", "text/plain", "application/x-www-form-urlencoded", "multipart/form-data":
		return true
	}
	return false
}

// hostname is the host without its port, brackets and last dot, in lower case.
func hostname(host string) string {
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	return strings.ToLower(strings.TrimSuffix(strings.Trim(host, "[]"), "."))
}

// shown quotes what a caller sent, and not without end.
func shown(text string) string {
	const most = 100
	if len(text) > most {
		text = text[:most] + "..."
	}
	return fmt.Sprintf("%q", text)
}
