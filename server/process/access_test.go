package process

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/dynamicpb"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/access"
	"github.com/catchline/catchline/server/config"
	"github.com/catchline/catchline/server/store"
)

// method is a method of the contract with its HTTP binding.
type method struct {
	protoreflect.MethodDescriptor
	full           string // "/catchline.v1.Service/Method"
	verb, template string
	body           string
	field, pattern string // the path variable and what it matches
}

// methodsOfContract returns every method that the linked-in descriptors of the contract have.
func methodsOfContract(t *testing.T) (all []method) {
	t.Helper()
	protoregistry.GlobalFiles.RangeFilesByPackage("catchline.v1", func(f protoreflect.FileDescriptor) bool {
		for i := range f.Services().Len() {
			service := f.Services().Get(i)
			for j := range service.Methods().Len() {
				m := method{MethodDescriptor: service.Methods().Get(j)}
				m.full = fmt.Sprintf("/%s/%s", service.FullName(), m.Name())
				rule, _ := proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule)
				switch p := rule.GetPattern().(type) {
				case *annotations.HttpRule_Get:
					m.verb, m.template = http.MethodGet, p.Get
				case *annotations.HttpRule_Post:
					m.verb, m.template = http.MethodPost, p.Post
				case *annotations.HttpRule_Patch:
					m.verb, m.template = http.MethodPatch, p.Patch
				case *annotations.HttpRule_Delete:
					m.verb, m.template = http.MethodDelete, p.Delete
				default:
					t.Errorf("%s has no HTTP binding that is known here", m.full)
				}
				m.body = rule.GetBody()
				if _, after, ok := strings.Cut(m.template, "{"); ok {
					variable, _, _ := strings.Cut(after, "}")
					m.field, m.pattern, _ = strings.Cut(variable, "=")
				}
				all = append(all, m)
			}
		}
		return true
	})
	if len(all) < 50 {
		t.Fatalf("only %d methods found", len(all))
	}
	return all
}

// nameIn is a name that the method's path matches, within the studio.
func (m *method) nameIn(studio string) string {
	name := strings.Replace(m.pattern, "*", studio, 1)
	return strings.ReplaceAll(name, "*", "1")
}

// request is the method's request for something in the studio.
func (m *method) request(studio string) proto.Message {
	r := dynamicpb.NewMessage(m.Input())
	if m.field == "" {
		return r
	}
	at := protoreflect.Message(r)
	path := strings.Split(m.field, ".")
	for _, part := range path[:len(path)-1] {
		at = at.Mutable(at.Descriptor().Fields().ByName(protoreflect.Name(part))).Message()
	}
	at.Set(at.Descriptor().Fields().ByName(protoreflect.Name(path[len(path)-1])), protoreflect.ValueOfString(m.nameIn(studio)))
	return r
}

// overGRPC calls the method and returns the code.
func (m *method) overGRPC(ctx context.Context, conn grpc.ClientConnInterface, studio, secret string) codes.Code {
	ctx, cancel := context.WithCancel(bearing(ctx, secret))
	defer cancel()
	resp := dynamicpb.NewMessage(m.Output())
	if !m.IsStreamingServer() {
		return status.Code(conn.Invoke(ctx, m.full, m.request(studio), resp))
	}
	s, err := conn.NewStream(ctx, &grpc.StreamDesc{ServerStreams: true}, m.full)
	if err == nil {
		if err = s.SendMsg(m.request(studio)); err == nil || errors.Is(err, io.EOF) {
			s.CloseSend()
			err = s.RecvMsg(resp)
		}
	}
	return status.Code(err)
}

// overHTTP calls the method and returns the status.
func (m *method) overHTTP(t *testing.T, s *server, studio, secret string) int {
	t.Helper()
	path := m.template
	if i := strings.Index(path, "{"); i >= 0 {
		path = path[:i] + m.nameIn(studio) + path[strings.Index(path, "}")+1:]
	}
	body := ""
	if m.body != "" {
		body = "{}"
	}
	resp, _ := s.do(t, m.verb, path, secret, body)
	return resp.StatusCode
}

const roleOperator pb.Role = 100

// needs is what the contract says of roles (key.proto and studio.proto), written down apart from the server's own table.
func needs(m *method) pb.Role {
	name := string(m.Name())
	service := string(m.Parent().Name())
	writes := slices.ContainsFunc([]string{"Create", "Update", "Delete", "Import", "Fit", "Activate"}, func(p string) bool { return strings.HasPrefix(name, p) })
	switch {
	case name == "CreateStudio" || name == "DeleteStudio":
		return roleOperator
	case service == "KeyService":
		return pb.Role_ROLE_MANAGE
	case writes && (service == "TileService" || service == "SheetService"):
		return pb.Role_ROLE_RECORD // "also log tiles and keep sheets"
	case writes:
		return pb.Role_ROLE_MANAGE // "also change glazes, firings, wares, settings, calibrations and keys"
	}
	return pb.Role_ROLE_VIEW // "read, score and plan"
}

func TestEveryMethodIsInTheAccessTable(t *testing.T) {
	s := start(t, &stubs{})
	known := access.Methods()
	served := map[string]bool{}
	for service, info := range s.grpc.GetServiceInfo() {
		for _, m := range info.Methods {
			served["/"+service+"/"+m.Name] = true
		}
	}
	for _, m := range methodsOfContract(t) {
		served[m.full] = true
	}
	for name := range served {
		if !slices.Contains(known, name) {
			t.Errorf("%s has no line in the access table", name)
		}
	}
	for _, name := range known {
		if !served[name] {
			t.Errorf("%s is in the access table and is not served", name)
		}
	}
}

func TestAccessOfEveryMethod(t *testing.T) {
	s := start(t, &stubs{}, withKeys, func(c *config.Config) { c.Limits.StudioRequestsPerSecond = 0 })
	ours, theirs := s.addStudio(t, "ours"), s.addStudio(t, "theirs")
	expired, _ := s.addKey(t, "ours", &pb.Key{Role: pb.Role_ROLE_MANAGE, ExpireTime: expiring(-time.Second)})
	_, unknown, _ := access.New()

	checks := 0
	check := func(m *method, who, secret string, want codes.Code) {
		t.Helper()
		if got := m.overGRPC(t.Context(), s.conn, "ours", secret); got != want {
			t.Errorf("%s over gRPC with %s: %s, want %s", m.full, who, got, want)
		}
		wantHTTP := map[codes.Code]int{codes.Unauthenticated: 401, codes.NotFound: 404, codes.PermissionDenied: 403, codes.Unimplemented: 501}[want]
		if got := m.overHTTP(t, s, "ours", secret); got != wantHTTP {
			t.Errorf("%s over HTTP with %s: %d, want %d", m.full, who, got, wantHTTP)
		}
		checks += 2
	}
	for _, m := range methodsOfContract(t) {
		check(&m, "no key", "", codes.Unauthenticated)
		check(&m, "a made-up word", "let me in", codes.Unauthenticated)
		check(&m, "a well-formed key that does not exist", unknown, codes.Unauthenticated)
		check(&m, "an expired key", expired, codes.Unauthenticated)
		check(&m, "the operator's key", operatorKey, codes.Unimplemented)
		foreign := codes.NotFound
		if m.field == "" {
			foreign = codes.Unimplemented // ListStudios, which shows each its own
			if needs(&m) == roleOperator {
				foreign = codes.PermissionDenied
			}
		}
		check(&m, "another studio's key", theirs[pb.Role_ROLE_MANAGE], foreign)
		for role, secret := range ours {
			want := codes.Unimplemented // it has reached the service
			if role < needs(&m) {
				want = codes.PermissionDenied
			}
			check(&m, role.String(), secret, want)
		}
	}
	t.Logf("%d checks", checks)
}

func TestReflectionNeedsAKeyAndHealthDoesNot(t *testing.T) {
	s := start(t, &stubs{}, withKeys)
	ours := s.addStudio(t, "ours")
	for name, keyed := range map[string]bool{
		"/grpc.reflection.v1.ServerReflection/ServerReflectionInfo":      true,
		"/grpc.reflection.v1alpha.ServerReflection/ServerReflectionInfo": true,
		"/grpc.health.v1.Health/Watch":                                   false,
	} {
		for _, secret := range []string{"", ours[pb.Role_ROLE_VIEW]} {
			ctx, cancel := context.WithCancel(bearing(t.Context(), secret))
			stream, err := s.conn.NewStream(ctx, &grpc.StreamDesc{ServerStreams: true, ClientStreams: true}, name)
			if err == nil {
				empty := dynamicpb.NewMessage((&pb.RanOff{}).ProtoReflect().Descriptor()) // any message without fields set
				stream.SendMsg(empty)
				stream.CloseSend()
				err = stream.RecvMsg(dynamicpb.NewMessage(empty.Descriptor()))
			}
			if refused := status.Code(err) == codes.Unauthenticated; refused != (keyed && secret == "") {
				t.Errorf("%s with key %t: %v", name, secret != "", err)
			}
			cancel()
		}
	}
}

func TestRevokedKeyStopsAtOnce(t *testing.T) {
	s := start(t, &stubs{}, withKeys)
	s.addStudio(t, "ours")
	secret, at := s.addKey(t, "ours", &pb.Key{Role: pb.Role_ROLE_VIEW})
	client := pb.NewStudioServiceClient(s.conn)
	get := func() codes.Code {
		_, err := client.GetStudio(bearing(t.Context(), secret), &pb.GetStudioRequest{Name: "studios/ours"})
		return status.Code(err)
	}
	for range 3 { // the second one comes from the cache
		if got := get(); got != codes.Unimplemented {
			t.Fatalf("the key does not work: %s", got)
		}
	}
	if _, err := s.store.Write(t.Context(), store.Write{Ops: []store.Op{store.Remove(at, 0)}}); err != nil {
		t.Fatal(err)
	}
	revoked := time.Now()
	for get() != codes.Unauthenticated {
		if time.Since(revoked) > 900*time.Millisecond { // less than the cache's own time, so the change has to be told
			t.Fatal("the key still works")
		}
	}
}

// Whoever asks with a key of another studio, or for a studio that does not exist, learns the same.
func TestForeignAndMissingAreTheSame(t *testing.T) {
	s := start(t, &stubs{}, withKeys)
	s.addStudio(t, "theirs")
	mine := s.addStudio(t, "ours")[pb.Role_ROLE_MANAGE]
	client := pb.NewTileServiceClient(s.conn)
	answer := func(studio string) string {
		_, err := client.GetTile(bearing(t.Context(), mine), &pb.GetTileRequest{Name: "studios/" + studio + "/tiles/1"})
		_, body := s.do(t, http.MethodGet, "/v1/studios/"+studio+"/tiles/1", mine, "")
		text := fmt.Sprint(status.Convert(err).Proto()) + body
		return strings.Join(strings.Fields(strings.ReplaceAll(text, studio, "X")), " ")
	}
	if a, b := answer("theirs"), answer("absent"); a != b || !strings.Contains(a, "NOT_FOUND") {
		t.Errorf("they differ:\n%s\n%s", a, b)
	}
}

func TestMalformedAuthorization(t *testing.T) {
	s := start(t, &stubs{}, withKeys)
	for _, header := range []string{"", "Bearer", "Bearer ", "Basic " + operatorKey, operatorKey, "Bearer  "} {
		r, _ := http.NewRequestWithContext(t.Context(), http.MethodGet, s.url+"/v1/studios", nil)
		r.Header.Set("Authorization", header)
		resp, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		if resp.StatusCode != http.StatusUnauthorized || resp.Header.Get("WWW-Authenticate") == "" {
			t.Errorf("%q: %d, %v", header, resp.StatusCode, resp.Header)
		}
	}
}
