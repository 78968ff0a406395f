package api

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"

	"google.golang.org/protobuf/proto"

	"github.com/catchline/catchline/model"
	"github.com/catchline/catchline/model/fault"
	"github.com/catchline/catchline/model/firing"
	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// adviser looks for changes that bring a layering under the tolerated risk.
type adviser struct {
	scores *scores
	asked  *pb.ScoreLayeringRequest
	q      *question
	now    model.Estimate
	found  []*pb.Advice
}

// AdviseLayering tries each kind of change that is allowed.
func (s *scores) AdviseLayering(ctx context.Context, r *pb.AdviseLayeringRequest) (*pb.AdviseLayeringResponse, error) {
	asked, err := sameStudio(r.GetParent(), r.GetScore())
	if err != nil {
		return nil, err
	}
	q, score, err := s.score(ctx, "score.", asked)
	if err != nil {
		return nil, err
	}
	a := &adviser{scores: s, asked: asked, q: q, now: score.Estimate}
	for _, kind := range []struct {
		kind pb.ChangeKind
		try  func(context.Context) error
	}{
		{pb.ChangeKind_CHANGE_KIND_RAISE_BAND, a.raiseBand},
		{pb.ChangeKind_CHANGE_KIND_FEWER_COATS, a.fewerCoats},
		{pb.ChangeKind_CHANGE_KIND_SWAP_ORDER, a.swapOrder},
		{pb.ChangeKind_CHANGE_KIND_DROP_HOLD, a.dropHold},
		{pb.ChangeKind_CHANGE_KIND_LOWER_CONE, a.lowerCone},
		{pb.ChangeKind_CHANGE_KIND_BUFFER_BAND, a.bufferBand},
	} {
		if len(r.GetAllowed()) > 0 && !slices.Contains(r.GetAllowed(), kind.kind) {
			continue
		}
		if err := kind.try(ctx); err != nil {
			return nil, err
		}
	}
	sort.SliceStable(a.found, func(i, j int) bool { return a.found[i].ExceedProbability < a.found[j].ExceedProbability })
	shown, err := s.show(ctx, q, score)
	if err != nil {
		return nil, err
	}
	return &pb.AdviseLayeringResponse{Score: shown, Advice: a.found}, nil
}

// sameStudio gives the request within a request, for the studio of the outer one.
func sameStudio(parent string, inner *pb.ScoreLayeringRequest) (*pb.ScoreLayeringRequest, error) {
	if inner == nil {
		return nil, &fault.Error{Field: "score", Value: "missing", Limit: "what is to be scored"}
	}
	out := proto.CloneOf(inner)
	if out.Parent == "" {
		out.Parent = parent
	}
	if out.Parent != parent {
		return nil, &fault.Error{Field: "score.parent", Value: quoted(out.Parent), Limit: "the same studio, " + parent}
	}
	return out, nil
}

// try scores a changed request and keeps it if it lowers the risk. A change that cannot be scored, such as a cone
// that does not exist, is no advice and no error.
func (a *adviser) try(ctx context.Context, kind pb.ChangeKind, sentence string, changed *pb.ScoreLayeringRequest) error {
	q, err := a.scores.api.cache.ask(ctx, "", changed)
	if err != nil {
		if one := (*fault.Error)(nil); errors.As(err, &one) {
			return ctx.Err()
		}
		return err
	}
	var p model.Physics
	e, err := q.Estimate(&p)
	if err != nil {
		return err
	}
	if e.Exceedance < a.now.Exceedance {
		a.found = append(a.found, &pb.Advice{
			Kind: kind, Sentence: sentence, Request: changed,
			MedianRunMm: 1e3 * e.Median, RunP90Mm: 1e3 * e.P90, ExceedProbability: e.Exceedance,
			Risk: pb.Risk_RISK_LOW + pb.Risk(boundsOf(q.studio.settings).of(&e)), Enough: e.Exceedance <= q.Tolerated,
		})
	}
	return nil
}

// raiseTries bounds how often a band is raised further; on a ware the course changes with its place.
const raiseTries = 4

// raiseBand starts the band as much higher as the tolerated risk asks for. On a ware it ends where it ended, so that
// it gets lower.
func (a *adviser) raiseBand(ctx context.Context) error {
	first := a.q.Wall.Clearance()
	need, e := first, a.now
	changed := proto.CloneOf(a.asked)
	if changed.Placement == nil {
		changed.Placement = &pb.Placement{}
	}
	for range raiseTries {
		if e.ClearanceNeeded <= need {
			break
		}
		need = math.Ceil(e.ClearanceNeeded*1e3) / 1e3
		band := a.q.Wall.Band()
		if a.q.profile != nil {
			if band = math.Min(band, a.q.profile.Length()-need); band*1e3 < leastBandMM {
				return nil // there is no room for a band so high up
			}
			band = math.Floor(band*1e3) / 1e3
		}
		changed.Placement.ClearanceMm, changed.Placement.BandHeightMm = proto.Float64(need*1e3), proto.Float64(band*1e3)
		q, err := a.scores.api.cache.ask(ctx, "", changed)
		if err != nil {
			return nil
		}
		var p model.Physics
		if e, err = q.Estimate(&p); err != nil {
			return err
		}
	}
	if need == first {
		return nil
	}
	return a.try(ctx, pb.ChangeKind_CHANGE_KIND_RAISE_BAND, fmt.Sprintf("Start the band %.0f mm higher: leave %.0f mm bare instead of %.0f mm.", 1e3*(need-first), 1e3*need, 1e3*first), changed)
}

// fewerCoats takes a coat off each layer in turn.
func (a *adviser) fewerCoats(ctx context.Context) error {
	for i, l := range a.asked.GetLayering().GetLayers() {
		coats := float64(defaultCoats)
		switch amount := l.GetAmount().(type) {
		case *pb.Layer_Coats:
			coats = amount.Coats
		case nil:
		default:
			continue // given by thickness or mass, there are no coats to take off
		}
		if coats < 2 {
			continue
		}
		changed := proto.CloneOf(a.asked)
		changed.Layering.Layers[i].Amount = &pb.Layer_Coats{Coats: coats - 1}
		sentence := fmt.Sprintf("Put on %s of %s instead of %s.", coatsWord(coats-1), a.glazeName(l), coatsWord(coats))
		if err := a.try(ctx, pb.ChangeKind_CHANGE_KIND_FEWER_COATS, sentence, changed); err != nil {
			return err
		}
	}
	return nil
}

func coatsWord(n float64) string {
	if n == 1 {
		return "1 coat"
	}
	return fmt.Sprintf("%g coats", n)
}

func (a *adviser) glazeName(l *pb.Layer) string {
	if g, err := a.q.find(l); err == nil {
		return g.displayName
	}
	return l.GetGlaze()
}

// swapOrder swaps each pair of neighbours in turn.
func (a *adviser) swapOrder(ctx context.Context) error {
	layers := a.asked.GetLayering().GetLayers()
	for i := 0; i+1 < len(layers); i++ {
		if proto.Equal(layers[i], layers[i+1]) {
			continue
		}
		changed := proto.CloneOf(a.asked)
		l := changed.Layering.Layers
		l[i], l[i+1] = l[i+1], l[i]
		sentence := fmt.Sprintf("Swap the order: %s under, %s over.", a.glazeName(layers[i+1]), a.glazeName(layers[i]))
		if err := a.try(ctx, pb.ChangeKind_CHANGE_KIND_SWAP_ORDER, sentence, changed); err != nil {
			return err
		}
	}
	return nil
}

// withPlan is the request with its firing written out and changed.
func (a *adviser) withPlan(change func(*pb.FiringPlan) bool) *pb.ScoreLayeringRequest {
	plan := proto.CloneOf(a.q.firing.plan)
	if !change(plan) {
		return nil
	}
	// A witness cone tells of the firing that was, not of the one that is proposed.
	plan.WitnessCone = nil
	changed := proto.CloneOf(a.asked)
	if changed.Kiln == "" {
		changed.Kiln = a.q.firing.kiln
	}
	changed.FiringSource = &pb.ScoreLayeringRequest_FiringPlan{FiringPlan: plan}
	return changed
}

// dropHold leaves out the holds.
func (a *adviser) dropHold(ctx context.Context) error {
	changed := a.withPlan(func(plan *pb.FiringPlan) bool {
		held := false
		if c := plan.GetCone(); c != nil {
			held = c.GetHoldMin() > 0 || c.GetDropHoldMin() > 0
			c.HoldMin, c.DropC, c.DropHoldMin = nil, nil, nil
		}
		for _, s := range plan.GetSegments().GetSegments() {
			held = held || s.HoldMin > 0
			s.HoldMin = 0
		}
		return held
	})
	if changed == nil {
		return nil
	}
	return a.try(ctx, pb.ChangeKind_CHANGE_KIND_DROP_HOLD, "Fire without the hold.", changed)
}

// lowerCone fires to the cone below.
func (a *adviser) lowerCone(ctx context.Context) error {
	below := ""
	changed := a.withPlan(func(plan *pb.FiringPlan) bool {
		c := plan.GetCone()
		if c == nil {
			return false
		}
		cones := firing.Cones()
		at := slices.Index(cones, c.GetCone())
		if at < 1 {
			return false
		}
		below = cones[at-1]
		c.Cone = below
		return true
	})
	if changed == nil {
		return nil
	}
	return a.try(ctx, pb.ChangeKind_CHANGE_KIND_LOWER_CONE, fmt.Sprintf("Fire to cone %s, if every glaze in the kiln matures there.", below), changed)
}

// Buffer bands are tried from narrow to wide, in mm, with so many coats, of so many of the studio's stillest glazes.
var bufferWidths = []float64{10, 15, 20, 30, 40}

const (
	bufferCoats   = 2
	leastBandMM   = 5 // what must be left of a band for it to be one
	bufferGlazes  = 2
	bufferStillMM = 5 // what counts as still enough: a run alone at those coats of less than this; ours, as 2 to 10 mm is "moves" (common practice, no source)
)

// bufferBand puts a stable glaze in the place of the lowest part of the band, as narrow as will do: the ware stays
// glazed as far down, but what runs starts higher and has to come through.
func (a *adviser) bufferBand(ctx context.Context) error {
	if len(a.asked.GetPlacement().GetLowerBands()) > 0 {
		return nil
	}
	for _, g := range a.stillGlazes() {
		var widest *pb.ScoreLayeringRequest
		var sentence string
		before := len(a.found)
		for _, width := range bufferWidths {
			changed := a.withBuffer(g, width)
			if changed == nil {
				break
			}
			widest, sentence = changed, fmt.Sprintf("Let the lowest %g mm of the band be a buffer of %s, %d coats, instead.", width, g.displayName, bufferCoats)
			if err := a.try(ctx, pb.ChangeKind_CHANGE_KIND_BUFFER_BAND, sentence, changed); err != nil {
				return err
			}
			if n := len(a.found); n > before && a.found[n-1].Enough {
				a.found = append(a.found[:before], a.found[n-1])
				widest = nil
				break
			}
		}
		if n := len(a.found); widest != nil && n > before {
			a.found = append(a.found[:before], a.found[n-1])
		}
	}
	return nil
}

// stillGlazes are the studio's own glazes that stand still alone in this firing, the stillest first.
func (a *adviser) stillGlazes() []*studioGlaze {
	type still struct {
		g   *studioGlaze
		run float64
	}
	var all []still
	used := map[string]bool{}
	for _, l := range a.asked.GetLayering().GetLayers() {
		used[l.GetGlaze()] = true
	}
	for _, name := range a.q.studio.glazeNames {
		g := a.q.studio.glazes[name]
		if used[name] {
			continue
		}
		layer, err := a.q.studio.layer(bufferLayer(g), a.q.firing, a.q.studio.glaze)
		if err != nil || !matures(layer.Glaze, a.q.firing.heat.EquivalentCone) {
			continue
		}
		alone := a.q.Question
		alone.Layers = []model.Layer{layer}
		var p model.Physics
		if e, err := alone.Estimate(&p); err == nil && e.Median*1e3 < bufferStillMM {
			all = append(all, still{g, e.Median})
		}
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].run < all[j].run })
	var out []*studioGlaze
	for _, s := range all[:min(len(all), bufferGlazes)] {
		out = append(out, s.g)
	}
	return out
}

// matures reports whether a glaze is made for a cone; one that nobody gave cones for is.
func matures(g *model.Glaze, cone float64) bool {
	const slack = 1.5 // a hold adds up to a cone, and glazes have some room
	return math.IsNaN(g.ConeFrom) || cone > g.ConeFrom-slack && cone < g.ConeTo+slack
}

func bufferLayer(g *studioGlaze) *pb.Layer {
	return &pb.Layer{Glaze: g.name, Amount: &pb.Layer_Coats{Coats: bufferCoats}}
}

// withBuffer is the request with a buffer band; nil where there is no room. A straight upright wall is written as a
// tile, which can hold two bands.
func (a *adviser) withBuffer(g *studioGlaze, width float64) *pb.ScoreLayeringRequest {
	clearance, band := a.q.Wall.Clearance()*1e3, a.q.Wall.Band()*1e3
	if band-width < leastBandMM {
		return nil
	}
	changed := proto.CloneOf(a.asked)
	if changed.Placement == nil {
		changed.Placement = &pb.Placement{}
	}
	pl := changed.Placement
	if a.q.profile == nil {
		angle := 90.0
		if w, ok := pl.GetWall().(*pb.Placement_AngleDeg); ok {
			angle = w.AngleDeg
		}
		pl.Wall = &pb.Placement_Shape{Shape: &pb.WareShape{Kind: &pb.WareShape_Tile{Tile: &pb.TileShape{
			HeightMm: clearance + band, WidthMm: tileWidthMM, AngleDeg: proto.Float64(angle),
		}}}}
	}
	pl.ClearanceMm, pl.BandHeightMm = proto.Float64(clearance+width), proto.Float64(band-width)
	pl.LowerBands = []*pb.LowerBand{{
		Layering:   &pb.Layering{Layers: []*pb.Layer{bufferLayer(g)}, Body: a.asked.GetLayering().GetBody()},
		FromFootMm: clearance, BandHeightMm: width,
	}}
	return changed
}
