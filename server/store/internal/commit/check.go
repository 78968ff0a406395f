package commit

import (
	"fmt"
	"time"

	"github.com/catchline/catchline/server/store"
)

// Checked is what a check of a whole database has found so far.
type Checked struct{ Damaged store.DamagedRecords }

// Record looks at a row of the table of records: that its record is what was written, and that the columns say the same.
func (c *Checked) Record(key store.Key, sequence int64, labels string, data []byte) {
	r, damaged := read(key, data)
	if damaged == nil && (r.Sequence != sequence || JoinLabels(r.Labels) != labels) {
		damaged = &store.Damaged{Key: key, Cause: fmt.Errorf("%w: its row says something else", store.ErrDamaged)}
	}
	if damaged != nil {
		c.Damaged = append(c.Damaged, damaged)
	}
}

// Copy looks at the copy of an answer.
func (c *Checked) Copy(key RequestKey, answer []byte) {
	if damaged := ReadSaved(key, nil, answer, time.Time{}).Damaged; damaged != nil {
		c.Damaged = append(c.Damaged, damaged)
	}
}

// Err is what was found; nil if nothing was.
func (c *Checked) Err() error {
	if len(c.Damaged) == 0 {
		return nil
	}
	return c.Damaged
}
