package api

import (
	"context"
	"errors"
	"slices"

	"github.com/catchline/catchline/model/calib"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

// recentTiles is how many of the last tiles tell how good it is now.
const recentTiles = 30

func (s *calibrations) GetRecord(ctx context.Context, r *pb.GetRecordRequest) (*pb.Record, error) {
	key, err := parseName("parent", r.GetParent(), store.KindStudio)
	if err != nil {
		return nil, err
	}
	p, err := s.api.cache.get(ctx, key.ID)
	if err != nil {
		return nil, err
	}
	if err := p.calibration.damaged; err != nil {
		return nil, err
	}
	tiles, skipped, err := s.api.cache.readTiles(ctx, p, p.calibration)
	if err != nil {
		return nil, err
	}
	judged, err := judgeAll(p.calibration.Calibration, tiles)
	if err != nil {
		return nil, err
	}
	suspects := map[string]string{}
	byName := map[string]*loggedTile{}
	for _, t := range tiles {
		byName[t.name] = t
	}
	for _, t := range diagnosed(p.calibration.Calibration, byName) {
		suspects[t.tile] = t.sentence
	}
	out := &pb.Record{}
	for _, t := range skipped {
		if errors.Is(t.err, store.ErrDamaged) {
			out.Unreadable = append(out.Unreadable, t.name)
		}
	}
	for _, j := range judged {
		if t := byName[j.Tile]; t != nil {
			out.Points = append(out.Points, point(j, t, suspects[j.Tile]))
		}
	}
	out.Accuracy = total(judged, byName)
	out.Recent = total(judged[max(0, len(judged)-recentTiles):], byName)
	out.PerGlaze = totalsOf(judged, byName, func(j *calib.Judgement) []string { return j.Glazes })
	out.PerCone = totalsOf(judged, byName, func(j *calib.Judgement) []string { return []string{j.Cone} })
	return out, nil
}

// judgeAll gives for every tile how it came out against what was known before it: by the calibration's own record, and for tiles since
// then by the calibration itself, which has not seen them.
func judgeAll(c *calib.Calibration, tiles []*loggedTile) ([]*calib.Judgement, error) {
	record := c.Record()
	known := map[string]*calib.Judgement{}
	for i := range record {
		known[record[i].Tile] = &record[i]
	}
	var out []*calib.Judgement
	for _, t := range tiles {
		j := known[t.name]
		if j == nil {
			one, err := c.Judge(&t.calib)
			if err != nil {
				return nil, err
			}
			j = &one
		}
		out = append(out, j)
	}
	return out, nil
}

type suspect struct{ tile, sentence string }

// diagnosed lists the tiles that a calibration finds suspect.
func diagnosed(c *calib.Calibration, tiles map[string]*loggedTile) []suspect {
	var out []suspect
	d := c.Diagnose()
	for i := range d.Tiles {
		t := &d.Tiles[i]
		if logged := tiles[t.Tile]; logged != nil && t.Suspect {
			out = append(out, suspect{t.Tile, t.Sentence(logged.runMM)})
		}
	}
	return out
}

func point(j *calib.Judgement, t *loggedTile, suspect string) *pb.RecordPoint {
	from, to := t.measured()
	p := &pb.RecordPoint{
		Tile:              t.name,
		FireDate:          t.fireDate,
		PredictedMm:       t.runMM(j.Mean),
		P10Mm:             t.runMM(j.Quantile(0.1)),
		P90Mm:             t.runMM(j.Quantile(0.9)),
		ExceedProbability: j.Exceeds,
		MeasuredFromMm:    from,
		MeasuredToMm:      finite(to),
		Glazes:            t.glazes,
		Cone:              j.Cone,
		Suspect:           suspect,
	}
	return p
}

func total(judged []*calib.Judgement, tiles map[string]*loggedTile) *pb.Accuracy {
	scores := calib.SumUp("", judged)
	return accuracy(&scores, judged, tiles)
}

func totalsOf(judged []*calib.Judgement, tiles map[string]*loggedTile, labels func(*calib.Judgement) []string) []*pb.AccuracyOf {
	by := map[string][]*calib.Judgement{}
	var all []string
	for _, j := range judged {
		for _, label := range labels(j) {
			if by[label] == nil {
				all = append(all, label)
			}
			by[label] = append(by[label], j)
		}
	}
	slices.Sort(all)
	var out []*pb.AccuracyOf
	for _, label := range all {
		out = append(out, &pb.AccuracyOf{Of: label, Accuracy: total(by[label], tiles)})
	}
	return out
}
