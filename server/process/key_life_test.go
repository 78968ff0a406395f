package process

import (
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/golang-jwt/jwt/v5"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/config"
)

// A key lives no longer than the settings and its maker allow.
func TestLifeOfKeys(t *testing.T) {
	const day = 24 * time.Hour
	p := newProvider(t, "k1")
	file := filepath.Join(t.TempDir(), "jwks.json")
	if err := os.WriteFile(file, p.set, 0o600); err != nil {
		t.Fatal(err)
	}
	claims := maps.Clone(goodClaims())
	claims["catchline_role"] = "manage"
	token := sign(t, jwt.SigningMethodEdDSA, p.key, "k1", claims)
	withTokens := func(c *config.Config) {
		c.JWT.JWKS, c.JWT.Issuer, c.JWT.Audience = file, "https://idp.test", "catchline"
	}
	limited := func(c *config.Config) { c.Keys.Life = 30 * day }
	for _, x := range []struct {
		what    string
		changes []func(*config.Config)
		by      string        // empty: a manager's key that never stops
		asked   time.Duration // 0: unset
		want    time.Duration // 0: never
		refused bool
	}{
		{"by a key", nil, "", 0, 0, false},
		{"by a key, for long", nil, "", 1000 * day, 1000 * day, false},
		{"by a token", nil, token, 0, 90 * day, false},
		{"by a token, for less", nil, token, day, day, false},
		{"by a token, for more", nil, token, 91 * day, 0, true},
		{"with a limit", []func(*config.Config){limited}, "", 0, 30 * day, false},
		{"with a limit, for more", []func(*config.Config){limited}, "", 31 * day, 0, true},
		{"with a limit, by a token", []func(*config.Config){limited}, token, 0, 30 * day, false},
		{"by the operator", []func(*config.Config){limited}, operatorKey, 31 * day, 0, true},
		{"by a key that stops", nil, "stops", 0, 2 * day, false},
		{"by a key that stops, for more", nil, "stops", 3 * day, 0, true},
	} {
		s := start(t, nil, append([]func(*config.Config){withKeys, withTokens}, x.changes...)...)
		by := s.addStudio(t, "ours")[pb.Role_ROLE_MANAGE]
		switch x.by {
		case "":
		case "stops":
			by, _ = s.addKey(t, "ours", &pb.Key{Role: pb.Role_ROLE_MANAGE, ExpireTime: expiring(2 * day)})
		default:
			by = x.by
		}
		key := &pb.Key{DisplayName: "Made", Role: pb.Role_ROLE_VIEW}
		if x.asked > 0 {
			key.ExpireTime = expiring(x.asked)
		}
		made := time.Now()
		got, err := pb.NewKeyServiceClient(s.conn).CreateKey(bearing(t.Context(), by), &pb.CreateKeyRequest{Parent: "studios/ours", Key: key})
		switch expires := got.GetKey().GetExpireTime(); {
		case x.refused:
			if status.Code(err) != codes.InvalidArgument || !strings.Contains(err.Error(), "key.expire_time") || !strings.Contains(err.Error(), "at the latest") {
				t.Errorf("%s: %v", x.what, err)
			}
		case err != nil:
			t.Errorf("%s: %v", x.what, err)
		case x.want == 0:
			if expires != nil {
				t.Errorf("%s: it stops at %v", x.what, expires.AsTime())
			}
		case expires == nil || expires.AsTime().Sub(made.Add(x.want)).Abs() > time.Minute:
			t.Errorf("%s: it stops at %v, want about %v", x.what, expires.AsTime(), made.Add(x.want))
		}
		if err := s.stop(); err != nil {
			t.Error(err)
		}
	}
}
