package process

import (
	"bytes"
	"io"
	"net"
	"net/http"
	"strings"
	"testing"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/config"
)

// from sends a request with these headers, of which Host is special, and returns the answer with its body read.
func (s *server) from(t *testing.T, method, url string, headers map[string]string, body string) (*http.Response, string) {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), method, url, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	for name, value := range headers {
		r.Header.Set(name, value)
	}
	if host, ok := headers["Host"]; ok {
		r.Host = host
	}
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	return resp, string(text)
}

type headers = map[string]string

// Without keys, no web page of elsewhere reads or writes anything, and whoever is no browser goes on as before. What browsers send is from
// the Fetch standard (https://fetch.spec.whatwg.org, "Origin header" and "CORS-safelisted request-header") and from Fetch Metadata
// (https://www.w3.org/TR/fetch-metadata).
func TestPagesOfElsewhereCannotUseAServerWithoutKeys(t *testing.T) {
	s := start(t, nil, func(c *config.Config) { c.AllowedHosts = config.Names{"kiln.example", "shed.example:8443"} })
	at := s.HTTPAddress()
	_, port, _ := net.SplitHostPort(at)
	const json, text, form = "application/json", "text/plain", "application/x-www-form-urlencoded"
	const ok, no, badType = http.StatusOK, http.StatusForbidden, http.StatusUnsupportedMediaType
	for _, x := range []struct {
		what    string
		headers headers
		want    int
	}{
		// Programs that are no browsers.
		{"curl -d", headers{"Content-Type": form}, ok},
		{"curl with JSON", headers{"Content-Type": json}, ok},
		{"curl without a type", headers{}, ok},
		{"localhost", headers{"Host": "localhost:" + port}, ok},
		{"LOCALHOST.", headers{"Host": "LOCALHOST.:" + port}, ok},
		{"localhost, no port", headers{"Host": "localhost"}, ok},
		{"IPv6 loopback", headers{"Host": "[::1]:" + port}, ok},
		{"another loopback address", headers{"Host": "127.1.2.3:" + port}, ok},
		{"loopback as IPv6", headers{"Host": "[::ffff:127.0.0.1]:" + port}, ok},
		{"allowed host", headers{"Host": "kiln.example"}, ok},
		{"allowed host, port of the proxy left out", headers{"Host": "shed.example"}, ok},

		// Rebinding: the page's own name resolves to loopback, so for the browser it is the same origin.
		{"foreign host", headers{"Host": "evil.example"}, no},
		{"foreign host with the port", headers{"Host": "evil.example:" + port}, no},
		{"foreign address", headers{"Host": "192.0.2.7:" + port}, no},
		{"rebound page", headers{"Host": "evil.example:" + port, "Origin": "http://evil.example:" + port, "Sec-Fetch-Site": "same-origin", "Content-Type": json}, no},
		{"host that begins like an own one", headers{"Host": "localhost.evil.example"}, no},
		{"host that ends like an allowed one", headers{"Host": "evilkiln.example"}, no},
		{"number that is loopback for some", headers{"Host": "2130706433"}, no},

		// Pages of elsewhere.
		{"simple POST", headers{"Origin": "http://evil.example", "Sec-Fetch-Site": "cross-site", "Content-Type": text}, no},
		{"simple POST of an old browser", headers{"Origin": "http://evil.example", "Content-Type": text}, no},
		{"form", headers{"Origin": "http://evil.example", "Content-Type": form}, no},
		{"JSON", headers{"Origin": "http://evil.example", "Content-Type": json}, no},
		{"page in a sandbox", headers{"Origin": "null", "Content-Type": text}, no},
		{"file", headers{"Origin": "file://", "Content-Type": text}, no},
		{"page on another port", headers{"Origin": "http://127.0.0.1:1", "Sec-Fetch-Site": "same-site", "Content-Type": json}, no},
		{"page under another name of loopback", headers{"Origin": "http://localhost:" + port, "Sec-Fetch-Site": "cross-site", "Content-Type": json}, no},
		{"without Origin", headers{"Sec-Fetch-Site": "cross-site", "Content-Type": text}, no},
		{"neighbour", headers{"Sec-Fetch-Site": "same-site", "Content-Type": json}, no},
		{"what no standard knows", headers{"Sec-Fetch-Site": "sibling", "Content-Type": json}, no},
		{"foreign Origin that says the same", headers{"Origin": "http://evil.example", "Sec-Fetch-Site": "same-origin", "Content-Type": json}, no},
		{"link from elsewhere to the services", headers{"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document", "Content-Type": json}, no},

		// Pages of this server's.
		{"own page", headers{"Origin": "http://" + at, "Sec-Fetch-Site": "same-origin", "Content-Type": json}, ok},
		{"own page, charset", headers{"Origin": "http://" + at, "Sec-Fetch-Site": "same-origin", "Content-Type": "Application/JSON; charset=utf-8"}, ok},
		{"own page of an old browser", headers{"Origin": "http://" + at, "Content-Type": json}, ok},
		{"own page, localhost", headers{"Host": "localhost:" + port, "Origin": "http://localhost:" + port, "Sec-Fetch-Site": "same-origin", "Content-Type": json}, ok},
		{"typed address", headers{"Sec-Fetch-Site": "none", "Content-Type": json}, ok},
		{"own page, text", headers{"Origin": "http://" + at, "Sec-Fetch-Site": "same-origin", "Content-Type": text}, badType},
		{"own page, form", headers{"Origin": "http://" + at, "Content-Type": form}, badType},
		{"own page, form with a boundary", headers{"Origin": "http://" + at, "Content-Type": "multipart/form-data; boundary=x"}, badType},
		{"own page, no type", headers{"Origin": "http://" + at, "Sec-Fetch-Site": "same-origin"}, badType},
		{"text without Origin", headers{"Sec-Fetch-Site": "same-origin", "Content-Type": text}, badType},

		// Behind a proxy that passes the host on, or not.
		{"proxy", headers{"Host": "kiln.example", "Origin": "https://kiln.example", "Sec-Fetch-Site": "same-origin", "Content-Type": json}, ok},
		{"proxy that puts its own host", headers{"Origin": "https://kiln.example", "Sec-Fetch-Site": "same-origin", "Content-Type": json}, ok},
		{"proxy with a port", headers{"Host": "shed.example", "Origin": "https://shed.example:8443", "Sec-Fetch-Site": "same-origin", "Content-Type": json}, ok},
		{"other port of the proxy's", headers{"Host": "shed.example", "Origin": "https://shed.example:9", "Content-Type": json}, no},
		{"foreign page through the proxy", headers{"Host": "kiln.example", "Origin": "https://evil.example", "Sec-Fetch-Site": "cross-site", "Content-Type": json}, no},
	} {
		for _, method := range []string{http.MethodPost, http.MethodPatch, http.MethodGet, http.MethodDelete} {
			if _, err := pb.NewStudioServiceClient(s.Local()).CreateStudio(t.Context(), &pb.CreateStudioRequest{StudioId: "victim", Studio: &pb.Studio{DisplayName: "Victim"}}); err != nil {
				t.Fatal(err)
			}
			path, body, want := "/v1/studios/victim", "", x.want
			switch method {
			case http.MethodPost:
				path, body = "/v1/studios?studioId=made", `{"displayName":"Made"}`
			case http.MethodPatch:
				body = `{"displayName":"Changed"}`
			case http.MethodDelete:
				path += "?force=true"
			}
			if body == "" && want == badType {
				want = ok // nothing is sent that could be of a wrong type
			}
			resp, answer := s.from(t, method, s.url+path, x.headers, body)
			if resp.StatusCode != want {
				t.Errorf("%s %s: %d, want %d: %s", method, x.what, resp.StatusCode, want, answer)
			}
			if allowed := resp.Header.Get("Access-Control-Allow-Origin"); allowed != "" {
				t.Errorf("%s %s: the answer may be read by %s", method, x.what, allowed)
			}
			for _, studio := range []string{"victim", "made"} {
				name := "studios/" + studio
				got, err := pb.NewStudioServiceClient(s.Local()).GetStudio(t.Context(), &pb.GetStudioRequest{Name: name})
				if want != ok && ((studio == "victim") != (err == nil) || got.GetDisplayName() == "Changed") {
					t.Errorf("%s %s: refused, and %s is %v, %v", method, x.what, name, got, err)
				}
				if err == nil {
					if _, err := pb.NewStudioServiceClient(s.Local()).DeleteStudio(t.Context(), &pb.DeleteStudioRequest{Name: name, Force: true}); err != nil {
						t.Fatal(err)
					}
				}
			}
		}
	}
}

// Links to the pages work from anywhere, health answers under any name, and the rest is refused by its host as the services are.
func TestTheFenceLetsLinksAndHealthThrough(t *testing.T) {
	s := start(t, nil)
	link := headers{"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document"}
	byWorker := headers{"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "empty"} // as Chromium 156 does
	frame := headers{"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "iframe"}
	script := headers{"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "no-cors", "Sec-Fetch-Dest": "script"}
	rebound := headers{"Host": "evil.example"}
	for _, x := range []struct {
		path    string
		headers headers
		want    int
	}{
		{"/openapi.json", link, http.StatusOK},
		{"/openapi.json", byWorker, http.StatusOK},
		{"/v1/studios", byWorker, http.StatusForbidden},
		{"/openapi.json", frame, http.StatusForbidden},
		{"/openapi.json", script, http.StatusForbidden},
		{"/openapi.json", rebound, http.StatusForbidden},
		{"/v1/studios", link, http.StatusForbidden},
		{"/healthz", rebound, http.StatusOK},
		{"/readyz", rebound, http.StatusOK},
		{"/readyz", script, http.StatusOK},
	} {
		if resp, text := s.from(t, http.MethodGet, s.url+x.path, x.headers, ""); resp.StatusCode != x.want {
			t.Errorf("%s with %v: %d, want %d: %s", x.path, x.headers, resp.StatusCode, x.want, text)
		}
	}
}

// A page that rebinds its name to loopback does not reach metrics or profiles either, which need no key.
func TestMetricsAreFenced(t *testing.T) {
	s := start(t, &stubs{}, withKeys, func(c *config.Config) { c.Telemetry.Pprof = true })
	for _, path := range []string{"/metrics", "/debug/pprof/cmdline"} {
		for host, want := range map[string]int{s.MetricsAddress(): http.StatusOK, "localhost": http.StatusOK, "evil.example": http.StatusForbidden} {
			if resp, _ := s.from(t, http.MethodGet, "http://"+s.MetricsAddress()+path, headers{"Host": host}, ""); resp.StatusCode != want {
				t.Errorf("%s at %s: %d, want %d", path, host, resp.StatusCode, want)
			}
		}
	}
}

// A browser cannot speak gRPC: to a port without TLS it sends HTTP/1, and with TLS it would have to ask before sending this content type. That
// gRPC answers neither is the library's doing, and has to stay so.
func TestTheGRPCPortAnswersNoBrowser(t *testing.T) {
	s := start(t, nil)
	c, err := net.Dial("tcp", s.GRPCAddress())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	io.WriteString(c, "POST /catchline.v1.StudioService/ListStudios HTTP/1.1\r\nHost: "+s.GRPCAddress()+"\r\nContent-Type: application/grpc\r\nContent-Length: 5\r\n\r\n\x00\x00\x00\x00\x00")
	if answer, _ := io.ReadAll(c); bytes.Contains(answer, []byte("HTTP/1.1 200")) {
		t.Errorf("HTTP/1 is answered: %q", answer)
	}
	withoutTLS := new(http.Protocols)
	withoutTLS.SetUnencryptedHTTP2(true)
	clear := &http.Transport{Protocols: withoutTLS}
	defer clear.CloseIdleConnections()
	for _, contentType := range []string{"text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", ""} {
		r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, "http://"+s.GRPCAddress()+"/catchline.v1.StudioService/ListStudios", bytes.NewReader(make([]byte, 5)))
		if err != nil {
			t.Fatal(err)
		}
		if contentType != "" {
			r.Header.Set("Content-Type", contentType)
		}
		resp, err := clear.RoundTrip(r)
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		if resp.StatusCode != http.StatusUnsupportedMediaType {
			t.Errorf("%q over HTTP/2: %d %v", contentType, resp.StatusCode, resp.Header)
		}
	}
}

// With keys, pages of the named origins may use the services, and no others (https://fetch.spec.whatwg.org, "CORS protocol").
func TestAllowedOrigins(t *testing.T) {
	const app = "https://app.example"
	s := start(t, nil, withKeys, func(c *config.Config) { c.AllowedOrigins = config.Names{app, "http://localhost:3000"} })
	key := s.addStudio(t, "s")[pb.Role_ROLE_MANAGE]
	ask := func(origin, method string, more headers) *http.Response {
		h := headers{"Origin": origin}
		for name, value := range more {
			h[name] = value
		}
		resp, _ := s.from(t, method, s.url+"/v1/studios/s", h, "")
		return resp
	}
	preflight := headers{"Access-Control-Request-Method": "PATCH", "Access-Control-Request-Headers": "authorization,content-type"}

	resp := ask(app, http.MethodOptions, preflight)
	wanted := headers{
		"Access-Control-Allow-Origin": app, "Access-Control-Allow-Methods": "PATCH", "Access-Control-Allow-Headers": "authorization,content-type",
		"Access-Control-Allow-Credentials": "", "Access-Control-Max-Age": "600",
	}
	for name, want := range wanted {
		if got := resp.Header.Get(name); got != want {
			t.Errorf("preflight: %s is %q, want %q", name, got, want)
		}
	}
	if resp.StatusCode != http.StatusNoContent || !strings.Contains(resp.Header.Get("Vary"), "Origin") {
		t.Errorf("preflight: %d, Vary %q", resp.StatusCode, resp.Header.Get("Vary"))
	}
	resp = ask(app, http.MethodGet, headers{"Authorization": "Bearer " + key})
	if resp.StatusCode != http.StatusOK || resp.Header.Get("Access-Control-Allow-Origin") != app || !strings.Contains(resp.Header.Get("Vary"), "Origin") ||
		!strings.Contains(resp.Header.Get("Access-Control-Expose-Headers"), "X-Request-Id") || resp.Header.Get("Access-Control-Allow-Credentials") != "" {
		t.Errorf("with a key: %d %v", resp.StatusCode, resp.Header)
	}
	if resp = ask(app, http.MethodGet, nil); resp.StatusCode != http.StatusUnauthorized || resp.Header.Get("Access-Control-Allow-Origin") != app {
		t.Errorf("without a key the page has to learn why: %d %v", resp.StatusCode, resp.Header)
	}
	for _, origin := range []string{"https://evil.example", "http://app.example", "https://app.example:8443", "https://app.example.evil.example", "https://sub.app.example", "null"} {
		for what, resp := range map[string]*http.Response{
			"preflight": ask(origin, http.MethodOptions, preflight),
			"call":      ask(origin, http.MethodGet, headers{"Authorization": "Bearer " + key}),
		} {
			if got := resp.Header.Get("Access-Control-Allow-Origin"); got != "" {
				t.Errorf("%s of %s: allowed for %s", what, origin, got)
			}
			if !strings.Contains(resp.Header.Get("Vary"), "Origin") {
				t.Errorf("%s of %s: a cache may take the answer for that to another page", what, origin)
			}
		}
	}
}

// A host that is this server's address is its own, whichever it is.
func TestTheAddressOfTheConnectionIsAnOwnHost(t *testing.T) {
	s := start(t, nil, func(c *config.Config) {
		c.HTTP.Address = "0.0.0.0:0"
		c.AllowPlaintext, c.AllowAnonymous = true, true
	})
	_, port, _ := net.SplitHostPort(s.HTTPAddress())
	addresses, err := net.InterfaceAddrs()
	if err != nil {
		t.Fatal(err)
	}
	for _, a := range addresses {
		ip, ok := a.(*net.IPNet)
		if !ok || ip.IP.To4() == nil {
			continue
		}
		if resp, text := s.from(t, http.MethodGet, "http://"+net.JoinHostPort(ip.IP.String(), port)+"/v1/studios", nil, ""); resp.StatusCode != http.StatusOK {
			t.Errorf("%s: %d %s", ip.IP, resp.StatusCode, text)
		}
	}
}
