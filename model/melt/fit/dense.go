package main

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas32"

	"github.com/catchline/catchline/model/melt/internal/form"
)

// dense is a network in training: layers of vector.Unit, linear at the end, all in float32. A layer's weights stand input
// by output, its biases after them.
type dense struct {
	sizes []int
	p     []float32
	start []int // of each layer in p
}

func newDense(sizes []int, rng *rand.Rand) *dense {
	m := &dense{sizes: sizes}
	n := 0
	for l := 1; l < len(sizes); l++ {
		m.start = append(m.start, n)
		n += sizes[l] * (sizes[l-1] + 1)
	}
	m.p = make([]float32, n)
	for l := 1; l < len(sizes); l++ {
		scale := 1 / math.Sqrt(float64(sizes[l-1]))
		if l == len(sizes)-1 {
			scale *= 0.3
		}
		w, b := m.layer(l, m.p)
		for i := range w {
			w[i] = float32(scale * rng.NormFloat64())
		}
		for i := range b {
			b[i] = float32(0.3 * rng.NormFloat64())
		}
	}
	return m
}

// layer gives the weights and biases of layer l (from 1) in p.
func (m *dense) layer(l int, p []float32) (w, b []float32) {
	in, out := m.sizes[l-1], m.sizes[l]
	p = p[m.start[l-1]:]
	return p[:in*out], p[in*out : in*out+out]
}

// pass is the workspace of a batch: activations and error signals by layer.
type pass struct{ a, d [][]float32 }

func (m *dense) newPass(batch int) *pass {
	p := &pass{}
	for _, s := range m.sizes {
		p.a = append(p.a, make([]float32, batch*s))
		p.d = append(p.d, make([]float32, batch*s))
	}
	return p
}

func general(rows, cols int, d []float32) blas32.General {
	return blas32.General{Rows: rows, Cols: cols, Stride: cols, Data: d[:rows*cols]}
}

// forward runs n rows that stand in p.a[0]; it leaves each unit's slope in p.d for backward.
func (m *dense) forward(p *pass, n int) []float32 {
	last := len(m.sizes) - 1
	for l := 1; l <= last; l++ {
		in, out := m.sizes[l-1], m.sizes[l]
		w, b := m.layer(l, m.p)
		z := p.a[l][:n*out]
		for i := range n {
			copy(z[i*out:], b)
		}
		blas32.Gemm(blas.NoTrans, blas.NoTrans, 1, general(n, in, p.a[l-1]), general(in, out, w), 1, general(n, out, z))
		if l == last {
			return z
		}
		d := p.d[l]
		for i, v := range z { // vector.Unit and form.UnitSlope in float32
			a := max(v, -v)
			q := 1 / (1 + a + v*v)
			z[i] = v * (1 + a) * q
			d[i] = (1 + 2*a) * q * q
		}
	}
	return nil
}

// backward takes the error signals of the outputs in p.d and fills g with the gradient.
func (m *dense) backward(p *pass, n int, g []float32) {
	for l := len(m.sizes) - 1; l >= 1; l-- {
		in, out := m.sizes[l-1], m.sizes[l]
		e := p.d[l][:n*out]
		gw, gb := m.layer(l, g)
		blas32.Gemm(blas.Trans, blas.NoTrans, 1, general(n, in, p.a[l-1]), general(n, out, e), 0, general(in, out, gw))
		clear(gb)
		for i := range n {
			for j, v := range e[i*out : (i+1)*out] {
				gb[j] += v
			}
		}
		if l > 1 {
			w, _ := m.layer(l, m.p)
			t := p.a[l-1] // the activations below are spent
			blas32.Gemm(blas.NoTrans, blas.Trans, 1, general(n, out, e), general(in, out, w), 0, general(n, in, t))
			d := p.d[l-1][:n*in]
			for i := range d {
				d[i] *= t[i]
			}
		}
	}
}

// network takes over a trained network of the product's size, with its standardisation of features folded into the first layer.
func (m *dense) network(s *scaling) *form.Network {
	n := &form.Network{}
	w1, b1 := m.layer(1, m.p)
	for j := range n.B1 {
		n.B1[j] = float64(b1[j])
		for i := range n.W1 {
			n.W1[i][j] = float64(w1[i*form.Hidden1+j]) * s.scale[i]
			n.B1[j] -= n.W1[i][j] * s.mean[i]
		}
	}
	w2, b2 := m.layer(2, m.p)
	for j := range n.W2 {
		n.B2[j] = float64(b2[j])
		for i := range n.W2[j] {
			n.W2[j][i] = float64(w2[i*form.Hidden2+j])
		}
	}
	w3, b3 := m.layer(3, m.p)
	for j := range n.W3 {
		n.B3[j] = float64(b3[j])
		for i := range n.W3[j] {
			n.W3[j][i] = float64(w3[i*form.Outputs+j])
		}
	}
	return n
}

// adam is Kingma & Ba's optimiser (2015, arXiv:1412.6980) with decay taken off the weights themselves (Loshchilov & Hutter 2019, arXiv:1711.05101).
type adam struct {
	m, v   []float32
	b1, b2 float64 // powers of the two rates, for the start
}

func newAdam(n int) *adam {
	return &adam{m: make([]float32, n), v: make([]float32, n), b1: 1, b2: 1}
}

func (a *adam) step(p, g []float32, rate, decay float64) {
	const beta1, beta2 = 0.9, 0.99
	a.b1 *= beta1
	a.b2 *= beta2
	c1 := float32(rate / (1 - a.b1))
	c2 := float32(1 / (1 - a.b2))
	wd := float32(rate * decay)
	for i, gi := range g {
		a.m[i] = beta1*a.m[i] + (1-beta1)*gi
		a.v[i] = beta2*a.v[i] + (1-beta2)*gi*gi
		p[i] -= c1*a.m[i]/(float32(math.Sqrt(float64(a.v[i]*c2)))+1e-7) + wd*p[i]
	}
}
