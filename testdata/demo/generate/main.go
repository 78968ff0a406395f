// Command generate writes tiles.csv of the demo studio. All of it is invented: the tiles are simulated by the
// service's own physics, bent by a hidden truth that the studio cannot see and its regression has to find: how far
// each glaze is off the physics, what two glazes do to each other, the hands of two testers, two kilns, heavy-tailed
// noise from tile to tile, and one slip of the pen.
//
// The same program writes the same file as long as the physics stays the same. The committed file need not be written
// anew when the physics changes: then the truth is just another one.
//
//	go run ./testdata/demo/generate
package main

import (
	"context"
	"encoding/csv"
	"fmt"
	"log"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"time"

	"github.com/catchline/catchline/client"
	"github.com/catchline/catchline/model/film"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/embedded"
	"github.com/catchline/catchline/testdata/demo"
)

func main() {
	if err := run(context.Background(), "testdata/demo/tiles.csv"); err != nil {
		log.Fatal(err)
	}
}

func run(ctx context.Context, path string) (err error) {
	service, err := embedded.Open(ctx, embedded.Options{})
	if err != nil {
		return err
	}
	defer service.Close()
	c := client.Over(service.Conn())
	if err := demo.Create(ctx, c); err != nil {
		return err
	}
	rng := rand.New(rand.NewPCG(1222, 6))
	t := newTruth(rng)
	out, err := os.Create(path)
	if err != nil {
		return err
	}
	w := csv.NewWriter(out)
	w.Write(header)
	day := time.Date(2026, 1, 10, 0, 0, 0, 0, time.UTC)
	for i := range tiles {
		if i > 0 && i%8 == 0 { // eight tiles a kiln load
			day = day.AddDate(0, 0, 9)
		}
		p := plan(rng, i)
		p.day = day.Format(time.DateOnly)
		score, err := c.Scores.ScoreLayering(ctx, p.request())
		if err != nil {
			return fmt.Errorf("tile %d: %w", i+1, err)
		}
		w.Write(p.line(t.outcome(rng, i, p, score.Physics)))
	}
	w.Flush()
	if err := w.Error(); err != nil {
		return err
	}
	return out.Close()
}

// tiles is how many there are.
const tiles = 120

// kinds of glaze by the cones that they are for.
var (
	six = []string{"tarn-clear", "lintel-amber", "skerry-blue", "byre-plum", "quern-matte", "fen-satin", "plain-liner", "unmarked-jar", "gift-jar"}
	ten = []string{"sallow-green", "hearth-brown", "orchard-ash", "meal-satin"}

	sixFirings = []string{"cone-6", "cone-6", "cone-6", "cone-5", "cone-6-hold", "cone-6-drop", "cone-6-witness", "cone-6-reduction"}
	tenFirings = []string{"cone-10", "cone-10-reduction", "cone-10-reduction"}
	testers    = []string{"tester one", "tester two"}
	bodies     = []string{"pale-stoneware", "speckled-stoneware"}
)

// layer is a glaze of a tile and how much of it.
type layer struct {
	glaze, lot, method string
	coats              float64
}

// piece is a tile before it is fired.
type piece struct {
	day, firing, tester, body string
	witness                   string // its own witness cone
	layers                    []layer
	clearance                 float64 // mm
	interval, mean            bool    // how it is read
}

const band = 60 // mm

// plan picks a tile: glazes alone at first, then pairs, a few triples.
func plan(rng *rand.Rand, i int) piece {
	glazes, firings := six, sixFirings
	if i%4 == 3 {
		glazes, firings = ten, tenFirings
	}
	pick := func(list []string) string { return list[rng.IntN(len(list))] }
	p := piece{firing: pick(firings), tester: pick(testers), body: pick(bodies), clearance: 30}
	if rng.Float64() < 0.25 {
		p.clearance = 40
	}
	n := 2
	switch u := rng.Float64(); {
	case i < 16 || u < 0.28:
		n = 1
	case u > 0.93:
		n = 3
	}
	used := map[string]bool{}
	for len(p.layers) < n {
		l := layer{glaze: pick(glazes), method: "brush", coats: []float64{2, 2, 3, 3}[rng.IntN(4)]}
		if used[l.glaze] {
			continue
		}
		used[l.glaze] = true
		switch {
		case l.glaze == "lintel-amber" && i < 70:
			l.lot = "bucket-1"
		case l.glaze == "lintel-amber":
			l.lot = "bucket-2"
		case l.glaze == "skerry-blue" && i > 60:
			l.lot = "spring"
		}
		if n == 1 {
			switch rng.IntN(5) {
			case 0:
				l.method, l.coats = "dip", 1
			case 1:
				l.coats = 4
			}
		}
		p.layers = append(p.layers, l)
	}
	if p.firing == "cone-6" && rng.Float64() < 0.2 {
		p.witness = []string{"5.8", "6.2", "6.3"}[rng.IntN(3)]
	}
	p.interval, p.mean = rng.Float64() < 0.08, rng.Float64() < 0.2
	return p
}

var methods = map[string]pb.ApplicationMethod{
	"brush": pb.ApplicationMethod_APPLICATION_METHOD_BRUSH, "dip": pb.ApplicationMethod_APPLICATION_METHOD_DIP,
}

// request asks for the physics of the tile. A witness cone of its own is left to the truth.
func (p *piece) request() *pb.ScoreLayeringRequest {
	l := &pb.Layering{Body: demo.Studio + "/bodies/" + p.body}
	for _, one := range p.layers {
		lot := ""
		if one.lot != "" {
			lot = demo.Studio + "/glazes/" + one.glaze + "/lots/" + one.lot
		}
		l.Layers = append(l.Layers, &pb.Layer{
			Glaze: demo.Studio + "/glazes/" + one.glaze, Lot: lot,
			Amount: &pb.Layer_Coats{Coats: one.coats}, Method: methods[one.method],
		})
	}
	return &pb.ScoreLayeringRequest{
		Parent: demo.Studio, Layering: l, FiringSource: &pb.ScoreLayeringRequest_Firing{Firing: demo.Studio + "/firings/" + p.firing},
	}
}

// truth is what the studio cannot see, all of it on the natural logarithm of the drive. The widths are ours, of the
// size that common practice knows (no source).
type truth struct {
	common float64
	glaze  map[string]float64
	pair   map[[2]string]float64
	hand   map[string]float64
	kiln   map[string]float64 // by firing: the gas kiln's are those with reduction
	bead   map[string]float64 // by body: how many times the usual bead gathers at its edge

	slipped bool // the pen, once
}

func newTruth(rng *rand.Rand) *truth {
	t := &truth{common: 0.3, glaze: map[string]float64{}, pair: map[[2]string]float64{}, hand: map[string]float64{}, kiln: map[string]float64{}}
	all := append(append([]string{}, six...), ten...)
	for i, g := range all {
		t.glaze[g] = 0.4 * rng.NormFloat64()
		for _, other := range all[:i] {
			t.pair[pairOf(g, other)] = 0.15 + 0.3*rng.NormFloat64()
		}
	}
	t.hand["tester one"], t.hand["tester two"] = 0.16, -0.2
	t.kiln["cone-6-reduction"], t.kiln["cone-10-reduction"] = 0.2, 0.2
	t.bead = map[string]float64{"pale-stoneware": 0.8, "speckled-stoneware": 1.7}
	return t
}

func pairOf(a, b string) [2]string {
	if a > b {
		a, b = b, a
	}
	return [2]string{a, b}
}

// perCone is what a cone more does to the ln of the drive; for tiles with a witness cone of their own.
const perCone = 0.4

// drips is how much further the longest drip gets than the mean front.
const drips = 1.9

// seen is what was read of a tile.
type seen struct {
	outcome              string
	run, from, to, front float64 // mm
}

// outcome fires a tile.
func (t *truth) outcome(rng *rand.Rand, i int, p piece, physics *pb.PhysicsDetail) seen {
	edge := film.NewEdge(film.Usual.Wetting.SectionAt(physics.PeakC+273.15), film.MobileThickness(physics.TotalThicknessUm*1e-6, film.Usual.BodyLayer), 1, film.Usual.Wetted)
	lnX := math.Log(film.Drive(edge.Free(physics.MedianRunMm*1e-3/film.Usual.Drip), band*1e-3))
	lnX += t.common + t.hand[p.tester] + t.kiln[p.firing]
	// A mixed zone counts half for either of its glazes.
	for k, share := range physics.FlowShare {
		if k < len(p.layers) {
			lnX += share * t.glaze[p.layers[k].glaze]
			continue
		}
		a, b := p.layers[k-len(p.layers)].glaze, p.layers[k-len(p.layers)+1].glaze
		lnX += share * (t.glaze[a] + t.glaze[b]) / 2
	}
	if len(p.layers) > 1 {
		lnX += t.pair[pairOf(p.layers[0].glaze, p.layers[1].glaze)]
	}
	if p.witness != "" {
		read, _ := strconv.ParseFloat(p.witness, 64)
		lnX += perCone * (read - 6)
	}
	lnX += 0.24 * studentT(rng, 5)

	edge.Bead *= t.bead[p.body]
	front := 1e3 * edge.Front(film.Run(math.Exp(lnX), band*1e-3))
	longest := front * math.Max(1, drips*math.Exp(0.25*rng.NormFloat64()))
	s := seen{outcome: "run", run: math.Round(longest), front: -1}
	switch {
	case longest >= p.clearance:
		s = seen{outcome: "ran_off", front: -1}
	case longest < 0.6:
		s = seen{outcome: "did_not_move", front: -1}
	case p.interval:
		from := 5 * math.Floor(longest/5)
		s = seen{outcome: "interval", from: from, to: from + 5, front: -1}
	case p.mean:
		s.front = math.Min(math.Round(2*front)/2, s.run)
	}
	if s.outcome == "run" && i > 57 && s.run >= 18 && !t.slipped {
		t.slipped = true
		s.run, s.front = math.Round(s.run/10), -1 // a slip of the pen: a decimal place too few
	}
	return s
}

// studentT draws from Student's t, as a normal over the root of a mean of squares of normals.
func studentT(rng *rand.Rand, df int) float64 {
	var squares float64
	for range df {
		z := rng.NormFloat64()
		squares += z * z
	}
	return rng.NormFloat64() / math.Sqrt(squares/float64(df))
}

var header = []string{
	"fire_date", "tester", "firing", "witness_cone", "body",
	"layer1_glaze", "layer1_lot", "layer1_coats", "layer1_method",
	"layer2_glaze", "layer2_lot", "layer2_coats", "layer2_method",
	"layer3_glaze", "layer3_lot", "layer3_coats", "layer3_method",
	"wall_angle_deg", "band_height_mm", "clearance_mm",
	"outcome", "run_mm", "run_from_mm", "run_to_mm", "mean_front_mm", "notes",
}

// line writes a tile with what was read of it.
func (p *piece) line(s seen) []string {
	row := []string{p.day, p.tester, p.firing, p.witness, p.body}
	for i := range 3 {
		if i >= len(p.layers) {
			row = append(row, "", "", "", "")
			continue
		}
		l := p.layers[i]
		row = append(row, l.glaze, l.lot, number(l.coats), l.method)
	}
	row = append(row, "90", number(band), number(p.clearance), s.outcome)
	cell := func(on bool, v float64) {
		if on {
			row = append(row, number(v))
			return
		}
		row = append(row, "")
	}
	cell(s.outcome == "run", s.run)
	cell(s.outcome == "interval", s.from)
	cell(s.outcome == "interval", s.to)
	cell(s.front >= 0, s.front)
	return append(row, "invented")
}

func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
