package process

import (
	"bufio"
	"context"
	"io"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/config"
	"github.com/catchline/catchline/server/store"
	"google.golang.org/grpc/codes"
)

// Over HTTP as over gRPC, a call for which there is no place is refused by its head: here the body never comes.
func TestFullQueueRefusesBeforeTheBody(t *testing.T) {
	release, working := make(chan struct{}), make(chan struct{}, 3)
	s := start(t, &stubs{score: func(context.Context, *pb.ScoreLayeringRequest) (*pb.Score, error) {
		working <- struct{}{}
		<-release
		return &pb.Score{}, nil
	}}, func(c *config.Config) {
		c.Limits.Compute, c.Limits.Queue, c.Limits.QueueTime = 1, 1, 20*time.Second
	})
	defer close(release)
	const path = "/v1/studios/s:score"
	ended := make(chan int, 3)
	ask := func() {
		resp, err := http.Post(s.url+path, "application/json", strings.NewReader("{}"))
		if err != nil {
			ended <- 0
			return
		}
		resp.Body.Close()
		ended <- resp.StatusCode
	}
	go ask()
	<-working
	// Of two more one waits, and the other is refused once that one does.
	go ask()
	go ask()
	if got := <-ended; got != http.StatusTooManyRequests {
		t.Fatalf("the third of three is answered %d", got)
	}
	conn, err := net.Dial("tcp", s.HTTPAddress())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	conn.SetDeadline(time.Now().Add(time.Minute)) // else a failure would wait for ever
	io.WriteString(conn, "POST "+path+" HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nContent-Length: 500000\r\n\r\n")
	resp, err := http.ReadResponse(bufio.NewReader(conn), nil)
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode != http.StatusTooManyRequests || resp.Header.Get("Retry-After") == "" || !strings.Contains(string(text), "LIMIT_BUSY") {
		t.Errorf("%d, Retry-After %q: %s, %v", resp.StatusCode, resp.Header.Get("Retry-After"), text, err)
	}
	if !resp.Close {
		t.Error("the connection stays open for a body that nobody wants")
	}
}

// Without a key nothing beyond the head is read, over HTTP as over gRPC: here the body never comes.
func TestWithoutAKeyTheHeadIsEnough(t *testing.T) {
	s := start(t, quick(), withKeys)
	s.addStudio(t, "elsewhere")
	wrong, _ := s.addKey(t, "elsewhere", &pb.Key{Role: pb.Role_ROLE_VIEW, ExpireTime: expiring(-time.Hour)})
	for what, key := range map[string]string{"no key": "", "nonsense": "nonsense", "an expired key": wrong} {
		for _, path := range []string{"/v1/studios/s:score", "/v1/studios/s:scoreSheet"} {
			conn, err := net.Dial("tcp", s.HTTPAddress())
			if err != nil {
				t.Fatal(err)
			}
			defer conn.Close()
			conn.SetDeadline(time.Now().Add(20 * time.Second)) // else a failure would wait for ever
			authorization := ""
			if key != "" {
				authorization = "Authorization: Bearer " + key + "\r\n"
			}
			io.WriteString(conn, "POST "+path+" HTTP/1.1\r\nHost: catchline\r\nContent-Type: application/json\r\n"+authorization+"Content-Length: 500000\r\n\r\n")
			resp, err := http.ReadResponse(bufio.NewReader(conn), nil)
			if err != nil {
				t.Fatalf("%s at %s: %v", what, path, err)
			}
			if resp.StatusCode != http.StatusUnauthorized || resp.Header.Get("WWW-Authenticate") == "" || resp.Header.Get("X-Request-Id") == "" || !resp.Close {
				t.Errorf("%s at %s: %d, close %v, %v", what, path, resp.StatusCode, resp.Close, resp.Header)
			}
		}
		h := dialH2(t, s.GRPCAddress())
		var extra []string
		if key != "" {
			extra = []string{"authorization", "Bearer " + key}
		}
		if err := h.open(1, extra...); err != nil {
			t.Fatal(err)
		}
		if got := h.statusOf(t, 1); got != codes.Unauthenticated {
			t.Errorf("%s over gRPC: %v", what, got)
		}
	}
	// It is logged and counted as any other call.
	for _, want := range []string{`"code":"Unauthenticated"`, `"transport":"grpc"`, `"transport":"http"`} {
		if !strings.Contains(s.log.String(), want) {
			t.Errorf("%s is not in the log", want)
		}
	}
	key := s.addStudio(t, "s")[pb.Role_ROLE_VIEW]
	if _, err := pb.NewScoreServiceClient(s.conn).ScoreLayering(bearing(t.Context(), key), scoreRequest); err != nil {
		t.Errorf("with a key: %v", err)
	}
	if resp, body := s.do(t, http.MethodPost, "/v1/studios/s:score", key, "{}"); resp.StatusCode != http.StatusOK {
		t.Errorf("with a key: %d %s", resp.StatusCode, body)
	}
}

// A key that is revoked while the body is on its way does not work any more.
func TestKeyIsAskedForAgainWhenTheBodyIsThere(t *testing.T) {
	s := start(t, quick(), withKeys)
	s.addStudio(t, "s")
	key, at := s.addKey(t, "s", &pb.Key{Role: pb.Role_ROLE_VIEW})
	conn, err := net.Dial("tcp", s.HTTPAddress())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	conn.SetDeadline(time.Now().Add(20 * time.Second))
	io.WriteString(conn, "POST /v1/studios/s:score HTTP/1.1\r\nHost: x\r\nExpect: 100-continue\r\nAuthorization: Bearer "+key+"\r\nContent-Length: 2\r\n\r\n")
	answers := bufio.NewReader(conn)
	if resp, err := http.ReadResponse(answers, nil); err != nil || resp.StatusCode != http.StatusContinue {
		t.Fatalf("the body is not asked for: %v, %v", resp, err) // the head was good enough
	}
	if _, err := s.store.Write(t.Context(), store.Write{Ops: []store.Op{store.Remove(at, 0)}}); err != nil {
		t.Fatal(err)
	}
	// The server hears of it by the store's changes; until then the key is right for a second at most.
	for {
		resp, _ := s.do(t, http.MethodPost, "/v1/studios/s:score", key, "{}")
		if resp.StatusCode == http.StatusUnauthorized {
			break
		}
	}
	io.WriteString(conn, "{}")
	if resp, err := http.ReadResponse(answers, nil); err != nil || resp.StatusCode != http.StatusUnauthorized {
		t.Errorf("answered %v, %v", resp, err)
	}
}
