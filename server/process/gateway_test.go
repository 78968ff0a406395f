package process

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/access"
	"github.com/catchline/catchline/server/chain"
	"github.com/catchline/catchline/server/config"
	"github.com/catchline/catchline/server/limits"
	"github.com/catchline/catchline/server/telemetry"
)

func TestChainIsInTheStatedOrder(t *testing.T) {
	c := config.Default()
	guard := access.NewGuard(t.Context(), nil, access.Options{Anonymous: true})
	metrics := telemetry.NewMetrics(nil, "")
	var names []string
	for _, l := range Links(&c, nil, metrics, guard, newLimits(&c, metrics)) {
		names = append(names, l.Name)
	}
	// Validation comes last, with the services themselves: see TestBothWaysPassEveryLink.
	want := []string{"request id", "log", "metrics", "recovery", "deadline", "auth", "limits"}
	if !slices.Equal(names, want) {
		t.Errorf("the chain is %v; want %v", names, want)
	}
}

// Each link leaves a mark that a caller or an operator can see, over gRPC and over HTTP, for unary calls and streams.
func TestBothWaysPassEveryLink(t *testing.T) {
	var deadlines sync.Map
	services := &stubs{
		score: func(ctx context.Context, r *pb.ScoreLayeringRequest) (*pb.Score, error) {
			_, has := ctx.Deadline()
			deadlines.Store(chain.FromContext(ctx).Transport+" unary", has)
			if r.Kiln == "panic" {
				panic("a mishap")
			}
			return &pb.Score{}, nil
		},
		sheet: func(r *pb.ScoreSheetRequest, out grpc.ServerStreamingServer[pb.ScoreSheetResponse]) error {
			_, has := out.Context().Deadline()
			deadlines.Store(chain.FromContext(out.Context()).Transport+" stream", has)
			if r.GetSheet() == "panic" {
				panic("a mishap")
			}
			return out.Send(&pb.ScoreSheetResponse{})
		},
	}
	s := start(t, services, withKeys, func(c *config.Config) { c.Limits.StudioRequestsPerSecond = 0.001 }) // ten calls at once, then none
	for _, studio := range []string{"grpc-unary", "grpc-stream", "http-unary", "http-stream"} {
		s.addStudio(t, studio)
	}
	client := pb.NewScoreServiceClient(s.conn)

	type outcome struct {
		code      codes.Code
		requestID string
		text      string
	}
	ways := map[string]func(key, what string) outcome{
		"grpc unary": func(key, what string) outcome {
			var head metadata.MD
			ctx := metadata.AppendToOutgoingContext(bearing(t.Context(), key), chain.RequestIDHeader, "id-grpc-unary")
			_, err := client.ScoreLayering(ctx, &pb.ScoreLayeringRequest{Parent: "studios/grpc-unary", Kiln: what}, grpc.Header(&head))
			return outcome{status.Code(err), strings.Join(head.Get(chain.RequestIDHeader), ","), fmt.Sprint(err)}
		},
		"grpc stream": func(key, what string) outcome {
			ctx := metadata.AppendToOutgoingContext(bearing(t.Context(), key), chain.RequestIDHeader, "id-grpc-stream")
			stream, err := client.ScoreSheet(ctx, &pb.ScoreSheetRequest{Parent: "studios/grpc-stream", Source: &pb.ScoreSheetRequest_Sheet{Sheet: what}})
			if err != nil {
				t.Fatal(err)
			}
			_, err = stream.Recv()
			head, _ := stream.Header()
			return outcome{status.Code(err), strings.Join(head.Get(chain.RequestIDHeader), ","), fmt.Sprint(err)}
		},
	}
	overHTTP := func(path, field, id string) func(key, what string) outcome {
		return func(key, what string) outcome {
			r, _ := http.NewRequestWithContext(t.Context(), http.MethodPost, s.url+path, strings.NewReader(`{"`+field+`": "`+what+`"}`))
			r.Header.Set("X-Request-Id", id)
			if key != "" {
				r.Header.Set("Authorization", "Bearer "+key)
			}
			resp, err := http.DefaultClient.Do(r)
			if err != nil {
				t.Fatal(err)
			}
			defer resp.Body.Close()
			text, _ := io.ReadAll(resp.Body)
			var body struct {
				Code  codes.Code
				Error struct{ Code codes.Code } // of a stream
			}
			if resp.StatusCode != http.StatusOK {
				if err := json.Unmarshal(text, &body); err != nil {
					t.Errorf("%s: %v in %s", path, err, text)
				}
			}
			return outcome{max(body.Code, body.Error.Code), resp.Header.Get("X-Request-Id"), string(text)}
		}
	}
	ways["http unary"] = overHTTP("/v1/studios/http-unary:score", "kiln", "id-http-unary")
	ways["http stream"] = overHTTP("/v1/studios/http-stream:scoreSheet", "sheet", "id-http-stream")

	for way, ask := range ways {
		studio := strings.ReplaceAll(way, " ", "-") // of its own, since what it may send is counted by studio
		id := "id-" + studio
		key, _ := s.addKey(t, studio, &pb.Key{Role: pb.Role_ROLE_VIEW})
		if got := ask(key, ""); got.code != codes.OK || got.requestID != id {
			t.Errorf("%s: %+v; the request id is to come back as %s", way, got, id)
		}
		if got, _ := deadlines.Load(way); got != true {
			t.Errorf("%s: no deadline", way)
		}
		if got := ask("", ""); got.code != codes.Unauthenticated {
			t.Errorf("%s, auth: %+v", way, got)
		}
		got := ask(key, "panic")
		if got.code != codes.Internal || !strings.Contains(got.text, id) || strings.Contains(got.text, "mishap") {
			t.Errorf("%s, recovery: %+v", way, got)
		}
		if !strings.Contains(s.log.String(), `"panic":"a mishap"`) || !strings.Contains(s.log.String(), `"request_id":"`+id+`"`) {
			t.Errorf("%s: the log has neither panic nor request id", way)
		}
		for range 20 {
			got = ask(key, "")
		}
		if got.code != codes.ResourceExhausted {
			t.Errorf("%s, limits: %+v", way, got)
		}
		if path := map[string]string{"http unary": "/v1/studios/http-unary:score", "http stream": "/v1/studios/http-stream:scoreSheet"}[way]; path != "" {
			if resp, _ := s.do(t, http.MethodPost, path, key, "{}"); resp.StatusCode != http.StatusTooManyRequests || resp.Header.Get("Retry-After") == "" {
				t.Errorf("%s, limits: %d without Retry-After", way, resp.StatusCode)
			}
		}
		transport, _, _ := strings.Cut(way, " ")
		name := map[string]string{"unary": "ScoreLayering", "stream": "ScoreSheet"}[way[len(transport)+1:]]
		resp, err := http.Get("http://" + s.MetricsAddress() + "/metrics")
		if err != nil {
			t.Fatal(err)
		}
		text, _ := io.ReadAll(resp.Body)
		resp.Body.Close()
		if want := fmt.Sprintf(`catchline_calls_total{code="Internal",method="/catchline.v1.ScoreService/%s",transport="%s"} 1`, name, transport); !strings.Contains(string(text), want) {
			t.Errorf("%s: %s is not among the metrics", way, want)
		}
	}
}

// What the services refuse by themselves, they refuse either way.
func TestValidationHoldsBothWays(t *testing.T) {
	s := start(t, nil)
	if _, err := pb.NewStudioServiceClient(s.conn).CreateStudio(t.Context(), &pb.CreateStudioRequest{StudioId: "s", Studio: &pb.Studio{DisplayName: "S"}}); err != nil {
		t.Fatal(err)
	}
	nan := &pb.ScoreLayeringRequest{Parent: "studios/s", Layering: &pb.Layering{Layers: []*pb.Layer{{Glaze: "studios/s/glazes/g", Amount: &pb.Layer_Coats{Coats: math.NaN()}}}}, FiringSource: &pb.ScoreLayeringRequest_Firing{Firing: "studios/s/firings/f"}}
	_, err := pb.NewScoreServiceClient(s.conn).ScoreLayering(t.Context(), nan)
	if status.Code(err) != codes.InvalidArgument || !strings.Contains(err.Error(), "layering.layers[0].coats") {
		t.Errorf("NaN over gRPC: %v", err)
	}
	for _, number := range []string{`"NaN"`, `"Infinity"`, `"-Infinity"`} {
		resp, body := s.do(t, http.MethodPost, "/v1/studios/s:score", "", `{"layering":{"layers":[{"glaze":"studios/s/glazes/g","coats":`+number+`}]},"firing":"studios/s/firings/f"}`)
		if resp.StatusCode != http.StatusBadRequest || !strings.Contains(body, "layering.layers[0].coats") {
			t.Errorf("%s over HTTP: %d %s", number, resp.StatusCode, body)
		}
	}
}

func TestJSONFaultsNameTheField(t *testing.T) {
	s := start(t, &stubs{score: func(context.Context, *pb.ScoreLayeringRequest) (*pb.Score, error) { return &pb.Score{}, nil }})
	for _, x := range []struct {
		what, body, want string
	}{
		{"unknown field", `{"layerin": {}}`, "layerin is an unknown field"},
		{"unknown field within", `{"layering": {"layers": [{"coats": 1}, {"coat": 2}]}}`, "layering.layers[1].coat is an unknown field"},
		{"text for number", `{"layering": {"layers": [{"coats": "three"}]}}`, "layering.layers[0].coats"},
		{"too large a number", `{"layering": {"layers": [{"coats": 1e999}]}}`, "layering.layers[0].coats"},
		{"object for list", `{"layering": {"layers": {}}}`, "layering.layers is an object; allowed: a list"},
		{"number for text", `{"kiln": 3}`, "kiln is a number; allowed: a text"},
		{"list for body", `[]`, "the body is a list; allowed: an object"},
		{"no JSON", `{"layering": `, "not JSON"},
		{"something after", `{} {}`, "the body"},
		{"doubled field", `{"kiln": "a", "kiln": "b"}`, "the body"},
		{"two of a oneof", `{"firing": "studios/s/firings/f", "firingPlan": {}}`, "the body"},
		{"not UTF-8", "{\"kiln\": \"\xff\"}", "the body"},
		{"NUL", "{\"kiln\": \"\x00\"}", "the body"},
		{"nested without end", strings.Repeat(`{"layering":`, 20_000), "the body"},
	} {
		resp, body := s.do(t, http.MethodPost, "/v1/studios/s:score", "", x.body)
		var answer struct{ Message string }
		if err := json.Unmarshal([]byte(body), &answer); err != nil {
			t.Errorf("%s: the answer is no JSON: %s", x.what, body)
		}
		if resp.StatusCode != http.StatusBadRequest || !strings.Contains(answer.Message, x.want) {
			t.Errorf("%s: %d %s; want 400 and %q", x.what, resp.StatusCode, body, x.want)
		}
	}
	for _, good := range []string{``, `{}`, `{"toleratedRisk": 0.1}`, `{"tolerated_risk": 0.1}`, `{"kiln": null}`, ` { } `} {
		if resp, body := s.do(t, http.MethodPost, "/v1/studios/s:score", "", good); resp.StatusCode != http.StatusOK {
			t.Errorf("%q: %d %s", good, resp.StatusCode, body)
		}
	}
	if resp, body := s.do(t, http.MethodGet, "/v1/studios?pageSiz=3", "", ""); resp.StatusCode != http.StatusBadRequest || !strings.Contains(body, "pageSiz") {
		t.Errorf("unknown query parameter: %d %s", resp.StatusCode, body)
	}
}

func TestZeroIsAnAnswer(t *testing.T) {
	s := start(t, &stubs{score: func(context.Context, *pb.ScoreLayeringRequest) (*pb.Score, error) { return &pb.Score{}, nil }})
	_, body := s.do(t, http.MethodPost, "/v1/studios/s:score", "", "{}")
	var answer map[string]any
	if err := json.Unmarshal([]byte(body), &answer); err != nil {
		t.Fatal(err)
	}
	if got, ok := answer["exceedProbability"]; !ok || got != 0.0 {
		t.Errorf("exceedProbability is %v in %s", got, body)
	}
}

func TestSizes(t *testing.T) {
	s := start(t, &stubs{score: func(context.Context, *pb.ScoreLayeringRequest) (*pb.Score, error) { return &pb.Score{}, nil }}, func(c *config.Config) {
		c.HTTP.MaxBodyBytes, c.GRPC.MaxMessageBytes = 64<<10, 64<<10
	})
	large := `{"kiln": "` + strings.Repeat("x", 64<<10) + `"}`
	if resp, body := s.do(t, http.MethodPost, "/v1/studios/s:score", "", large); resp.StatusCode != http.StatusRequestEntityTooLarge || !strings.Contains(body, "allowed: 65536") {
		t.Errorf("large body: %d %s", resp.StatusCode, body)
	}
	r, _ := http.NewRequestWithContext(t.Context(), http.MethodPost, s.url+"/v1/studios/s:score", io.MultiReader(strings.NewReader(large))) // of unknown size
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	text, _ := io.ReadAll(resp.Body)
	resp.Body.Close()
	if resp.StatusCode != http.StatusRequestEntityTooLarge || !strings.Contains(string(text), "65536") {
		t.Errorf("large body of unknown size: %d %s", resp.StatusCode, text)
	}
	_, err = pb.NewScoreServiceClient(s.conn).ScoreLayering(t.Context(), &pb.ScoreLayeringRequest{Kiln: strings.Repeat("x", 65<<10)})
	if status.Code(err) != codes.ResourceExhausted {
		t.Errorf("large message: %v", err)
	}
	r, _ = http.NewRequestWithContext(t.Context(), http.MethodGet, s.url+"/healthz", nil)
	r.Header.Set("X-Large", strings.Repeat("x", 64<<10))
	resp, err = http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	if resp.StatusCode != http.StatusRequestHeaderFieldsTooLarge {
		t.Errorf("large head: %d", resp.StatusCode)
	}
	ctx := metadata.AppendToOutgoingContext(t.Context(), "x-large", strings.Repeat("x", 64<<10))
	if _, err = pb.NewScoreServiceClient(s.conn).ScoreLayering(ctx, scoreRequest); err == nil {
		t.Error("a large head over gRPC is taken")
	}
	if _, err = pb.NewScoreServiceClient(s.conn).ScoreLayering(t.Context(), scoreRequest); err != nil {
		t.Errorf("after all that: %v", err)
	}
}

func TestStreamsAreLinesOfJSON(t *testing.T) {
	next := make(chan struct{})
	s := start(t, &stubs{sheet: func(r *pb.ScoreSheetRequest, out grpc.ServerStreamingServer[pb.ScoreSheetResponse]) error {
		m := &pb.ScoreSheetResponse{}
		for i := range 3 {
			m.FirstIndex = int64(i) // the same message anew, as a service may
			if err := out.Send(m); err != nil {
				return err
			}
			<-next // the client has read it: lines are not held back
		}
		return status.Error(codes.DataLoss, "and then it broke")
	}})
	resp, err := http.Post(s.url+"/v1/studios/s:scoreSheet", "application/json", strings.NewReader("{}"))
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	if got := resp.Header.Get("Content-Type"); resp.StatusCode != http.StatusOK || got != "application/x-ndjson" {
		t.Errorf("%d, %s", resp.StatusCode, got)
	}
	lines := bufio.NewScanner(resp.Body)
	for i := range 3 {
		if !lines.Scan() {
			t.Fatalf("line %d is missing", i)
		}
		var line struct{ Result struct{ FirstIndex string } }
		if err := json.Unmarshal(lines.Bytes(), &line); err != nil || line.Result.FirstIndex != fmt.Sprint(i) {
			t.Errorf("line %d: %s, %v", i, lines.Text(), err)
		}
		next <- struct{}{}
	}
	if !lines.Scan() || !strings.Contains(lines.Text(), `"error"`) || !strings.Contains(lines.Text(), "and then it broke") {
		t.Errorf("the error is not told: %s", lines.Text())
	}
	if lines.Scan() {
		t.Errorf("more after the error: %s", lines.Text())
	}
}

func TestCancelledStreamEndsInTheService(t *testing.T) {
	ended := make(chan error, 1)
	s := start(t, &stubs{sheet: func(_ *pb.ScoreSheetRequest, out grpc.ServerStreamingServer[pb.ScoreSheetResponse]) error {
		for {
			if err := out.Send(&pb.ScoreSheetResponse{}); err != nil {
				ended <- err
				return err
			}
		}
	}})
	ctx, cancel := context.WithCancel(t.Context())
	r, _ := http.NewRequestWithContext(ctx, http.MethodPost, s.url+"/v1/studios/s:scoreSheet", strings.NewReader("{}"))
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	cancel()
	resp.Body.Close()
	if err := <-ended; status.Code(err) != codes.Canceled {
		t.Errorf("over HTTP the service was told %v", err)
	}
	ctx, cancel = context.WithCancel(t.Context())
	stream, err := pb.NewScoreServiceClient(s.conn).ScoreSheet(ctx, &pb.ScoreSheetRequest{Parent: "studios/s"})
	if err != nil {
		t.Fatal(err)
	}
	stream.Recv()
	cancel()
	if err := <-ended; status.Code(err) != codes.Canceled {
		t.Errorf("over gRPC the service was told %v", err)
	}
}

func TestErrorsMapByTheStandardTable(t *testing.T) {
	var answer error
	s := start(t, &stubs{score: func(context.Context, *pb.ScoreLayeringRequest) (*pb.Score, error) { return nil, answer }})
	// google.rpc.Code, "HTTP Mapping" of each value.
	for code, want := range map[codes.Code]int{
		codes.Canceled: 499, codes.Unknown: 500, codes.InvalidArgument: 400, codes.DeadlineExceeded: 504, codes.NotFound: 404,
		codes.AlreadyExists: 409, codes.PermissionDenied: 403, codes.ResourceExhausted: 429, codes.FailedPrecondition: 400,
		codes.Aborted: 409, codes.OutOfRange: 400, codes.Unimplemented: 501, codes.Internal: 500, codes.Unavailable: 503,
		codes.DataLoss: 500, codes.Unauthenticated: 401,
	} {
		answer = status.Error(code, "text")
		resp, body := s.do(t, http.MethodPost, "/v1/studios/s:score", "", "{}")
		var got struct {
			Code    int
			Message string
		}
		json.Unmarshal([]byte(body), &got)
		if resp.StatusCode != want || got.Code != int(code) || got.Message != "text" {
			t.Errorf("%s: %d %s; want %d", code, resp.StatusCode, body, want)
		}
	}
	answer = limits.Exhausted("busy", 1500*time.Millisecond, "later")
	if resp, body := s.do(t, http.MethodPost, "/v1/studios/s:score", "", "{}"); resp.Header.Get("Retry-After") != "2" || !strings.Contains(body, "retryDelay") {
		t.Errorf("Retry-After is %q, %s", resp.Header.Get("Retry-After"), body)
	}
}

func TestHeadersThatArePassedOn(t *testing.T) {
	var got metadata.MD
	s := start(t, &stubs{score: func(ctx context.Context, _ *pb.ScoreLayeringRequest) (*pb.Score, error) {
		got, _ = metadata.FromIncomingContext(ctx)
		return &pb.Score{}, nil
	}})
	r, _ := http.NewRequestWithContext(t.Context(), http.MethodPost, s.url+"/v1/studios/s:score", strings.NewReader("{}"))
	for _, h := range []string{"Authorization", "X-Request-Id", "Traceparent", "Cookie", "Grpc-Metadata-Admin", "X-Forwarded-For", "X-Evil", "Grpc-Timeout"} {
		r.Header.Set(h, "1S")
	}
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	for name := range got {
		switch name {
		case "authorization", "x-request-id", "traceparent", "x-forwarded-for", "x-forwarded-host":
		default:
			t.Errorf("%s reached the service", name)
		}
	}
	for _, name := range []string{"authorization", "x-request-id", "traceparent"} {
		if !reflect.DeepEqual(got.Get(name), []string{"1S"}) {
			t.Errorf("%s is %q", name, got.Get(name))
		}
	}
}

func TestSecurityHeadersAndDescription(t *testing.T) {
	s := start(t, nil)
	resp, body := s.do(t, http.MethodGet, "/openapi.json", "", "")
	csp := resp.Header.Get("Content-Security-Policy")
	if resp.StatusCode != http.StatusOK || strings.Contains(csp, "unsafe") || !strings.Contains(csp, "default-src 'none'") || resp.Header.Get("X-Content-Type-Options") != "nosniff" {
		t.Errorf("%d, %v", resp.StatusCode, resp.Header)
	}
	var description struct {
		Paths map[string]map[string]any
	}
	if err := json.Unmarshal([]byte(body), &description); err != nil {
		t.Fatal(err)
	}
	operations := 0
	for _, verbs := range description.Paths {
		operations += len(verbs)
	}
	if operations < 60 {
		t.Errorf("%d operations are described", operations)
	}
	// Every path that is described is there: whatever the answer is, it is not that there is no such path or method.
	for path, verbs := range description.Paths {
		for verb := range verbs {
			for strings.Contains(path, "{") {
				before, rest, _ := strings.Cut(path, "{")
				_, after, _ := strings.Cut(rest, "}")
				path = before + "1" + after
			}
			_, body := s.do(t, strings.ToUpper(verb), path, "", "{}")
			if strings.Contains(body, "no such path") || strings.Contains(body, "has no method") || strings.Contains(body, "not implemented") {
				t.Errorf("%s %s: %s", verb, path, body)
			}
		}
	}
	if resp, body := s.do(t, http.MethodGet, "/v1/nothing", "", ""); resp.StatusCode != http.StatusNotFound || !strings.Contains(body, "openapi.json") {
		t.Errorf("no such path: %d %s", resp.StatusCode, body)
	}
	if resp, body := s.do(t, http.MethodPut, "/v1/studios", "", "{}"); resp.StatusCode != http.StatusMethodNotAllowed {
		t.Errorf("no such method: %d %s", resp.StatusCode, body)
	}
}

// Neither what a caller sends, nor its key, is in the log, whatever happens and at whichever level.
func TestLogHasNeitherPayloadsNorKeys(t *testing.T) {
	const payload = "payload-that-must-not-show"
	s := start(t, nil, withKeys)
	s.addStudio(t, "s")
	key, _ := s.addKey(t, "s", &pb.Key{Role: pb.Role_ROLE_MANAGE})
	_, foreign, _ := access.New()
	for _, secret := range []string{key, operatorKey, foreign, "Basic-" + payload, ""} {
		glazes, tiles := pb.NewGlazeServiceClient(s.conn), pb.NewTileServiceClient(s.conn)
		ctx := bearing(t.Context(), secret)
		glazes.CreateGlaze(ctx, &pb.CreateGlazeRequest{Parent: "studios/s", Glaze: &pb.Glaze{DisplayName: payload, Notes: payload}})
		tiles.CreateTile(ctx, &pb.CreateTileRequest{Parent: "studios/s", Tile: &pb.Tile{Notes: payload, Tester: payload, FireDate: payload}})
		tiles.ImportTiles(ctx, &pb.ImportTilesRequest{Parent: "studios/s", Csv: payload})
		tiles.ListTiles(ctx, &pb.ListTilesRequest{Parent: "studios/s", PageToken: payload})
		s.do(t, http.MethodPost, "/v1/studios/s:score", secret, `{"kiln": "`+payload+`", "`+payload+`": 1}`)
		s.do(t, http.MethodPost, "/v1/studios/s/glazes?glazeId="+payload, secret, `{"displayName": "`+payload+`"}`)
	}
	log := s.log.String()
	for what, text := range map[string]string{"payload": payload, "studio's key": key, "operator's key": operatorKey, "foreign key": foreign} {
		if strings.Contains(log, text) {
			i := strings.Index(log, text)
			t.Errorf("the %s is in the log: ...%s", what, log[max(0, i-300):i+len(text)])
		}
	}
	if !strings.Contains(log, `"method":"/catchline.v1.TileService/CreateTile"`) {
		t.Error("the calls are not in the log at all")
	}
}

func TestProtoOfStreamIsNotShared(t *testing.T) {
	// Kept by the client, changed by the service: see handOver.Clone.
	sent := &pb.ScoreSheetResponse{FirstIndex: 1}
	s := start(t, &stubs{sheet: func(_ *pb.ScoreSheetRequest, out grpc.ServerStreamingServer[pb.ScoreSheetResponse]) error {
		if err := out.Send(sent); err != nil {
			return err
		}
		sent.FirstIndex = 2
		return nil
	}})
	stream, err := pb.NewScoreServiceClient(s.Local()).ScoreSheet(t.Context(), &pb.ScoreSheetRequest{Parent: "studios/s"})
	if err != nil {
		t.Fatal(err)
	}
	got, err := stream.Recv()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := stream.Recv(); err != io.EOF {
		t.Errorf("the end is %v", err)
	}
	if !proto.Equal(got, &pb.ScoreSheetResponse{FirstIndex: 1}) {
		t.Errorf("the client has %v", got)
	}
}

// Where there is GET there is HEAD, with the same head (RFC 9110, section 9.3.2); what is not there is 404 by either.
func TestHead(t *testing.T) {
	s := start(t, nil, withKeys)
	key := s.addStudio(t, "s")[pb.Role_ROLE_VIEW]
	for path, want := range map[string]int{
		"/v1/studios/s/glazes": http.StatusOK, "/v1/studios/s/glazes/none": http.StatusNotFound, "/v1/none": http.StatusNotFound,
		"/v1/studios/s/tiles:export": http.StatusOK,
		"/openapi.json":              http.StatusOK, "/healthz": http.StatusOK, "/readyz": http.StatusOK, "/none": http.StatusNotFound,
	} {
		get, text := s.do(t, http.MethodGet, path, key, "")
		head, none := s.do(t, http.MethodHead, path, key, "")
		if head.StatusCode != want || get.StatusCode != want || none != "" {
			t.Errorf("%s: HEAD %d with %q, GET %d %s; want %d", path, head.StatusCode, none, get.StatusCode, text, want)
		}
		if a, b := head.Header.Get("Content-Type"), get.Header.Get("Content-Type"); a != b {
			t.Errorf("%s: HEAD says %q, GET %q", path, a, b)
		}
	}
	if resp, _ := s.do(t, http.MethodHead, "/v1/studios/s/glazes", "", ""); resp.StatusCode != http.StatusUnauthorized {
		t.Errorf("without a key: %d", resp.StatusCode)
	}
}
