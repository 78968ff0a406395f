package postgres

import (
	"context"
	"encoding/json"
	"sync"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"github.com/catchline/catchline/server/store"
)

// Servers tell each other of changes after the commit, not within it: PostgreSQL lets only one
// transaction at a time commit a NOTIFY, on the whole server. A note lost to a crash in between is no
// harm, since it is only a hint.

const channel = "catchline_changes"

// tellPause is how long a server that has told gathers what it tells next, so that many writes one after the other cost few notes.
const tellPause = 5 * time.Millisecond

// note is what is sent, as JSON: the sender, which does not listen to itself, the studio, the kind.
type note [3]string

// notifier gathers the changes that are still to be sent.
type notifier struct {
	self string

	mu      sync.Mutex
	pending map[store.Change]struct{}
	wake    chan struct{}
	done    chan struct{}
}

func newNotifier() *notifier {
	return &notifier{
		self:    uuid.NewString(),
		pending: map[store.Change]struct{}{},
		wake:    make(chan struct{}, 1),
		done:    make(chan struct{}),
	}
}

func (n *notifier) add(changes []store.Change) {
	n.mu.Lock()
	for _, c := range changes {
		n.pending[c] = struct{}{}
	}
	n.mu.Unlock()
	select {
	case n.wake <- struct{}{}:
	default:
	}
}

// take returns the notes to send.
func (n *notifier) take() []string {
	n.mu.Lock()
	defer n.mu.Unlock()
	var notes []string
	for c := range n.pending {
		text, err := json.Marshal(note{n.self, c.Studio, string(c.Kind)})
		if err == nil { // text always can be
			notes = append(notes, string(text))
		}
	}
	clear(n.pending)
	return notes
}

func (n *notifier) close() { close(n.done) }

// listen connects once, so that nothing written after Open goes unheard, then keeps listening and telling.
func (s *Store) listen(ctx, background context.Context, config *pgx.ConnConfig) error {
	c, err := connectListener(ctx, config)
	if err != nil {
		return err
	}
	s.background.Go(func() {
		for wait := 20 * time.Millisecond; ; {
			if c != nil {
				s.hear(background, c)
				c.Close(context.Background())
			}
			select {
			case <-background.Done():
				return
			case <-time.After(wait):
			}
			if c, err = connectListener(background, config); err != nil {
				c, wait = nil, min(2*wait, time.Second)
				continue
			}
			wait = 20 * time.Millisecond
			s.hub.Tell([]store.Change{{Studio: store.AnyStudio}})
		}
	})
	s.background.Go(func() {
		var pause <-chan time.Time
		for wake := s.notices.wake; ; {
			select {
			case <-wake:
				s.tell(background)
				wake, pause = nil, time.After(tellPause)
			case <-pause:
				wake = s.notices.wake
			case <-s.notices.done:
				// What the last writes left is still sent, but not waited for long.
				ctx, cancel := context.WithTimeout(context.Background(), time.Second)
				s.tell(ctx)
				cancel()
				return
			}
		}
	})
	return nil
}

func (s *Store) tell(ctx context.Context) {
	if notes := s.notices.take(); len(notes) > 0 {
		// A failure is no harm: the listeners of a server that went away check all when they are back.
		s.readers.Exec(ctx, "SELECT pg_notify($1, n) FROM unnest($2::text[]) n", channel, notes)
	}
}

func connectListener(ctx context.Context, config *pgx.ConnConfig) (*pgx.Conn, error) {
	c, err := pgx.ConnectConfig(ctx, config.Copy())
	if err != nil {
		return nil, err
	}
	if _, err := c.Exec(ctx, "LISTEN "+channel); err != nil {
		c.Close(ctx)
		return nil, err
	}
	return c, nil
}

// hear passes on what other servers tell, until the connection or the context ends. A connection that
// has been silent for long is asked whether it is still there.
func (s *Store) hear(ctx context.Context, c *pgx.Conn) {
	const silence = 5 * time.Second
	for {
		turn, cancel := context.WithTimeout(ctx, silence)
		n, err := c.WaitForNotification(turn)
		cancel()
		switch {
		case err == nil:
			var got note
			if json.Unmarshal([]byte(n.Payload), &got) == nil && got[0] != s.notices.self {
				s.hub.Tell([]store.Change{{Studio: got[1], Kind: store.Kind(got[2])}})
			}
		case ctx.Err() != nil || c.IsClosed():
			return
		default:
			turn, cancel := context.WithTimeout(ctx, silence)
			err := c.Ping(turn)
			cancel()
			if err != nil {
				return
			}
		}
	}
}
