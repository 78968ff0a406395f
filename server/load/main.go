// Command load measures how the server behaves at and beyond what it can do: it starts a server with the demo studio in a process of its
// own, finds out how many requests a second it can do, then sends half of that, as much, twice and four times as much, at a
// steady pace that does not wait for answers, then half again at once. It prints a line for each, and ends with an error if, of what was
// accepted at four times, the 99th percentile took more than five times as long as at half, or the half after it is worse.
//
//	go build -o bin/catchline-server ./server && go run ./server/load
//
// Both share the machine's processors, so what is found is less than what the server alone could do. On two processors, give each one:
//
//	go build -o bin/load ./server/load && taskset -c 1 bin/load -pin 0
package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/testdata/demo"
)

func main() {
	binary := flag.String("server", "bin/catchline-server", "the server's binary")
	what := flag.String("request", "shelf", "what to ask for: score (one layering) or shelf (a kiln load of 20 pieces)")
	span := flag.Duration("span", 5*time.Second, "how long each load lasts")
	pin := flag.String("pin", "", "processors for the server, as taskset takes them; start this program by taskset on the others, so that neither is in the other's way")
	flag.Parse()
	// Answers are looked at as they come, also while requests are made: see process.TuneProcessors.
	runtime.GOMAXPROCS(runtime.NumCPU() + 2)
	if err := run(*binary, *what, *pin, *span); err != nil {
		fmt.Fprintln(os.Stderr, "load:", err)
		os.Exit(1)
	}
}

func run(binary, what, pin string, span time.Duration) error {
	dir, err := os.MkdirTemp("", "load-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	s, err := launch(binary, pin, filepath.Join(dir, "load.db"))
	if err != nil {
		return err
	}
	defer s.kill()
	fmt.Printf("start to serving, demo studio and its fit included: %s; resident %.0f MB\n", s.started.Round(time.Millisecond), s.resident())
	conns, err := s.dial(64)
	if err != nil {
		return err
	}
	ask, err := asker(what, conns)
	if err != nil {
		return err
	}
	if err := ask(context.Background(), 0); err != nil {
		return fmt.Errorf("the request does not work: %w", err)
	}
	capacity(ask, span/2) // warm
	rate := capacity(ask, span)
	fmt.Printf("capacity: %.0f a second with %d callers\n\n", rate, callers)
	fmt.Printf("%-10s %10s %10s %10s %9s %9s %9s %8s %6s\n", "load", "sent/s", "accepted/s", "shed/s", "p50 ms", "p99 ms", "max ms", "RSS MB", "CPUs")
	var half, four, after result
	for _, x := range []struct {
		name string
		of   float64
		to   *result
	}{{"0.5x", 0.5, &half}, {"1x", 1, new(result)}, {"2x", 2, new(result)}, {"4x", 4, &four}, {"0.5x again", 0.5, &after}} {
		used, start := s.processorTime(), time.Now()
		r := steady(ask, rate*x.of, span)
		r.processors = (s.processorTime() - used).Seconds() / time.Since(start).Seconds()
		*x.to = r
		fmt.Printf("%-10s %10.0f %10.0f %10.0f %9.2f %9.2f %9.2f %8.0f %6.2f\n", x.name, r.sent, r.accepted, r.shed, ms(r.p50), ms(r.p99), ms(r.longest), s.resident(), r.processors)
		if r.failed > 0 {
			fmt.Printf("%d failed otherwise: %v\n", r.failed, r.firstFailure)
		}
	}
	ratio := float64(four.p99) / float64(half.p99)
	fmt.Printf("\np99 at 4x is %.1f times that at 0.5x (at most 5); after it, at 0.5x again, %.1f times\n", ratio, float64(after.p99)/float64(half.p99))
	switch {
	case half.failed+four.failed+after.failed > 0:
		return errors.New("requests failed otherwise than by being turned away")
	case four.processors > 0 && four.processors < 0.7:
		return fmt.Errorf("the server was given %.2f of a processor at 4x: the machine is busy with other things, and the figures say nothing", four.processors)
	case ratio > 5:
		return errors.New("what is accepted under overload is too slow")
	case after.shed > 0.01*after.sent:
		return errors.New("it has not recovered at once")
	}
	return nil
}

func ms(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }

// server is a running server.
type server struct {
	cmd     *exec.Cmd
	address string
	started time.Duration
}

func launch(binary, pin, db string) (*server, error) {
	start := time.Now()
	command := []string{binary}
	if pin != "" {
		command = []string{"taskset", "-c", pin, binary}
	}
	command = append(command, "--store", db, "--create", "--demo", "--grpc-address", "127.0.0.1:0", "--http-address", "127.0.0.1:0", "--metrics-address", "")
	cmd := exec.Command(command[0], command[1:]...)
	logs, err := cmd.StderrPipe()
	if err != nil {
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		return nil, fmt.Errorf("%w; build it first: go build -o %s ./server", err, binary)
	}
	lines := bufio.NewScanner(logs)
	for lines.Scan() {
		var line struct{ Msg, GRPC string }
		if json.Unmarshal(lines.Bytes(), &line) == nil && line.Msg == "serving" {
			go io.Copy(io.Discard, logs)
			return &server{cmd, line.GRPC, time.Since(start)}, nil
		}
	}
	cmd.Wait()
	return nil, errors.New("the server does not start")
}

func (s *server) kill() {
	s.cmd.Process.Kill()
	s.cmd.Wait()
}

// resident returns the server's resident memory in MB, 0 where /proc does not tell.
func (s *server) resident() float64 {
	text, _ := os.ReadFile(fmt.Sprintf("/proc/%d/status", s.cmd.Process.Pid))
	for line := range strings.Lines(string(text)) {
		if rest, ok := strings.CutPrefix(line, "VmRSS:"); ok {
			kB, _ := strconv.ParseFloat(strings.Fields(rest)[0], 64)
			return kB / 1024
		}
	}
	return 0
}

// processorTime returns the time that the server has been given by processors, 0 where /proc does not tell.
func (s *server) processorTime() time.Duration {
	text, _ := os.ReadFile(fmt.Sprintf("/proc/%d/stat", s.cmd.Process.Pid))
	_, after, _ := strings.Cut(string(text), ") ")
	fields := strings.Fields(after)
	if len(fields) < 13 {
		return 0
	}
	// utime and stime, proc_pid_stat(5), in hundredths of a second on every Linux that Go runs on.
	user, _ := strconv.Atoi(fields[11])
	system, _ := strconv.Atoi(fields[12])
	return time.Duration(user+system) * 10 * time.Millisecond
}

func (s *server) dial(n int) ([]*grpc.ClientConn, error) {
	var conns []*grpc.ClientConn
	for range n {
		c, err := grpc.NewClient("passthrough:///"+s.address, grpc.WithTransportCredentials(insecure.NewCredentials()))
		if err != nil {
			return nil, err
		}
		conns = append(conns, c)
	}
	return conns, nil
}

// raw passes messages as they are on the wire, so that reading answers, some of which cost as much to read as to
// compute, does not make this program the bottleneck.
type raw struct{}

func (raw) Name() string                       { return "proto" }
func (raw) Marshal(v any) ([]byte, error)      { return *v.(*[]byte), nil }
func (raw) Unmarshal(text []byte, _ any) error { return nil }

// asker returns a function that sends the i-th request and returns its error.
func asker(what string, conns []*grpc.ClientConn) (func(context.Context, int) error, error) {
	plan := &pb.PlanShelfRequest{}
	if err := protojson.Unmarshal(demo.Shelf, plan); err != nil {
		return nil, err
	}
	plan.Parent = demo.Studio
	var method string
	var request proto.Message
	switch what {
	case "shelf":
		method, request = pb.ScoreService_PlanShelf_FullMethodName, plan
	case "score":
		method, request = pb.ScoreService_ScoreLayering_FullMethodName,
			&pb.ScoreLayeringRequest{Parent: demo.Studio, Layering: plan.Pieces[0].Layering, FiringSource: &pb.ScoreLayeringRequest_Firing{Firing: plan.GetFiring()}}
	default:
		return nil, fmt.Errorf("-request %s is unknown: score or shelf", what)
	}
	text, err := proto.Marshal(request)
	if err != nil {
		return nil, err
	}
	return func(ctx context.Context, i int) error {
		return conns[i%len(conns)].Invoke(ctx, method, &text, nil, grpc.ForceCodec(raw{}))
	}, nil
}

// callers are enough to keep two processors busy, and too few to be turned away.
const callers = 4

// capacity returns how many requests a second get done by callers that each wait for an answer before asking again.
func capacity(ask func(context.Context, int) error, span time.Duration) float64 {
	var done atomic.Int64
	var group sync.WaitGroup
	start := time.Now()
	for c := range callers {
		group.Go(func() {
			for time.Since(start) < span {
				if ask(context.Background(), c) == nil {
					done.Add(1)
				}
			}
		})
	}
	group.Wait()
	return float64(done.Load()) / time.Since(start).Seconds()
}

// result is what came of a load.
type result struct {
	sent, accepted, shed float64 // a second
	p50, p99, longest    time.Duration
	processors           float64 // that the server was given
	failed               int
	firstFailure         error
}

// steady sends requests at a rate, each at its time whether those before it are answered or not. The time of a request counts from
// when it was due, so that waiting in this program counts too.
func steady(ask func(context.Context, int) error, rate float64, span time.Duration) result {
	type answer struct {
		took time.Duration
		err  error
	}
	total := int(rate * span.Seconds())
	answers := make([]answer, total)
	ctx, cancel := context.WithTimeout(context.Background(), span+10*time.Second)
	defer cancel()
	var group sync.WaitGroup
	start := time.Now()
	for i := range total {
		due := start.Add(time.Duration(float64(i) / rate * float64(time.Second)))
		if wait := time.Until(due); wait > 0 {
			time.Sleep(wait)
		}
		group.Go(func() {
			err := ask(ctx, i)
			answers[i] = answer{time.Since(due), err}
		})
	}
	sending := time.Since(start).Seconds()
	group.Wait()
	var r result
	var took []time.Duration
	shed := 0
	// The first fifth is the way into the load, where a burst is still given its time.
	for i, a := range answers {
		switch {
		case a.err == nil && i >= total/5:
			took = append(took, a.took)
			fallthrough
		case a.err == nil:
			r.accepted++
		case status.Code(a.err) == codes.ResourceExhausted:
			shed++
		default:
			r.failed++
			if r.firstFailure == nil {
				r.firstFailure = a.err
			}
		}
	}
	slices.Sort(took)
	if n := len(took); n > 0 {
		r.p50, r.p99, r.longest = took[n/2], took[n*99/100], took[n-1]
	}
	r.sent, r.accepted, r.shed = float64(total)/sending, r.accepted/sending, float64(shed)/sending
	return r
}
