/* model/class_cells.h - rows that are alike, joined: the same row of X and the same units.
 * Private to model/.
 *
 * The likelihood of classes depends on the rows only through how many things of each class
 * every such cell holds. Rows that stand for nothing are left out. */
#ifndef QX_MODEL_CLASS_CELLS_H
#define QX_MODEL_CLASS_CELLS_H

#include "model/classes.h"

typedef struct qx_class_cells {
    size_t rows;    /* n of the frame */
    size_t cells;   /* C */
    size_t columns; /* of X that were compared: q */
    size_t classes; /* K */
    size_t random_count;
    const size_t *cell_of;       /* rows: cell of each, QX_NO_COLUMN if it has nothing */
    const double *x;             /* C x q, cell by cell */
    const double *number;        /* C x K, cell by cell */
    const double *total;         /* C: things in each */
    const uint32_t *const *unit; /* random_count: C unit numbers each */
} qx_class_cells;

/* Numbers of each class in each row, n x K row by row, of the classes that `class_of`
 * keeps; checks the response. QX_E_INPUT names the row. */
qx_status qx_class_numbers_of(qx_ctx *cx,
                              const qx_classes_spec *spec,
                              const size_t class_of[],
                              size_t classes,
                              double number[]);

/* Joins rows: X n x q (column-major), number n x K row by row. Everything in `arena`. */
qx_status qx_class_cells_make(qx_ctx *cx,
                              qx_arena *arena,
                              const qx_classes_spec *spec,
                              qx_mat X,
                              size_t classes,
                              const double number[],
                              qx_class_cells *out);

#endif
