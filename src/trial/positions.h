/* trial/positions.h - where units stand in the field: two label columns read as whole
 * numbers of rows and places. */
#ifndef QX_TRIAL_POSITIONS_H
#define QX_TRIAL_POSITIONS_H

#include <stdbool.h>

#include "trial/table.h"

/* Rows and places beyond this are no orchard. */
#define QX_POSITION_MOST 1e6

/* The whole number that a label is (3, 3.0); false if it is none of -1e6 ... 1e6. */
bool qx_position_read(const char *text, char separator, double *out);

#endif
