// Package client talks to a catchline server over gRPC.
//
// Calls are tried again when the server says that a retry can succeed; nothing is sent twice at once. That is safe for writes because each of
// them carries a request id, made here where the caller made none; making a key, which has none, is never tried again. Several servers behind one DNS name are used in turn, and one that is not healthy is left out.
//
// While no server is healthy, as when the primary of their database has died and no standby is promoted yet, calls fail after less than a
// second, unless Options.Patient.
package client

import (
	"context"
	"crypto/tls"
	"fmt"
	"net"
	"strings"

	"github.com/google/uuid"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
	_ "google.golang.org/grpc/health" // client-side health checks, which the service config asks for
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// Client is a connection to a server, or to several that share one name. It is safe for concurrent use.
type Client struct {
	Studios      pb.StudioServiceClient
	Glazes       pb.GlazeServiceClient
	Materials    pb.MaterialServiceClient
	Bodies       pb.BodyServiceClient
	Firings      pb.FiringServiceClient
	Wares        pb.WareServiceClient
	Tiles        pb.TileServiceClient
	Calibrations pb.CalibrationServiceClient
	Scores       pb.ScoreServiceClient
	Sheets       pb.SheetServiceClient
	Keys         pb.KeyServiceClient

	// Conn is what the services are called over, for those that are not of this contract, such as health.
	Conn grpc.ClientConnInterface

	own *grpc.ClientConn // to be closed; nil: somebody else's
}

// Options say how to reach a server.
type Options struct {
	// Key is sent with every call; empty: none.
	Key string
	// TLS is how to check the server; nil: no TLS, which is refused for any address but loopback unless PlaintextAnywhere.
	TLS *tls.Config
	// PlaintextAnywhere allows calls without TLS to other machines: whoever is between can read and change them, and take the key.
	PlaintextAnywhere bool
	// Patient lets a call wait for a healthy server until its context ends, rather than fail. It needs contexts that end.
	Patient bool
	// Dial are further options of the connection.
	Dial []grpc.DialOption
}

// serviceConfig balances over all addresses of a name by turns, leaves out those that are not healthy, and tries again what may be tried
// again: Unavailable is the server's word that a retry can succeed, ResourceExhausted that it was too busy to begin.
const serviceConfig = `{
  "loadBalancingConfig": [{"round_robin": {}}],
  "healthCheckConfig": {"serviceName": ""},
  "methodConfig": [{
    "name": [{"service": "catchline.v1.KeyService", "method": "CreateKey"}]
  }, {
    "name": [{}],
    "retryPolicy": {
      "maxAttempts": 4,
      "initialBackoff": "0.05s",
      "maxBackoff": "2s",
      "backoffMultiplier": 3,
      "retryableStatusCodes": ["UNAVAILABLE", "RESOURCE_EXHAUSTED"]
    }
  }]
}`

// MaxMessageBytes is the largest message that is sent or taken: an import is at most 8 MB, a chunk of a sheet less.
const MaxMessageBytes = 32 << 20

// New makes a client for a target such as "127.0.0.1:7400" or "dns:///catchline.example:7400". It connects when it is first used.
func New(target string, o Options) (*Client, error) {
	creds := insecure.NewCredentials()
	switch {
	case o.TLS != nil:
		creds = credentials.NewTLS(o.TLS)
	case !o.PlaintextAnywhere && !loopback(target):
		return nil, fmt.Errorf("%s is not on this machine: calls to it need TLS, or PlaintextAnywhere by whoever accepts that they can be read and changed on the way", target)
	}
	options := []grpc.DialOption{
		grpc.WithTransportCredentials(creds),
		grpc.WithDefaultServiceConfig(serviceConfig),
		grpc.WithChainUnaryInterceptor(nameRequest),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(MaxMessageBytes), grpc.MaxCallSendMsgSize(MaxMessageBytes), grpc.WaitForReady(o.Patient)),
	}
	if o.Key != "" {
		options = append(options, grpc.WithPerRPCCredentials(bearer{"authorization": "Bearer " + o.Key}))
	}
	conn, err := grpc.NewClient(target, append(options, o.Dial...)...)
	if err != nil {
		return nil, err
	}
	c := Over(conn)
	c.own = conn
	return c, nil
}

// Over makes a client over any connection, such as a server in the same process. Closing it leaves the connection open.
func Over(conn grpc.ClientConnInterface) *Client {
	return &Client{
		Studios:      pb.NewStudioServiceClient(conn),
		Glazes:       pb.NewGlazeServiceClient(conn),
		Materials:    pb.NewMaterialServiceClient(conn),
		Bodies:       pb.NewBodyServiceClient(conn),
		Firings:      pb.NewFiringServiceClient(conn),
		Wares:        pb.NewWareServiceClient(conn),
		Tiles:        pb.NewTileServiceClient(conn),
		Calibrations: pb.NewCalibrationServiceClient(conn),
		Scores:       pb.NewScoreServiceClient(conn),
		Sheets:       pb.NewSheetServiceClient(conn),
		Keys:         pb.NewKeyServiceClient(conn),
		Conn:         conn,
	}
}

// Close ends the connection.
func (c *Client) Close() error {
	if c.own == nil {
		return nil
	}
	return c.own.Close()
}

// loopback reports whether a target is certainly on this machine.
func loopback(target string) bool {
	if strings.HasPrefix(target, "unix:") {
		return true
	}
	if i := strings.LastIndex(target, "/"); i >= 0 {
		target = target[i+1:]
	}
	host, _, err := net.SplitHostPort(target)
	if err != nil {
		host = target
	}
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// bearer is the header of a key that goes with every call. Whether it may go without TLS was decided in New.
type bearer map[string]string

func (b bearer) GetRequestMetadata(context.Context, ...string) (map[string]string, error) {
	return b, nil
}

func (b bearer) RequireTransportSecurity() bool { return false }

// nameRequest gives a write that has no request id one.
func nameRequest(ctx context.Context, method string, request, reply any, conn *grpc.ClientConn, invoke grpc.UnaryInvoker, opts ...grpc.CallOption) error {
	if m, ok := request.(proto.Message); ok {
		f := m.ProtoReflect().Descriptor().Fields().ByName("request_id")
		if f != nil && !m.ProtoReflect().Has(f) {
			named := proto.Clone(m)
			named.ProtoReflect().Set(f, protoreflect.ValueOfString(orderedID()))
			request = named
		}
	}
	return invoke(ctx, method, request, reply, conn, opts...)
}

// orderedID is random, and later ones sort after earlier ones, so that the store's index of requests grows at its end.
func orderedID() string {
	id, err := uuid.NewV7()
	if err != nil {
		return uuid.NewString()
	}
	return id.String()
}
