/**
 * Is `hits` of `trials` within what independent trials of probability `p` give, but for a chance of `error`?
 *
 * Hoeffding, "Probability Inequalities for Sums of Bounded Random Variables", J. Amer. Statist. Assoc. 58 (1963),
 * theorem 1 (2.1): the share of hits is q or further from p, on one side, with a probability of at most
 * exp(-trials * D(q, p)), D(q, p) = q ln(q/p) + (1-q) ln((1-q)/(1-p)). Both sides: twice that.
 */
export function withinBinomial(hits: number, trials: number, p: number, error = 1e-9): boolean {
  const q = hits / trials;
  const term = (a: number, b: number) => (a === 0 ? 0 : a * Math.log(a / b));
  return trials * (term(q, p) + term(1 - q, 1 - p)) <= Math.log(2 / error);
}
