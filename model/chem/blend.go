package chem

import "github.com/catchline/catchline/model/internal/vector"

// Blend writes to dst the melt that comes of mixing a and b, of which there are so many moles:
//
//	x_i = (n_a a_i + n_b b_i)/(n_a + n_b)
//
// a with b is to the last bit b with a. Nothing is allocated; dst may be a or b.
func Blend(dst, a, b *Melt, molesOfA, molesOfB float64) {
	each := 1 / (molesOfA + molesOfB)
	vector.Mix(dst[:], a[:], b[:], molesOfA*each, molesOfB*each)
}
