package film_test

import (
	"fmt"
	"math"

	"github.com/catchline/catchline/model/film"
)

// A band of 50 mm and 0.5 mm thick of a melt of 30 Pa·s and 2400 kg/m³ on an upright wall for 600 s. Huppert 1982 has
// its front at 87.15 mm below its upper edge (thin_film_check.csv, "block: front"), which is a run of 37.15 mm.
func ExampleRun() {
	const H, L, ρ, η, t = 0.5e-3, 50e-3, 2400, 30, 600
	M := ρ * film.Gravity * t / η // mobility, 1/m
	fmt.Printf("%.2f mm\n", 1e3*film.Run(H*H*M, L))
	// Output: 37.15 mm
}

// A runny layer under an equally thick one so stiff that it only rides along: 7/8 of the flow that both would have were
// they all runny, by the flux of a layered film (Kao 1965).
func ExampleStack_Flow() {
	const ρ, H = 2400, 0.6e-3       // kg/m³, m of both
	runny, stiff := 20.0, 20.0*1e-6 // ∫dt/η in 1/Pa
	var s film.Stack
	for _, flow := range []float64{runny, stiff} { // from the wall to the air
		if _, err := s.Push(film.Layer{Thickness: H / 2, Density: ρ, Exposure: film.Exposure{Flow: flow}}); err != nil {
			fmt.Println(err)
			return
		}
	}
	f, err := s.Flow(1) // upright, without mixed zones
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.3f of the mobility of the runny glaze alone\n", f.Mobility/(ρ*film.Gravity*runny))
	// Output: 0.875 of the mobility of the runny glaze alone
}

// The finite-volume solver follows a band along any profile. On an even slope it gives the closed form, within 0.3 %
// with 400 cells.
func ExampleSolver() {
	tile, err := film.Tile(0.200, 0.050, math.Pi/2)
	if err != nil {
		fmt.Println(err)
		return
	}
	s, err := film.NewSolver(tile, 400, 0)
	if err != nil {
		fmt.Println(err)
		return
	}
	if err := s.Lay(film.Band{Low: 0.130, High: 0.190, Thickness: 0.5e-3, Mobility: 1}); err != nil {
		fmt.Println(err)
		return
	}
	const X = 0.12 // drive, m
	if err := s.Advance(X); err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println("as the closed form:", math.Abs(s.Run()/film.Run(X, 0.060)-1) < 0.003)
	// Output: as the closed form: true
}
