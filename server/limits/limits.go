// Package limits keeps the server from taking on more than it can do: what is beyond the limits is turned away
// at once with ResourceExhausted and the time after which to try again, so that what is accepted stays fast.
package limits

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"time"

	"golang.org/x/time/rate"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/tap"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	"github.com/catchline/catchline/server/chain"
)

// Options are the limits. Zero rates mean no limit. What is said of a studio holds for each party: see chain.Call.
type Options struct {
	RequestsPerSecond       float64
	StudioRequestsPerSecond float64
	Compute                 map[string]bool // methods that keep a processor busy, by full name; the others wait for storage
	ComputeAtOnce           int             // of those
	Long                    map[string]bool // methods that compute for seconds, by full name; they wait as long as their deadlines let them
	LongAtOnce              int             // of those, and of the parts of sheets
	StorageAtOnce           int             // of the others
	Queue                   int             // before each kind
	Arriving                int             // gRPC calls of which the head has come and not yet the body; 0: no limit
	BodyBytes               int64           // of memory for requests that are read, parsed and worked on; 0: no limit
	LargestBody             int64           // that is read, in bytes
	QueueTime               time.Duration   // longest wait after a quiet moment
	StandingQueueTime       time.Duration   // longest wait in a queue that has not been empty for QueueTime
	Streams                 int             // sheets and exports at once
	StudioStreams           int             // of one studio
	StreamMessages          int             // of one stream, in one direction
}

// Limits holds what is under way. Make it by New.
type Limits struct {
	o        Options
	all      *rate.Limiter
	compute  *gate
	long     *gate
	storage  *gate
	bodies   *gate
	rooms    rooms
	arriving arriving
	now      func() time.Time
	shed     func(reason string)

	mu      sync.Mutex
	parties map[string]*use
	swept   time.Time
	streams int
}

// use is what one party has used. An idle one is as good as none and is dropped.
type use struct {
	rate    *rate.Limiter
	streams int
	used    time.Time
}

// Reasons for turning a call away, as shed is told.
const (
	ReasonRate          = "rate"
	ReasonStudioRate    = "studio_rate"
	ReasonBusy          = "busy"
	ReasonBodies        = "bodies"
	ReasonStreams       = "streams"
	ReasonStudioStreams = "studio_streams"
	ReasonLength        = "stream_length"
)

// New returns limits that tell shed of each call that they turn away; shed may be nil.
func New(o Options, shed func(reason string)) *Limits {
	l := &Limits{o: o, now: time.Now, parties: map[string]*use{}, shed: shed}
	if o.RequestsPerSecond > 0 {
		l.all = rate.NewLimiter(rate.Limit(o.RequestsPerSecond), burst(o.RequestsPerSecond))
	}
	l.arriving = arriving{most: o.Arriving, now: time.Now, heads: map[*head]struct{}{}}
	l.compute = newGate(int64(o.ComputeAtOnce), o.Queue, o.QueueTime, o.StandingQueueTime)
	l.long = newGate(int64(o.LongAtOnce), o.Queue, time.Hour, time.Hour)
	l.storage = newGate(int64(o.StorageAtOnce), o.Queue, o.QueueTime, o.StandingQueueTime)
	l.rooms = newRooms(o.LargestBody)
	l.bodies = newGate(o.BodyBytes, o.Queue, o.QueueTime, o.QueueTime)
	return l
}

// burst lets a tenth of a second's worth come at once, and at least ten calls.
func burst(perSecond float64) int { return max(10, int(perSecond/10)) }

// Link is the link of the chain that keeps the limits.
func (l *Limits) Link() chain.Link {
	tooLong := func(n int) error {
		if n > l.o.StreamMessages {
			return l.refuse(ReasonLength, 0, fmt.Sprintf("The stream is longer than %d messages.", l.o.StreamMessages))
		}
		return nil
	}
	return chain.Link{
		Name:    "limits",
		Around:  l.around,
		Request: func(_ context.Context, c *chain.Call, _ proto.Message) error { return tooLong(c.Received()) },
		Answer:  func(_ context.Context, c *chain.Call, _ proto.Message) error { return tooLong(c.Sent()) },
	}
}

func (l *Limits) around(ctx context.Context, call *chain.Call, next func(context.Context) error) error {
	// A server that is too busy to say that it lives would be stopped for it.
	if strings.HasPrefix(call.Method, "/grpc.health.") {
		return next(ctx)
	}
	if wait := reserve(l.all, l.now()); wait > 0 {
		return l.refuse(ReasonRate, wait, "The server has more requests than it may take; try again later.")
	}
	if call.Party != "" {
		if wait := l.reserveOf(call.Party); wait > 0 {
			text := fmt.Sprintf("This studio may send %g requests a second; try again later.", l.o.StudioRequestsPerSecond)
			return l.refuse(ReasonStudioRate, wait, text)
		}
	}
	if call.Streaming {
		if reason := l.enterStream(call.Party); reason != "" {
			return l.refuse(reason, time.Second, "As many sheets and exports as allowed are under way; try again when one is done.")
		}
		defer l.leaveStream(call.Party)
		return next(ctx)
	}
	gate, seat := l.gateOf(call.Method, call.Party)
	if err := gate.enter(ctx, seat, call.Start); err != nil {
		if ctx.Err() != nil {
			return status.FromContextError(ctx.Err()).Err()
		}
		return l.busy()
	}
	defer gate.leave(seat)
	return next(ctx)
}

// gateOf returns what a unary call has to pass, and what it asks for there.
func (l *Limits) gateOf(method, party string) (*gate, ask) {
	seat := ask{party: party, seats: 1}
	switch {
	case l.o.Compute[method]:
		return l.compute, seat
	case l.o.Long[method]:
		if party != "" {
			// For seconds nobody can take these places back, so one studio never has them all.
			seat.most = max(1, int64(l.o.LongAtOnce)-1)
		}
		return l.long, seat
	}
	return l.storage, seat
}

// Turn waits for one of the places of long work, as a part of a sheet does, and takes it until done is called. Its error is the context's.
func (l *Limits) Turn(ctx context.Context) (done func(), err error) {
	seat := ask{seats: 1}
	if call := chain.FromContext(ctx); call != nil {
		seat.party = call.Party
	}
	if err := l.long.turn(ctx, seat); err != nil {
		return nil, err
	}
	return func() { l.long.leave(seat) }, nil
}

// retryBusy is after how long to try again: long enough for the queue to be through, and short enough to be worth it.
const retryBusy = 100 * time.Millisecond

func (l *Limits) busy() error {
	return l.refuse(ReasonBusy, retryBusy, "The server is busy; try again.")
}

// Refuse says why a unary call of which no more than the head has come is turned away: there is no place in the queue. Nil: it is not.
func (l *Limits) Refuse(method, party string) error {
	if gate, seat := l.gateOf(method, party); gate.full(seat) {
		return l.busy()
	}
	return nil
}

// Tap turns a gRPC call away as soon as its head has come, if it would be for want of a place in the queue, or if too many are
// arriving already: before its body is read and a goroutine is made for it, so that turning away costs little when it matters, and what
// waits for bodies takes no more memory than it may. Streams are the full names of methods that stream.
func (l *Limits) Tap(streams map[string]bool) tap.ServerInHandle {
	return func(ctx context.Context, info *tap.Info) (context.Context, error) {
		if strings.HasPrefix(info.FullMethodName, "/grpc.") {
			return ctx, nil
		}
		party := ""
		if head := chain.HeadOf(ctx); head != nil {
			party = head.Party
		}
		if !streams[info.FullMethodName] {
			if err := l.Refuse(info.FullMethodName, party); err != nil {
				return ctx, err
			}
		}
		if l.o.Arriving == 0 {
			return ctx, nil
		}
		ctx, room := l.arriving.come(ctx)
		if !room {
			return ctx, l.busy()
		}
		return ctx, nil
	}
}

// reserve takes one call from the bucket, or says how long to wait for one.
func reserve(r *rate.Limiter, now time.Time) time.Duration {
	if r == nil || r.AllowN(now, 1) {
		return 0
	}
	missing := 1 - r.TokensAt(now)
	return max(time.Millisecond, time.Duration(missing/float64(r.Limit())*float64(time.Second)))
}

// idle is how long what a party has used is remembered; any bucket is full again by then.
const idle = 10 * time.Second

// use returns what a party has used. l.mu is held.
func (l *Limits) use(party string) *use {
	now := l.now()
	if now.Sub(l.swept) > idle {
		l.swept = now
		for k, u := range l.parties {
			if u.streams == 0 && now.Sub(u.used) > idle {
				delete(l.parties, k)
			}
		}
	}
	u := l.parties[party]
	if u == nil {
		u = &use{}
		if r := l.o.StudioRequestsPerSecond; r > 0 {
			u.rate = rate.NewLimiter(rate.Limit(r), burst(r))
		}
		l.parties[party] = u
	}
	u.used = now
	return u
}

func (l *Limits) reserveOf(party string) time.Duration {
	l.mu.Lock()
	u := l.use(party)
	l.mu.Unlock()
	return reserve(u.rate, l.now())
}

// spareStreams is by how many times the streams of all may exceed their number, so that a studio that has none may always have its first.
const spareStreams = 4

func (l *Limits) enterStream(party string) (reason string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	most := l.o.Streams
	if party != "" {
		u := l.use(party)
		if u.streams >= l.o.StudioStreams {
			return ReasonStudioStreams
		}
		if u.streams == 0 {
			most *= spareStreams
		}
	}
	if l.streams >= most {
		return ReasonStreams
	}
	if party != "" {
		l.use(party).streams++
	}
	l.streams++
	return ""
}

func (l *Limits) leaveStream(party string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.streams--
	if party != "" {
		l.use(party).streams--
	}
}

func (l *Limits) refuse(reason string, retryAfter time.Duration, text string) error {
	if l.shed != nil {
		l.shed(reason)
	}
	return Exhausted(reason, retryAfter, text)
}

// Exhausted is the answer to a call that was turned away. A retryAfter of 0 means that trying again does not help.
func Exhausted(reason string, retryAfter time.Duration, text string) error {
	s := status.New(codes.ResourceExhausted, text)
	info := &errdetails.ErrorInfo{Reason: "LIMIT_" + strings.ToUpper(reason), Domain: "catchline"}
	d, err := s.WithDetails(info)
	if err == nil && retryAfter > 0 {
		d, err = s.WithDetails(info, &errdetails.RetryInfo{RetryDelay: durationpb.New(retryAfter)})
	}
	if err == nil {
		s = d
	}
	return s.Err()
}
