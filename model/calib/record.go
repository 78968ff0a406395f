package calib

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"
)

// The prequential record: every tile is judged by the calibration of the tiles before it (Dawid 1984, from memory). To fit anew
// before every tile would cost the square of the log, so the calibration of the tiles before is this: a full fit,
// variances and all, of the tiles before the last checkpoint, with the tiles since added by Add. Checkpoints come at 0, 5,
// 10, 20, 40 ... tiles. Of a long log only the end is walked.
const (
	firstCheckpoint = 5
	walkPrecision   = 1e-2 // as searchPrecision; a checkpoint's variances serve for a while only
	recordTiles     = 1000 // of a log longer than twice this, so many tiles at the end are judged, from one checkpoint
)

// walk judges the tiles in order, as they would have been when they came.
func walk(sorted []*Tile, prior Prior) ([]Judgement, error) {
	n := len(sorted)
	begin, checkpoint := 0, 0
	if n > 2*recordTiles {
		begin, checkpoint = n-recordTiles, n-recordTiles
	}
	var c *Calibration
	var err error
	record := make([]Judgement, 0, n-begin)
	for i := begin; i < n; i++ {
		if i == checkpoint {
			if c, err = fit(sorted[:i], prior, walkPrecision); err != nil {
				return nil, err
			}
			checkpoint = max(firstCheckpoint, 2*i)
			if begin > 0 {
				checkpoint = n
			}
		}
		j, next, err := c.meet(sorted[i])
		if err != nil {
			return nil, err
		}
		record, c = append(record, j), next
	}
	return record, nil
}

// meet judges a checked tile and then learns from it.
func (c *Calibration) meet(t *Tile) (Judgement, *Calibration, error) {
	j := c.unseen(t)
	next, err := c.add(t)
	return j, next, err
}

// unseen judges a checked tile that the calibration has not learnt from.
func (c *Calibration) unseen(t *Tile) Judgement {
	p := t.Conditions.designRow(&c.prior, &c.core, &c.pairs)
	mean, variance := c.linear(&p)
	r := newRow(t, &c.prior, &c.core, &c.pairs)
	j := c.judge(r, mean, variance)
	j.Glazes = j.Glazes[:0]
	for _, g := range t.Glazes {
		j.Glazes = append(j.Glazes, g.Name)
	}
	return j
}

// Judge says how a tile that the calibration has not learnt from comes out against it.
// Errors: *fault.Error.
func (c *Calibration) Judge(t *Tile) (Judgement, error) {
	if err := t.Check(); err != nil {
		return Judgement{}, err
	}
	return c.unseen(t), nil
}

// Record is the prequential record, in the order of time.
func (c *Calibration) Record() []Judgement { return append([]Judgement(nil), c.record...) }

// Comparison says whether a new calibration predicts better than the active one.
type Comparison struct {
	Tiles int // that both could be judged on, before either had seen them
	// Gain is the mean of the new log score less the active one's over those tiles; Error its standard error.
	Gain, Error float64
	// Loses says that the new one is worse beyond doubt: by more than two standard errors, and by at least leastLoss in all. It should be
	// stored, not made active.
	Loses    bool
	Sentence string
}

const (
	// minCompared is the least number of tiles that a judgement is built on.
	minCompared = 3
	// leastLoss is the log score that has to be lost in all before it counts: as much as one tile that comes out where a fit gave it a
	// seventh of the chance. Less is the difference between a full fit and one that was added to.
	leastLoss = 2
)

// Compare a new calibration with the active one by their prequential records, tile by tile. The log is the new
// calibration's: tiles in it that the active one has not seen are judged by the active one as it stands, for so it would
// stay in use.
// Errors: *fault.Error.
func Compare(active, next *Calibration, log []Tile) (Comparison, error) {
	sorted, err := inOrder(log)
	if err != nil {
		return Comparison{}, err
	}
	score := make(map[string]float64, len(active.record))
	for i := range active.record {
		score[active.record[i].Tile] = active.record[i].LnScore
	}
	seen := make(map[string]bool, len(active.rows))
	for _, r := range active.rows {
		seen[r.name] = true
	}
	asked := make(map[string]bool, len(next.record)) // of a long log the end only, which bounds the walk
	for i := range next.record {
		asked[next.record[i].Tile] = true
	}
	for _, t := range sorted {
		if seen[t.Name] || !asked[t.Name] {
			continue
		}
		j := active.unseen(t)
		score[t.Name] = j.LnScore
	}
	var gains []float64
	for i := range next.record {
		if old, ok := score[next.record[i].Tile]; ok {
			gains = append(gains, next.record[i].LnScore-old)
		}
	}
	c := Comparison{Tiles: len(gains)}
	if len(gains) < minCompared {
		c.Sentence = fmt.Sprintf("Only %d tiles can be judged by both calibrations, too few to compare them.", len(gains))
		return c, nil
	}
	mean, sd := stat.MeanStdDev(gains, nil)
	c.Gain, c.Error = mean, sd/math.Sqrt(float64(len(gains)))
	switch {
	case c.Gain < -2*c.Error && c.Gain*float64(c.Tiles) < -leastLoss:
		c.Loses = true
		c.Sentence = fmt.Sprintf("The new calibration predicts worse than the active one: its log score is lower by %.3f ± %.3f a tile over %d tiles. It is kept, but not made active.",
			-c.Gain, c.Error, c.Tiles)
	case c.Gain > 2*c.Error && c.Gain > 1e-6:
		c.Sentence = fmt.Sprintf("The new calibration predicts better than the active one: its log score is higher by %.3f ± %.3f a tile over %d tiles.", c.Gain, c.Error, c.Tiles)
	default:
		c.Sentence = fmt.Sprintf("The new calibration predicts as well as the active one: their log scores differ by %.3f ± %.3f a tile over %d tiles.", c.Gain, c.Error, c.Tiles)
	}
	return c, nil
}
