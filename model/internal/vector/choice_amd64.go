package vector

import "golang.org/x/sys/cpu"

// withAVX2 says whether the kernels are used. They need FMA too.
var withAVX2 = cpu.X86.HasAVX2 && cpu.X86.HasFMA

// The functions are called by name and not through variables, so that the compiler sees that their slices stay where they are.

func exp(dst, x []float64) {
	if withAVX2 {
		expAVX2(dst, x)
	} else {
		expPlain(dst, x)
	}
}

func log(dst, x []float64) {
	if withAVX2 {
		logAVX2(dst, x)
	} else {
		logPlain(dst, x)
	}
}

func mix(dst, x, y []float64, a, b float64) {
	if withAVX2 {
		mixAVX2(dst, x, y, a, b)
	} else {
		mixPlain(dst, x, y, a, b)
	}
}

func fluidities(dst, kelvin []float64, k *VFT) {
	if withAVX2 {
		fluiditiesAVX2(dst, kelvin, &k.A)
	} else {
		fluiditiesPlain(dst, kelvin, k)
	}
}

func dot(x, y []float64) float64 {
	if withAVX2 {
		return dotAVX2(x, y)
	}
	return dotPlain(x, y)
}

func dense(y, w, b, x []float64) {
	if withAVX2 {
		denseAVX2(y, w, b, x)
	} else {
		densePlain(y, w, b, x)
	}
}

func denseUnit(y, w, b, x []float64) {
	if withAVX2 {
		denseUnitAVX2(y, w, b, x)
	} else {
		denseUnitPlain(y, w, b, x)
	}
}
