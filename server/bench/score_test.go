package bench

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"sync/atomic"
	"testing"
	"time"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/protobuf/proto"

	"github.com/catchline/catchline/client"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/process"
	"github.com/catchline/catchline/testdata/demo"
)

// echo answers with what was recorded, and does nothing else.
type echo struct {
	pb.UnimplementedScoreServiceServer
	scores []*pb.Score
	chunks []*pb.ScoreSheetResponse
	next   atomic.Uint64
}

func (e *echo) ScoreLayering(context.Context, *pb.ScoreLayeringRequest) (*pb.Score, error) {
	return e.scores[e.next.Add(1)%uint64(len(e.scores))], nil
}

func (e *echo) ScoreSheet(_ *pb.ScoreSheetRequest, stream grpc.ServerStreamingServer[pb.ScoreSheetResponse]) error {
	for _, c := range e.chunks {
		if err := stream.Send(c); err != nil {
			return err
		}
	}
	return nil
}

func (e *echo) register(r grpc.ServiceRegistrar) { pb.RegisterScoreServiceServer(r, e) }

const (
	callers  = 64
	oneTurn  = 700 * time.Millisecond
	nAnswers = 512
)

// BenchmarkScoreGRPC compares scores over gRPC with an echo of the same messages.
func BenchmarkScoreGRPC(b *testing.B) {
	eachView(b, func(b *testing.B, view pb.ScoreView) { scoreGRPC(b, view, bareEcho) })
}

// BenchmarkScoreGRPCOverChain compares them with an echo behind the whole chain, from the arrival of a call to its limits: what is left is the
// check of the request, the score and the making of its answer.
func BenchmarkScoreGRPCOverChain(b *testing.B) {
	eachView(b, func(b *testing.B, view pb.ScoreView) { scoreGRPC(b, view, chainedEcho) })
}

// bareEcho is an echo with nothing before it.
func bareEcho(b *testing.B, e *echo) *client.Client {
	return dial(b, serveEcho(b, e.register), operatorKey) // as a caller sends one
}

// chainedEcho is an echo in the place of the scores of a whole server.
func chainedEcho(b *testing.B, e *echo) *client.Client {
	return serveWith(b, func(s process.Services) process.Services { return echoing{s, e} }).Client
}

// eachView runs a comparison for whole scores and for their numbers alone, each against an echo of answers as large.
func eachView(b *testing.B, compare func(*testing.B, pb.ScoreView)) {
	b.Run("whole", func(b *testing.B) { compare(b, pb.ScoreView_SCORE_VIEW_FULL) })
	b.Run("numbers", func(b *testing.B) { compare(b, pb.ScoreView_SCORE_VIEW_NUMBERS) })
}

func scoreGRPC(b *testing.B, view pb.ScoreView, floorOf func(*testing.B, *echo) *client.Client) {
	s := serve(b)
	answers := recorded(b, s.Client, nAnswers, view)
	floor := floorOf(b, &echo{scores: answers})
	ask := askers(b, s.Client, callers, view)
	side := func(c pb.ScoreServiceClient, d time.Duration) turn {
		return closedLoop(b, callers, d, func(ctx context.Context, i int) error {
			_, err := c.ScoreLayering(ctx, ask[i].score())
			return err
		})
	}
	side(floor.Scores, warm)
	side(s.Scores, warm)
	compare(b, "calls", 0.85, func() turn { return side(floor.Scores, oneTurn) }, func() turn { return side(s.Scores, oneTurn) })
	b.ReportMetric(meanSize(answers), "answer-B")
}

func meanSize(all []*pb.Score) float64 {
	n := 0
	for _, m := range all {
		n += proto.Size(m)
	}
	return float64(n) / float64(len(all))
}

// BenchmarkScoreHTTP compares scores as JSON over HTTP with a plain gateway that dials an echo.
func BenchmarkScoreHTTP(b *testing.B) { eachView(b, scoreHTTP) }

func scoreHTTP(b *testing.B, view pb.ScoreView) {
	s := serve(b)
	answers := recorded(b, s.Client, nAnswers, view)
	floor := dialingGateway(b, serveEcho(b, (&echo{scores: answers}).register))
	ours := "http://" + s.HTTPAddress()
	web := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: callers, DisableCompression: true}}
	b.Cleanup(web.CloseIdleConnections)
	ask := askers(b, s.Client, callers, view)
	side := func(url string, d time.Duration) turn {
		return closedLoop(b, callers, d, func(ctx context.Context, i int) error {
			return post(ctx, web, url+"/v1/"+demo.Studio+":score", s.key, inJSON(ask[i].score()), io.Discard)
		})
	}
	side(floor, warm)
	side(ours, warm)
	compare(b, "calls", 1.6, func() turn { return side(floor, oneTurn) }, func() turn { return side(ours, oneTurn) })
}

// post sends JSON and copies the answer.
func post(ctx context.Context, c *http.Client, url, key string, body []byte, to io.Writer) error {
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, url, bytes.NewReader(body))
	if err != nil {
		return err
	}
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Authorization", "Bearer "+key)
	answer, err := c.Do(r)
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		text, _ := io.ReadAll(answer.Body)
		return fmt.Errorf("%s: %s", answer.Status, text)
	}
	_, err = io.Copy(to, answer.Body)
	return err
}

// dialingGateway serves the gateway as it is generated, which calls its server over TCP.
func dialingGateway(b *testing.B, target string) (url string) {
	b.Helper()
	mux := runtime.NewServeMux()
	options := []grpc.DialOption{grpc.WithTransportCredentials(insecure.NewCredentials())}
	if err := pb.RegisterScoreServiceHandlerFromEndpoint(b.Context(), mux, target, options); err != nil {
		b.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	server := &http.Server{Handler: mux}
	go server.Serve(l)
	b.Cleanup(func() { server.Close() })
	return "http://" + l.Addr().String()
}
