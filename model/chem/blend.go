package chem

import "github.com/catchline/catchline/model/internal/vector"

// Blend writes to dst the melt that molesOfA moles of a and molesOfB moles of b make (0 or more, not both 0):
//
//	x_i = (n_a a_i + n_b b_i)/(n_a + n_b)
//
// Blending a with b gives the same bits as b with a. Blend does not allocate; dst may be a or b.
func Blend(dst, a, b *Melt, molesOfA, molesOfB float64) {
	each := 1 / (molesOfA + molesOfB)
	vector.Mix(dst[:], a[:], b[:], molesOfA*each, molesOfB*each)
}
