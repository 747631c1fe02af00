/* trial/usual.h - how much trees vary where nothing was done to them: coefficients of
 * variation to plan with until there is a history of one's own.
 *
 * Between single trees (or means of a tree's samples, where the name says so), in per cent
 * of the mean. Sources stand beside each. */
#ifndef QX_TRIAL_USUAL_H
#define QX_TRIAL_USUAL_H

#include <stddef.h>

typedef struct qx_usual {
    const char *name; /* "apple yield" */
    double cv_percent;
    const char *source;
} qx_usual;

size_t qx_usual_count(void);
const qx_usual *qx_usual_get(size_t i);
const qx_usual *qx_usual_find(const char *name); /* or NULL */

#endif
