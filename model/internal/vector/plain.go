package vector

import "math"

// The same in plain Go, for machines without a vector unit that we know.

func expPlain(dst, x []float64) {
	for i, v := range x {
		dst[i] = exp1(v)
	}
}

func exp1(x float64) float64 { return math.Exp(min(max(x, -708), 709)) }

func logPlain(dst, x []float64) {
	for i, v := range x {
		if v >= 0x1p-1022 && v <= math.MaxFloat64 {
			dst[i] = math.Log(v)
		} else {
			dst[i] = math.NaN()
		}
	}
}

func dotPlain(x, y []float64) float64 {
	sum := 0.0
	for i, v := range x {
		sum += v * y[i]
	}
	return sum
}

func mixPlain(dst, x, y []float64, a, b float64) {
	for i, v := range x {
		dst[i] = float64(a*v) + float64(b*y[i]) // rounded one by one on every machine
	}
}

func fluiditiesPlain(dst, kelvin []float64, k *VFT) {
	for i, T := range kelvin {
		dst[i] = exp1(-math.Ln10 * k.Log10(T))
	}
}

func densePlain(y, w, b, x []float64) {
	copy(y, b)
	for i, v := range x {
		if v == 0 { // most melts lack most oxides
			continue
		}
		row := w[i*len(b):][:len(b)]
		for j := 0; j+Padding <= len(row); j += Padding {
			r, s := row[j:j+Padding:j+Padding], y[j:j+Padding:j+Padding]
			s[0] += v * r[0]
			s[1] += v * r[1]
			s[2] += v * r[2]
			s[3] += v * r[3]
			s[4] += v * r[4]
			s[5] += v * r[5]
			s[6] += v * r[6]
			s[7] += v * r[7]
		}
	}
}

func denseUnitPlain(y, w, b, x []float64) {
	densePlain(y, w, b, x)
	for j, z := range y {
		y[j] = Unit(z)
	}
}
