package embedded_test

import (
	"os"
	"path/filepath"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/embedded"
)

func open(t *testing.T, file string) *embedded.Service {
	t.Helper()
	s, err := embedded.Open(t.Context(), embedded.Options{File: file})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func TestFileStays(t *testing.T) {
	file := filepath.Join(t.TempDir(), "studio.db")
	s := open(t, file)
	_, err := pb.NewStudioServiceClient(s.Conn()).CreateStudio(t.Context(), &pb.CreateStudioRequest{StudioId: "s", Studio: &pb.Studio{DisplayName: "S"}})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	again := open(t, file)
	if _, err := pb.NewStudioServiceClient(again.Conn()).GetStudio(t.Context(), &pb.GetStudioRequest{Name: "studios/s"}); err != nil {
		t.Error(err)
	}
}

func TestTemporaryFileGoes(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("TMPDIR", dir) // where temporary files go on Unix
	s := open(t, "")
	studios := pb.NewStudioServiceClient(s.Conn())
	if _, err := studios.GetStudio(t.Context(), &pb.GetStudioRequest{Name: "studios/s"}); status.Code(err) != codes.NotFound {
		t.Errorf("a new service has the studio: %v", err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if left, err := os.ReadDir(dir); err != nil || len(left) > 0 {
		t.Errorf("%v is left, %v", left, err)
	}
}

func TestPathThatCannotBe(t *testing.T) {
	s, err := embedded.Open(t.Context(), embedded.Options{File: filepath.Join(t.TempDir(), "no", "such", "studio.db")})
	if err == nil {
		s.Close()
		t.Fatal("opened a file in a directory that does not exist")
	}
}
