package api

import (
	"context"
	"errors"
	"fmt"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/emptypb"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"github.com/catchline/catchline/model/fault"
	"github.com/catchline/catchline/server/store"
)

// resource is what get, list, create, update and delete need to know of a kind of thing. All kinds work alike but for the three
// functions, each of which may be nil.
type resource[T proto.Message] struct {
	kind  store.Kind
	field string // the resource in its requests, such as "glaze"
	order store.Order

	// settle completes and checks a resource beyond the contract's limits, before it is written. old is nil at creation. It returns
	// the labels to find it by, and what else is to be written with it or not at all.
	settle func(ctx context.Context, key store.Key, old, next T) (labels []string, with []store.Op, err error)
	// filler gives the function that fills in what only the server says, good for any number of resources of a studio.
	filler func(ctx context.Context, studio string) (func(T) error, error)
	// removal says what else is to be removed with a resource, or why it cannot be. A resource that is damaged is empty.
	removal func(ctx context.Context, key store.Key, stored T) ([]store.Op, error)

	api *API
}

// tries bounds how often a write is tried again after someone else wrote the same thing.
const tries = 8

func fresh[T proto.Message]() T {
	var none T
	return none.ProtoReflect().New().Interface().(T)
}

// decode reads a record as the resource that it holds, with its envelope and without what this version's contract does not have.
func (r *resource[T]) decode(rec store.Record) (T, error) { return r.decodeBy(known, rec) }

// decodeWhole is decode with what a newer server has written: for what is to be stored again.
func (r *resource[T]) decodeWhole(rec store.Record) (T, error) {
	return r.decodeBy(proto.UnmarshalOptions{}, rec)
}

func (r *resource[T]) decodeBy(o proto.UnmarshalOptions, rec store.Record) (T, error) {
	t := fresh[T]()
	if err := o.Unmarshal(rec.Body, t); err != nil {
		return t, fmt.Errorf("the record %s: %w", rec.Key, err)
	}
	m := t.ProtoReflect()
	fields := m.Descriptor().Fields()
	set := func(name protoreflect.Name, v protoreflect.Value) { m.Set(fields.ByName(name), v) }
	set("name", protoreflect.ValueOfString(nameOf(rec.Key)))
	set("etag", protoreflect.ValueOfString(etagOf(rec.Revision)))
	set("create_time", protoreflect.ValueOfMessage(timestamppb.New(rec.CreateTime).ProtoReflect()))
	set("update_time", protoreflect.ValueOfMessage(timestamppb.New(rec.UpdateTime).ProtoReflect()))
	return t, nil
}

// record makes the record to write of a resource, and takes from it what the record says by itself.
func (r *resource[T]) record(key store.Key, t T, labels []string) (store.Record, error) {
	m := t.ProtoReflect()
	for _, name := range []protoreflect.Name{"name", "etag", "create_time", "update_time"} {
		m.Clear(m.Descriptor().Fields().ByName(name))
	}
	b, err := encode(t)
	if err == nil {
		err = checkSize(r.field, b)
	}
	return store.Record{Key: key, Labels: labels, Body: b}, err
}

// show gives the function that reads records of a studio as resources with all that the server says of them.
func (r *resource[T]) show(ctx context.Context, studio string) (func(store.Record) (T, error), error) {
	fill := func(T) error { return nil }
	if r.filler != nil {
		var err error
		if fill, err = r.filler(ctx, studio); err != nil {
			return nil, err
		}
	}
	return func(rec store.Record) (T, error) {
		t, err := r.decode(rec)
		if err == nil {
			err = fill(t)
		}
		return t, err
	}, nil
}

func (r *resource[T]) showOne(ctx context.Context, rec store.Record) (t T, err error) {
	show, err := r.show(ctx, studioOf(rec.Key))
	if err != nil {
		return t, err
	}
	if t, err = show(rec); err != nil {
		return t, err
	}
	if n := proto.Size(t); n > mostAnswerBytes {
		return t, &PreconditionError{nameOf(rec.Key), fmt.Sprintf(
			"it is %d bytes, and an answer holds at most %d; it was stored by an earlier version, and can only be deleted", n, mostAnswerBytes)}
	}
	return t, nil
}

// read finds the record of a name, or says that it does not exist.
func (a *API) read(ctx context.Context, key store.Key) (store.Record, error) {
	rec, err := a.store.Get(ctx, key)
	if errors.Is(err, store.ErrNotFound) {
		return rec, &NotFoundError{nameOf(key)}
	}
	return rec, err
}

// exists says that what a name stands for exists, though it may be damaged itself.
func (a *API) exists(ctx context.Context, key store.Key) error {
	if _, err := a.read(ctx, key); err != nil && !errors.Is(err, store.ErrDamaged) {
		return err
	}
	return nil
}

// stored is the resource of a key as it is stored, all of it, without what the server fills in.
func (r *resource[T]) stored(ctx context.Context, key store.Key) (t T, err error) {
	rec, err := r.api.read(ctx, key)
	if err != nil {
		return t, err
	}
	return r.decodeWhole(rec)
}

func (r *resource[T]) get(ctx context.Context, name string) (t T, err error) {
	key, err := parseName("name", name, r.kind)
	if err != nil {
		return t, err
	}
	rec, err := r.api.read(ctx, key)
	if err != nil {
		return t, err
	}
	return r.showOne(ctx, rec)
}

// parentKey reads the parent of a request: the place in which its resources are.
func (r *resource[T]) parentKey(parent string) (in, place store.Key, err error) {
	kind := store.KindStudio
	if r.kind == store.KindLot {
		kind = store.KindGlaze
	}
	if in, err = parseName("parent", parent, kind); err != nil {
		return in, place, err
	}
	place = store.Key{Studio: studioOf(in), Kind: r.kind}
	if kind == store.KindGlaze {
		place.Parent = in.ID
	}
	return in, place, nil
}

// list gives a page of the resources in a place, the names of those that cannot be shown, and the token of the page after it.
func (r *resource[T]) list(ctx context.Context, request proto.Message, parent string, labels ...string) (all []T, unreadable []string, next string, err error) {
	in, place, err := r.parentKey(parent)
	if err != nil {
		return nil, nil, "", err
	}
	size, after, err := pageOf(request)
	if err != nil {
		return nil, nil, "", err
	}
	if err := r.api.exists(ctx, in); err != nil {
		return nil, nil, "", err
	}
	page, err := r.api.store.List(ctx, store.Query{
		Studio: place.Studio, Kind: r.kind, Parent: place.Parent, Labels: labels, Order: r.order, After: after, Limit: size, Bytes: pageBytes,
	})
	if err != nil || page.Last == nil {
		return nil, nil, "", err
	}
	show, err := r.show(ctx, place.Studio)
	if err != nil {
		return nil, nil, "", err
	}
	return fillPage(request, page, show)
}

// create stores a new resource in a place. Without an id it makes one of the display name, or at random.
func (r *resource[T]) create(ctx context.Context, request proto.Message, parent, id, requestID string, in T) (T, error) {
	within, place, err := r.parentKey(parent)
	if err != nil {
		var none T
		return none, err
	}
	return r.createIn(ctx, request, within, place, id, requestID, in)
}

func (r *resource[T]) createIn(ctx context.Context, request proto.Message, within, place store.Key, id, requestID string, in T) (t T, err error) {
	if id != "" && !validID(id) {
		return t, &fault.Error{Field: r.field + "_id", Value: quoted(id), Limit: idRule}
	}
	once, err := requestOf(request, requestID)
	if err != nil {
		return t, err
	}
	// Whether the request was answered before, and whether its studio exists, the writing finds out anyway. Of any other place, or
	// where it does not come to the writing, it has to be asked.
	before := func() (t T, done bool, err error) {
		if answer, done, err := r.api.answered(ctx, place.Studio, once); done {
			if err == nil {
				t, err = r.showOne(ctx, answer.Records[0])
			}
			return t, true, err
		}
		if place.Studio != store.System {
			_, err = r.api.read(ctx, within)
		}
		return t, err != nil, err
	}
	if within.Kind != store.KindStudio {
		if t, done, err := before(); done {
			return t, err
		}
	}
	next := proto.Clone(in).(T)
	clearOutput(next.ProtoReflect())
	made := idFrom(displayNameOf(next))
	for try := range tries {
		place.ID = id
		switch {
		case id != "":
		case made == "" || try == tries-1:
			place.ID = randomID()
		case try == 0:
			place.ID = made
		default:
			place.ID = made[:min(len(made), maxID-3)] + fmt.Sprintf("-%d", try+1)
		}
		var old T
		labels, with, err := r.settleNow(ctx, place, old, next)
		if err != nil {
			if t, done, err := before(); done {
				return t, err
			}
			return t, err
		}
		rec, err := r.record(place, next, labels)
		if err != nil {
			return t, err
		}
		answer, err := r.api.write(ctx, store.Write{Request: once, Ops: append([]store.Op{store.Insert(rec)}, with...)})
		switch {
		case err == nil:
			return r.showOne(ctx, answer.Records[0])
		case errors.Is(err, store.ErrNotFound):
			return t, &NotFoundError{nameOf(within)}
		case !errors.Is(err, store.ErrAlreadyExists) && !errors.Is(err, store.ErrConflict):
			return t, err
		}
		// Either the id is taken, or what is written with it; then settle finds out.
		if _, err := r.api.store.Get(ctx, place); err == nil && id != "" {
			return t, &ExistsError{nameOf(place)}
		}
	}
	return t, store.ErrConflict
}

func (r *resource[T]) settleNow(ctx context.Context, key store.Key, old, next T) ([]string, []store.Op, error) {
	if r.settle == nil {
		return nil, nil, nil
	}
	return r.settle(ctx, key, old, next)
}

func displayNameOf(m proto.Message) string {
	if named, ok := m.(interface{ GetDisplayName() string }); ok {
		return named.GetDisplayName()
	}
	return ""
}

// update changes a stored resource. With an etag it changes only what the caller has read; without one, whatever is there.
func (r *resource[T]) update(ctx context.Context, request proto.Message, in T, mask *fieldmaskpb.FieldMask, requestID string) (t T, err error) {
	in = proto.Clone(in).(T) // lists go from it into the stored resource, which settle may change
	m := in.ProtoReflect()
	text := func(name protoreflect.Name) string { return m.Get(m.Descriptor().Fields().ByName(name)).String() }
	key, err := parseName(r.field+".name", text("name"), r.kind)
	if err != nil {
		return t, err
	}
	once, err := requestOf(request, requestID)
	if err != nil {
		return t, err
	}
	if answer, done, err := r.api.answered(ctx, key.Studio, once); done {
		if err != nil {
			return t, err
		}
		return r.showOne(ctx, answer.Records[0])
	}
	for range tries {
		rec, err := r.api.read(ctx, key)
		if err != nil {
			return t, err
		}
		if e := text("etag"); e != "" && e != etagOf(rec.Revision) {
			return t, &ChangedError{nameOf(key)}
		}
		old, err := r.decodeWhole(rec)
		if err != nil {
			return t, err
		}
		next := proto.Clone(old).(T)
		if err := change(next, in, mask); err != nil {
			return t, err
		}
		keepUnknown(next.ProtoReflect(), old.ProtoReflect())
		if err := checkResource(next, r.field, studioOf(key)); err != nil {
			return t, err
		}
		labels, with, err := r.settleNow(ctx, key, old, next)
		if err != nil {
			return t, err
		}
		changed, err := r.record(key, next, labels)
		if err != nil {
			return t, err
		}
		changed.Revision = rec.Revision
		answer, err := r.api.write(ctx, store.Write{Request: once, Ops: append([]store.Op{store.Replace(changed)}, with...)})
		switch {
		case err == nil:
			return r.showOne(ctx, answer.Records[0])
		case errors.Is(err, store.ErrNotFound), errors.Is(err, store.ErrConflict), errors.Is(err, store.ErrAlreadyExists):
			// Someone was faster; the next round finds out what is there now.
		default:
			return t, err
		}
	}
	return t, store.ErrConflict
}

// remove deletes a resource and what goes with it.
func (r *resource[T]) remove(ctx context.Context, request proto.Message, name, etag, requestID string) (*emptypb.Empty, error) {
	key, err := parseName("name", name, r.kind)
	if err != nil {
		return nil, err
	}
	once, err := requestOf(request, requestID)
	if err != nil {
		return nil, err
	}
	if _, done, err := r.api.answered(ctx, key.Studio, once); done {
		return &emptypb.Empty{}, err
	}
	for range tries {
		t, revision, err := r.removable(ctx, key, etag)
		if err != nil {
			return nil, err
		}
		ops := []store.Op{store.Remove(key, revision)}
		if r.removal != nil {
			with, err := r.removal(ctx, key, t)
			if err != nil {
				return nil, err
			}
			ops = append(ops, with...)
		}
		_, err = r.api.write(ctx, store.Write{Request: once, Ops: ops})
		switch {
		case err == nil:
			return &emptypb.Empty{}, nil
		case errors.Is(err, store.ErrNotFound), errors.Is(err, store.ErrConflict):
			// Someone was faster; the next round finds out what is there now.
		default:
			return nil, err
		}
	}
	return nil, store.ErrConflict
}

// removable reads what is to be removed, and its revision. One that is damaged comes back empty, and with no revision: unless an etag
// asks for what nobody knows any more, it may be removed.
func (r *resource[T]) removable(ctx context.Context, key store.Key, etag string) (t T, revision int64, err error) {
	rec, err := r.api.read(ctx, key)
	switch {
	case errors.Is(err, store.ErrDamaged) && etag == "":
		return fresh[T](), 0, nil
	case err != nil:
		return t, 0, err
	case etag != "" && etag != etagOf(rec.Revision):
		return t, 0, &ChangedError{nameOf(key)}
	}
	t, err = r.decode(rec)
	return t, rec.Revision, err
}

// answered gives the answer that a request has got before. done is false if it is new.
func (a *API) answered(ctx context.Context, studio string, once store.Request) (answer store.Answer, done bool, err error) {
	if once.ID == "" {
		return answer, false, nil
	}
	answer, err = a.store.Answered(ctx, studio, once)
	if errors.Is(err, store.ErrNotFound) {
		return answer, false, nil
	}
	return answer, true, err
}

// write writes, and says so when nobody knows whether it did and the write is not safe to send again.
func (a *API) write(ctx context.Context, w store.Write) (store.Answer, error) {
	answer, err := a.store.Write(ctx, w)
	if errors.Is(err, store.ErrUncertain) && w.Request.ID == "" {
		err = &unrepeatableError{err}
	}
	return answer, err
}
