// Package golden holds a bench against a unit whose values are known: reference values with their
// uncertainties (Reference, a small YAML file, or made from a run), and the comparison by E_n numbers,
//
//	E_n = |x - X| / sqrt(U(x)^2 + U(X)^2)
//
// with both U at k = 2; E_n of at most 1 agrees (ISO/IEC 17043 and ISO 13528, from memory). The instruments
// of the bench that made the reference are in both uncertainties, so that a bench compared with itself is
// judged leniently: a change of an instrument by less than its stated accuracy is not called out.
//
// It runs nothing and keeps nothing; what the comparison means for a unit's verdict is said in bench/judge.
package golden
