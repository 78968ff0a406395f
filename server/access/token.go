package access

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"os"
	"strings"
	"sync"
	"time"

	"github.com/MicahParks/keyfunc/v3"
	"github.com/golang-jwt/jwt/v5"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// TokenOptions say which tokens of an outside identity provider are taken.
type TokenOptions struct {
	JWKS        string // file or URL
	Issuer      string
	Audience    string
	StudioClaim string
	RoleClaim   string
	Now         func() time.Time
}

// Tokens reads tokens (JWT). Make it by NewTokens.
type Tokens struct {
	o      TokenOptions
	parser *jwt.Parser
	keys   jwt.Keyfunc
}

// asymmetric are the signatures that are taken: those that the server can check and not make.
var asymmetric = []string{"RS256", "RS384", "RS512", "PS256", "PS384", "PS512", "ES256", "ES384", "ES512", "EdDSA"}

// leeway is how much the provider's clock may differ.
const leeway = 30 * time.Second

// NewTokens reads the provider's keys, and reads them again as they change, until ctx ends.
func NewTokens(ctx context.Context, o TokenOptions, log *slog.Logger) (*Tokens, error) {
	t := &Tokens{o: o}
	options := []jwt.ParserOption{
		jwt.WithValidMethods(asymmetric), jwt.WithIssuer(o.Issuer), jwt.WithAudience(o.Audience),
		jwt.WithExpirationRequired(), jwt.WithLeeway(leeway),
	}
	if o.Now != nil {
		options = append(options, jwt.WithTimeFunc(o.Now))
	}
	t.parser = jwt.NewParser(options...)
	if strings.HasPrefix(o.JWKS, "https://") || strings.HasPrefix(o.JWKS, "http://") {
		k, err := keyfunc.NewDefaultOverrideCtx(ctx, []string{o.JWKS}, keyfunc.Override{
			Client:          &http.Client{Timeout: 10 * time.Second},
			RefreshInterval: 5 * time.Minute,
			RefreshErrorHandlerFunc: func(u string) func(context.Context, error) {
				return func(ctx context.Context, err error) {
					log.LogAttrs(ctx, slog.LevelError, "the identity provider's keys cannot be fetched", slog.String("url", u), slog.Any("error", err))
				}
			},
		})
		if err != nil {
			return nil, fmt.Errorf("the identity provider's keys cannot be fetched from %s: %w; check jwt-jwks and that this machine reaches it", o.JWKS, err)
		}
		t.keys = k.Keyfunc
		return t, nil
	}
	f := &keyFile{path: o.JWKS, log: log}
	if _, err := f.current(); err != nil {
		return nil, fmt.Errorf("the identity provider's keys cannot be read: %w; check jwt-jwks", err)
	}
	t.keys = f.keyfunc
	return t, nil
}

// identify checks a token and says who its bearer is. Its errors do not show the token.
func (t *Tokens) identify(token string) (*Identity, error) {
	claims := jwt.MapClaims{}
	if _, err := t.parser.ParseWithClaims(token, claims, t.keys); err != nil {
		return nil, tokenFault(err)
	}
	studio, _ := claims[t.o.StudioClaim].(string)
	if studio == "" || strings.Contains(studio, "/") {
		return nil, fmt.Errorf("its claim %s has to be a studio's id", t.o.StudioClaim)
	}
	word, _ := claims[t.o.RoleClaim].(string)
	role, ok := roles[word]
	if !ok {
		return nil, fmt.Errorf("its claim %s has to be view, record or manage", t.o.RoleClaim)
	}
	subject, _ := claims.GetSubject()
	return &Identity{Studio: studio, Role: role, Name: "tokens/" + studio + "/" + subject, Token: true, settled: true}, nil
}

var roles = map[string]pb.Role{"view": pb.Role_ROLE_VIEW, "record": pb.Role_ROLE_RECORD, "manage": pb.Role_ROLE_MANAGE}

// tokenFault says what is wrong in words that are the same for all tokens with that fault.
func tokenFault(err error) error {
	for _, f := range []struct {
		kind error
		text string
	}{
		{jwt.ErrTokenExpired, "it has expired"},
		{jwt.ErrTokenNotValidYet, "it is not valid yet"},
		{jwt.ErrTokenInvalidAudience, "it was made for another audience"},
		{jwt.ErrTokenInvalidIssuer, "it was made by another issuer"},
		{jwt.ErrTokenRequiredClaimMissing, "it lacks exp, iss or aud"},
		{jwt.ErrTokenMalformed, "it is malformed"},
		{jwt.ErrTokenUnverifiable, "its key is not among the provider's"},
		{jwt.ErrTokenSignatureInvalid, "its signature is wrong"},
	} {
		if errors.Is(err, f.kind) {
			return errors.New(f.text)
		}
	}
	return errors.New("it cannot be read")
}

// keyFile holds the keys of a file, and reads it again when it has changed.
type keyFile struct {
	path string
	log  *slog.Logger

	mu      sync.Mutex
	checked time.Time
	changed time.Time
	size    int64
	keys    keyfunc.Keyfunc
}

// recheck is how often files are looked at.
const recheck = time.Second

func (f *keyFile) keyfunc(token *jwt.Token) (any, error) {
	k, err := f.current()
	if err != nil {
		return nil, err
	}
	return k.Keyfunc(token)
}

// current returns the keys of the file as it is now, or the last good ones while it cannot be read.
func (f *keyFile) current() (keyfunc.Keyfunc, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.keys != nil && time.Since(f.checked) < recheck {
		return f.keys, nil
	}
	f.checked = time.Now()
	k, err := f.read()
	if err != nil {
		if f.keys == nil {
			return nil, err
		}
		f.log.Error("the identity provider's keys cannot be read again; the former ones stay", slog.Any("error", err))
		return f.keys, nil
	}
	f.keys = k
	return k, nil
}

func (f *keyFile) read() (keyfunc.Keyfunc, error) {
	info, err := os.Stat(f.path)
	if err != nil {
		return nil, err
	}
	if f.keys != nil && info.ModTime().Equal(f.changed) && info.Size() == f.size {
		return f.keys, nil
	}
	text, err := os.ReadFile(f.path)
	if err != nil {
		return nil, err
	}
	k, err := keyfunc.NewJWKSetJSON(json.RawMessage(text))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", f.path, err)
	}
	f.changed, f.size = info.ModTime(), info.Size()
	return k, nil
}
