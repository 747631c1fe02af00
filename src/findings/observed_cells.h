/* findings/observed_cells.h - what is left of an interaction that empty cells took whole.
 *
 * Two factors with two levels each and one combination never tried: the interaction has no
 * degree of freedom left, and no mean over both levels of the other factor can be estimated
 * without assuming that the factors do not interact. The combinations that were tried can be
 * compared nevertheless, and each factor inside a level of the other (Searle 1987, Linear
 * Models for Unbalanced Data, ch. 5: cell means).
 *
 * An interaction confounded with blocks has all its cells: nothing of it is given. */
#ifndef QX_FINDINGS_OBSERVED_CELLS_H
#define QX_FINDINGS_OBSERVED_CELLS_H

#include "findings/work.h"

/* Adds means, differences and simple effects of such interactions to the result; what
 * cannot be estimated is told by name. */
qx_status qx_observed_cells_of(qx_work *w);

#endif
