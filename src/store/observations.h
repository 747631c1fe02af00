/* store/observations.h - values into the trial file, with revisions, and out again.
 *
 * Each value belongs to one thing (a unit that something was measured on), one season, one
 * date where the variate has `dates`, and one quantity (a variate, a covariate, the number
 * looked at, or the row or place of a `position`, which hold for all seasons). Which thing a
 * row means is told by spots.h:
 *
 *   - by the labels of all units of the quantity's path, as the layout knows them; without
 *     a column of labels, by the treatments, if only one thing there has them;
 *   - sampled things by their own labels inside what they stand in;
 *   - things that nothing tells apart by the file's digest and the row's number: the same
 *     file a second time brings nothing twice. A second file with such rows in the same
 *     place and season is refused, for nobody could say which of them are new.
 *
 * What happens to a value:
 *
 *   new thing, season, date,
 *   quantity                      stored, revision 1
 *   same value again              told as already there, not stored twice
 *   another value                 a correction: the next revision; the old one stays
 *   share without its count       refused, unless the count is stored already; so is one that is
 *                                 more than its count, whichever of them is new
 *   missing                       stored once, for the thing that the row is about, so that
 *                                 lost values are counted; never replaces a value
 *
 * One transaction for all parts: either all of it is stored or nothing. */
#ifndef QX_STORE_OBSERVATIONS_H
#define QX_STORE_OBSERVATIONS_H

#include "store/trial_file.h"
#include "trial/table.h"

/* One data file that was read and checked. */
typedef struct qx_data_part {
    const qx_table *table;
    bool *bad;          /* rows entries: rows with problems; may grow */
    const char *digest; /* SHA-256 of the file, 64 digits */
} qx_data_part;

/* What to record, and how. */
typedef struct qx_record_order {
    const qx_protocol *protocol; /* of the trial file, as the layout */
    const qx_layout *layout;
    size_t part_count;
    const qx_data_part *part;
    const char *by;     /* who */
    const char *reason; /* why values are corrected; "" if not given */
    bool accept_good;   /* store the good rows in spite of problems */
} qx_record_order;

typedef struct qx_correction {
    const char *file;
    size_t line;
    const char *thing;    /* "block 1, tree 2" */
    const char *season;   /* "" without seasons */
    const char *date;     /* "" without dates */
    const char *quantity; /* "length" */
    const char *before, *after;
} qx_correction;

typedef struct qx_receipt {
    size_t rows;     /* read */
    size_t left_out; /* rows with problems that were not stored */
    size_t stored;   /* values that are new */
    size_t repeated; /* values that were there already, each once */
    size_t blank;    /* missing values that are new */
    size_t correction_count;
    const qx_correction *correction;
} qx_receipt;

/* Stores all parts. New problems go to `problems`; QX_E_INPUT when it holds any and
 * accept_good is not set: nothing is stored then. The receipt lives in `arena`. */
qx_status qx_observations_record(qx_ctx *cx,
                                 qx_trial_file *file,
                                 const qx_record_order *order,
                                 qx_problems *problems,
                                 qx_arena *arena,
                                 qx_receipt *out);

/* The newest values as a table: a row for each thing, season and date, in the order of recording;
 * columns: the season, dates, labels of units, treatments that the layout does not know, every
 * quantity. What has no dates stands in the first row of its thing and season. A covariate and
 * a position stand in every row inside the thing they were measured on; positions that nobody
 * recorded come from layout->stand. The caller frees *out. */
qx_status qx_observations_table(qx_ctx *cx,
                                qx_trial_file *file,
                                const qx_protocol *protocol,
                                const qx_layout *layout,
                                qx_table **out);

#endif
