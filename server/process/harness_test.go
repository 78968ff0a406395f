package process

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/access"
	"github.com/catchline/catchline/server/api"
	"github.com/catchline/catchline/server/config"
	"github.com/catchline/catchline/server/store"
	"github.com/catchline/catchline/server/telemetry"
)

// stubs are services of which every method is unimplemented but for those that a test sets, so that reaching one is
// told from being refused on the way.
type stubs struct {
	pb.UnimplementedStudioServiceServer
	pb.UnimplementedKeyServiceServer
	pb.UnimplementedGlazeServiceServer
	pb.UnimplementedMaterialServiceServer
	pb.UnimplementedBodyServiceServer
	pb.UnimplementedFiringServiceServer
	pb.UnimplementedWareServiceServer
	pb.UnimplementedTileServiceServer
	pb.UnimplementedSheetServiceServer
	pb.UnimplementedScoreServiceServer
	pb.UnimplementedCalibrationServiceServer

	score func(context.Context, *pb.ScoreLayeringRequest) (*pb.Score, error)
	sheet func(*pb.ScoreSheetRequest, grpc.ServerStreamingServer[pb.ScoreSheetResponse]) error
}

func (s *stubs) Watch(context.Context) {}

func (s *stubs) Register(r grpc.ServiceRegistrar) {
	pb.RegisterStudioServiceServer(r, s)
	pb.RegisterKeyServiceServer(r, s)
	pb.RegisterGlazeServiceServer(r, s)
	pb.RegisterMaterialServiceServer(r, s)
	pb.RegisterBodyServiceServer(r, s)
	pb.RegisterFiringServiceServer(r, s)
	pb.RegisterWareServiceServer(r, s)
	pb.RegisterTileServiceServer(r, s)
	pb.RegisterSheetServiceServer(r, s)
	pb.RegisterScoreServiceServer(r, s)
	pb.RegisterCalibrationServiceServer(r, s)
}

func (s *stubs) ScoreLayering(ctx context.Context, r *pb.ScoreLayeringRequest) (*pb.Score, error) {
	if s.score == nil {
		return s.UnimplementedScoreServiceServer.ScoreLayering(ctx, r)
	}
	return s.score(ctx, r)
}

func (s *stubs) ScoreSheet(r *pb.ScoreSheetRequest, out grpc.ServerStreamingServer[pb.ScoreSheetResponse]) error {
	if s.sheet == nil {
		return s.UnimplementedScoreServiceServer.ScoreSheet(r, out)
	}
	return s.sheet(r, out)
}

// lockedBuffer is a log that may be read while it is written.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (b *lockedBuffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.Write(p)
}

func (b *lockedBuffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.String()
}

// server is a running program.
type server struct {
	*Program
	log  *lockedBuffer
	conn *grpc.ClientConn
	url  string
	stop func() error // ends the run and returns its error; again: the same
}

const operatorKey = "operator-operator-operator-operator-"

// withKeys lets nobody in without a key.
func withKeys(c *config.Config) { c.Keys.OperatorKey = config.NewSecret(operatorKey) }

// start runs a program on free ports with a new database. Services nil: the real ones.
func start(t *testing.T, services Services, changes ...func(*config.Config)) *server {
	t.Helper()
	c := config.Default()
	c.Store = config.Database(filepath.Join(t.TempDir(), "test.db"))
	c.Create = true
	c.GRPC.Address, c.HTTP.Address, c.Telemetry.MetricsAddress = "127.0.0.1:0", "127.0.0.1:0", "127.0.0.1:0"
	c.Telemetry.LogLevel = "debug"
	c.ShutdownGrace = 5 * time.Second
	for _, change := range changes {
		change(&c)
	}
	s := &server{log: &lockedBuffer{}}
	log, err := telemetry.NewLogger(s.log, c.Telemetry.LogLevel, c.Telemetry.LogFormat)
	if err != nil {
		t.Fatal(err)
	}
	options := Options{Version: "test", Logger: log}
	if services != nil {
		options.Services = func(api.Options) Services { return services }
	}
	s.Program, err = Open(t.Context(), c, options)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Run(ctx) }()
	s.stop = sync.OnceValue(func() error {
		cancel()
		err := <-ended
		if closeErr := s.Close(); err == nil {
			err = closeErr
		}
		return err
	})
	t.Cleanup(func() {
		if err := s.stop(); err != nil {
			t.Errorf("the server ended with: %v", err)
		}
	})
	s.url = "http://" + s.HTTPAddress()
	if c.TLS.Cert == "" {
		s.conn, err = grpc.NewClient("passthrough:///"+s.GRPCAddress(), grpc.WithTransportCredentials(insecure.NewCredentials()))
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { s.conn.Close() })
	}
	return s
}

// addStudio stores a studio with a key of each role, and returns their secrets.
func (s *server) addStudio(t *testing.T, id string) map[pb.Role]string {
	t.Helper()
	ctx := t.Context()
	if _, err := s.store.Write(ctx, store.Write{Ops: []store.Op{store.Insert(store.Record{Key: store.Key{Studio: store.System, Kind: store.KindStudio, ID: id}})}}); err != nil {
		t.Fatal(err)
	}
	secrets := map[pb.Role]string{}
	for _, role := range []pb.Role{pb.Role_ROLE_VIEW, pb.Role_ROLE_RECORD, pb.Role_ROLE_MANAGE} {
		secrets[role], _ = s.addKey(t, id, &pb.Key{Role: role})
	}
	return secrets
}

func (s *server) addKey(t *testing.T, studio string, key *pb.Key) (secret string, at store.Key) {
	t.Helper()
	id, secret, hash := access.New()
	body, err := (&access.Record{Hash: hash, Key: key}).Marshal()
	if err != nil {
		t.Fatal(err)
	}
	at = store.Key{Studio: studio, Kind: store.KindKey, ID: id}
	if _, err := s.store.Write(t.Context(), store.Write{Ops: []store.Op{store.Insert(store.Record{Key: at, Body: body})}}); err != nil {
		t.Fatal(err)
	}
	return secret, at
}

func expiring(in time.Duration) *timestamppb.Timestamp { return timestamppb.New(time.Now().Add(in)) }

// bearing returns a context that carries a key.
func bearing(ctx context.Context, secret string) context.Context {
	if secret == "" {
		return ctx
	}
	return metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+secret)
}

// do sends an HTTP request and returns the answer with its body read.
func (s *server) do(t *testing.T, method, path, secret, body string) (*http.Response, string) {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), method, s.url+path, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	if secret != "" {
		r.Header.Set("Authorization", "Bearer "+secret)
	}
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	return resp, string(text)
}
