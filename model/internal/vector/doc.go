// Package vector does the arithmetic that a score spends its time on, on slices: with the processor's vector unit where it has AVX2 and FMA, in
// plain Go elsewhere. Which it is to be is found out once, when the program starts.
//
// The kernels are Go assembly that the program in _asm writes; its functions hold the formulas. On one machine the same
// input gives the same bits, wherever in a slice a number stands and however long the slice is. Between machines results may differ
// in the last bits: functions are within 2 units in the last place of the true value in each of them, and sums are taken in another order.
//
// Nothing here allocates, but for layers, and nothing panics on numbers: what is not a number stays so.
package vector
