package calib

import (
	"errors"
	"fmt"
	"math"

	"github.com/sajari/regression"
	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack"
	"gonum.org/v1/gonum/lapack/lapack64"
)

// rFactor is the R of the thin QR factorisation of all rows (x, y) absorbed so far: n columns of coefficients and one of
// right-hand sides, upper triangular, never more than n+1 rows. Row blocks of any size come and go.
//
// Golub & Van Loan, Matrix Computations, section 6.5.3 (adding rows to a QR factorisation), from memory.
type rFactor struct {
	n int
	r []float64 // (n+1)×(n+1), row major; below the diagonal zero
}

func newRFactor(n int) *rFactor {
	return &rFactor{n: n, r: make([]float64, (n+1)*(n+1))}
}

func (t *rFactor) clone() *rFactor {
	return &rFactor{n: t.n, r: append([]float64(nil), t.r...)}
}

func (t *rFactor) row(i int) []float64 { return t.r[i*(t.n+1) : (i+1)*(t.n+1)] }

// upper is R without its right-hand side, as gonum wants it.
func (t *rFactor) upper() blas64.Triangular {
	return blas64.Triangular{Uplo: blas.Upper, Diag: blas.NonUnit, N: t.n, Stride: t.n + 1, Data: t.r}
}

// absorb takes up a block of m rows of n+1 numbers each, whose first `zeros` columns are zero in every row; the block is
// left as it was. Rows that come sorted by their leading zeros cost the less.
func (t *rFactor) absorb(block []float64, zeros int) {
	stride := t.n + 1
	m, width := len(block)/stride, stride-zeros
	if m == 0 {
		return
	}
	stack := blas64.General{Rows: width + m, Cols: width, Stride: width, Data: make([]float64, (width+m)*width)}
	for i := range width {
		copy(stack.Data[i*width+i:(i+1)*width], t.row(zeros + i)[zeros+i:])
	}
	for i := range m {
		copy(stack.Data[(width+i)*width:(width+i+1)*width], block[i*stride+zeros:(i+1)*stride])
	}
	reflectors := make([]float64, width)
	work := []float64{0}
	lapack64.Geqrf(stack, reflectors, work, -1)
	work = make([]float64, int(work[0]))
	lapack64.Geqrf(stack, reflectors, work, len(work))
	for i := range width {
		from, to := stack.Data[i*width+i:(i+1)*width], t.row(zeros + i)[zeros+i:]
		sign := 1.0
		if from[0] < 0 { // a positive diagonal makes R unique
			sign = -1
		}
		for j, v := range from {
			to[j] = sign * v
		}
	}
}

// rotate eliminates row[at] against top[at] by a Givens rotation of everything from there on. Both are changed.
func rotate(top, row []float64, at int) {
	if row[at] == 0 {
		return
	}
	c, s, r, _ := blas64.Rotg(top[at], row[at])
	if r < 0 {
		c, s = -c, -s
	}
	n := len(top) - at
	blas64.Rot(blas64.Vector{N: n, Inc: 1, Data: top[at:]}, blas64.Vector{N: n, Inc: 1, Data: row[at:]}, c, s)
	row[at] = 0
}

// absorbRow takes up one row by rotations, in O(n²). The row is used up.
func (t *rFactor) absorbRow(row []float64) {
	for i := 0; i <= t.n; i++ {
		rotate(t.row(i), row, i)
	}
}

// grow puts one new coefficient in front, known only by its prior row (1, 0 ... 0).
func (t *rFactor) grow() *rFactor {
	g := newRFactor(t.n + 1)
	g.r[0] = 1
	for i := 0; i <= t.n; i++ {
		copy(g.row(i + 1)[1:], t.row(i))
	}
	return g
}

// errRank says that the rows do not determine the coefficients.
var errRank = errors.New("the rows do not determine the coefficients")

// conditionLimit is where half of the digits of a float64 and more would be gone in R, and all in RᵀR.
const conditionLimit = 1e14

// condition is the condition number of R in the 1-norm.
func (t *rFactor) condition() float64 {
	if t.n == 0 {
		return 1
	}
	for i := range t.n {
		if t.row(i)[i] == 0 {
			return math.Inf(1)
		}
	}
	work, iwork := make([]float64, 3*t.n), make([]int, t.n)
	return 1 / lapack64.Trcon(lapack.MaxColumnSum, t.upper(), work, iwork)
}

// cornerSize bounds what is handed to the regression library, whose work grows with the cube of it and whose memory
// with the square: the last rows of R are a complete least-squares problem in the last coefficients, and the others
// follow from them by back substitution.
const cornerSize = 48

// solve returns the least-squares coefficients, once rank and condition are checked.
func (t *rFactor) solve() ([]float64, error) {
	if c := t.condition(); !(c < conditionLimit) {
		return nil, fmt.Errorf("%w: condition number %.3g, limit %.0g", errRank, c, float64(conditionLimit))
	}
	return t.coefficients()
}

// coefficients of rows that are known to determine them, as they do where prior rows for all of them are among them.
//
// The last rows of R go to sajari/regression twice, as (r, y) and (-r, -y). The mirror makes every column sum to zero, so that
// the intercept which the library forces comes out as exactly nothing and the rest is the least-squares answer. It is
// never shown raw tiles, as it would form an m×m matrix of them, and it is never asked about rank, which it does not check.
func (t *rFactor) coefficients() ([]float64, error) {
	if t.n == 0 {
		return nil, nil
	}
	first := max(0, t.n-cornerSize)
	reg := new(regression.Regression)
	for i := first; i <= t.n; i++ {
		r, mirrored := t.row(i)[first:], make([]float64, t.n-first)
		for j := range mirrored {
			mirrored[j] = -r[j]
		}
		y := r[t.n-first]
		reg.Train(regression.DataPoint(y, r[:t.n-first:t.n-first]), regression.DataPoint(-y, mirrored))
	}
	if err := reg.Run(); err != nil {
		return nil, fmt.Errorf("least squares: %w", err)
	}
	θ := make([]float64, t.n)
	copy(θ[first:], reg.GetCoeffs()[1:])
	for i := first - 1; i >= 0; i-- {
		r := t.row(i)
		s := r[t.n]
		for j := i + 1; j < t.n; j++ {
			s -= r[j] * θ[j]
		}
		θ[i] = s / r[i]
	}
	for _, v := range θ {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, fmt.Errorf("%w: the solution is not finite", errRank)
		}
	}
	return θ, nil
}

// halfSolve replaces a by R⁻ᵀa, whose squared length is the variance aᵀ(RᵀR)⁻¹a.
func (t *rFactor) halfSolve(a []float64) {
	if t.n > 0 {
		blas64.Trsv(blas.Trans, t.upper(), blas64.Vector{N: t.n, Inc: 1, Data: a})
	}
}

// backSolve replaces a by R⁻¹a.
func (t *rFactor) backSolve(a []float64) {
	if t.n > 0 {
		blas64.Trsv(blas.NoTrans, t.upper(), blas64.Vector{N: t.n, Inc: 1, Data: a})
	}
}
