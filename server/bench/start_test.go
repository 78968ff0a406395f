package bench

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/catchline/catchline/client"
	"github.com/catchline/catchline/testdata/demo"
)

// BenchmarkStart measures how long it takes from starting the program to its first score of the demo studio, and what memory it holds
// then: with a database that has the studio, and with none, where the studio is loaded and its tiles are fitted first. The floor is
// the same program that only says its version, so that what is left is what the server does.
func BenchmarkStart(b *testing.B) {
	program := build(b, "server")
	existing := filepath.Join(b.TempDir(), "existing.db")
	if _, err := firstScore(b, program, existing); err != nil {
		b.Fatal(err)
	}
	for _, c := range []struct {
		name     string
		database func() string
	}{
		{"Existing", func() string { return existing }},
		{"Fresh", func() string { return filepath.Join(b.TempDir(), "fresh.db") }},
	} {
		b.Run(c.name, func(b *testing.B) {
			var took, floor, cpu []time.Duration
			var resident []float64
			for b.Loop() {
				start := time.Now()
				if err := exec.CommandContext(b.Context(), program, "version").Run(); err != nil {
					b.Fatal(err)
				}
				floor = append(floor, time.Since(start))
				first, err := firstScore(b, program, c.database())
				if err != nil {
					b.Fatal(err)
				}
				took, cpu, resident = append(took, first.took), append(cpu, first.cpu), append(resident, first.residentMB)
			}
			b.ReportMetric(median(floor).Seconds()*1000, "version-ms")
			b.ReportMetric(median(took).Seconds()*1000, "ms")
			b.ReportMetric(median(cpu).Seconds()*1000, "cpu-ms")
			b.ReportMetric(300, "goal-ms")
			b.ReportMetric(median(resident), "resident-MB")
			b.ReportMetric(80, "goal-MB")
			b.ReportMetric(0, "ns/op")
		})
	}
}

// build makes a static binary of a program of this module, as it is released.
func build(b *testing.B, path string) string {
	b.Helper()
	out := filepath.Join(b.TempDir(), filepath.Base(path))
	cmd := exec.CommandContext(b.Context(), "go", "build", "-o", out, "github.com/catchline/catchline/"+path)
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0")
	if text, err := cmd.CombinedOutput(); err != nil {
		b.Fatalf("%v: %s", err, text)
	}
	return out
}

// start is a start with its first score.
type start struct {
	took       time.Duration
	cpu        time.Duration // of the server, until it had ended
	residentMB float64
}

// firstScore starts the server, scores once, and ends it.
func firstScore(b *testing.B, program, database string) (s start, err error) {
	b.Helper()
	ctx, cancel := context.WithTimeout(b.Context(), time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, program, "--demo", "--create", "--store", database,
		"--grpc-address", "127.0.0.1:0", "--http-address", "127.0.0.1:0", "--metrics-address", "127.0.0.1:0")
	logs, err := cmd.StderrPipe()
	if err != nil {
		return s, err
	}
	began := time.Now()
	if err := cmd.Start(); err != nil {
		return s, err
	}
	defer func() {
		cmd.Process.Signal(syscall.SIGTERM)
		if e := cmd.Wait(); err == nil {
			err = e
		}
		s.cpu = cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
	}()
	address := ""
	for lines := json.NewDecoder(logs); address == ""; {
		var line struct{ Msg, GRPC string }
		if err := lines.Decode(&line); err != nil {
			return s, fmt.Errorf("the server has not said where it serves: %w", err)
		}
		if line.Msg == "serving" {
			address = line.GRPC
		}
	}
	go io.Copy(io.Discard, logs) // so that it can go on to log
	c, err := client.New(address, client.Options{})
	if err != nil {
		return s, err
	}
	defer c.Close()
	a := &asker{random: rand.New(rand.NewPCG(1, 1)), glazes: []string{demo.Studio + "/glazes/tarn-clear", demo.Studio + "/glazes/lintel-amber"}, firings: []string{demo.Studio + "/firings/cone-6"}}
	if _, err := c.Scores.ScoreLayering(ctx, a.score()); err != nil {
		return s, err
	}
	s.took = time.Since(began)
	s.residentMB, err = resident(cmd.Process.Pid)
	return s, err
}

// resident is the memory that a process holds, in MB.
func resident(pid int) (float64, error) {
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		return 0, err
	}
	for line := range bytes.Lines(status) {
		if rest, ok := bytes.CutPrefix(line, []byte("VmRSS:")); ok {
			kb, err := strconv.ParseFloat(strings.Fields(string(rest))[0], 64)
			return kb * 1024 / 1e6, err
		}
	}
	return 0, fmt.Errorf("the system does not say how much memory the process %d holds", pid)
}
