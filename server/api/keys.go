package api

import (
	"context"
	"errors"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/emptypb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"github.com/catchline/catchline/model/fault"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/access"
	"github.com/catchline/catchline/server/store"
)

type keys struct {
	pb.UnimplementedKeyServiceServer
	api *API
}

func newKeys(a *API) *keys { return &keys{api: a} }

func (s *keys) ListKeys(ctx context.Context, r *pb.ListKeysRequest) (*pb.ListKeysResponse, error) {
	parent, err := parseName("parent", r.Parent, store.KindStudio)
	if err != nil {
		return nil, err
	}
	size, after, err := pageOf(r)
	if err != nil {
		return nil, err
	}
	if err := s.api.exists(ctx, parent); err != nil {
		return nil, err
	}
	page, err := s.api.store.List(ctx, store.Query{Studio: parent.ID, Kind: store.KindKey, After: after, Limit: size, Bytes: pageBytes})
	if err != nil {
		return nil, err
	}
	all, unreadable, next, err := fillPage(r, page, shownKey)
	if err != nil {
		return nil, err
	}
	return &pb.ListKeysResponse{Keys: all, Unreadable: unreadable, NextPageToken: next}, nil
}

func (s *keys) CreateKey(ctx context.Context, r *pb.CreateKeyRequest) (*pb.CreateKeyResponse, error) {
	parent, err := parseName("parent", r.Parent, store.KindStudio)
	if err != nil {
		return nil, err
	}
	if t := r.Key.ExpireTime; t != nil {
		if err := t.CheckValid(); err != nil || !t.AsTime().After(s.api.now()) {
			return nil, &fault.Error{Field: "key.expire_time", Value: t.AsTime().Format(time.RFC3339), Limit: "a time that has not come yet"}
		}
	}
	kept := proto.Clone(r.Key).(*pb.Key)
	if latest := s.api.keyLife.Latest(ctx, s.api.now()); !latest.IsZero() {
		if t := r.Key.ExpireTime; t != nil && t.AsTime().After(latest) {
			return nil, &fault.Error{Field: "key.expire_time", Value: t.AsTime().Format(time.RFC3339), Limit: "at the latest " + latest.UTC().Format(time.RFC3339) + ", or unset for that"}
		} else if t == nil {
			kept.ExpireTime = timestamppb.New(latest)
		}
	}
	id, secret, hash := access.New()
	clearOutput(kept.ProtoReflect())
	body, err := (&access.Record{Hash: hash, Key: kept}).Marshal()
	if err != nil {
		return nil, err
	}
	answer, err := s.api.write(ctx, store.Write{Ops: []store.Op{
		store.Insert(store.Record{Key: store.Key{Studio: parent.ID, Kind: store.KindKey, ID: id}, Body: body}),
	}})
	if errors.Is(err, store.ErrNotFound) {
		return nil, &NotFoundError{r.Parent}
	} else if err != nil {
		return nil, err
	}
	key, err := shownKey(answer.Records[0])
	if err != nil {
		return nil, err
	}
	return &pb.CreateKeyResponse{Key: key, Secret: secret}, nil
}

func (s *keys) DeleteKey(ctx context.Context, r *pb.DeleteKeyRequest) (*emptypb.Empty, error) {
	key, err := parseName("name", r.Name, store.KindKey)
	if err != nil {
		return nil, err
	}
	_, err = s.api.write(ctx, store.Write{Ops: []store.Op{store.Remove(key, 0)}})
	if errors.Is(err, store.ErrNotFound) {
		return nil, &NotFoundError{r.Name}
	}
	return &emptypb.Empty{}, err
}

// shownKey is the key of a record, without its hash.
func shownKey(rec store.Record) (*pb.Key, error) {
	var r access.Record
	if err := r.Unmarshal(rec.Body); err != nil {
		return nil, err
	}
	r.Key.Name = nameOf(rec.Key)
	r.Key.CreateTime = timestamppb.New(rec.CreateTime)
	return r.Key, nil
}
