package api

import (
	"bytes"
	"compress/flate"
	"context"
	"errors"
	"fmt"
	"io"
	"math"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"github.com/catchline/catchline/model"
	"github.com/catchline/catchline/model/calib"
	storepb "github.com/catchline/catchline/proto/catchline/store/v1"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

// calibrations fits what the studio's tiles add to the physics.
type calibrations struct {
	pb.UnimplementedCalibrationServiceServer
	api *API
}

// decodeCalibration reads a stored calibration for scoring.
func decodeCalibration(name string, body []byte) (*activeCalibration, error) {
	var record storepb.CalibrationRecord
	if err := proto.Unmarshal(body, &record); err != nil {
		return nil, err
	}
	c := &calib.Calibration{}
	regression, err := inflated(record.GetRegression())
	if err != nil {
		return nil, fmt.Errorf("%s cannot be read: %w", name, err)
	}
	if err := c.UnmarshalBinary(regression); err != nil {
		return nil, fmt.Errorf("%s cannot be read: %w", name, err)
	}
	return &activeCalibration{name: name, Calibration: c, dripRatio: math.Max(record.GetShown().GetDripRatio(), 1), otherPhysics: ofOtherPhysics(&record)}, nil
}

func ofOtherPhysics(record *storepb.CalibrationRecord) bool {
	return record.GetPhysicsVersion() != model.PhysicsVersion
}

func (s *calibrations) FitCalibration(ctx context.Context, r *pb.FitCalibrationRequest) (*pb.Calibration, error) {
	key, err := parseName("parent", r.GetParent(), store.KindStudio)
	if err != nil {
		return nil, err
	}
	request, err := requestOf(r, r.GetRequestId())
	if err != nil {
		return nil, err
	}
	if shown, err := s.answeredFit(ctx, key.ID, request); shown != nil || err != nil {
		return shown, err
	}
	// The choice is read before the studio, so that a fit judged against an older one than the latest is never taken for better.
	_, revision, err := store.Active(ctx, s.api.store, key.ID)
	if err != nil {
		return nil, err
	}
	s.api.cache.touch(key.ID)
	p, err := s.api.cache.get(ctx, key.ID)
	if err != nil {
		return nil, err
	}
	fitted, err := s.fit(ctx, p)
	if err != nil {
		return nil, err
	}
	fitted.ActiveRevision = revision
	return s.keep(ctx, p, fitted, request)
}

// answeredFit gives the calibration that an earlier request with the same id made.
func (s *calibrations) answeredFit(ctx context.Context, studio string, request store.Request) (*pb.Calibration, error) {
	if request.ID == "" {
		return nil, nil
	}
	answer, err := s.api.store.Answered(ctx, studio, request)
	switch {
	case errors.Is(err, store.ErrNotFound):
		return nil, nil
	case err != nil:
		return nil, err
	}
	return s.finish(ctx, studio, answer.Records[0].ID)
}

// finish makes a stored calibration active if it deserves to be and the choice is still the one that it was judged against, and shows
// it. Doing it again changes nothing.
func (s *calibrations) finish(ctx context.Context, studio, number string) (*pb.Calibration, error) {
	record, err := s.api.store.Get(ctx, store.Key{Studio: studio, Kind: store.KindCalibration, ID: number})
	if err != nil {
		return nil, err
	}
	var stored storepb.CalibrationRecord
	if err := proto.Unmarshal(record.Body, &stored); err != nil {
		return nil, err
	}
	if stored.GetActivate() {
		// Another fit may have won meanwhile; then this one stays in store, and says that it is not active.
		err := store.SetActive(ctx, s.api.store, studio, number, stored.GetActiveRevision(), store.Request{})
		if err != nil && !errors.Is(err, store.ErrConflict) {
			return nil, err
		}
	}
	return s.read(ctx, studio, number)
}

// fit learns from the studio's tiles and judges the result against the active calibration, unless that belongs to another physics: what it would say of the
// tiles by this one is nothing that it has learnt.
func (s *calibrations) fit(ctx context.Context, p *prepared) (*storepb.CalibrationRecord, error) {
	// The drip ratio goes into the reading of every tile, so it comes first.
	ratio, err := s.api.cache.dripRatio(ctx, p.studio)
	if err != nil {
		return nil, err
	}
	base := &activeCalibration{name: p.calibration.name, Calibration: p.calibration.Calibration, dripRatio: ratio.Median}
	tiles, skipped, err := s.api.cache.readTiles(ctx, p, base)
	if err != nil {
		return nil, err
	}
	log := make([]calib.Tile, len(tiles))
	for i, t := range tiles {
		log[i] = t.calib
	}
	c, err := calib.Fit(log, calib.DefaultPrior())
	if err != nil {
		return nil, err
	}
	comparison := calib.Comparison{Sentence: "The active calibration belongs to another version of the model, so the two are not compared."}
	if p.calibration.damaged != nil {
		comparison.Sentence = "The active calibration is damaged, so the two are not compared."
	} else if !p.calibration.otherPhysics {
		if comparison, err = calib.Compare(p.calibration.Calibration, c, log); err != nil {
			return nil, err
		}
	}
	shown := showCalibration(c, tiles)
	shown.DripRatio = ratio.Median
	shown.Verdict = verdict(len(tiles), skipped, comparison)
	fitted, err := c.MarshalBinary()
	if err != nil {
		return nil, err
	}
	regression, err := deflated(fitted)
	if err != nil {
		return nil, err
	}
	return &storepb.CalibrationRecord{
		Shown: shown, Regression: regression, Activate: p.calibration.name == "" || !comparison.Loses, PhysicsVersion: model.PhysicsVersion,
	}, nil
}

// deflated packs a regression, which keeps what it learnt from each tile, to about half.
func deflated(data []byte) ([]byte, error) {
	var b bytes.Buffer
	w, err := flate.NewWriter(&b, flate.BestSpeed)
	if err != nil {
		return nil, err
	}
	if _, err := w.Write(data); err != nil {
		return nil, err
	}
	err = w.Close()
	return b.Bytes(), err
}

func inflated(data []byte) ([]byte, error) {
	r := flate.NewReader(bytes.NewReader(data))
	defer r.Close()
	return io.ReadAll(r)
}

// verdict says in a sentence why a calibration is in use or not.
func verdict(tiles int, skipped []skippedTile, c calib.Comparison) string {
	text := fmt.Sprintf("Learnt from %s. %s", countedTiles(tiles), c.Sentence)
	if n := len(skipped); n > 0 {
		text += fmt.Sprintf(" %s could not be read, the first of them %s: %v.", countedTiles(n), skipped[0].name, skipped[0].err)
	}
	return text
}

func countedTiles(n int) string {
	if n == 1 {
		return "1 tile"
	}
	return fmt.Sprintf("%d tiles", n)
}

// keep stores a calibration under the next number and makes it active if it deserves to be.
func (s *calibrations) keep(ctx context.Context, p *prepared, fitted *storepb.CalibrationRecord, request store.Request) (*pb.Calibration, error) {
	fitted.Shown.CreateTime = timestamppb.New(s.api.now())
	body, err := encode(fitted)
	if err != nil {
		return nil, err
	}
	answer, err := s.api.store.Write(ctx, store.Write{Request: request, Ops: []store.Op{
		store.Insert(store.Record{Key: store.Key{Studio: p.studio, Kind: store.KindCalibration}, Body: body}),
	}})
	if err != nil {
		return nil, err
	}
	return s.finish(ctx, p.studio, answer.Records[0].ID)
}

// read gives a calibration as callers see it.
func (s *calibrations) read(ctx context.Context, studio, number string) (*pb.Calibration, error) {
	record, err := s.api.store.Get(ctx, store.Key{Studio: studio, Kind: store.KindCalibration, ID: number})
	if errors.Is(err, store.ErrNotFound) {
		return nil, &NotFoundError{nameOf(store.Key{Studio: studio, Kind: store.KindCalibration, ID: number})}
	}
	if err != nil {
		return nil, err
	}
	active, err := s.active(ctx, studio)
	if err != nil {
		return nil, err
	}
	return shownCalibration(&record, active)
}

// active is the number of the calibration in use; none is where the choice is damaged, with which nothing is scored.
func (s *calibrations) active(ctx context.Context, studio string) (string, error) {
	number, _, err := store.Active(ctx, s.api.store, studio)
	if errors.Is(err, store.ErrDamaged) {
		return "", nil
	}
	return number, err
}

func shownCalibration(r *store.Record, active string) (*pb.Calibration, error) {
	var stored storepb.CalibrationRecord
	if err := known.Unmarshal(r.Body, &stored); err != nil {
		return nil, err
	}
	shown := stored.GetShown()
	shown.Name = nameOf(r.Key)
	if _, err := fmt.Sscan(r.ID, &shown.Number); err != nil {
		return nil, err
	}
	shown.Active = r.ID == active
	if ofOtherPhysics(&stored) {
		shown.Verdict += " " + fitAnew
	}
	return shown, nil
}

func (s *calibrations) GetCalibration(ctx context.Context, r *pb.GetCalibrationRequest) (*pb.Calibration, error) {
	key, err := parseName("name", r.GetName(), store.KindCalibration)
	if err != nil {
		return nil, err
	}
	return s.read(ctx, key.Studio, key.ID)
}

// calibrationBytes bounds what is read for a page of calibrations, which are stored with all that they have learnt and shown without.
const calibrationBytes = 64 << 20

func (s *calibrations) ListCalibrations(ctx context.Context, r *pb.ListCalibrationsRequest) (*pb.ListCalibrationsResponse, error) {
	key, err := parseName("parent", r.GetParent(), store.KindStudio)
	if err != nil {
		return nil, err
	}
	if err := s.api.exists(ctx, key); err != nil {
		return nil, err
	}
	size, after, err := pageOf(r)
	if err != nil {
		return nil, err
	}
	page, err := s.api.store.List(ctx, store.Query{Studio: key.ID, Kind: store.KindCalibration, Order: store.NewestFirst, After: after, Limit: size, Bytes: calibrationBytes})
	if err != nil {
		return nil, err
	}
	active, err := s.active(ctx, key.ID)
	if err != nil {
		return nil, err
	}
	all, unreadable, next, err := fillPage(r, page, func(rec store.Record) (*pb.Calibration, error) {
		shown, err := shownCalibration(&rec, active)
		if err == nil && shown.Diagnostics != nil {
			shown.Diagnostics.Tiles = nil
		}
		return shown, err
	})
	if err != nil {
		return nil, err
	}
	return &pb.ListCalibrationsResponse{Calibrations: all, Unreadable: unreadable, NextPageToken: next}, nil
}

func (s *calibrations) ActivateCalibration(ctx context.Context, r *pb.ActivateCalibrationRequest) (*pb.Calibration, error) {
	key, err := parseName("name", r.GetName(), store.KindCalibration)
	if err != nil {
		return nil, err
	}
	if _, err := s.read(ctx, key.Studio, key.ID); err != nil {
		return nil, err
	}
	_, revision, err := store.Active(ctx, s.api.store, key.Studio)
	if errors.Is(err, store.ErrDamaged) {
		err = store.MendActive(ctx, s.api.store, key.Studio)
	}
	if err != nil {
		return nil, err
	}
	if err := store.SetActive(ctx, s.api.store, key.Studio, key.ID, revision, store.Request{}); err != nil {
		return nil, err
	}
	return s.read(ctx, key.Studio, key.ID)
}
