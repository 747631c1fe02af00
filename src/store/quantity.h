/* store/quantity.h - what a trial records: variates, the counts that belong to them (`of`,
 * `times`), covariates and places in the field, each with the unit that it is measured on.
 *
 * Inner header of the folder. */
#ifndef QX_STORE_QUANTITY_H
#define QX_STORE_QUANTITY_H

#include "base/ctx.h"
#include "trial/protocol.h"

typedef enum {
    QX_OF_VARIATE,
    QX_OF_COUNT,
    QX_OF_COVARIATE,
    QX_OF_POSITION
} qx_quantity_role;

typedef struct qx_quantity {
    const char *name; /* column of the data; borrowed from the protocol */
    size_t on;        /* unit number */
    qx_quantity_role role;
    bool classes;   /* labels (grades, classes), not numbers */
    size_t variate; /* number of the variate, or QX_NONE */
    const char
        *dates; /* column of the dates that it is measured on; NULL: once a season */
} qx_quantity;

typedef struct qx_quantities {
    size_t count;
    const qx_quantity *quantity; /* a column may stand for several units: once for each */
} qx_quantities;

/* In `arena`. QX_E_NOMEM. */
qx_status qx_quantities_of(qx_ctx *cx,
                           qx_arena *arena,
                           const qx_protocol *protocol,
                           qx_quantities *out);

/* Number of the count that quantity `share` is a share of; QX_NONE if it is no share. */
size_t qx_quantity_whole(const qx_quantities *quantities,
                         const qx_protocol *protocol,
                         size_t share);

#endif
