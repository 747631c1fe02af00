/* layout/restrict.h - layouts that must keep something about neighbours.
 *
 * Apart (no same level side by side). The class is: all layouts that the draw could give
 * and that keep the rule. Draws are thrown away until one keeps it, so that each of the
 * class is as likely as any other; group by group, where neighbours never stand in two
 * groups of complete blocks. Where that is seldom (TRIES draws), a Markov chain takes
 * over: it exchanges two plots of one group, accepts with the probability that makes
 * theta^(broken rules) its stationary distribution (Metropolis et al. 1953, J Chem Phys
 * 21:1087-1092), and is looked at only every 60 steps a plot: given that no rule is broken
 * then, the layout is uniform in the class (approximately, as the chain forgets its start).
 * With incomplete blocks the chain leaves the blocks what the draw gave them.
 * What it means for the analysis: every two combinations still have the same chances, so
 * that differences and their usual standard errors are right on average over such layouts
 * where neighbours do not influence each other; combinations are told apart a little
 * better than alike neighbours are, which the tests do not see (Bailey 1984, in:
 * Experimental Design, Statistical Models and Genetic Statistics, Dekker, 287-299; from
 * memory).
 *
 * Even neighbours. Rows and columns: see even_lines.c, whose plan is drawn here as it is.
 * Else, from a draw, exchanges inside the groups make sum m_ij^2 over pairs of
 * combinations small (threshold accepting); then chance names the combinations anew, those
 * wished equally often among each other: every two are neighbours with the same chance.
 *
 * Inner header of the folder. */
#ifndef QX_LAYOUT_RESTRICT_H
#define QX_LAYOUT_RESTRICT_H

#include "layout/drawing.h"

/* Does the stratum have such wishes? Even neighbours? */
bool qx_restricts(const qx_plan *plan, const qx_stratum *stratum);
bool qx_wants_even(const qx_plan *plan, const qx_stratum *stratum);

/* Calls `draw` until d->combination keeps the wishes. QX_E_INPUT with a message in the
 * user's words when none is found. */
qx_status qx_restrict(qx_drawing *d, qx_status (*draw)(qx_drawing *d));

#endif
