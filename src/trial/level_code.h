/* trial/level_code.h - the labels of a column as numbers of known levels.
 *
 * 30, 30.0 and (in a file with decimal commas) 30,0 are the same level. */
#ifndef QX_TRIAL_LEVEL_CODE_H
#define QX_TRIAL_LEVEL_CODE_H

#include <stddef.h>
#include <stdint.h>

#include "trial/table.h"

/* Level number of one label; QX_MISSING_CODE if it is none of the levels. `separator`:
 * of the file (see qx_table). */
uint32_t qx_label_level(const char *label,
                        char separator,
                        size_t level_count,
                        const char *const level[]);

/* The same for every label of the column: column->level_count entries of `out`. */
void qx_column_levels(const qx_column *column,
                      char separator,
                      size_t level_count,
                      const char *const level[],
                      uint32_t out[]);

#endif
