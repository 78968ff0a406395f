package bench

import (
	"context"
	"math/rand/v2"
	"strconv"
	"testing"

	"google.golang.org/protobuf/proto"

	"github.com/catchline/catchline/client"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/testdata/demo"
)

// asker makes requests for scores of two layers. No two are the same, as the thickness of both layers and the clearance are drawn
// from the reals. It belongs to one caller.
type asker struct {
	random  *rand.Rand
	glazes  []string
	firings []string
	view    pb.ScoreView
}

func askers(b *testing.B, c *client.Client, n int, view pb.ScoreView) []*asker {
	b.Helper()
	var glazes, firings []string
	for f, err := range c.AllFirings(b.Context(), demo.Studio) {
		if err != nil {
			b.Fatal(err)
		}
		firings = append(firings, f.Name)
	}
	for g, err := range c.AllGlazes(b.Context(), demo.Studio) {
		if err != nil {
			b.Fatal(err)
		}
		one := &pb.ScoreLayeringRequest{Parent: demo.Studio, Layering: &pb.Layering{Layers: []*pb.Layer{{Glaze: g.Name}}}, FiringSource: &pb.ScoreLayeringRequest_Firing{Firing: firings[0]}}
		if _, err := c.Scores.ScoreLayering(b.Context(), one); err == nil { // else nothing is known of what is in it
			glazes = append(glazes, g.Name)
		}
	}
	all := make([]*asker, n)
	for i := range all {
		all[i] = &asker{rand.New(rand.NewPCG(1, uint64(i))), glazes, firings, view}
	}
	return all
}

func (a *asker) pick(of []string) string { return of[a.random.IntN(len(of))] }

func (a *asker) layer() *pb.Layer {
	return &pb.Layer{Glaze: a.pick(a.glazes), Amount: &pb.Layer_Coats{Coats: 1 + 2*a.random.Float64()}, Method: pb.ApplicationMethod_APPLICATION_METHOD_BRUSH}
}

func (a *asker) score() *pb.ScoreLayeringRequest {
	return &pb.ScoreLayeringRequest{
		Parent:       demo.Studio,
		Layering:     &pb.Layering{Layers: []*pb.Layer{a.layer(), a.layer()}},
		FiringSource: &pb.ScoreLayeringRequest_Firing{Firing: a.pick(a.firings)},
		Placement:    &pb.Placement{ClearanceMm: proto.Float64(20 + 40*a.random.Float64())},
		View:         a.view,
	}
}

// inJSON writes a request of score by hand, as a caller of little means would: protojson takes longer for it than the floor for its answer.
func inJSON(r *pb.ScoreLayeringRequest) []byte {
	b := append(make([]byte, 0, 512), `{"layering":{"layers":[`...)
	for i, l := range r.Layering.Layers {
		if i > 0 {
			b = append(b, ',')
		}
		b = append(append(b, `{"glaze":"`...), l.Glaze...)
		b = append(strconv.AppendFloat(append(b, `","coats":`...), l.GetCoats(), 'g', -1, 64), `,"method":"APPLICATION_METHOD_BRUSH"}`...)
	}
	b = append(append(b, `]},"firing":"`...), r.GetFiring()...)
	b = strconv.AppendFloat(append(b, `","placement":{"clearanceMm":`...), r.Placement.GetClearanceMm(), 'g', -1, 64)
	return append(append(append(b, `},"view":"`...), r.View.String()...), `"}`...)
}

// recorded are true answers, for a floor to send.
func recorded(b *testing.B, c *client.Client, n int, view pb.ScoreView) []*pb.Score {
	b.Helper()
	a := askers(b, c, 1, view)[0]
	all := make([]*pb.Score, n)
	for i := range all {
		var err error
		if all[i], err = c.Scores.ScoreLayering(context.Background(), a.score()); err != nil {
			b.Fatal(err)
		}
	}
	return all
}
