package commit

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/catchline/catchline/server/store"
)

func glaze(id, body string) store.Record {
	return store.Record{Key: store.Key{Studio: "s", Kind: store.KindGlaze, ID: id}, Body: []byte(body)}
}

func jobs(writes ...[]store.Op) []*Job {
	var all []*Job
	for _, ops := range writes {
		all = append(all, &Job{Write: &store.Write{Ops: ops}})
	}
	return all
}

// TestFailedWriteLeavesNothingToTheNext groups a write that fails at its last step with others, which is a
// matter of chance from outside.
func TestFailedWriteLeavesNothingToTheNext(t *testing.T) {
	calibration := store.Record{Key: store.Key{Studio: "s", Kind: store.KindCalibration}}
	g := NewGroup(jobs(
		[]store.Op{
			store.Insert(glaze("new", "")),
			store.Replace(glaze("kept", "2")),
			store.Remove(glaze("kept", "").Key, 0),
			store.Insert(calibration),
			store.Insert(glaze("taken", "")),
		},
		[]store.Op{store.Insert(glaze("new", "of the second write"))},
		[]store.Op{store.Replace(store.Record{Key: glaze("kept", "").Key, Revision: 7, Body: []byte("3")})},
		[]store.Op{store.Insert(calibration)},
	), false)
	*g.Studios["s"] = Studio{Live: true, Sequence: 100}
	kept, taken := glaze("kept", "1"), glaze("taken", "")
	kept.Sequence, kept.Revision = 7, 7
	g.SetBefore(&Row{Record: kept})
	g.SetBefore(&Row{Record: taken})
	g.Apply(time.Unix(0, 0))
	if !errors.Is(g.Jobs[0].Err, store.ErrAlreadyExists) {
		t.Fatalf("the first write: %v", g.Jobs[0].Err)
	}
	var got []string
	for _, j := range g.Jobs[1:] {
		if j.Err != nil {
			t.Fatal(j.Err)
		}
		r := j.Answer.Records[0]
		got = append(got, fmt.Sprintf("%s %d %d %s", r.ID, r.Sequence, r.Revision, r.Body))
	}
	const want = "new 101 101 of the second write, kept 7 102 3, 1 103 103 "
	if all := strings.Join(got, ", "); all != want {
		t.Fatalf("got %q, want %q", all, want)
	}
	var touched []string
	g.Touched(func(_, after *Row) error {
		touched = append(touched, after.ID)
		return nil
	})
	if all := strings.Join(touched, " "); all != "new kept 1" {
		t.Fatalf("to be stored: %s", all)
	}
}

// TestKnownRowAnswers gives a fresh group a row that answers a request of which it was assumed that none does, as an engine does that reads the
// row for the sake of another write.
func TestKnownRowAnswers(t *testing.T) {
	once := store.Request{ID: "r", Hash: []byte("h")}
	all := jobs([]store.Op{store.Insert(glaze("second", ""))}, []store.Op{store.Replace(glaze("first", "2"))})
	all[0].Write.Request = once
	g := NewGroup(all, true)
	*g.Studios["s"] = Studio{Live: true, Sequence: 100}
	now := time.Unix(1709121600, 0)
	before := Row{Record: glaze("first", "1"), Request: once}
	before.UpdateTime = now
	g.SetBefore(&before)
	g.Apply(now)
	if a := all[0]; a.Err != nil || !a.Answer.Replayed || a.Answer.Records[0].ID != "first" {
		t.Errorf("the request was answered by %+v, %v", a.Answer, a.Err)
	}
	if len(g.Copies) != 1 || string(g.Requests[g.Copies[0]].Saved.Records[0].Body) != "1" {
		t.Errorf("the copies are %v", g.Copies)
	}
}

// TestFailedWriteLeavesNoCopy lets a write fail after a step that has changed a row that answers a request.
func TestFailedWriteLeavesNoCopy(t *testing.T) {
	g := NewGroup(jobs([]store.Op{store.Replace(glaze("kept", "2")), store.Insert(glaze("kept", ""))}), false)
	*g.Studios["s"] = Studio{Live: true, Sequence: 100}
	g.SetBefore(&Row{Record: glaze("kept", "1"), Request: store.Request{ID: "r", Hash: []byte("h")}})
	g.Apply(time.Time{})
	if !errors.Is(g.Jobs[0].Err, store.ErrAlreadyExists) || len(g.Copies) != 0 {
		t.Fatalf("%v, copies %v", g.Jobs[0].Err, g.Copies)
	}
}

// TestOutdatedRow uses a request anew whose old answer is a row that the next write of the group changes.
func TestOutdatedRow(t *testing.T) {
	once := store.Request{ID: "r", Hash: []byte("h")}
	all := jobs([]store.Op{store.Insert(glaze("new", ""))}, []store.Op{store.Replace(glaze("old", "2"))}, []store.Op{store.Insert(glaze("new", ""))})
	all[0].Write.Request, all[2].Write.Request = once, once
	g := NewGroup(all, false)
	*g.Studios["s"] = Studio{Live: true, Sequence: 100}
	now := time.Unix(1709121600, 0)
	before := Row{Record: glaze("old", "1"), Request: once}
	before.UpdateTime = now.Add(-store.RequestLifetime)
	g.SetBefore(&before)
	g.Apply(now)
	for i, replayed := range []bool{false, false, true} {
		if a := all[i]; a.Err != nil || a.Answer.Replayed != replayed {
			t.Errorf("write %d: %+v, %v", i, a.Answer, a.Err)
		}
	}
	if len(g.Copies) != 0 || len(g.Outdated) != 1 {
		t.Errorf("copies %v, outdated %v", g.Copies, g.Outdated)
	}
}

// TestQueue holds the first group up until all the other writes wait, and looks at how they are grouped.
func TestQueue(t *testing.T) {
	hold, held := make(chan struct{}), make(chan struct{}, 1)
	var mu sync.Mutex
	var groups []string
	q := NewQueue(func(jobs []*Job) {
		var ids []string
		for _, j := range jobs {
			ids = append(ids, j.Write.Ops[0].Record.ID)
		}
		mu.Lock()
		groups = append(groups, strings.Join(ids, " "))
		mu.Unlock()
		select {
		case held <- struct{}{}:
			<-hold
		default:
		}
	}, nil)
	var wg sync.WaitGroup
	waiting := 0
	add := func(ctx context.Context, op store.Op, want error) {
		wg.Go(func() {
			if _, err := q.Write(ctx, &store.Write{Ops: []store.Op{op}}); !errors.Is(err, want) {
				t.Errorf("%s: got the error %v, want %v", op.Record.ID, err, want)
			}
		})
		if waiting == 0 {
			<-held
			held <- struct{}{} // no group after the first is held up
			waiting = 1
			return
		}
		for there := false; !there; { // in this order
			q.mu.Lock()
			there = len(q.waiting) == waiting
			q.mu.Unlock()
		}
		waiting++
	}
	gone, leave := context.WithCancel(t.Context())
	studio := store.Key{Studio: store.System, Kind: store.KindStudio, ID: "removed"}
	add(t.Context(), store.Insert(glaze("first", "")), nil)
	add(t.Context(), store.Insert(glaze("a", "")), nil)
	add(gone, store.Insert(glaze("gone", "")), context.Canceled)
	add(t.Context(), store.Insert(glaze("b", "")), nil)
	add(t.Context(), store.Remove(studio, 0), nil)
	add(t.Context(), store.Insert(glaze("c", "")), nil)
	add(t.Context(), store.Insert(glaze("d", "")), nil)
	leave()
	close(hold)
	wg.Wait()
	q.Close()
	if got, want := strings.Join(groups, ", "), "first, a b, removed, c d"; got != want {
		t.Fatalf("got the groups %q, want %q", got, want)
	}
	if _, err := q.Write(t.Context(), &store.Write{Ops: []store.Op{store.Insert(glaze("late", ""))}}); !errors.Is(err, store.ErrClosed) {
		t.Fatalf("after Close: %v", err)
	}
}
