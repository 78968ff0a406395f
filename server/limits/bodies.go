package limits

import (
	"context"
	"fmt"
	"io"
	"sync"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// Body is the memory that one request takes from when its body is read until it is answered. It comes out of what all requests may take
// together; of that a studio may have half, and large requests leave a quarter to small ones, so that nobody who sends much, or slowly, keeps
// the others out.
type Body struct {
	limits *Limits
	party  string
	held   ask
	text   []byte // of the room that the body was read into; it is used again
}

// large is what a request takes that leaves room to small ones.
const large = 1 << 20

// Body returns the memory of a request that has none yet. Free has to follow.
func (l *Limits) Body(party string) *Body { return &Body{limits: l, party: party} }

// Hold makes the request hold so many bytes in all. It waits for a place as calls do.
func (b *Body) Hold(ctx context.Context, bytes int64) error {
	all := b.limits.o.BodyBytes
	more := ask{party: b.party, seats: bytes - b.held.seats}
	if all == 0 || more.seats <= 0 {
		return nil
	}
	most := all
	if bytes > large {
		more.leave = all / 4
		most = all - more.leave
	}
	if b.party != "" {
		more.most = all / 2
		most = more.most
	}
	if bytes > most {
		return tooCostly(bytes, most)
	}
	if err := b.limits.bodies.enter(ctx, more, time.Now()); err != nil {
		if ctx.Err() != nil {
			return status.FromContextError(ctx.Err()).Err()
		}
		return b.limits.refuse(ReasonBodies, retryBusy, "The server is busy with other large requests; try again.")
	}
	b.held.party, b.held.seats = b.party, bytes
	return nil
}

// Free ends it, and with it the text that was read.
func (b *Body) Free() {
	b.limits.rooms.keep(b.text)
	b.text = nil
	if b.held.seats > 0 {
		b.limits.bodies.leave(b.held)
		b.held.seats = 0
	}
}

// Read reads a body to its end. No more of it is read than there is memory for. The size is what the sender says of it, -1 for nothing.
func (b *Body) Read(ctx context.Context, r io.Reader, size int64) ([]byte, error) {
	for {
		room := b.limits.rooms.next(len(b.text))
		if size >= int64(len(b.text)) && size < small {
			room.size = size + 1 // one more, to see the end
		}
		// While it is copied into more room, the old is there too.
		if err := b.Hold(ctx, int64(cap(b.text))+room.size); err != nil {
			return nil, err
		}
		former := b.text
		b.text = append(room.take(), former...)
		b.limits.rooms.keep(former)
		for int64(len(b.text)) < room.size {
			n, err := r.Read(b.text[len(b.text):room.size])
			b.text = b.text[:len(b.text)+n]
			if err == io.EOF {
				return b.text, nil
			}
			if err != nil {
				return nil, err
			}
		}
	}
}

// rooms are what bodies are read into, in few sizes. Large ones are used again: as garbage, those of a few bodies would take more memory than
// all that is at work.
type rooms []*room

type room struct {
	size int64
	pool *sync.Pool // nil: too small to be worth it
}

// newRooms makes the sizes for bodies of at most so many bytes.
func newRooms(largest int64) rooms {
	var all rooms
	for _, size := range []int64{4 << 10, 64 << 10, 1 << 20, 4 << 20} {
		if size <= largest {
			all = append(all, &room{size: size})
		}
	}
	all = append(all, &room{size: largest + 1}) // one more, to see the end
	for _, r := range all {
		if r.size >= large {
			r.pool = new(sync.Pool)
		}
	}
	return all
}

// next is a room with place for more than what has come.
func (all rooms) next(came int) room {
	for _, r := range all {
		if r.size > int64(came) {
			return *r
		}
	}
	return room{size: int64(came) + large} // of a body that is larger than it may be, whose reader says so
}

func (r room) take() []byte {
	if r.pool != nil {
		if used, ok := r.pool.Get().(*[]byte); ok {
			return *used
		}
	}
	return make([]byte, 0, r.size)
}

// keep takes a room back.
func (all rooms) keep(text []byte) {
	for _, r := range all {
		if r.pool != nil && r.size == int64(cap(text)) {
			text = text[:0]
			r.pool.Put(&text)
		}
	}
}

func tooCostly(bytes, most int64) error {
	const mb = 1 << 20
	text := fmt.Sprintf("Reading this request may take %d MB of memory; allowed: %d MB. Send fewer values, or send them in parts.", (bytes+mb-1)/mb, most/mb)
	s := status.New(codes.InvalidArgument, text)
	if d, err := s.WithDetails(&errdetails.ErrorInfo{Reason: "REQUEST_TOO_LARGE", Domain: "catchline"}); err == nil {
		s = d
	}
	return s.Err()
}
