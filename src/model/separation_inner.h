/* model/separation_inner.h - what separation.c and separation_words.c share, and separation
 * as a fit of classes sees it. Private to model/. */
#ifndef QX_MODEL_SEPARATION_INNER_H
#define QX_MODEL_SEPARATION_INNER_H

#include "model/classes.h"
#include "model/separation.h"

/* Are the classes told apart by the fixed part? Puts where into fit->separation. */
qx_status qx_separation_of_classes(qx_ctx *cx,
                                   qx_classes *fit,
                                   const qx_classes_spec *spec,
                                   bool *found);

typedef enum {
    QX_CELLS_OF_CLASSES,
    QX_CELLS_OF_SHARES,
    QX_CELLS_OF_COUNTS
} qx_cell_words;

/* What every row holds, number (n x K, row by row): K classes; (not, found) of shares;
 * (counted, rows) of counts. name: K, classes only. */
typedef struct qx_cell_numbers {
    qx_cell_words words;
    size_t K;
    const double *number;
    const char *const *name;
} qx_cell_numbers;

/* Which cells of fixed terms are told apart, in words: those of the smallest terms, four at
 * most. In `arena`; "a combination of terms" when no single cell tells it. */
qx_status qx_separation_words(qx_ctx *cx,
                              qx_arena *arena,
                              const qx_design *design,
                              const qx_cell_numbers *numbers,
                              const char **out);

/* The sentence of qx_separation_sentence from its words. */
const char *qx_separation_told(qx_arena *arena, const char *words);

#endif
