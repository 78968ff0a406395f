package main

import (
	"bufio"
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	_ "modernc.org/sqlite" // to make databases that the server refuses
)

// TestMain makes the test binary the server itself when a test starts it as one.
func TestMain(m *testing.M) {
	if os.Getenv("CATCHLINE_TEST_SERVER") == "1" {
		os.Unsetenv("CATCHLINE_TEST_SERVER")
		main()
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// command is the server's program with these arguments.
func command(t *testing.T, args ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), self, args...)
	cmd.Dir = t.TempDir()
	cmd.Env = append(os.Environ(), "CATCHLINE_TEST_SERVER=1")
	return cmd
}

// serving are the arguments of a server on free ports.
func serving(store string, more ...string) []string {
	return append([]string{"--store", store, "--grpc-address", "127.0.0.1:0", "--http-address", "127.0.0.1:0", "--metrics-address", ""}, more...)
}

// server is a running one.
type server struct {
	*exec.Cmd
	url string
}

func launch(t *testing.T, args ...string) *server {
	t.Helper()
	cmd := command(t, args...)
	logs, err := cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		cmd.Process.Kill()
		cmd.Wait()
	})
	lines := bufio.NewScanner(logs)
	var all strings.Builder
	for lines.Scan() {
		fmt.Fprintln(&all, lines.Text())
		var line struct{ Msg, HTTP string }
		if json.Unmarshal(lines.Bytes(), &line) == nil && line.Msg == "serving" {
			go io.Copy(io.Discard, logs)
			return &server{cmd, "http://" + line.HTTP}
		}
	}
	t.Fatalf("the server does not start:\n%s", all.String())
	return nil
}

// stop ends the server as an operator does.
func (s *server) stop(t *testing.T) {
	t.Helper()
	s.Process.Signal(syscall.SIGTERM)
	if err := s.Wait(); err != nil {
		t.Errorf("stopped: %v", err)
	}
}

// createStudio asks for a studio over HTTP, and returns the status and the answer.
func (s *server) createStudio(t *testing.T, id string) (int, string) {
	t.Helper()
	resp, err := http.Post(s.url+"/v1/studios?studioId="+id, "application/json", strings.NewReader(`{"displayName": "`+strings.Repeat("x", 100)+`"}`))
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	return resp.StatusCode, string(text)
}

// made makes a database by the server, and returns its path.
func made(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "made.db")
	s := launch(t, serving(path, "--create")...)
	if code, text := s.createStudio(t, "kept"); code != http.StatusOK {
		t.Fatal(code, text)
	}
	s.stop(t)
	return path
}

func alter(t *testing.T, path, statement string) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.ExecContext(context.Background(), statement); err != nil {
		t.Fatal(err)
	}
}

// A database that cannot be used keeps the server from starting, with status 1 and one line that says which file, what is wrong and
// what to do; the file stays as it is, or stays away.
func TestUnusableDatabases(t *testing.T) {
	whole, err := os.ReadFile(made(t))
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	file := func(name string, content []byte) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, content, 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	damaged := bytes.Clone(whole)
	clear(damaged[4096:])
	older, newer := file("older.db", whole), file("newer.db", whole)
	alter(t, older, "DELETE FROM goose_db_version WHERE version_id > 0")
	alter(t, newer, "INSERT INTO goose_db_version (version_id, is_applied) VALUES (99999, 1)")

	for _, x := range []struct {
		name, path string
		args       []string
		want       []string
	}{
		{"missing", filepath.Join(dir, "missing.db"), nil, []string{"there is no database", "--create", "restore it from a backup"}},
		{"no directory", filepath.Join(dir, "none", "x.db"), []string{"--create"}, []string{"no such file or directory", "the directory must exist"}},
		{"empty", file("empty.db", nil), []string{"--create"}, []string{"not a database of this program"}},
		{"text", file("text.db", []byte("glaze,coats\n")), []string{"--create"}, []string{"not a database of this program"}},
		{"damaged", file("damaged.db", damaged), []string{"--create"}, []string{"damaged", "restore the last backup"}},
		{"truncated", file("truncated.db", whole[:5000]), []string{"--create"}, []string{"damaged", "restore the last backup"}},
		{"older", older, []string{"--create"}, []string{"older version", "catchline-server migrate"}},
		{"newer", newer, []string{"--create"}, []string{"newer version", "run the newer version"}},
	} {
		t.Run(x.name, func(t *testing.T) {
			before, _ := os.ReadFile(x.path)
			cmd := command(t, serving(x.path, x.args...)...)
			var out, said bytes.Buffer
			cmd.Stdout, cmd.Stderr = &out, &said
			err := cmd.Run()
			var exit *exec.ExitError
			if !errors.As(err, &exit) || exit.ExitCode() != 1 || out.Len() > 0 {
				t.Fatalf("%v; %s%s", err, &out, &said)
			}
			lines := strings.Split(strings.TrimSpace(said.String()), "\n")
			last := lines[len(lines)-1]
			t.Log(last)
			for _, want := range append(x.want, x.path, "catchline-server: ") {
				if !strings.Contains(last, want) {
					t.Errorf("%q is not in: %s", want, last)
				}
			}
			after, err := os.ReadFile(x.path)
			if !bytes.Equal(before, after) || before == nil && !os.IsNotExist(err) {
				t.Error("the file was touched")
			}
		})
	}
}

// mount mounts a file system of so many bytes in memory, and skips the test where this user may not.
func mount(t *testing.T, options string) string {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, options); err != nil {
		t.Skipf("needs the right to mount: %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, syscall.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	return dir
}

// A full disk turns writes away and says so, reads go on, nothing acknowledged is lost, and writes go on once there is room.
func TestFullDisk(t *testing.T) {
	dir := mount(t, "size=8m")
	s := launch(t, serving(filepath.Join(dir, "x.db"), "--create")...)
	ballast := filepath.Join(dir, "ballast")
	fill(t, ballast)
	if err := os.Truncate(ballast, 4<<20); err != nil {
		t.Fatal(err)
	}
	var kept []string
	code, text := http.StatusOK, ""
	for i := 0; code == http.StatusOK && i < 10_000; i++ {
		id := fmt.Sprintf("s%d", i)
		if code, text = s.createStudio(t, id); code == http.StatusOK {
			kept = append(kept, id)
		}
	}
	t.Logf("%d studios, then: %d %s", len(kept), code, text)
	if code != http.StatusServiceUnavailable || !strings.Contains(text, "STORAGE_FULL") || !strings.Contains(text, "disk is full") {
		t.Errorf("a full disk is answered by %d %s", code, text)
	}
	here := func(s *server) {
		t.Helper()
		for _, id := range kept {
			resp, err := http.Get(s.url + "/v1/studios/" + id)
			if err != nil {
				t.Fatal(err)
			}
			resp.Body.Close()
			if resp.StatusCode != http.StatusOK {
				t.Errorf("%s: %s", id, resp.Status)
			}
		}
	}
	here(s)
	if err := os.Remove(ballast); err != nil {
		t.Fatal(err)
	}
	if code, text := s.createStudio(t, "later"); code != http.StatusOK {
		t.Errorf("with room again: %d %s", code, text)
	}
	kept = append(kept, "later")
	s.stop(t)
	here(launch(t, serving(filepath.Join(dir, "x.db"))...))
}

// fill writes a file until there is no more room.
func fill(t *testing.T, path string) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	page := make([]byte, 4096)
	for err == nil {
		_, err = f.Write(page)
	}
	if !errors.Is(err, syscall.ENOSPC) {
		t.Fatal(err)
	}
}

// A file system that has become read-only turns writes away and says so; a server does not start on it.
func TestReadOnlyDisk(t *testing.T) {
	dir := mount(t, "size=8m")
	path := filepath.Join(dir, "x.db")
	s := launch(t, serving(path, "--create")...)
	if code, text := s.createStudio(t, "kept"); code != http.StatusOK {
		t.Fatal(code, text)
	}
	s.stop(t)
	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := syscall.Mount("", dir, "", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		t.Fatal(err)
	}
	cmd := command(t, serving(path, "--create")...)
	said, err := cmd.CombinedOutput()
	lines := strings.Split(strings.TrimSpace(string(said)), "\n")
	last := lines[len(lines)-1]
	t.Log(last)
	if err == nil || cmd.ProcessState.ExitCode() != 1 || !strings.Contains(last, "read-only") || !strings.Contains(last, path) {
		t.Errorf("%v: %s", err, last)
	}
	if after, err := os.ReadFile(path); err != nil || !bytes.Equal(before, after) {
		t.Errorf("the file was touched: %v", err)
	}
}
