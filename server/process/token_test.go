package process

import (
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/rand"
	"encoding/json"
	"maps"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/MicahParks/jwkset"
	"github.com/golang-jwt/jwt/v5"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/config"
)

// provider is an identity provider of the test's own.
type provider struct {
	key ed25519.PrivateKey
	set []byte // its JWKS
}

func newProvider(t *testing.T, keyID string) *provider {
	t.Helper()
	public, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	k, err := jwkset.NewJWKFromKey(public, jwkset.JWKOptions{Metadata: jwkset.JWKMetadataOptions{KID: keyID, ALG: jwkset.AlgEdDSA, USE: jwkset.UseSig}})
	if err != nil {
		t.Fatal(err)
	}
	set, err := json.Marshal(jwkset.JWKSMarshal{Keys: []jwkset.JWKMarshal{k.Marshal()}})
	if err != nil {
		t.Fatal(err)
	}
	return &provider{private, set}
}

func sign(t *testing.T, method jwt.SigningMethod, key any, keyID string, claims jwt.MapClaims) string {
	t.Helper()
	token := jwt.NewWithClaims(method, claims)
	token.Header["kid"] = keyID
	s, err := token.SignedString(key)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func goodClaims() jwt.MapClaims {
	return jwt.MapClaims{
		"iss": "https://idp.test", "aud": "catchline", "sub": "someone", "exp": time.Now().Add(time.Hour).Unix(),
		"catchline_studio": "ours", "catchline_role": "record",
	}
}

func TestTokens(t *testing.T) {
	p := newProvider(t, "k1")
	file := filepath.Join(t.TempDir(), "jwks.json")
	if err := os.WriteFile(file, p.set, 0o600); err != nil {
		t.Fatal(err)
	}
	web := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.Write(p.set) }))
	defer web.Close()
	for _, source := range []string{file, web.URL} {
		s := start(t, &stubs{}, func(c *config.Config) {
			c.JWT.JWKS, c.JWT.Issuer, c.JWT.Audience = source, "https://idp.test", "catchline"
		})
		s.addStudio(t, "ours")
		s.addStudio(t, "theirs")
		ask := func(token string, change func(*pb.CreateTileRequest)) codes.Code {
			r := &pb.CreateTileRequest{Parent: "studios/ours"}
			if change != nil {
				change(r)
			}
			_, err := pb.NewTileServiceClient(s.conn).CreateTile(bearing(t.Context(), token), r)
			if strings.Contains(err.Error(), token) {
				t.Errorf("the answer shows the token: %v", err)
			}
			return status.Code(err)
		}
		with := func(change func(jwt.MapClaims)) string {
			c := maps.Clone(goodClaims())
			change(c)
			return sign(t, jwt.SigningMethodEdDSA, p.key, "k1", c)
		}
		good := with(func(jwt.MapClaims) {})
		if got := ask(good, nil); got != codes.Unimplemented {
			t.Errorf("%s: a good token: %s", source, got)
		}
		if got := ask(good, func(r *pb.CreateTileRequest) { r.Parent = "studios/theirs" }); got != codes.NotFound {
			t.Errorf("another studio: %s", got)
		}
		if got := ask(with(func(c jwt.MapClaims) { c["catchline_role"] = "view" }), nil); got != codes.PermissionDenied {
			t.Errorf("a role that is too low: %s", got)
		}
		other := newProvider(t, "k1")
		ec, _ := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
		for what, token := range map[string]string{
			"expired":                   with(func(c jwt.MapClaims) { c["exp"] = time.Now().Add(-time.Hour).Unix() }),
			"without expiry":            with(func(c jwt.MapClaims) { delete(c, "exp") }),
			"not valid yet":             with(func(c jwt.MapClaims) { c["nbf"] = time.Now().Add(time.Hour).Unix() }),
			"another issuer":            with(func(c jwt.MapClaims) { c["iss"] = "https://other.test" }),
			"another audience":          with(func(c jwt.MapClaims) { c["aud"] = "other" }),
			"without audience":          with(func(c jwt.MapClaims) { delete(c, "aud") }),
			"without studio":            with(func(c jwt.MapClaims) { delete(c, "catchline_studio") }),
			"studio that is no text":    with(func(c jwt.MapClaims) { c["catchline_studio"] = []string{"ours"} }),
			"without role":              with(func(c jwt.MapClaims) { delete(c, "catchline_role") }),
			"made-up role":              with(func(c jwt.MapClaims) { c["catchline_role"] = "operator" }),
			"signed by another key":     sign(t, jwt.SigningMethodEdDSA, other.key, "k1", goodClaims()),
			"of an unknown key":         sign(t, jwt.SigningMethodEdDSA, p.key, "k2", goodClaims()),
			"signed by nobody":          sign(t, jwt.SigningMethodNone, jwt.UnsafeAllowNoneSignatureType, "k1", goodClaims()),
			"HMAC with the public key":  sign(t, jwt.SigningMethodHS256, p.set, "k1", goodClaims()),
			"another kind of signature": sign(t, jwt.SigningMethodES256, ec, "k1", goodClaims()),
			"torn":                      good[:len(good)-4],
			"dots":                      "..",
		} {
			if got := ask(token, nil); got != codes.Unauthenticated {
				t.Errorf("%s: %s", what, got)
			}
		}
		s.stop()
	}
}
