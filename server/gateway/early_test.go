package gateway

import (
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/catchline/catchline/server/access"
)

// Whatever path and verb the contract gives a unary method, the method is known before the body is read.
func TestRefusalIsAskedByMethod(t *testing.T) {
	asked := ""
	h, err := New(t.Context(), Options{Services: NewChannel("http", nil), MaxBodyBytes: 1 << 20, Refuse: func(method string) error {
		asked = method
		return status.Error(codes.ResourceExhausted, "no")
	}})
	if err != nil {
		t.Fatal(err)
	}
	methods := unaryMethods()
	variable := regexp.MustCompile(`\{[^=}]*=([^}]*)\}`)
	for at, method := range methods {
		verb, pattern, _ := strings.Cut(at, " ")
		path := strings.ReplaceAll(variable.ReplaceAllString(pattern, "$1"), "*", "x")
		w := httptest.NewRecorder()
		asked = ""
		h.ServeHTTP(w, httptest.NewRequest(verb, path, untouchable{t}))
		if asked != method || w.Code != http.StatusTooManyRequests {
			t.Errorf("%s %s: asked for %q, not %s; answered %d", verb, path, asked, method, w.Code)
		}
	}
	// Of all methods, those without a path of their own here are streams.
	for _, m := range access.Methods() {
		stream := strings.HasSuffix(m, "/ScoreSheet") || strings.HasSuffix(m, "/ExportTiles")
		found := false
		for _, known := range methods {
			found = found || known == m
		}
		if strings.HasPrefix(m, "/catchline.") && found == stream {
			t.Errorf("%s: known is %v", m, found)
		}
	}
}

// untouchable is a body that must not be read.
type untouchable struct{ t *testing.T }

func (u untouchable) Read([]byte) (int, error) {
	u.t.Error("the body was read")
	return 0, http.ErrBodyReadAfterClose
}
