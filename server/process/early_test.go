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
