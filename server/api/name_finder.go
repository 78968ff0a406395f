package api

import (
	"context"
	"fmt"
	"strings"

	"google.golang.org/protobuf/proto"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

// finder is names of a studio: it finds its things by id, else by display name without regard to case.
type finder struct {
	ctx    context.Context
	api    *API
	studio string
	byKind map[finderPlace]*finderIndex
}

type finderPlace struct {
	kind   store.Kind
	parent string
}

type finderIndex struct {
	ids     map[string]bool
	titles  map[string][]string // ids by display name
	damaged int                 // those of which only the id is known
}

func (f *finder) find(kind store.Kind, parent, called string) (string, error) {
	index, err := f.index(finderPlace{kind, parent})
	if err != nil {
		return "", err
	}
	id := strings.TrimSpace(called)
	if !index.ids[id] {
		found := index.titles[folded(called)]
		switch len(found) {
		case 0:
			limit := fmt.Sprintf("the id or the name of a %s that exists", kind)
			if index.damaged > 0 {
				limit += fmt.Sprintf("; the stored records of %d are damaged, and these go by their ids alone", index.damaged)
			}
			return "", allowed(limit)
		case 1:
			id = found[0]
		default:
			return "", allowed(fmt.Sprintf("an id, as several have this name: %s", strings.Join(found, ", ")))
		}
	}
	return nameOf(store.Key{Studio: f.studio, Kind: kind, Parent: parent, ID: id}), nil
}

func (f *finder) index(place finderPlace) (*finderIndex, error) {
	if i := f.byKind[place]; i != nil {
		return i, nil
	}
	i := &finderIndex{ids: map[string]bool{}, titles: map[string][]string{}}
	q := store.Query{Studio: f.studio, Kind: place.kind, Parent: place.parent, Limit: store.MaxPage}
	for more := true; more; {
		page, err := f.api.store.List(f.ctx, q)
		if err != nil {
			return nil, err
		}
		for _, rec := range page.Records {
			title, err := f.title(rec)
			if err != nil {
				return nil, err
			}
			i.ids[rec.ID] = true
			i.titles[folded(title)] = append(i.titles[folded(title)], rec.ID)
		}
		for _, d := range page.Damaged {
			i.ids[d.Key.ID] = true
			i.damaged++
		}
		q.After, more = page.Last, page.More
	}
	if f.byKind == nil {
		f.byKind = map[finderPlace]*finderIndex{}
	}
	f.byKind[place] = i
	return i, nil
}

// title is the display name of a record.
func (f *finder) title(rec store.Record) (string, error) {
	m := map[store.Kind]proto.Message{
		store.KindGlaze: &pb.Glaze{}, store.KindLot: &pb.Lot{}, store.KindBody: &pb.Body{}, store.KindFiring: &pb.Firing{}, store.KindWare: &pb.Ware{},
	}[rec.Kind]
	err := proto.Unmarshal(rec.Body, m)
	return displayNameOf(m), err
}
