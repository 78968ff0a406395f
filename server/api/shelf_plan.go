package api

import (
	"context"
	"fmt"
	"slices"

	"github.com/catchline/catchline/model"
	"github.com/catchline/catchline/model/fault"
	"github.com/catchline/catchline/model/risk"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

// maxPieces is how many kinds of piece a kiln load may have.
const maxPieces = 500

// PlanShelf plans a kiln load.
func (s *scores) PlanShelf(ctx context.Context, r *pb.PlanShelfRequest) (*pb.PlanShelfResponse, error) {
	if _, err := parseName("parent", r.GetParent(), store.KindStudio); err != nil {
		return nil, err
	}
	if n := len(r.GetPieces()); n < 1 || n > maxPieces {
		return nil, &fault.Error{Field: "pieces", Value: fmt.Sprintf("%d kinds of piece", n), Limit: fmt.Sprintf("1 to %d", maxPieces)}
	}
	out := &pb.PlanShelfResponse{}
	var pieces []risk.Piece
	var scored []*pb.Score
	var flags []model.Flag // of all answers alike
	cautions := &cautionSet{}
	for i, piece := range r.GetPieces() {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		q, score, err := s.score(ctx, fmt.Sprintf("pieces[%d].", i), pieceRequest(r, piece))
		if err != nil {
			return nil, err
		}
		foot, cookie, err := q.atFoot(score)
		if err != nil {
			return nil, err
		}
		shown, err := s.show(ctx, q, score)
		if err != nil {
			return nil, err
		}
		pieces = append(pieces, risk.Piece{
			Label: piece.GetLabel(), Count: max(int(piece.GetCount()), 1), Shelf: int(piece.GetShelf()),
			Exceed: score.Exceedance, Word: boundsOf(q.studio.settings).of(&score.Estimate),
			Overflow: *foot, Cookie: *cookie, Tolerated: q.Tolerated,
		})
		// What is alike for all pieces stands once on the plan.
		cautions.add(shown.Cautions)
		shown.Cautions = nil
		flags = q.calibration.flags()
		shown.Flags = slices.DeleteFunc(shown.Flags, func(f *pb.Flag) bool {
			return slices.ContainsFunc(flags, func(all model.Flag) bool { return all.Code == f.Code })
		})
		scored = append(scored, shown)
		out.Calibration = q.calibration.name
	}
	plan, err := risk.PlanShelves(pieces)
	if err != nil {
		return nil, err
	}
	for _, l := range plan.Lines {
		p := &pieces[l.Index]
		out.Lines = append(out.Lines, &pb.ShelfLine{
			PieceIndex: int32(l.Index), Label: p.Label, Count: int32(p.Count), Shelf: int32(p.Shelf),
			Score: scored[l.Index], KeepLow: l.KeepLow, Advice: l.Advice,
		})
	}
	for _, c := range plan.Cookies {
		out.Cookies = append(out.Cookies, &pb.CookieCount{
			Kind: cookieKind(c.Kind), DiameterMm: c.Diameter * 1e3, ThicknessMm: c.Thickness * 1e3, Count: int32(c.Count),
		})
	}
	out.TotalCookies = int32(plan.TotalCookies)
	out.ExpectedOverFoot = plan.ExpectedOverFoot
	out.Warnings = plan.Warnings
	for _, f := range flags {
		out.Warnings = append(out.Warnings, f.Sentence)
	}
	out.Cautions = cautions.all
	return out, nil
}

// pieceRequest is the request that scores one kind of piece of a load.
func pieceRequest(r *pb.PlanShelfRequest, piece *pb.ShelfPiece) *pb.ScoreLayeringRequest {
	out := &pb.ScoreLayeringRequest{Parent: r.GetParent(), Layering: piece.GetLayering(), Placement: piece.GetPlacement(), Kiln: r.GetKiln()}
	switch f := r.GetFiringSource().(type) {
	case *pb.PlanShelfRequest_Firing:
		out.FiringSource = &pb.ScoreLayeringRequest_Firing{Firing: f.Firing}
	case *pb.PlanShelfRequest_FiringPlan:
		out.FiringSource = &pb.ScoreLayeringRequest_FiringPlan{FiringPlan: f.FiringPlan}
	}
	return out
}

// cautionSet gathers cautions, each once.
type cautionSet struct{ all []*pb.Caution }

func (c *cautionSet) add(cautions []*pb.Caution) {
next:
	for _, one := range cautions {
		for _, have := range c.all {
			if have.Code == one.Code {
				continue next
			}
		}
		c.all = append(c.all, one)
	}
}
