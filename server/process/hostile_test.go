package process

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/http2"
	"golang.org/x/net/http2/hpack"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/config"
)

// answers checks that an ordinary client is served.
func (s *server) answers(t *testing.T) {
	t.Helper()
	if _, err := pb.NewScoreServiceClient(s.conn).ScoreLayering(t.Context(), scoreRequest); err != nil {
		t.Errorf("an ordinary client over gRPC: %v", err)
	}
	if resp, body := s.do(t, http.MethodPost, "/v1/studios/s:score", "", "{}"); resp.StatusCode != http.StatusOK {
		t.Errorf("an ordinary client over HTTP: %d %s", resp.StatusCode, body)
	}
}

func quick() *stubs {
	return &stubs{score: func(context.Context, *pb.ScoreLayeringRequest) (*pb.Score, error) { return &pb.Score{}, nil }}
}

// A head or a body that does not arrive is not waited for.
func TestSlowSenders(t *testing.T) {
	s := start(t, quick(), func(c *config.Config) {
		c.HTTP.ReadHeaderTimeout, c.HTTP.ReadTimeout = 100*time.Millisecond, 200*time.Millisecond
	})
	for what, text := range map[string]string{
		"half a head":       "POST /v1/studios/s:score HTTP/1.1\r\nHost: localhost\r\nX-Slow: ",
		"head without body": "POST /v1/studios/s:score HTTP/1.1\r\nHost: localhost\r\nContent-Length: 1000\r\n\r\n{",
		"nothing":           "",
	} {
		c, err := net.Dial("tcp", s.HTTPAddress())
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		io.WriteString(c, text)
		// Either an error is answered or the connection closed; it is not left open.
		c.SetReadDeadline(time.Now().Add(20 * time.Second))
		if _, err := io.ReadAll(c); err != nil && !strings.Contains(err.Error(), "reset") {
			t.Errorf("%s: the connection stays open: %v", what, err)
		}
	}
	s.answers(t)
}

// A client that takes nothing of a sheet for the time that is allowed is cut off, and the sheet stops; at the stream's deadline it
// stops in any case.
func TestSlowReader(t *testing.T) {
	ended := make(chan error, 1)
	big := &pb.ScoreSheetResponse{MedianRunMm: make([]float32, 10_000)}
	endless := &stubs{sheet: func(_ *pb.ScoreSheetRequest, out grpc.ServerStreamingServer[pb.ScoreSheetResponse]) error {
		for {
			if err := out.Send(big); err != nil {
				ended <- err
				return err
			}
		}
	}}
	s := start(t, endless, func(c *config.Config) { c.HTTP.WriteTimeout = 200 * time.Millisecond })
	c, err := net.Dial("tcp", s.HTTPAddress())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	fmt.Fprint(c, "POST /v1/studios/s:scoreSheet HTTP/1.1\r\nHost: localhost\r\nContent-Length: 2\r\n\r\n{}")
	if err := <-ended; status.Code(err) != codes.Canceled {
		t.Errorf("over HTTP the sheet ended with %v", err)
	}

	for what, change := range map[string]func(*config.Config){
		"took nothing": func(c *config.Config) { c.GRPC.WriteTimeout = 300 * time.Millisecond },
		"deadline":     func(c *config.Config) { c.Deadlines.Stream = 300 * time.Millisecond },
	} {
		s = start(t, endless, change)
		stream, err := pb.NewScoreServiceClient(s.conn).ScoreSheet(t.Context(), &pb.ScoreSheetRequest{Parent: "studios/s"})
		if err != nil {
			t.Fatal(err)
		}
		if err := <-ended; status.Code(err) != codes.DeadlineExceeded || !strings.Contains(err.Error(), what) {
			t.Errorf("over gRPC the sheet ended with %v; want %s", err, what)
		}
		for err == nil {
			_, err = stream.Recv()
		}
		if status.Code(err) != codes.DeadlineExceeded {
			t.Errorf("%s: the client was told %v", what, err)
		}
	}
}

// h2conn speaks HTTP/2 by hand.
type h2conn struct {
	net.Conn
	*http2.Framer
	head bytes.Buffer
	enc  *hpack.Encoder
}

func dialH2(t *testing.T, address string) *h2conn {
	t.Helper()
	c, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	h := &h2conn{Conn: c, Framer: http2.NewFramer(c, bufio.NewReader(c))}
	h.enc = hpack.NewEncoder(&h.head)
	io.WriteString(c, http2.ClientPreface)
	h.WriteSettings()
	return h
}

func (h *h2conn) open(stream uint32, extra ...string) error {
	h.head.Reset()
	fields := append([]string{":method", "POST", ":scheme", "http", ":path", "/catchline.v1.ScoreService/ScoreLayering", ":authority", "x", "content-type", "application/grpc", "te", "trailers"}, extra...)
	for i := 0; i < len(fields); i += 2 {
		h.enc.WriteField(hpack.HeaderField{Name: fields[i], Value: fields[i+1]})
	}
	return h.WriteHeaders(http2.HeadersFrameParam{StreamID: stream, BlockFragment: h.head.Bytes(), EndHeaders: true})
}

// statusOf returns the status that ends a stream.
func (h *h2conn) statusOf(t *testing.T, stream uint32) codes.Code {
	t.Helper()
	h.SetReadDeadline(time.Now().Add(20 * time.Second))
	h.ReadMetaHeaders = hpack.NewDecoder(4096, nil)
	for {
		f, err := h.ReadFrame()
		if err != nil {
			t.Fatalf("the call does not end: %v", err)
		}
		if head, ok := f.(*http2.MetaHeadersFrame); ok && head.StreamID == stream {
			for _, field := range head.Fields {
				if field.Name == "grpc-status" {
					n, _ := strconv.Atoi(field.Value)
					return codes.Code(n)
				}
			}
		}
	}
}

// Streams that are opened and reset at once, by the thousand, neither pile up work nor keep others out (CVE-2023-44487).
func TestRapidReset(t *testing.T) {
	services, entered, release := waitingScore()
	_ = entered
	s := start(t, services)
	before := runtime.NumGoroutine()
	h := dialH2(t, s.GRPCAddress())
	go io.Copy(io.Discard, h.Conn)
	stream := uint32(1)
	for range 20_000 {
		if h.open(stream) != nil || h.WriteRSTStream(stream, http2.ErrCodeCancel) != nil {
			break // cut off, which is as good
		}
		stream += 2
	}
	if n := runtime.NumGoroutine() - before; n > 2000 {
		t.Errorf("%d goroutines more", n)
	}
	close(release)
	s.answers(t)
	h.Close()
}

func TestGiantHeadersOverHTTP2(t *testing.T) {
	s := start(t, quick())
	h := dialH2(t, s.GRPCAddress())
	// 100 kB of one header, in many frames that do not end the head.
	h.open(1)
	h.head.Reset()
	h.enc.WriteField(hpack.HeaderField{Name: "x-large", Value: strings.Repeat("a", 60_000)})
	if err := h.WriteHeaders(http2.HeadersFrameParam{StreamID: 3, BlockFragment: h.head.Bytes()[:16_000]}); err != nil {
		t.Fatal(err)
	}
	for range 100 {
		if err := h.WriteContinuation(3, false, make([]byte, 16_000)); err != nil {
			break
		}
	}
	h.SetReadDeadline(time.Now().Add(20 * time.Second))
	if _, err := io.Copy(io.Discard, h.Conn); err != nil && strings.Contains(err.Error(), "timeout") {
		t.Error("the connection is kept")
	}
	s.answers(t)
}

// A call of which only the head comes is ended by its deadline.
func TestCallWithoutBody(t *testing.T) {
	s := start(t, quick(), func(c *config.Config) {
		c.Deadlines.Default = 200 * time.Millisecond
		c.Limits.QueueTime, c.Limits.StandingQueueTime = 10*time.Millisecond, 10*time.Millisecond
	})
	h := dialH2(t, s.GRPCAddress())
	if err := h.open(1); err != nil {
		t.Fatal(err)
	}
	h.SetReadDeadline(time.Now().Add(20 * time.Second))
	for {
		f, err := h.ReadFrame()
		if err != nil {
			t.Fatalf("the call does not end: %v", err)
		}
		if f.Header().StreamID == 1 {
			break
		}
	}
	s.answers(t)
}

// Who is silent is asked whether it still lives. (That it is dropped without an answer is gRPC's part, and takes 10 s.)
func TestHalfOpenConnection(t *testing.T) {
	s := start(t, quick(), func(c *config.Config) { c.GRPC.PingAfter = time.Second })
	h := dialH2(t, s.GRPCAddress())
	defer h.Close()
	var pinged bool
	h.SetReadDeadline(time.Now().Add(5 * time.Second))
	for !pinged {
		f, err := h.ReadFrame()
		if err != nil {
			t.Fatalf("no ping came: %v", err)
		}
		if p, ok := f.(*http2.PingFrame); ok && !p.IsAck() {
			pinged = true
		}
	}
	s.answers(t)
}

func TestGarbageOnEveryPort(t *testing.T) {
	s := start(t, quick())
	for _, address := range []string{s.GRPCAddress(), s.HTTPAddress(), s.MetricsAddress()} {
		for _, garbage := range []string{"\x16\x03\x01\x02\x00\x01", strings.Repeat("\x00", 1<<16), "GET / HTTP/9.9\r\n\r\n", "PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n" + strings.Repeat("\xff", 4096)} {
			c, err := net.Dial("tcp", address)
			if err != nil {
				t.Fatal(err)
			}
			io.WriteString(c, garbage)
			c.Close()
		}
	}
	s.answers(t)
}

func TestStreamLengthIsLimited(t *testing.T) {
	s := start(t, &stubs{sheet: func(_ *pb.ScoreSheetRequest, out grpc.ServerStreamingServer[pb.ScoreSheetResponse]) error {
		for range 5 {
			if err := out.Send(&pb.ScoreSheetResponse{}); err != nil {
				return err
			}
		}
		return nil
	}}, func(c *config.Config) { c.Limits.StreamMessages = 3 })
	stream, err := pb.NewScoreServiceClient(s.conn).ScoreSheet(t.Context(), &pb.ScoreSheetRequest{Parent: "studios/s"})
	got := 0
	for err == nil {
		if _, err = stream.Recv(); err == nil {
			got++
		}
	}
	if got != 3 || status.Code(err) != codes.ResourceExhausted {
		t.Errorf("over gRPC: %d messages, then %v", got, err)
	}
	_, body := s.do(t, http.MethodPost, "/v1/studios/s:scoreSheet", "", "{}")
	if lines := strings.Split(strings.TrimSpace(body), "\n"); len(lines) != 4 || !strings.Contains(lines[3], "LIMIT_STREAM_LENGTH") {
		t.Errorf("over HTTP: %s", body)
	}
}
