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
	nodes   []node
	slots   []int32 // of each node: where its row is in a frame; -1 where it is never needed
	rows    int     // in a frame
	steps   []step  // by slot
	singles []step  // by byte, for frames of one lane
}

// Writer puts a Program together.
type Writer struct {
	nodes []node
	known map[node]int32
}

// Value is a number in each lane, while a Program is put together: an input, a constant, or what a formula makes of others.
type Value struct {
	w  *Writer
	at int32
}

// node is how a value comes about.
type node struct {
	op     operation
	of     [4]int32 // nodes
	number float64  // of a constant
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
	numOperations
	opInput
	opConstant
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
	case opInput, opConstant:
		return 0
	}
	return 2
}

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

// Plus is the sum with others, from the left.
func (a Value) Plus(others ...Value) Value {
	for _, b := range others {
		a = a.with(opAdd, b)
	}
	return a
}

// Minus is a - b.
func (a Value) Minus(b Value) Value { return a.with(opSub, b) }

// Times is the product with others, from the left.
func (a Value) Times(others ...Value) Value {
	for _, b := range others {
		a = a.with(opMul, b)
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

// Output keeps a value for whoever runs the program.
func (w *Writer) Output(of ...Value) {
	for _, v := range of {
		w.nodes[v.at].output = true
	}
}

// Program ends the writing. Values that lead to no output are left out.
func (w *Writer) Program() *Program {
	p := &Program{nodes: w.fused()}
	n := len(p.nodes)
	p.slots = slices.Repeat([]int32{-1}, n)
	last := slices.Repeat([]int32{-1}, n) // the last node that needs each
	for i := n - 1; i >= 0; i-- {
		if v := &p.nodes[i]; v.output || last[i] >= 0 {
			for _, of := range v.of[:v.op.operands()] {
				last[of] = max(last[of], int32(i))
			}
		}
	}
	keep := func(i int) { p.slots[i] = int32(p.rows); p.rows++ }
	for _, kind := range []operation{opInput, opConstant} {
		for i := range p.nodes {
			if p.nodes[i].op == kind && (kind == opInput || last[i] >= 0 || p.nodes[i].output) {
				keep(i)
			}
		}
	}
	var free []int32
	for i := range p.nodes {
		v := &p.nodes[i]
		if v.op >= numOperations || !v.output && last[i] < 0 {
			continue
		}
		s := step{op: v.op}
		for k, of := range v.of[:v.op.operands()] {
			s.of[k] = p.slots[of]
		}
		for k, of := range v.of[:v.op.operands()] {
			// A row may be written over in the step that reads it last.
			if p.nodes[of].op < numOperations && !p.nodes[of].output && last[of] == int32(i) && !slices.Contains(v.of[:k], of) {
				free = append(free, p.slots[of])
			}
		}
		switch {
		case v.output || len(free) == 0:
			keep(i)
		default:
			p.slots[i], free = free[len(free)-1], free[:len(free)-1]
		}
		s.to = p.slots[i]
		p.steps = append(p.steps, s)
	}
	p.singles = p.scaled(1)
	return p
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

// scaled gives the steps in bytes for frames of so many lanes.
func (p *Program) scaled(lanes int) []step {
	out := slices.Clone(p.steps)
	for i := range out {
		out[i].to *= int32(8 * lanes)
		for k := range out[i].of {
			out[i].of[k] *= int32(8 * lanes)
		}
	}
	return out
}

// Frame is room for a run of a Program. It is for one goroutine at a time.
type Frame struct {
	program *Program
	lanes   int
	steps   []step
	numbers []float64
}

// inStep is how many lanes the kernels take at a time.
const inStep = 8

// Frame makes room for so many lanes, 1 or more.
func (p *Program) Frame(lanes int) *Frame {
	f := &Frame{program: p, lanes: 1, steps: p.singles}
	if lanes > 1 {
		f.lanes = (lanes + inStep - 1) / inStep * inStep
		f.steps = p.scaled(f.lanes)
	}
	f.numbers = make([]float64, p.rows*f.lanes)
	for i, v := range p.nodes {
		if v.op == opConstant && p.slots[i] >= 0 {
			f.Fill(Value{at: int32(i)}, v.number)
		}
	}
	return f
}

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

// Run works the program out for the first n lanes; what is in the others afterwards is of no meaning. Inputs stay.
func (f *Frame) Run(n int) {
	if n < 0 || n > f.lanes {
		panic(fmt.Sprintf("vector: %d lanes of %d", n, f.lanes))
	}
	if n == 0 || len(f.steps) == 0 {
		return
	}
	run(f, n)
}

// runPlain is Run in plain Go.
func (f *Frame) runPlain(n int) {
	for _, s := range f.program.steps {
		row := func(slot int32) []float64 { return f.numbers[int(slot)*f.lanes:][:n] }
		to, a, b, c := row(s.to), row(s.of[0]), row(s.of[1]), row(s.of[2])
		switch s.op {
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
			d := row(s.of[3])
			for i := range to {
				to[i] = below(a[i], b[i], c[i], d[i])
			}
		case opExp:
			expPlain(to, a)
		case opLog:
			logPlain(to, a)
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
