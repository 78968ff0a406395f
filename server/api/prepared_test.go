package api

import (
	"fmt"
	"sync"
	"testing"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// Whoever stored a glaze may score it at once, by several requests at the same time.
func TestScoresSeeWhatWasJustStored(t *testing.T) {
	w := newStudio(t)
	must(w.scores.ScoreLayering(w, twoLayers()))(t) // the studio is prepared before the glaze is there
	for i := range 20 {
		glaze := must(w.glazes.CreateGlaze(w, &pb.CreateGlazeRequest{Parent: "studios/test", Glaze: &pb.Glaze{
			DisplayName: fmt.Sprintf("New %d", i), ConeFrom: "6", Chemistry: &pb.Glaze_Described{Described: &pb.DescribedGlaze{}},
		}}))(t)
		request := twoLayers()
		request.Layering = &pb.Layering{Layers: []*pb.Layer{{Glaze: glaze.Name}}}
		var wg sync.WaitGroup
		for range 6 {
			wg.Go(func() {
				if _, err := w.scores.ScoreLayering(w, request); err != nil {
					t.Errorf("%s was stored before it was asked for: %v", glaze.Name, err)
				}
			})
		}
		wg.Wait()
	}
}
