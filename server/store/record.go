package store

import (
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/catchline/catchline/model/fault"
)

// Kind says what a record is. The store treats all kinds alike but for those that [Kind.Numbered]
// and [KindStudio] speak of.
type Kind string

const (
	KindStudio      Kind = "studio" // lives in the studio System; its ID is the name of the studio
	KindGlaze       Kind = "glaze"
	KindLot         Kind = "lot" // parent: the glaze
	KindBody        Kind = "body"
	KindMaterial    Kind = "material"
	KindFiring      Kind = "firing"
	KindWare        Kind = "ware"
	KindTile        Kind = "tile"
	KindSheet       Kind = "sheet"
	KindCalibration Kind = "calibration" // numbered by the store
	KindActive      Kind = "active"      // which calibration is active: see SetActive
	KindKey         Kind = "key"         // an access key, hashed; found across studios by FindKey
)

// System is the studio that belongs to the operator: it holds the records of the studios
// themselves and the operator's keys. It always exists and cannot be deleted.
const System = "_"

// Numbered reports whether the store gives records of this kind their IDs: the numbers 1, 2, 3 ...
// within the studio, in the order in which they were written, with no gap and never twice.
func (k Kind) Numbered() bool { return k == KindCalibration }

// Key names a record. It is unique as a whole: two glazes may each have a lot "1". Keys compare byte
// by byte: "A" is not "a", and a letter with a combining accent is not the precomposed letter.
type Key struct {
	Studio string
	Kind   Kind
	Parent string // empty unless the record belongs to another one, as a lot does to its glaze
	ID     string
}

func (k Key) String() string {
	if k.Parent == "" {
		return fmt.Sprintf("%s/%s/%s", k.Studio, k.Kind, k.ID)
	}
	return fmt.Sprintf("%s/%s/%s/%s", k.Studio, k.Kind, k.Parent, k.ID)
}

// Record is one stored thing: a body that only the caller understands, and what the store needs to
// find and to order it.
type Record struct {
	Key

	// Sequence is the place of the record's creation in the order of all writes that its studio
	// has acknowledged. It never changes, and whoever has seen number n will never see a smaller
	// one appear later. Set by the store.
	Sequence int64
	// Revision is the place of the record's latest write in the same order, hence never used twice
	// in a studio, not even after the record was deleted and made again. Set by the store.
	Revision   int64
	CreateTime time.Time // set by the store; microseconds, UTC
	UpdateTime time.Time // set by the store; microseconds, UTC

	// Labels are what lists can be filtered by, such as "glaze=celadon": text without line breaks.
	// Their order is kept and means nothing; doubles are dropped.
	Labels []string
	Body   []byte
}

const (
	maxNameBytes  = 200
	maxLabelBytes = 500
	// MaxLabels is the largest number of labels of a record.
	MaxLabels = 64
	// MaxBodyBytes is the largest body that is stored: room for a calibration that learnt from several hundred thousand tiles.
	MaxBodyBytes = 256 << 20
)

func checkText(field, value string, least, most int) error {
	switch {
	case len(value) < least:
		return &fault.Error{Field: field, Value: "empty", Limit: fmt.Sprintf("%d to %d bytes", least, most)}
	case len(value) > most:
		return &fault.Error{Field: field, Value: fmt.Sprintf("%d bytes long", len(value)), Limit: fmt.Sprintf("at most %d bytes", most)}
	case !utf8.ValidString(value) || strings.ContainsRune(value, 0):
		return &fault.Error{Field: field, Value: fmt.Sprintf("%q", value), Limit: "UTF-8 text without NUL"}
	}
	return nil
}

func (k Key) checkCollection() error {
	if err := checkText("studio", k.Studio, 1, maxNameBytes); err != nil {
		return err
	}
	if err := checkText("kind", string(k.Kind), 1, maxNameBytes); err != nil {
		return err
	}
	return checkText("parent", k.Parent, 0, maxNameBytes)
}

// Check reports a key that the store could not hold, as a *fault.Error.
func (k Key) Check() error {
	if err := k.checkCollection(); err != nil {
		return err
	}
	return checkText("id", k.ID, 1, maxNameBytes)
}

func (r *Record) checkContent() error {
	if len(r.Body) > MaxBodyBytes {
		return &fault.Error{Field: "body", Value: fmt.Sprintf("%d bytes", len(r.Body)), Limit: fmt.Sprintf("at most %d bytes", MaxBodyBytes)}
	}
	if len(r.Labels) > MaxLabels {
		return &fault.Error{Field: "labels", Value: fmt.Sprintf("%d labels", len(r.Labels)), Limit: fmt.Sprintf("at most %d", MaxLabels)}
	}
	for i, l := range r.Labels {
		if err := checkLabel(i, l); err != nil {
			return err
		}
	}
	return nil
}

func checkLabel(i int, label string) error {
	field := fmt.Sprintf("labels[%d]", i)
	if strings.Contains(label, "\n") {
		return &fault.Error{Field: field, Value: fmt.Sprintf("%q", label), Limit: "text without line breaks"}
	}
	return checkText(field, label, 1, maxLabelBytes)
}
