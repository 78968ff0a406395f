package vector

import (
	"fmt"
	"math"
	"slices"
)

// Program is a set of formulas that are worked out for many lanes at once, step by step for all lanes: an array language in small. It is put
// together once by a Writer, from its inputs on, and then run in a Frame as often as there are numbers to put in. What numexpr is to NumPy it is to
// the rows of a sheet: one call for all steps, and what comes between stays in the nearest cache.
//
// A lane does not see the others: its bits are the same alone and among many.
type Program struct {
	nodes    []node
	slots    []int32 // of each node: its row in a frame, or the complement of its number among the uniforms
	rows     int     // in a frame
	uniforms int     // constants and parameters
	steps    []step  // by slot
	singles  []step  // by byte, for frames of one lane
	stages   []int   // the step with which each ends, which is none of the operations
}

// Writer puts a Program together.
type Writer struct {
	nodes  []node
	known  map[node]int32
	stages []int // the node with which each but the last ends
}

// Value is a number in each lane, while a Program is put together: an input, a uniform number, or what a formula makes of others.
type Value struct {
	w  *Writer
	at int32
}

// node is how a value comes about.
type node struct {
	op     operation
	of     [4]int32 // nodes
	number float64  // of a constant
	count  int32    // of the coefficients of a polynomial, of the terms of a sum
	output bool
}

// operation is what a step does.
type operation int32

// The operations, in the order in which the kernels tell them apart.
const (
	opAdd operation = iota
	opSub
	opMul
	opMulAdd // of[0]·of[1] + of[2], rounded once or twice
	opSubMul // of[2] - of[0]·of[1]
	opDiv
	opMin
	opMax
	opSqrt
	opBelow // of[2] where of[0] < of[1], else of[3]
	opExp
	opLog
	opPolynomial // in of[0], with coefficients from of[1] on, that of the highest power first
	opInner      // sum of the products of so many values from of[0] on and as many from of[1] on
	numOperations
	opInput
	opConstant
	opParameter
)

// operands is how many an operation has.
func (o operation) operands() int {
	switch o {
	case opSqrt, opExp, opLog:
		return 1
	case opMulAdd, opSubMul:
		return 3
	case opBelow:
		return 4
	case opInput, opConstant, opParameter, numOperations:
		return 0
	}
	return 2
}

// uniform says that a value is the same in every lane.
func (o operation) uniform() bool { return o == opConstant || o == opParameter }

// step is an operation on rows of a frame.
type step struct {
	op operation
	to int32
	of [4]int32
}

// stepBytes is the size of a step, which the kernels know.
const stepBytes = 24

// NewWriter begins a Program.
func NewWriter() *Writer { return &Writer{known: map[node]int32{}} }

// Input is a number that each run is given.
func (w *Writer) Input() Value {
	w.nodes = append(w.nodes, node{op: opInput})
	return Value{w, int32(len(w.nodes) - 1)}
}

// Inputs are several.
func (w *Writer) Inputs(n int) []Value {
	out := make([]Value, n)
	for i := range out {
		out[i] = w.Input()
	}
	return out
}

// Parameter is a number that is the same in every lane, for as many runs as one likes: see Frame.Set.
func (w *Writer) Parameter() Value {
	w.nodes = append(w.nodes, node{op: opParameter})
	return Value{w, int32(len(w.nodes) - 1)}
}

// Parameters are several.
func (w *Writer) Parameters(n int) []Value {
	out := make([]Value, n)
	for i := range out {
		out[i] = w.Parameter()
	}
	return out
}

// Numbers are several constants, for a Polynomial.
func (w *Writer) Numbers(of []float64) []Value {
	out := w.Parameters(len(of))
	for i, v := range of {
		w.nodes[out[i].at] = node{op: opConstant, number: v}
	}
	return out
}

// Number is the same in every lane and run.
func (w *Writer) Number(v float64) Value { return w.add(node{op: opConstant, number: v}) }

// add a node, unless it is there.
func (w *Writer) add(n node) Value {
	if n.op == opAdd || n.op == opMul || n.op == opMulAdd || n.op == opSubMul {
		n.of[0], n.of[1] = min(n.of[0], n.of[1]), max(n.of[0], n.of[1])
	}
	at, ok := w.known[n]
	if !ok {
		at = int32(len(w.nodes))
		w.nodes = append(w.nodes, n)
		w.known[n] = at
	}
	return Value{w, at}
}

func (a Value) with(op operation, of ...Value) Value {
	n := node{op: op, of: [4]int32{a.at}}
	for i, v := range of {
		if v.w != a.w {
			panic("vector: values of two programs")
		}
		n.of[i+1] = v.at
	}
	return a.w.add(n)
}

// number is the number of a constant.
func (a Value) number() (v float64, ok bool) {
	n := &a.w.nodes[a.at]
	return n.number, n.op == opConstant
}

// is says that a value is this constant.
func (a Value) is(v float64) bool { n, ok := a.number(); return ok && n == v }

// Plus is the sum with others, from the left.
func (a Value) Plus(others ...Value) Value {
	for _, b := range others {
		switch {
		case a.is(0):
			a = b
		case !b.is(0):
			a = a.with(opAdd, b)
		}
	}
	return a
}

// Minus is a - b.
func (a Value) Minus(b Value) Value {
	if b.is(0) {
		return a
	}
	return a.with(opSub, b)
}

// Times is the product with others, from the left. With the constant 0 it is 0, whatever the other is.
func (a Value) Times(others ...Value) Value {
	for _, b := range others {
		switch {
		case a.is(1) || b.is(0):
			a = b
		case !b.is(1) && !a.is(0):
			a = a.with(opMul, b)
		}
	}
	return a
}

// By is the product with a number.
func (a Value) By(v float64) Value { return a.Times(a.w.Number(v)) }

// Over is a/b.
func (a Value) Over(b Value) Value { return a.with(opDiv, b) }

// Sqrt is the square root.
func (a Value) Sqrt() Value { return a.with(opSqrt) }

// Exp is that of package vector, and Log too.
func (a Value) Exp() Value { return a.with(opExp) }

// Log is the natural logarithm.
func (a Value) Log() Value { return a.with(opLog) }

// AtMost is the lesser of two; b where either is not a number.
func (a Value) AtMost(b Value) Value { return a.with(opMin, b) }

// AtLeast is the greater of two; b where either is not a number.
func (a Value) AtLeast(b Value) Value { return a.with(opMax, b) }

// Below is x where a < b, else y, also where either is not a number.
func (a Value) Below(b, x, y Value) Value { return a.with(opBelow, b, x, y) }

// Polynomial is c[0] xⁿ⁻¹ + c[1] xⁿ⁻² + ... + c[n-1], by Horner's scheme for odd powers and for even ones. The coefficients, an even number of them, are of
// one call of Numbers or Parameters.
func (a Value) Polynomial(c []Value) Value {
	if len(c)%2 != 0 {
		panic("vector: an odd number of coefficients")
	}
	for i, v := range c {
		if v.w != a.w || v.at != c[0].at+int32(i) || !a.w.nodes[v.at].op.uniform() {
			panic("vector: coefficients that do not follow one another")
		}
	}
	return a.w.add(node{op: opPolynomial, of: [4]int32{a.at, c[0].at}, count: int32(len(c))})
}

// Inner is Σ a[i] b[i]: a is inputs, and b inputs or uniform numbers, each made one after the other.
func (w *Writer) Inner(a, b []Value) Value {
	for i := range a {
		if w.nodes[a[i].at].op != opInput || a[i].at != a[0].at+int32(i) || b[i].at != b[0].at+int32(i) ||
			w.nodes[b[i].at].op != w.nodes[b[0].at].op || w.nodes[b[0].at].op < numOperations {
			panic("vector: terms that do not follow one another")
		}
	}
	return w.add(node{op: opInner, of: [4]int32{a[0].at, b[0].at}, count: int32(len(a))})
}

// Output keeps a value for whoever runs the program.
func (w *Writer) Output(of ...Value) {
	for _, v := range of {
		w.nodes[v.at].output = true
	}
}

// Stage ends a stage of the program: what comes after may need inputs that hang on what comes before.
func (w *Writer) Stage() { w.stages = append(w.stages, len(w.nodes)) }

// Program ends the writing. Values that lead to no output are left out.
func (w *Writer) Program() *Program {
	p := &Program{nodes: w.fused()}
	n := len(p.nodes)
	p.slots = slices.Repeat([]int32{-1}, n)
	order := p.schedule(w.stages)
	last := slices.Repeat([]int32{-1}, n) // the place in the order that needs each last
	for at, i := range order {
		v := &p.nodes[i]
		for _, of := range v.of[:v.op.operands()] {
			last[of] = int32(at)
		}
	}
	keep := func(i int) { p.slots[i] = int32(p.rows); p.rows++ }
	for i := range p.nodes {
		switch v := &p.nodes[i]; {
		case v.op == opInput:
			keep(i)
		case v.op.uniform():
			p.slots[i] = ^int32(p.uniforms)
			p.uniforms++
		}
	}
	var free []int32
	p.end(0)
	for at, i := range order {
		v := &p.nodes[i]
		s := step{op: v.op}
		if v.op == opPolynomial || v.op == opInner {
			s.of[2] = v.count
		}
		for k, of := range v.of[:v.op.operands()] {
			s.of[k] = p.slots[of]
		}
		for k, of := range v.of[:v.op.operands()] {
			// A row may be written over in the step that reads it last.
			if p.nodes[of].op < numOperations && !p.nodes[of].output && last[of] == int32(at) && !slices.Contains(v.of[:k], of) {
				free = append(free, p.slots[of])
			}
		}
		switch {
		case v.output || len(free) == 0:
			keep(int(i))
		default:
			p.slots[i], free = free[len(free)-1], free[:len(free)-1]
		}
		s.to = p.slots[i]
		p.steps = append(p.steps, s)
		p.end(at + 1)
	}
	p.Frame(1) // places the steps of all frames of one lane
	return p
}

// latency is about how many cycles of the processor a step takes by itself, its numbers written and read again, and spacing how many go by
// between one step and the next.
func (o operation) latency() int {
	switch o {
	case opExp, opLog, opPolynomial, opInner:
		return 50
	case opDiv, opSqrt:
		return 20
	}
	return 9
}

const spacing = 4

// schedule orders the nodes that lead to outputs, stage by stage, and notes the ends of stages. What the longest way to an output goes through comes first,
// and no step comes sooner after those that it needs than it has to; of equals the one with the operation of the step before, as the
// processor foresees that best.
func (p *Program) schedule(stages []int) (order []int32) {
	n := len(p.nodes)
	height := slices.Repeat([]int{-1}, n) // cycles from its beginning to the end; -1: not needed
	for i := n - 1; i >= 0; i-- {
		v := &p.nodes[i]
		if height[i] < 0 && !v.output {
			continue
		}
		height[i] = max(height[i], 0) + v.op.latency()
		for _, of := range v.of[:v.op.operands()] {
			height[of] = max(height[of], height[i])
		}
	}
	done := make([]int, n) // when
	first, now, op := 0, 0, numOperations
	for _, end := range append(slices.Clone(stages), n) {
		var left []int32
		for i := first; i < end; i++ {
			if p.nodes[i].op < numOperations && height[i] >= 0 {
				left = append(left, int32(i))
				done[i] = math.MaxInt32
			}
		}
		for first = end; len(left) > 0; now += spacing {
			best, most := -1, math.MinInt
			for at, i := range left {
				v := &p.nodes[i]
				ready := 0
				for _, of := range v.of[:v.op.operands()] {
					ready = max(ready, done[of])
				}
				worth := height[i] - 1000*max(0, ready-now)
				if v.op == op {
					worth += sameOperation
				}
				if ready < math.MaxInt32 && worth > most {
					best, most = at, worth
				}
			}
			i := left[best]
			left = slices.Delete(left, best, best+1)
			op = p.nodes[i].op
			done[i] = now + op.latency()
			order = append(order, i)
		}
		p.stages = append(p.stages, len(order))
	}
	return order
}

// sameOperation is how many cycles on the longest way the operation of the step before is worth.
const sameOperation = 40

// end ends the stages that end with so many operations.
func (p *Program) end(operations int) {
	for i, at := range p.stages {
		if at+i == len(p.steps) && at == operations {
			p.stages[i] = len(p.steps)
			p.steps = append(p.steps, step{op: numOperations})
		}
	}
}

// fused gives the nodes with a product and the sum that alone needs it as one.
func (w *Writer) fused() []node {
	nodes := slices.Clone(w.nodes)
	uses := make([]int, len(nodes))
	for _, v := range nodes {
		for _, of := range v.of[:v.op.operands()] {
			uses[of]++
		}
	}
	product := func(i int32) bool { return nodes[i].op == opMul && uses[i] == 1 && !nodes[i].output }
	for i := range nodes {
		v := &nodes[i]
		a, b := v.of[0], v.of[1]
		switch {
		case v.op == opAdd && product(b):
			v.op, v.of = opMulAdd, [4]int32{nodes[b].of[0], nodes[b].of[1], a}
		case v.op == opAdd && product(a):
			v.op, v.of = opMulAdd, [4]int32{nodes[a].of[0], nodes[a].of[1], b}
		case v.op == opSub && product(b):
			v.op, v.of = opSubMul, [4]int32{nodes[b].of[0], nodes[b].of[1], a}
		}
	}
	return nodes
}

// Frame is room for a run of a Program. It is for one goroutine at a time.
type Frame struct {
	program *Program
	lanes   int
	steps   []step // by byte
	numbers []float64
	// Where the uniforms are: each once, and some in a row of their own too, since a step takes one of them at most.
	uniforms int
	rows     map[int32]int
}

// inStep is how many lanes the kernels take at a time.
const inStep = 8

// Frame makes room for so many lanes, 1 or more.
func (p *Program) Frame(lanes int) *Frame {
	f := &Frame{program: p, lanes: 1}
	if lanes > 1 {
		f.lanes = (lanes + inStep - 1) / inStep * inStep
	}
	f.uniforms = p.rows * f.lanes
	f.steps = f.placed()
	f.numbers = make([]float64, f.uniforms+p.uniforms+len(f.rows)*f.lanes)
	for i, v := range p.nodes {
		if v.op == opConstant {
			f.Set(Value{at: int32(i)}, v.number)
		}
	}
	return f
}

// placed gives the steps with the places of the frame, in bytes.
func (f *Frame) placed() []step {
	p := f.program
	if f.lanes == 1 && p.singles != nil {
		return p.singles
	}
	f.rows = map[int32]int{}
	steps := slices.Clone(p.steps)
	for i := range steps {
		s := &steps[i]
		op, once := s.op, f.lanes == 1
		s.op *= variants
		for k, of := range s.of[:op.operands()] {
			switch {
			case of >= 0:
				of *= int32(f.lanes)
			case once || op == opPolynomial:
				of = int32(f.uniforms) + ^of
			case s.op%variants == 0:
				s.op += operation(k) + 1
				of = int32(f.uniforms) + ^of
			default:
				at, ok := f.rows[of]
				if !ok {
					at = f.uniforms + p.uniforms + len(f.rows)*f.lanes
					f.rows[of] = at
				}
				of = int32(at)
			}
			s.of[k] = 8 * of
		}
		s.to *= int32(8 * f.lanes)
		if op == opInner {
			s.of[3] = int32(8 * f.lanes)
		}
	}
	if f.lanes == 1 {
		p.singles = steps
	}
	return steps
}

// variants is how many the kernels have of an operation: without a uniform operand, and with one that is the first, the second, ...
const variants = 5

// Row is the row of an input or an output. It is as long as there is room for lanes.
func (f *Frame) Row(v Value) []float64 {
	at := int(f.program.slots[v.at]) * f.lanes
	return f.numbers[at : at+f.lanes : at+f.lanes]
}

// Fill puts a number into every lane of an input.
func (f *Frame) Fill(v Value, number float64) {
	row := f.Row(v)
	for i := range row {
		row[i] = number
	}
}

// Set gives a parameter its number.
func (f *Frame) Set(v Value, number float64) {
	of := f.program.slots[v.at]
	f.numbers[f.uniforms+int(^of)] = number
	if at, ok := f.rows[of]; ok {
		for i := range f.lanes {
			f.numbers[at+i] = number
		}
	}
}

// Run works the program out for the first n lanes; what is in the others afterwards is of no meaning. Inputs stay.
func (f *Frame) Run(n int) {
	for i := range f.program.stages {
		f.RunStage(i, n)
	}
}

// RunStage works out one stage, from 0 on, after those before it.
func (f *Frame) RunStage(i, n int) {
	if n < 0 || n > f.lanes {
		panic(fmt.Sprintf("vector: %d lanes of %d", n, f.lanes))
	}
	first, stages := 0, f.program.stages
	if i > 0 {
		first = stages[i-1] + 1
	}
	if steps := f.steps[first : stages[i]+1]; n > 0 {
		run(f, steps, n)
	}
}

// runPlain is Run in plain Go.
func (f *Frame) runPlain(steps []step, n int) {
	for _, s := range steps[:len(steps)-1] {
		op, alike := s.op/variants, int(s.op%variants)-1
		var uniform [inStep]float64
		if alike >= 0 {
			uniform = everywhere(f.numbers[s.of[alike]/8])
		}
		for first := 0; first < n; first += inStep {
			row := func(place int32) []float64 {
				at := int(place)/8 + first
				return f.numbers[at : at+min(inStep, n-first)]
			}
			var of [4][]float64
			for k := range op.operands() {
				switch {
				case k == alike:
					of[k] = uniform[:]
				case op == opPolynomial && k == 1:
					of[k] = f.numbers[s.of[k]/8:][:s.of[2]]
				case op == opInner:
				default:
					of[k] = row(s.of[k])
				}
			}
			if op == opInner {
				to := row(s.to)
				clear(to)
				for i := range s.of[2] {
					a, b := row(s.of[0]+i*s.of[3]), uniform[:]
					if alike < 0 {
						b = row(s.of[1] + i*s.of[3])
					} else {
						uniform = everywhere(f.numbers[s.of[1]/8+i])
					}
					for k := range to {
						to[k] += a[k] * b[k]
					}
				}
				continue
			}
			op.plain(row(s.to), of[0], of[1], of[2], of[3])
		}
	}
}

func everywhere(v float64) (out [inStep]float64) {
	for i := range out {
		out[i] = v
	}
	return out
}

// plain is an operation on a few lanes.
func (o operation) plain(to, a, b, c, d []float64) {
	switch o {
	case opAdd:
		for i := range to {
			to[i] = a[i] + b[i]
		}
	case opSub:
		for i := range to {
			to[i] = a[i] - b[i]
		}
	case opMul:
		for i := range to {
			to[i] = a[i] * b[i]
		}
	case opMulAdd:
		for i := range to {
			to[i] = a[i]*b[i] + c[i]
		}
	case opSubMul:
		for i := range to {
			to[i] = c[i] - a[i]*b[i]
		}
	case opDiv:
		for i := range to {
			to[i] = a[i] / b[i]
		}
	case opMin:
		for i := range to {
			to[i] = below(a[i], b[i], a[i], b[i])
		}
	case opMax:
		for i := range to {
			to[i] = below(b[i], a[i], a[i], b[i])
		}
	case opSqrt:
		for i := range to {
			to[i] = math.Sqrt(a[i])
		}
	case opBelow:
		for i := range to {
			to[i] = below(a[i], b[i], c[i], d[i])
		}
	case opExp:
		expPlain(to, a)
	case opLog:
		logPlain(to, a)
	case opPolynomial:
		for i := range to {
			x, odd, even := a[i]*a[i], b[0], b[1]
			for k := 2; k < len(b); k += 2 {
				odd, even = odd*x+b[k], even*x+b[k+1]
			}
			to[i] = odd*a[i] + even
		}
	}
}

// below is x where a < b, else y.
func below(a, b, x, y float64) float64 {
	if a < b {
		return x
	}
	return y
}
