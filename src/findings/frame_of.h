/* findings/frame_of.h - a table of observations to the frame of one variate's analysis.
 *
 * Rows with a missing response, treatment, season, covariate or unit are left out and
 * counted. Factors hold only levels that occur, in the protocol's order. Units become
 * factors of their own (one level a unit, told by trial/identity.h); with seasons, units
 * that are seen in more than one season also enter as unit x season (contract rule 6), and
 * with dates those seen on more than one date as unit (x season) x date.
 * `times` repeats a row. */
#ifndef QX_FINDINGS_FRAME_OF_H
#define QX_FINDINGS_FRAME_OF_H

#include "base/ctx.h"
#include "model/frame.h"
#include "trial/protocol.h"
#include "trial/table.h"

typedef struct qx_frame_unit {
    size_t unit;      /* protocol unit number */
    bool by_season;   /* this is unit x season */
    bool by_date;     /* this is unit x date, or unit x season x date */
    const char *path; /* "block:tree" or "block:tree:season" */
    size_t factor;    /* number in frame.factor */
    size_t count;     /* units */
} qx_frame_unit;

typedef struct qx_variate_frame {
    qx_frame frame;
    size_t n;            /* rows used (after `times`) */
    size_t missing;      /* rows of the data left out */
    const char *without; /* a treatment, covariate, date or season that rows with a value
                            lack; NULL: none does */
    const size_t *row;   /* n: row of the data, from 1 */
    const double *raw;   /* n: the response on the scale of measurement (share for k of n,
                          number of the class) */
    const double *scaled; /* n: on the scale of analysis */
    const double *k;      /* n: count, or how many of `size`; NULL for other kinds */
    const double *size;   /* n: of how many, 1 where each row is one thing; shares only */
    const uint32_t *class_; /* n: number of the class among the protocol's; or NULL */
    const double *y;        /* n: scaled - shift, exact where the data are decimals */
    double shift;
    size_t bad_rows;    /* values outside the transform's domain */
    size_t bad_row;     /* the first of them, from 1 */
    size_t season;      /* frame factor, or QX_NO_COLUMN */
    size_t date;        /* frame factor, or QX_NO_COLUMN: one date, or none told */
    const double *time; /* n: date of each row in shortest steps from the first */
    size_t row_factor;  /* frame factors of the rows and places of the field, where the */
    size_t place_factor; /* protocol asks for a trend; else QX_NO_COLUMN */
    const double *field_row, *field_place; /* n; NULL without a position */
    size_t *treatment;      /* protocol treatment_count: frame factor, or QX_NO_COLUMN */
    size_t *covariate;      /* protocol covariate_count: frame number, or QX_NO_COLUMN */
    double *centre, *scale; /* frame number_count: a covariate stands in the frame as
                               (x - centre) / scale (findings/covariates.h) */
    size_t unit_count;      /* units above and at the variate's own, large to small */
    const qx_frame_unit *unit;
} qx_variate_frame;

/* Everything in `arena`; notes on cx. The frame is empty (n = 0) when no row is complete. */
qx_status qx_frame_of(qx_ctx *cx,
                      qx_arena *arena,
                      const qx_protocol *protocol,
                      const qx_table *table,
                      size_t variate,
                      qx_variate_frame *out);

#endif
