package store

import (
	"context"
	"errors"
)

func activeKey(studio string) Key { return Key{Studio: studio, Kind: KindActive, ID: "calibration"} }

// Active returns the ID of the studio's active calibration and the revision of that choice, for
// SetActive; an empty ID and revision 0 if none was ever made active.
func Active(ctx context.Context, r Reader, studio string) (calibration string, revision int64, err error) {
	rec, err := r.Get(ctx, activeKey(studio))
	if errors.Is(err, ErrNotFound) {
		return "", 0, nil
	}
	return string(rec.Body), rec.Revision, err
}

// MendActive removes a choice that is damaged, so that Active finds none.
func MendActive(ctx context.Context, w Writer, studio string) error {
	_, err := w.Write(ctx, Write{Ops: []Op{Remove(activeKey(studio), 0)}})
	if errors.Is(err, ErrNotFound) {
		return nil // someone was faster
	}
	return err
}

// SetActive makes a calibration the active one, if the choice is still the one that Active returned the
// revision of; else ErrConflict. So of two fits at once one wins, and the other one knows.
func SetActive(ctx context.Context, w Writer, studio, calibration string, revision int64, request Request) error {
	rec := Record{Key: activeKey(studio), Revision: revision, Body: []byte(calibration)}
	op := Replace(rec)
	if revision == 0 {
		op = Insert(rec)
	}
	_, err := w.Write(ctx, Write{Request: request, Ops: []Op{op}})
	if errors.Is(err, ErrAlreadyExists) {
		return ErrConflict
	}
	return err
}
