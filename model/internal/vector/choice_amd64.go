package vector

import "golang.org/x/sys/cpu"

// level is which vector unit is used.
type level int

const (
	inPlainGo level = iota
	withAVX2        // and FMA
	withAVX512
)

// best is the highest level that this machine has.
func best() level {
	switch x := &cpu.X86; {
	case x.HasAVX512F && x.HasAVX512DQ && x.HasAVX2 && x.HasBMI2 && x.HasFMA:
		return withAVX512
	case x.HasAVX2 && x.HasFMA:
		return withAVX2
	}
	return inPlainGo
}

var chosen = best()

// The functions are called by name and not through variables, so that the compiler sees that their slices stay where they are.

func exp(dst, x []float64) {
	switch chosen {
	case withAVX512:
		expAVX512(dst, x)
	case withAVX2:
		expAVX2(dst, x)
	default:
		expPlain(dst, x)
	}
}

func log(dst, x []float64) {
	switch chosen {
	case withAVX512:
		logAVX512(dst, x)
	case withAVX2:
		logAVX2(dst, x)
	default:
		logPlain(dst, x)
	}
}

func dot(x, y []float64) float64 {
	switch chosen {
	case withAVX512:
		return dotAVX512(x, y)
	case withAVX2:
		return dotAVX2(x, y)
	}
	return dotPlain(x, y)
}

func mix(dst, x, y []float64, a, b float64) {
	switch chosen {
	case withAVX512:
		mixAVX512(dst, x, y, a, b)
	case withAVX2:
		mixAVX2(dst, x, y, a, b)
	default:
		mixPlain(dst, x, y, a, b)
	}
}

func bilinear(x []float64, rows []*Row, y *Row) float64 {
	switch chosen {
	case withAVX512:
		return bilinearAVX512(x, rows, y)
	case withAVX2:
		return bilinearAVX2(x, rows, y)
	}
	return bilinearPlain(x, rows, y)
}

func fluidities(dst, kelvin []float64, k *VFT) {
	switch chosen {
	case withAVX512:
		fluiditiesAVX512(dst, kelvin, &k.A)
	case withAVX2:
		fluiditiesAVX2(dst, kelvin, &k.A)
	default:
		fluiditiesPlain(dst, kelvin, k)
	}
}

func dense(y, w, b, x []float64) {
	switch chosen {
	case withAVX512:
		denseAVX512(y, w, b, x)
	case withAVX2:
		denseAVX2(y, w, b, x)
	default:
		densePlain(y, w, b, x)
	}
}

func denseUnit(y, w, b, x []float64) {
	switch chosen {
	case withAVX512:
		denseUnitAVX512(y, w, b, x)
	case withAVX2:
		denseUnitAVX2(y, w, b, x)
	default:
		denseUnitPlain(y, w, b, x)
	}
}
