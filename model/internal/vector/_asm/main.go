// The asm program writes the vector kernels of package vector, for AVX2 with FMA, in Go's assembly. It has a module of its own so that what
// writes assembly is no part of the product.
package main

import (
	"fmt"
	"math"

	. "github.com/mmcloughlin/avo/build"
	. "github.com/mmcloughlin/avo/operand"
	"github.com/mmcloughlin/avo/reg"
)

// A register holds so many float64s.
const (
	lanes    = 4
	register = 8 * lanes // bytes
)

// vector is a register.
type vector = reg.VecVirtual

func main() {
	ConstraintExpr("amd64")
	elementwise("exp", exp)
	elementwise("log", log)
	mix()
	fluidities()
	dot()
	dense("dense", func(z vector) vector { return z })
	dense("denseUnit", unit)
	Generate()
}

// constants of the file, by their bits.
var constants = map[uint64]Mem{}

// constant gives a vector that holds v in every lane.
func constant(v float64) vector { return bits(math.Float64bits(v)) }

func bits(v uint64) vector {
	m, ok := constants[v]
	if !ok {
		m = ConstData(fmt.Sprintf("bits%016x", v), U64(v))
		constants[v] = m
	}
	return broadcast(m)
}

func broadcast(m Mem) vector {
	r := YMM()
	VBROADCASTSD(m, r)
	return r
}

// Arithmetic on registers. Each gives a new one, but that mulAdd and subMul use up c.

func add(a, b vector) vector { r := YMM(); VADDPD(b, a, r); return r }
func sub(a, b vector) vector { r := YMM(); VSUBPD(b, a, r); return r }
func mul(a, b vector) vector { r := YMM(); VMULPD(b, a, r); return r }
func div(a, b vector) vector { r := YMM(); VDIVPD(b, a, r); return r }

// mulAdd is a·b + c.
func mulAdd(a, b, c vector) vector { VFMADD231PD(b, a, c); return c }

// subMul is c - a·b.
func subMul(c, a, b vector) vector { VFNMADD231PD(b, a, c); return c }

// abs clears the sign.
func abs(a vector) vector {
	r, mask := YMM(), bits(1<<63-1)
	VANDPD(mask, a, r)
	return r
}

// clamp holds a between low and high; what is not a number stays so, as these instructions give their second operand then.
func clamp(a vector, low, high float64) vector {
	r := YMM()
	VMAXPD(a, constant(low), r)
	VMINPD(r, constant(high), r)
	return r
}

// below selects x where a < b, else y.
func below(a, b, x, y vector) vector {
	r, mask := YMM(), YMM()
	VCMPPD(Imm(lessThan), b, a, mask)
	VBLENDVPD(mask, x, y, r)
	return r
}

const lessThan = 0x11 // ordered, quiet: false for what is not a number

// exp is 2^k·exp(r) with k whole and |r| <= ln2/2, exp(r) by its Taylor series up to r^13/13!; what is cut off is below 5e-18 of it. The series
// is summed in pairs of pairs (Estrin's scheme) from r²/2 on, and the first two terms are added last.
func exp(x vector) vector {
	x = clamp(x, -708, 709)
	k := mul(x, constant(math.Log2E))
	VROUNDPD(Imm(nearest), k, k)
	const ln2High, ln2Low = 6.93147180369123816490e-01, 1.90821492927058770002e-10 // as in package math
	r := subMul(subMul(x, k, constant(ln2High)), k, constant(ln2Low))
	factorial := 2.0
	var terms []vector
	for n := 2; n <= 13; n += 2 {
		// r^n/n! + r^(n+1)/(n+1)! without r^n
		next := factorial * float64(n+1)
		terms = append(terms, mulAdd(constant(1/next), r, constant(1/factorial)))
		factorial = next * float64(n+2)
	}
	r2 := mul(r, r)
	r4 := mul(r2, r2)
	low := mulAdd(terms[1], r2, terms[0])
	middle := mulAdd(terms[3], r2, terms[2])
	high := mulAdd(terms[5], r2, terms[4])
	series := mulAdd(mulAdd(high, r4, middle), r4, low)
	p := add(mulAdd(series, r2, r), constant(1))
	return scale(p, k)
}

const nearest = 8 // round to nearest even, raise nothing

// scale is p·2^k for whole k, p and the result normal numbers.
func scale(p, k vector) vector {
	r, half := YMM(), XMM()
	VCVTPD2DQY(k, half)
	VPMOVSXDQ(half, r)
	VPSLLQ(Imm(52), r, r)
	VPADDQ(p, r, r)
	return r
}

// log is that of FreeBSD's e_log.c, as in package math: x = 2^k (1+f) with sqrt(1/2) <= 1+f < sqrt(2), s = f/(2+f) and
//
//	log(1+f) = f - f²/2 + s (f²/2 + R(s²))
func log(x vector) vector {
	const one, half = 0x3ff0000000000000, 0x3fe6a09e667f3bcd // bits of 1 and of sqrt(1/2)
	e, m, whole := YMM(), YMM(), YMM()
	VPADDQ(bits(one-half), x, e)
	VPSRLQ(Imm(52), e, e) // k + 1023
	VPSLLQ(Imm(52), e, m)
	VPSUBQ(m, x, m)
	VPADDQ(bits(one), m, m)
	VPADDQ(bits(0x4330000000000000), e, whole) // 2^52 + k + 1023
	k := sub(whole, constant(1<<52+1023))
	f := sub(m, constant(1))
	s := div(f, add(f, constant(2)))
	z := mul(s, s)
	w := mul(z, z)
	odd := mulAdd(mulAdd(mulAdd(constant(1.479819860511658591e-01), w, constant(1.818357216161805012e-01)), w,
		constant(2.857142874366239149e-01)), w, constant(6.666666666666735130e-01))
	even := mulAdd(mulAdd(constant(1.531383769920937332e-01), w, constant(2.222219843214978396e-01)), w,
		constant(3.999999999940941908e-01))
	R := mulAdd(odd, z, mul(even, w))
	square := mul(mul(f, f), constant(0.5))
	const ln2High, ln2Low = 6.93147180369123816490e-01, 1.90821492927058770002e-10
	tail := mulAdd(k, constant(ln2Low), mul(s, add(square, R)))
	y := mulAdd(k, constant(ln2High), sub(f, sub(square, tail)))
	nan := bits(0x7ff8000000000001)
	y = below(x, bits(0x7ff0000000000000), y, nan)
	return below(x, constant(0x1p-1022), nan, y)
}

// unit is z (1+|z|)/(1+|z|+z²).
func unit(z vector) vector {
	a := add(abs(z), constant(1))
	return div(mul(z, a), mulAdd(z, z, a))
}

// each runs body over a slice of n float64s: as many as fit into a register at a time, and the last few one by one in the lowest lane, which does
// not wait for numbers that were written one by one just before, as a masked load would. A number does not depend on its place.
func each(n reg.GPVirtual, pointers []reg.GPVirtual, body func(load func(reg.GPVirtual) vector, store func(vector, reg.GPVirtual))) {
	forward := func(by int) {
		for _, p := range pointers {
			ADDQ(Imm(uint64(8*by)), p)
		}
		SUBQ(Imm(uint64(by)), n)
	}
	Label("next")
	CMPQ(n, Imm(uint64(lanes)))
	JL(LabelRef("last"))
	body(func(p reg.GPVirtual) vector {
		r := YMM()
		VMOVUPD(Mem{Base: p}, r)
		return r
	}, func(r vector, p reg.GPVirtual) { VMOVUPD(r, Mem{Base: p}) })
	forward(lanes)
	JMP(LabelRef("next"))
	Label("last")
	TESTQ(n, n)
	JZ(LabelRef("done"))
	body(func(p reg.GPVirtual) vector {
		r := YMM()
		VMOVSD(Mem{Base: p}, r.AsX())
		return r
	}, func(r vector, p reg.GPVirtual) { VMOVSD(r.AsX(), Mem{Base: p}) })
	forward(1)
	JMP(LabelRef("last"))
	Label("done")
}

// pointer loads the address of a slice's first element, length its length.
func pointer(name string) reg.GPVirtual { return Load(Param(name).Base(), GP64()).(reg.GPVirtual) }
func length(name string) reg.GPVirtual  { return Load(Param(name).Len(), GP64()).(reg.GPVirtual) }

// number gives a vector that holds a parameter in every lane. avo would load it by an instruction without V, which is slow between those with.
func number(name string) vector {
	at, err := Param(name).Resolve()
	if err != nil {
		panic(err)
	}
	return broadcast(at.Addr)
}

func function(name, signature string) {
	TEXT(name+"AVX2", NOSPLIT, signature)
	Pragma("noescape")
}

// elementwise makes a function of every element of a slice.
func elementwise(name string, f func(vector) vector) {
	function(name, "func(dst, x []float64)")
	dst, x, n := pointer("dst"), pointer("x"), length("x")
	each(n, []reg.GPVirtual{dst, x}, func(load func(reg.GPVirtual) vector, store func(vector, reg.GPVirtual)) {
		store(f(load(x)), dst)
	})
	VZEROUPPER()
	RET()
}

// mix makes Mix. Both products are rounded before they are added, so that a with b is b with a.
func mix() {
	function("mix", "func(dst, x, y []float64, a, b float64)")
	dst, x, y, n := pointer("dst"), pointer("x"), pointer("y"), length("x")
	a, b := number("a"), number("b")
	each(n, []reg.GPVirtual{dst, x, y}, func(load func(reg.GPVirtual) vector, store func(vector, reg.GPVirtual)) {
		store(add(mul(a, load(x)), mul(b, load(y))), dst)
	})
	VZEROUPPER()
	RET()
}

// fluidities makes Fluidities.
func fluidities() {
	function("fluidities", "func(dst, kelvin []float64, a *float64)")
	dst, kelvin, n := pointer("dst"), pointer("kelvin"), length("kelvin")
	k := Load(Param("a"), GP64()).(reg.GPVirtual)
	field := func(i int) vector { return broadcast(Mem{Base: k, Disp: 8 * i}) }
	each(n, []reg.GPVirtual{dst, kelvin}, func(load func(reg.GPVirtual) vector, store func(vector, reg.GPVirtual)) {
		T := load(kelvin)
		curve := add(div(field(1), sub(T, field(2))), field(0))
		knee := field(3)
		tangent := mulAdd(sub(T, knee), field(5), field(4))
		store(exp(mul(below(T, knee, tangent, curve), constant(-math.Ln10))), dst)
	})
	VZEROUPPER()
	RET()
}

// dot makes Dot.
func dot() {
	function("dot", "func(x, y []float64) float64")
	x, y, n := pointer("x"), pointer("y"), length("x")
	sum := YMM()
	VXORPD(sum, sum, sum)
	each(n, []reg.GPVirtual{x, y}, func(load func(reg.GPVirtual) vector, _ func(vector, reg.GPVirtual)) {
		VFMADD231PD(load(y), load(x), sum)
	})
	returnSum(sum)
}

// returnSum gives back the sum of the lanes.
func returnSum(sum vector) {
	high, low := XMM(), XMM()
	VEXTRACTF128(Imm(1), sum.AsY(), high)
	VADDPD(high, sum.AsX(), low)
	VUNPCKHPD(low, low, high)
	VADDSD(high, low, low)
	VZEROUPPER()
	Store(low, ReturnIndex(0))
	RET()
}

// dense makes a layer of a network: y[j] = f(b[j] + Σ x[i] w[i·len(b) + j]). Outputs are taken in blocks that stay in registers, inputs in
// a few chains that do not wait for one another; the number of outputs is a multiple of 8.
func dense(name string, f func(vector) vector) {
	function(name, "func(y, w, b, x []float64)")
	y, w, biases, x, inputs, outputs := pointer("y"), pointer("w"), pointer("b"), pointer("x"), length("x"), length("b")
	stride := GP64()
	MOVQ(outputs, stride)
	SHLQ(Imm(3), stride)
	for _, b := range []struct{ outputs, chains int }{{24, 2}, {8, 4}} {
		at := fmt.Sprint(b.outputs)
		Label("block" + at)
		CMPQ(outputs, Imm(uint64(b.outputs)))
		JL(LabelRef("end" + at))
		block(at, b.outputs/lanes, b.chains, y, w, biases, x, inputs, stride, f)
		for _, p := range []reg.GPVirtual{y, w, biases} {
			ADDQ(Imm(uint64(8*b.outputs)), p)
		}
		SUBQ(Imm(uint64(b.outputs)), outputs)
		JMP(LabelRef("block" + at))
		Label("end" + at)
	}
	VZEROUPPER()
	RET()
}

func block(at string, vectors, chains int, y, w, b, x, inputs, stride reg.GPVirtual, f func(vector) vector) {
	sums := make([][]vector, chains)
	for c := range sums {
		for v := range vectors {
			s := YMM()
			if c == 0 {
				VMOVUPD(Mem{Base: b, Disp: v * register}, s)
			} else {
				VXORPD(s, s, s)
			}
			sums[c] = append(sums[c], s)
		}
	}
	row, in, left := GP64(), GP64(), GP64()
	MOVQ(w, row)
	MOVQ(x, in)
	MOVQ(inputs, left)
	input := func(c int) {
		xi := broadcast(Mem{Base: in, Disp: 8 * c})
		for v, s := range sums[c] {
			VFMADD231PD(Mem{Base: row, Disp: v * register}, xi, s)
		}
		ADDQ(stride, row)
	}
	Label("inputs" + at)
	CMPQ(left, Imm(uint64(chains)))
	JL(LabelRef("input" + at))
	for c := range chains {
		input(c)
	}
	ADDQ(Imm(uint64(8*chains)), in)
	SUBQ(Imm(uint64(chains)), left)
	JMP(LabelRef("inputs" + at))
	Label("input" + at)
	TESTQ(left, left)
	JZ(LabelRef("sum" + at))
	input(0)
	ADDQ(Imm(8), in)
	DECQ(left)
	JMP(LabelRef("input" + at))
	Label("sum" + at)
	for step := chains / 2; step > 0; step /= 2 {
		for c := range step {
			for v := range vectors {
				VADDPD(sums[c+step][v], sums[c][v], sums[c][v])
			}
		}
	}
	for v, s := range sums[0] {
		VMOVUPD(f(s), Mem{Base: y, Disp: v * register})
	}
}
