// The asm program writes the vector kernels of package vector, for AVX2 with FMA and for AVX-512, in Go's assembly. It has a module
// of its own so that what writes assembly is no part of the product.
package main

import (
	"fmt"
	"math"

	. "github.com/mmcloughlin/avo/build"
	. "github.com/mmcloughlin/avo/operand"
	"github.com/mmcloughlin/avo/reg"
)

// unit is a vector unit of the processor.
type unit struct {
	name  string
	lanes int // float64s in a register
}

func main() {
	ConstraintExpr("amd64")
	for _, u := range []unit{{"AVX2", 4}, {"AVX512", 8}} {
		u.elementwise("exp", u.exp)
		u.elementwise("log", u.log)
		u.mix()
		u.fluidities()
		u.dot()
		u.bilinear()
		u.dense("dense", func(z reg.VecVirtual) reg.VecVirtual { return z })
		u.dense("denseUnit", u.unit)
	}
	Generate()
}

func (u unit) register() reg.VecVirtual {
	if u.lanes == 8 {
		return ZMM()
	}
	return YMM()
}

func (u unit) bytes() int { return 8 * u.lanes }

// constants of the file, by their bits.
var constants = map[uint64]Mem{}

// constant gives a vector that holds v in every lane.
func (u unit) constant(v float64) reg.VecVirtual { return u.bits(math.Float64bits(v)) }

func (u unit) bits(v uint64) reg.VecVirtual {
	m, ok := constants[v]
	if !ok {
		m = ConstData(fmt.Sprintf("bits%016x", v), U64(v))
		constants[v] = m
	}
	return u.broadcast(m)
}

func (u unit) broadcast(m Mem) reg.VecVirtual {
	r := u.register()
	VBROADCASTSD(m, r)
	return r
}

// Arithmetic on registers. Each gives a new one, but that mulAdd and subMul use up c.

func (u unit) add(a, b reg.VecVirtual) reg.VecVirtual { r := u.register(); VADDPD(b, a, r); return r }
func (u unit) sub(a, b reg.VecVirtual) reg.VecVirtual { r := u.register(); VSUBPD(b, a, r); return r }
func (u unit) mul(a, b reg.VecVirtual) reg.VecVirtual { r := u.register(); VMULPD(b, a, r); return r }
func (u unit) div(a, b reg.VecVirtual) reg.VecVirtual { r := u.register(); VDIVPD(b, a, r); return r }

// mulAdd is a·b + c.
func (u unit) mulAdd(a, b, c reg.VecVirtual) reg.VecVirtual { VFMADD231PD(b, a, c); return c }

// subMul is c - a·b.
func (u unit) subMul(c, a, b reg.VecVirtual) reg.VecVirtual { VFNMADD231PD(b, a, c); return c }

// abs clears the sign.
func (u unit) abs(a reg.VecVirtual) reg.VecVirtual {
	r, mask := u.register(), u.bits(1<<63-1)
	VANDPD(mask, a, r)
	return r
}

// clamp holds a between low and high; what is not a number stays so, as these instructions give their second operand then.
func (u unit) clamp(a reg.VecVirtual, low, high float64) reg.VecVirtual {
	r := u.register()
	VMAXPD(a, u.constant(low), r)
	VMINPD(r, u.constant(high), r)
	return r
}

// below selects x where a < b, else y.
func (u unit) below(a, b, x, y reg.VecVirtual) reg.VecVirtual {
	r := u.register()
	if u.lanes == 8 {
		k := K()
		VCMPPD(Imm(lessThan), b, a, k)
		VBLENDMPD(x, y, k, r)
		return r
	}
	mask := u.register()
	VCMPPD(Imm(lessThan), b, a, mask)
	VBLENDVPD(mask, x, y, r)
	return r
}

const lessThan = 0x11 // ordered, quiet: false for what is not a number

// exp is 2^k·exp(r) with k whole and |r| <= ln2/2, exp(r) by its Taylor series up to r^13/13!; what is cut off is below 5e-18 of it. The series
// is summed in pairs of pairs (Estrin's scheme) from r²/2 on, and the first two terms are added last.
func (u unit) exp(x reg.VecVirtual) reg.VecVirtual {
	x = u.clamp(x, -708, 709)
	k := u.mul(x, u.constant(math.Log2E))
	if u.lanes == 8 {
		VRNDSCALEPD(Imm(nearest), k, k)
	} else {
		VROUNDPD(Imm(nearest), k, k)
	}
	const ln2High, ln2Low = 6.93147180369123816490e-01, 1.90821492927058770002e-10 // as in package math
	r := u.subMul(u.subMul(x, k, u.constant(ln2High)), k, u.constant(ln2Low))
	factorial := 2.0
	var terms []reg.VecVirtual
	for n := 2; n <= 13; n += 2 {
		// r^n/n! + r^(n+1)/(n+1)! without r^n
		next := factorial * float64(n+1)
		terms = append(terms, u.mulAdd(u.constant(1/next), r, u.constant(1/factorial)))
		factorial = next * float64(n+2)
	}
	r2 := u.mul(r, r)
	r4 := u.mul(r2, r2)
	low := u.mulAdd(terms[1], r2, terms[0])
	middle := u.mulAdd(terms[3], r2, terms[2])
	high := u.mulAdd(terms[5], r2, terms[4])
	series := u.mulAdd(u.mulAdd(high, r4, middle), r4, low)
	p := u.add(u.mulAdd(series, r2, r), u.constant(1))
	return u.scale(p, k)
}

const nearest = 8 // round to nearest even, raise nothing

// scale is p·2^k for whole k, p and the result normal numbers.
func (u unit) scale(p, k reg.VecVirtual) reg.VecVirtual {
	r := u.register()
	if u.lanes == 8 {
		VSCALEFPD(k, p, r)
		return r
	}
	half := XMM()
	VCVTPD2DQY(k, half)
	VPMOVSXDQ(half, r)
	VPSLLQ(Imm(52), r, r)
	VPADDQ(p, r, r)
	return r
}

// log is that of FreeBSD's e_log.c, as in package math: x = 2^k (1+f) with sqrt(1/2) <= 1+f < sqrt(2), s = f/(2+f) and
//
//	log(1+f) = f - f²/2 + s (f²/2 + R(s²))
func (u unit) log(x reg.VecVirtual) reg.VecVirtual {
	const one, half = 0x3ff0000000000000, 0x3fe6a09e667f3bcd // bits of 1 and of sqrt(1/2)
	e, m, whole := u.register(), u.register(), u.register()
	VPADDQ(u.bits(one-half), x, e)
	VPSRLQ(Imm(52), e, e) // k + 1023
	VPSLLQ(Imm(52), e, m)
	VPSUBQ(m, x, m)
	VPADDQ(u.bits(one), m, m)
	VPADDQ(u.bits(0x4330000000000000), e, whole) // 2^52 + k + 1023
	k := u.sub(whole, u.constant(1<<52+1023))
	f := u.sub(m, u.constant(1))
	s := u.div(f, u.add(f, u.constant(2)))
	z := u.mul(s, s)
	w := u.mul(z, z)
	odd := u.mulAdd(u.mulAdd(u.mulAdd(u.constant(1.479819860511658591e-01), w, u.constant(1.818357216161805012e-01)), w,
		u.constant(2.857142874366239149e-01)), w, u.constant(6.666666666666735130e-01))
	even := u.mulAdd(u.mulAdd(u.constant(1.531383769920937332e-01), w, u.constant(2.222219843214978396e-01)), w,
		u.constant(3.999999999940941908e-01))
	R := u.mulAdd(odd, z, u.mul(even, w))
	square := u.mul(u.mul(f, f), u.constant(0.5))
	const ln2High, ln2Low = 6.93147180369123816490e-01, 1.90821492927058770002e-10
	tail := u.mulAdd(k, u.constant(ln2Low), u.mul(s, u.add(square, R)))
	y := u.mulAdd(k, u.constant(ln2High), u.sub(f, u.sub(square, tail)))
	nan := u.bits(0x7ff8000000000001)
	y = u.below(x, u.bits(0x7ff0000000000000), y, nan)
	return u.below(x, u.constant(0x1p-1022), nan, y)
}

// unit is z (1+|z|)/(1+|z|+z²).
func (u unit) unit(z reg.VecVirtual) reg.VecVirtual {
	a := u.add(u.abs(z), u.constant(1))
	return u.div(u.mul(z, a), u.mulAdd(z, z, a))
}

// each runs body over a slice of n float64s: as many as fit into a register at a time, then by a mask as long as there are several, and the
// last few one by one in the lowest lane, which does not wait for numbers that were written one by one just before. So a number does not depend
// on its place.
func (u unit) each(n reg.GPVirtual, pointers []reg.GPVirtual, body func(load func(reg.GPVirtual) reg.VecVirtual, store func(reg.VecVirtual, reg.GPVirtual))) {
	forward := func(by int) {
		for _, p := range pointers {
			ADDQ(Imm(uint64(8*by)), p)
		}
		SUBQ(Imm(uint64(by)), n)
	}
	Label("next")
	CMPQ(n, Imm(uint64(u.lanes)))
	JL(LabelRef("rest"))
	body(func(p reg.GPVirtual) reg.VecVirtual {
		r := u.register()
		VMOVUPD(Mem{Base: p}, r)
		return r
	}, func(r reg.VecVirtual, p reg.GPVirtual) { VMOVUPD(r, Mem{Base: p}) })
	forward(u.lanes)
	JMP(LabelRef("next"))
	Label("rest")
	if u.lanes == 8 {
		CMPQ(n, Imm(4))
		JL(LabelRef("last"))
		bits, k := GP64(), K()
		MOVQ(I64(-1), bits)
		BZHIQ(n, bits, bits)
		KMOVW(bits.As32(), k)
		body(func(p reg.GPVirtual) reg.VecVirtual {
			r := u.register()
			VMOVUPD_Z(Mem{Base: p}, k, r)
			return r
		}, func(r reg.VecVirtual, p reg.GPVirtual) { VMOVUPD(r, k, Mem{Base: p}) })
		JMP(LabelRef("done"))
	}
	Label("last")
	TESTQ(n, n)
	JZ(LabelRef("done"))
	body(func(p reg.GPVirtual) reg.VecVirtual {
		r := u.register()
		VMOVSD(Mem{Base: p}, r.AsX())
		return r
	}, func(r reg.VecVirtual, p reg.GPVirtual) { VMOVSD(r.AsX(), Mem{Base: p}) })
	forward(1)
	JMP(LabelRef("last"))
	Label("done")
}

// pointer loads the address of a slice's first element, length its length.
func pointer(name string) reg.GPVirtual { return Load(Param(name).Base(), GP64()).(reg.GPVirtual) }
func length(name string) reg.GPVirtual  { return Load(Param(name).Len(), GP64()).(reg.GPVirtual) }

// number gives a vector that holds a parameter in every lane. avo would load it by an instruction without V, which is slow between those with.
func (u unit) number(name string) reg.VecVirtual {
	at, err := Param(name).Resolve()
	if err != nil {
		panic(err)
	}
	return u.broadcast(at.Addr)
}

func (u unit) function(name, signature string) {
	TEXT(name+u.name, NOSPLIT, signature)
	Pragma("noescape")
}

// elementwise makes a function of every element of a slice.
func (u unit) elementwise(name string, f func(reg.VecVirtual) reg.VecVirtual) {
	u.function(name, "func(dst, x []float64)")
	dst, x, n := pointer("dst"), pointer("x"), length("x")
	u.each(n, []reg.GPVirtual{dst, x}, func(load func(reg.GPVirtual) reg.VecVirtual, store func(reg.VecVirtual, reg.GPVirtual)) {
		store(f(load(x)), dst)
	})
	VZEROUPPER()
	RET()
}

// mix makes Mix. Both products are rounded before they are added, so that a with b is b with a.
func (u unit) mix() {
	u.function("mix", "func(dst, x, y []float64, a, b float64)")
	dst, x, y, n := pointer("dst"), pointer("x"), pointer("y"), length("x")
	a, b := u.number("a"), u.number("b")
	u.each(n, []reg.GPVirtual{dst, x, y}, func(load func(reg.GPVirtual) reg.VecVirtual, store func(reg.VecVirtual, reg.GPVirtual)) {
		store(u.add(u.mul(a, load(x)), u.mul(b, load(y))), dst)
	})
	VZEROUPPER()
	RET()
}

// fluidities makes Fluidities.
func (u unit) fluidities() {
	u.function("fluidities", "func(dst, kelvin []float64, a *float64)")
	dst, kelvin, n := pointer("dst"), pointer("kelvin"), length("kelvin")
	k := Load(Param("a"), GP64()).(reg.GPVirtual)
	field := func(i int) reg.VecVirtual { return u.broadcast(Mem{Base: k, Disp: 8 * i}) }
	u.each(n, []reg.GPVirtual{dst, kelvin}, func(load func(reg.GPVirtual) reg.VecVirtual, store func(reg.VecVirtual, reg.GPVirtual)) {
		T := load(kelvin)
		curve := u.add(u.div(field(1), u.sub(T, field(2))), field(0))
		knee := field(3)
		tangent := u.mulAdd(u.sub(T, knee), field(5), field(4))
		store(u.exp(u.mul(u.below(T, knee, tangent, curve), u.constant(-math.Ln10))), dst)
	})
	VZEROUPPER()
	RET()
}

// dot makes Dot.
func (u unit) dot() {
	u.function("dot", "func(x, y []float64) float64")
	x, y, n := pointer("x"), pointer("y"), length("x")
	sum := u.register()
	VXORPD(sum, sum, sum)
	u.each(n, []reg.GPVirtual{x, y}, func(load func(reg.GPVirtual) reg.VecVirtual, _ func(reg.VecVirtual, reg.GPVirtual)) {
		VFMADD231PD(load(y), load(x), sum)
	})
	u.returnSum(sum)
}

// returnSum gives back the sum of the lanes.
func (u unit) returnSum(sum reg.VecVirtual) {
	if u.lanes == 8 {
		high := YMM()
		VEXTRACTF64X4(Imm(1), sum, high)
		half := YMM()
		VADDPD(high, sum.AsY(), half)
		sum = half
	}
	high, low := XMM(), XMM()
	VEXTRACTF128(Imm(1), sum.AsY(), high)
	VADDPD(high, sum.AsX(), low)
	VUNPCKHPD(low, low, high)
	VADDSD(high, low, low)
	VZEROUPPER()
	Store(low, ReturnIndex(0))
	RET()
}

// row is the length of a vector.Row.
const row = 16

// bilinear makes Bilinear: the rows are added up, weighted, in two chains, and multiplied by y in the end.
func (u unit) bilinear() {
	u.function("bilinear", "func(x []float64, rows []*[16]float64, y *[16]float64) float64")
	x, n, rows := pointer("x"), length("x"), pointer("rows")
	y := Load(Param("y"), GP64()).(reg.GPVirtual)
	vectors := row / u.lanes
	sums := [2][]reg.VecVirtual{}
	for c := range sums {
		for range vectors {
			s := u.register()
			VXORPD(s, s, s)
			sums[c] = append(sums[c], s)
		}
	}
	one := func(c, at int) {
		p := GP64()
		MOVQ(Mem{Base: rows, Disp: 8 * at}, p)
		xi := u.broadcast(Mem{Base: x, Disp: 8 * at})
		for v, s := range sums[c] {
			VFMADD231PD(Mem{Base: p, Disp: v * u.bytes()}, xi, s)
		}
	}
	Label("next")
	CMPQ(n, Imm(2))
	JL(LabelRef("rest"))
	one(0, 0)
	one(1, 1)
	ADDQ(Imm(16), x)
	ADDQ(Imm(16), rows)
	SUBQ(Imm(2), n)
	JMP(LabelRef("next"))
	Label("rest")
	TESTQ(n, n)
	JZ(LabelRef("sum"))
	one(0, 0)
	Label("sum")
	total := u.register()
	VXORPD(total, total, total)
	for v := range vectors {
		VFMADD231PD(Mem{Base: y, Disp: v * u.bytes()}, u.add(sums[0][v], sums[1][v]), total)
	}
	u.returnSum(total)
}

// dense makes a layer of a network: y[j] = f(b[j] + Σ x[i] w[i·len(b) + j]). Outputs are taken in blocks that stay in registers, inputs in
// a few chains that do not wait for one another; the number of outputs is a multiple of 8.
func (u unit) dense(name string, f func(reg.VecVirtual) reg.VecVirtual) {
	u.function(name, "func(y, w, b, x []float64)")
	y, w, b, x, inputs, outputs := pointer("y"), pointer("w"), pointer("b"), pointer("x"), length("x"), length("b")
	stride := GP64()
	MOVQ(outputs, stride)
	SHLQ(Imm(3), stride)
	for _, block := range []struct{ outputs, chains int }{{24, 2}, {8, 4}} {
		at := fmt.Sprintf("%d", block.outputs)
		Label("block" + at)
		CMPQ(outputs, Imm(uint64(block.outputs)))
		JL(LabelRef("end" + at))
		u.block(at, block.outputs/u.lanes, block.chains, y, w, b, x, inputs, stride, f)
		for _, p := range []reg.GPVirtual{y, w, b} {
			ADDQ(Imm(uint64(8*block.outputs)), p)
		}
		SUBQ(Imm(uint64(block.outputs)), outputs)
		JMP(LabelRef("block" + at))
		Label("end" + at)
	}
	VZEROUPPER()
	RET()
}

func (u unit) block(at string, vectors, chains int, y, w, b, x, inputs, stride reg.GPVirtual, f func(reg.VecVirtual) reg.VecVirtual) {
	sums := make([][]reg.VecVirtual, chains)
	for c := range sums {
		for v := range vectors {
			s := u.register()
			if c == 0 {
				VMOVUPD(Mem{Base: b, Disp: v * u.bytes()}, s)
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
		xi := u.broadcast(Mem{Base: in, Disp: 8 * c})
		for v, s := range sums[c] {
			VFMADD231PD(Mem{Base: row, Disp: v * u.bytes()}, xi, s)
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
		VMOVUPD(f(s), Mem{Base: y, Disp: v * u.bytes()})
	}
}
