package access

import (
	"context"
	"crypto/subtle"
	"errors"
	"log/slog"
	"strings"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/chain"
	"github.com/catchline/catchline/server/store"
)

// Identity is who a caller is.
type Identity struct {
	Operator bool
	Studio   string    // of whom is not the operator
	Role     pb.Role   // in that studio
	Name     string    // of the key or the token's subject, for logs
	Token    bool      // of an identity provider, not a key
	Until    time.Time // when the studio's key stops working; zero: never
	settled  bool      // for as long as a call may take: it is not a studio's key, which may be revoked
}

// operators is the party of all operator's keys. No studio has a space in its id.
const operators = "the operator"

// Party is whom the caller's calls count against.
func (id *Identity) Party() string {
	switch {
	case id.Studio != "":
		return id.Studio
	case id.Name != "":
		return operators
	}
	return ""
}

// Keys is what is asked of the store.
type Keys interface {
	FindKey(ctx context.Context, id string) (store.Record, error)
	Changes(ctx context.Context) <-chan store.Change
}

// Options are who may get in.
type Options struct {
	Anonymous bool     // without keys: everybody is the operator
	Operators []string // the operator's keys
	Tokens    *Tokens  // of an outside identity provider; nil: none
	Logger    *slog.Logger
	Now       func() time.Time
}

// Guard knows who may get in. Make it by NewGuard.
type Guard struct {
	anonymous bool
	operators []Hash // of whole secrets
	tokens    *Tokens
	keys      Keys
	cache     *cache
	log       *slog.Logger
	now       func() time.Time
}

// NewGuard returns a guard that forgets what it has read of keys when the store tells of a change, until ctx ends.
func NewGuard(ctx context.Context, keys Keys, o Options) *Guard {
	g := &Guard{anonymous: o.Anonymous, tokens: o.Tokens, keys: keys, log: o.Logger, now: o.Now}
	if g.now == nil {
		g.now = time.Now
	}
	for _, k := range o.Operators {
		g.operators = append(g.operators, hashOf(k))
	}
	g.cache = newCache(g.now)
	if !o.Anonymous {
		go g.cache.follow(keys.Changes(ctx))
	}
	return g
}

// FromContext returns who the caller is. Where the server runs without keys everybody is the operator.
func FromContext(ctx context.Context) (Identity, bool) {
	call := chain.FromContext(ctx)
	if call == nil {
		return Identity{}, false
	}
	id, ok := call.Caller.(*Identity)
	if !ok {
		return Identity{}, false
	}
	return *id, true
}

// OnlyStudio returns the one studio that the caller may see, or false when it may see all.
func OnlyStudio(ctx context.Context) (studio string, only bool) {
	id, ok := FromContext(ctx)
	return id.Studio, ok && !id.Operator
}

// Link is the link of the chain that lets nobody through who may not.
func (g *Guard) Link() chain.Link {
	return chain.Link{
		Name: "auth",
		Around: func(ctx context.Context, call *chain.Call, next func(context.Context) error) error {
			r, ok := table[call.Method]
			if !ok {
				return status.Error(codes.PermissionDenied, "This method is not open to anybody.")
			}
			if r.need == anybody {
				return next(ctx)
			}
			id, err := g.decide(ctx)
			if err != nil {
				return err
			}
			call.Studio, call.Key, call.Party, call.Caller = id.Studio, id.Name, id.Party(), id
			return next(ctx)
		},
		Request: func(_ context.Context, call *chain.Call, m proto.Message) error {
			r := table[call.Method]
			if r.need == anybody {
				return nil
			}
			id, _ := call.Caller.(*Identity)
			if id == nil {
				return status.Error(codes.Unauthenticated, "A key is needed.")
			}
			return authorize(id, r, m)
		},
	}
}

// decide says who the caller is, now that the whole call is there.
func (g *Guard) decide(ctx context.Context) (*Identity, error) {
	if head := chain.HeadOf(ctx); head != nil {
		if id, ok := head.Caller.(*Identity); ok && id.settled {
			return id, nil
		}
	}
	return g.authenticate(ctx)
}

var everybody = &Identity{Operator: true, settled: true}

// authenticate finds out who the caller is.
func (g *Guard) authenticate(ctx context.Context) (*Identity, error) {
	if g.anonymous {
		return everybody, nil
	}
	secret, err := bearer(ctx)
	if err != nil {
		return nil, err
	}
	h := hashOf(secret)
	if id := g.operator(h); id != nil {
		return id, nil
	}
	if g.tokens != nil && strings.Count(secret, ".") == 2 {
		id, err := g.tokens.identify(secret)
		if err != nil {
			return nil, unauthenticated("TOKEN_INVALID", "The token is not valid here: "+err.Error()+".")
		}
		return id, nil
	}
	return g.studioKey(ctx, secret, h)
}

// operator compares the hash of a secret with that of every operator's key, so that the time taken tells nothing.
func (g *Guard) operator(h Hash) *Identity {
	same := 0
	for i := range g.operators {
		same |= subtle.ConstantTimeCompare(h[:], g.operators[i][:])
	}
	if same == 1 {
		return &Identity{Operator: true, Name: "operator", settled: true}
	}
	return nil
}

var errKey = unauthenticated("KEY_INVALID", "The key is wrong, revoked or expired.")

// studioKey finds out whose key a secret is; whole is the hash of all of it, by which it is found again.
func (g *Guard) studioKey(ctx context.Context, secret string, whole Hash) (*Identity, error) {
	if known, ok := g.cache.get(whole); ok {
		if known.key.Expired(g.now()) {
			return nil, errKey
		}
		return known.id, nil
	}
	keyID, hash, err := Parse(secret)
	if err != nil {
		return nil, errKey
	}
	// Whatever changes from here on has to keep what is read now out of the cache.
	asked, generation := g.now(), g.cache.generation()
	rec, err := g.keys.FindKey(ctx, keyID)
	switch {
	case errors.Is(err, store.ErrDamaged):
		g.log.ErrorContext(ctx, "a key cannot be checked", "error", err)
		return nil, failure(codes.DataLoss, "RECORD_DAMAGED", "What is stored of this key is damaged; ask for a new one.")
	case errors.Is(err, store.ErrNotFound):
		return nil, errKey
	case ctx.Err() != nil:
		return nil, status.FromContextError(ctx.Err()).Err()
	case err != nil:
		return nil, g.unavailable(ctx, err)
	}
	key := new(Record)
	if err := key.Unmarshal(rec.Body); err != nil {
		return nil, g.unavailable(ctx, err)
	}
	role := key.Key.GetRole()
	if !key.Proves(hash) || key.Expired(g.now()) || role < pb.Role_ROLE_VIEW || role > pb.Role_ROLE_MANAGE {
		return nil, errKey
	}
	id := &Identity{Studio: rec.Studio, Role: role, Name: "studios/" + rec.Studio + "/keys/" + rec.ID}
	if t := key.Key.ExpireTime; t != nil {
		id.Until = t.AsTime()
	}
	g.cache.put(whole, asked, generation, entry{key, id})
	return id, nil
}

// authorize says whether the caller may send this request.
func authorize(id *Identity, r rule, m proto.Message) error {
	if id.Operator || r.need == anyKey {
		return nil
	}
	if r.studio == "" {
		return denied("Only the operator's key may do this.")
	}
	name := named(m, r.studio)
	studio, ok := studioOf(name)
	if !ok {
		return invalidName(r.studio)
	}
	if studio != id.Studio {
		return notFound(name)
	}
	if r.need == operator {
		return denied("Only the operator's key may do this.")
	}
	if id.Role < r.need.least() {
		return denied("The key may " + word(id.Role) + ", and this needs one that may " + word(r.need.least()) + ".")
	}
	return nil
}

func bearer(ctx context.Context) (string, error) {
	values := metadata.ValueFromIncomingContext(ctx, "authorization")
	if len(values) == 0 {
		return "", unauthenticated("KEY_MISSING", "A key is needed: send it as the header authorization: Bearer KEY.")
	}
	scheme, secret, ok := strings.Cut(values[0], " ")
	if len(values) > 1 || !ok || !strings.EqualFold(scheme, "Bearer") || secret == "" {
		return "", unauthenticated("KEY_MALFORMED", "The header authorization has to be given once and be: Bearer KEY.")
	}
	return strings.TrimSpace(secret), nil
}

func word(r pb.Role) string {
	return strings.ToLower(strings.TrimPrefix(r.String(), "ROLE_"))
}

func failure(code codes.Code, reason, text string) error {
	s := status.New(code, text)
	if d, err := s.WithDetails(&errdetails.ErrorInfo{Reason: reason, Domain: "catchline"}); err == nil {
		s = d
	}
	return s.Err()
}

func unauthenticated(reason, text string) error {
	return failure(codes.Unauthenticated, reason, text)
}

func denied(text string) error { return failure(codes.PermissionDenied, "ROLE_TOO_LOW", text) }

// notFound is what the services answer when something is not there, to the letter.
func notFound(name string) error {
	s := status.New(codes.NotFound, name+" does not exist.")
	if d, err := s.WithDetails(
		&errdetails.ErrorInfo{Reason: "NOT_FOUND", Domain: "catchline", Metadata: map[string]string{"name": name}},
		&errdetails.ResourceInfo{ResourceName: name},
	); err == nil {
		s = d
	}
	return s.Err()
}

func invalidName(field string) error {
	const allowed = "studios/{studio} or a name within it"
	s := status.New(codes.InvalidArgument, field+" is not a name; allowed: "+allowed+".")
	if d, err := s.WithDetails(
		&errdetails.ErrorInfo{Reason: "INVALID_FIELD", Domain: "catchline", Metadata: map[string]string{"field": field, "limit": allowed}},
		&errdetails.BadRequest{FieldViolations: []*errdetails.BadRequest_FieldViolation{
			{Field: field, Description: "is not a name; allowed: " + allowed, Reason: "INVALID_FIELD"},
		}},
	); err == nil {
		s = d
	}
	return s.Err()
}

// unavailable is the answer while keys cannot be read.
func (g *Guard) unavailable(ctx context.Context, cause error) error {
	g.log.ErrorContext(ctx, "a key cannot be checked", "error", cause)
	return failure(codes.Unavailable, "STORAGE_UNAVAILABLE", "Keys cannot be checked just now; try again.")
}
