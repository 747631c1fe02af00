/* findings/frame_builder.h - the steps that make one frame, and what they share. Inner
 * header of frame_of.c.
 *
 *   frame_rows.c      which rows of the table are complete, and how often each counts
 *   frame_columns.c   treatments, season and covariates
 *   frame_dates.c     dates of what was measured more than once
 *   frame_units.c     units, and units by season and date
 *   frame_positions.c  rows and places of the field */
#ifndef QX_FINDINGS_FRAME_BUILDER_H
#define QX_FINDINGS_FRAME_BUILDER_H

#include "findings/frame_of.h"
#include "trial/identity.h"

/* What the steps below share while one frame is made. */
typedef struct qx_frame_builder {
    qx_ctx *cx;
    qx_arena *arena;
    const qx_protocol *protocol;
    const qx_table *table;
    const qx_variate *variate;
    bool *keep;          /* table rows that are complete */
    const char *without; /* a column that rows with a value lack, or NULL */
    size_t *source;      /* n: table row of each frame row */
    size_t n;
    qx_factor *factor;
    size_t factor_count;
    qx_number *number;
    size_t number_count;
} qx_frame_builder;

/* The share k/n or the value itself; NAN when missing. */
double qx_frame_response(const qx_column *value, const qx_column *of, size_t row);

/* Is `unit` the variate's own unit or above it? */
bool qx_frame_applies(const qx_frame_builder *b, size_t unit);

/* Marks complete rows in b->keep; counts the incomplete ones that belong to the variate. */
qx_status qx_frame_mark_complete(qx_frame_builder *b, size_t *missing);

/* Rows whose unit cannot be told are left out too. `identity`: one for each unit. */
void qx_frame_drop_unknown(qx_frame_builder *b,
                           const qx_identity identity[],
                           size_t *missing);

/* Lists the kept rows in b->source, each as often as `times` says. */
qx_status qx_frame_list_rows(qx_frame_builder *b, size_t *missing);

/* Dates of the variate as a factor, and as steps (findings/frame_dates.c). */
qx_status qx_frame_add_dates(qx_frame_builder *b, qx_variate_frame *out);

/* Rows and places of the field (findings/frame_positions.c). */
qx_status qx_frame_add_positions(qx_frame_builder *b, qx_variate_frame *out);

qx_status qx_frame_add_treatments(qx_frame_builder *b, qx_variate_frame *out);
qx_status qx_frame_add_covariates(qx_frame_builder *b, qx_variate_frame *out);
qx_status qx_frame_add_units(qx_frame_builder *b,
                             const qx_identity identity[],
                             qx_variate_frame *out);

#endif
