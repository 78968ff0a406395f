package gateway

import (
	"context"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/catchline/catchline/server/access"
	"github.com/catchline/catchline/server/chain"
)

// Whatever path and verb the contract gives a method, it is known before the body is read, and who may not call it is refused before.
func TestCallersAreAskedByTheHead(t *testing.T) {
	asked := ""
	h, err := New(t.Context(), Options{Services: NewChannel("http", nil), MaxBodyBytes: 1 << 20, Early: &Early{
		Caller: func(_ context.Context, method string) error {
			asked = method
			return status.Error(codes.Unauthenticated, "no")
		},
		Refused: chain.Refused("http", []chain.Link{chain.RequestID()}),
	}})
	if err != nil {
		t.Fatal(err)
	}
	methods := contractMethods()
	variable := regexp.MustCompile(`\{[^=}]*=([^}]*)\}`)
	for at, method := range methods {
		verb, pattern, _ := strings.Cut(at, " ")
		path := strings.ReplaceAll(variable.ReplaceAllString(pattern, "$1"), "*", "x")
		w := httptest.NewRecorder()
		asked = ""
		h.ServeHTTP(w, httptest.NewRequest(verb, path, untouchable{t}))
		if asked != method.name || w.Code != http.StatusUnauthorized || w.Header().Get("X-Request-Id") == "" {
			t.Errorf("%s %s: asked for %q, not %s; answered %d, %v", verb, path, asked, method.name, w.Code, w.Header())
		}
	}
	for _, m := range access.Methods() {
		stream := strings.HasSuffix(m, "/ScoreSheet") || strings.HasSuffix(m, "/ExportTiles")
		found := false
		for _, known := range methods {
			found = found || known == method{m, stream}
		}
		if strings.HasPrefix(m, "/catchline.") && !found {
			t.Errorf("%s is not known", m)
		}
	}
}

// untouchable is a body that must not be read.
type untouchable struct{ t *testing.T }

func (u untouchable) Read([]byte) (int, error) {
	u.t.Error("the body was read")
	return 0, http.ErrBodyReadAfterClose
}
