// Package student is the Student-t distribution as a regression needs it: densities and tails for the likelihood of a
// reading, quantiles and exceedance probabilities for a prediction, and the t distribution that stands for the sum of a
// normal and a t-distributed error.
//
// A score asks for three quantiles and one tail, and exact ones take longer than all its physics. So polynomials stand
// for them; the exact functions of gonum, to which they are fitted when they are first needed, serve where the
// polynomials do not reach.
package student
