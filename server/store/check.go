package store

import (
	"fmt"

	"github.com/catchline/catchline/model/fault"
)

// Check reports a query that no engine could answer, as a *fault.Error.
func (q *Query) Check() error {
	if err := (Key{Studio: q.Studio, Kind: q.Kind, Parent: q.Parent}).checkCollection(); err != nil {
		return err
	}
	if q.AnyParent && q.Parent != "" {
		return &fault.Error{Field: "parent", Value: q.Parent, Limit: "empty when any parent is asked for"}
	}
	if q.Limit < 1 || q.Limit > MaxPage {
		return &fault.Error{Field: "limit", Value: fmt.Sprint(q.Limit), Limit: fmt.Sprintf("1 to %d", MaxPage)}
	}
	if q.Bytes < 0 {
		return &fault.Error{Field: "bytes", Value: fmt.Sprint(q.Bytes), Limit: "0 or more"}
	}
	if q.Order < ByID || q.Order > NewestFirst {
		return &fault.Error{Field: "order", Value: fmt.Sprint(int(q.Order)), Limit: "ByID, OldestFirst or NewestFirst"}
	}
	for i, l := range q.Labels {
		if err := checkLabel(i, l); err != nil {
			return err
		}
	}
	if q.After != nil {
		if err := checkText("after.parent", q.After.Parent, 0, maxNameBytes); err != nil {
			return err
		}
		return checkText("after.id", q.After.ID, 0, maxNameBytes)
	}
	return nil
}

// Check reports a request that no engine could keep, as a *fault.Error.
func (r *Request) Check() error {
	if r.ID == "" && len(r.Hash) == 0 {
		return nil
	}
	if err := checkText("request_id", r.ID, 1, maxNameBytes); err != nil {
		return err
	}
	if len(r.Hash) == 0 || len(r.Hash) > 64 {
		return &fault.Error{Field: "request_hash", Value: fmt.Sprintf("%d bytes", len(r.Hash)), Limit: "1 to 64 bytes"}
	}
	return nil
}

// Check reports a write that no engine could do, as a *fault.Error.
func (w *Write) Check() error {
	if len(w.Ops) == 0 {
		return &fault.Error{Field: "ops", Value: "empty", Limit: "at least one"}
	}
	if err := w.Request.Check(); err != nil {
		return err
	}
	for i := range w.Ops {
		if err := w.checkOp(i); err != nil {
			return fmt.Errorf("ops[%d]: %w", i, err)
		}
	}
	return nil
}

func (w *Write) checkOp(i int) error {
	op := &w.Ops[i]
	r := &op.Record
	numbered := op.Action == ActionInsert && r.Kind.Numbered()
	switch {
	case op.Action < ActionInsert || op.Action > ActionRemove:
		return &fault.Error{Field: "action", Value: fmt.Sprint(int(op.Action)), Limit: "insert, replace or remove"}
	case r.Studio != w.Ops[0].Record.Studio:
		return &fault.Error{Field: "studio", Value: r.Studio, Limit: "the same in the whole write"}
	case numbered && r.ID != "":
		return &fault.Error{Field: "id", Value: r.ID, Limit: "empty: records of this kind are numbered by the store"}
	case op.removesStudio() && len(w.Ops) > 1:
		return &fault.Error{Field: "ops", Value: fmt.Sprint(len(w.Ops)), Limit: "removing a studio is a write of its own"}
	case r.Kind == KindStudio && (r.Studio != System || r.Parent != ""):
		return &fault.Error{Field: "kind", Value: string(r.Kind), Limit: "only in the studio " + System + " and without a parent"}
	case r.Kind == KindStudio && r.ID == System:
		return &fault.Error{Field: "id", Value: r.ID, Limit: "any but " + System}
	case numbered:
		if err := r.checkCollection(); err != nil {
			return err
		}
	default:
		if err := r.Key.Check(); err != nil {
			return err
		}
	}
	return r.checkContent()
}

func (op *Op) removesStudio() bool {
	return op.Action == ActionRemove && op.Record.Kind == KindStudio
}

// RemovesStudio reports whether the write deletes a whole studio.
func (w *Write) RemovesStudio() bool { return len(w.Ops) == 1 && w.Ops[0].removesStudio() }
