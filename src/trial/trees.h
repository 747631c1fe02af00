/* trial/trees.h - the trees of an orchard as somebody listed them: where each stands, how
 * thick its trunk is, what is to be known about it.
 *
 * Columns of the list (CSV, or the first sheet of a spreadsheet):
 *
 *   row, place            where it stands; whole numbers from 1, or letters for the rows
 *                         (A is 1); needed
 *   tree                  its own label, if it has one
 *   circumference_cm      of the trunk at the height agreed on; or circumference_mm,
 *                         diameter_mm (with diameter2_mm for the other direction), or
 *                         trunk_area_cm2
 *   status                empty or ok; missing; guard (edge of the orchard, pollinator); odd
 *   notes                 free text
 *
 * Trunk cross-sectional area, cm2: C^2/(4 pi) of a circumference C; pi d1 d2/4 of diameters.
 * Sizes and places of trees that are missing may be empty. */
#ifndef QX_TRIAL_TREES_H
#define QX_TRIAL_TREES_H

#include <stdbool.h>

#include "base/ctx.h"
#include "base/problems.h"

#define QX_TREES_MOST      ((size_t)100000)
#define QX_TREE_BYTES_MOST ((size_t)64 << 20)
#define QX_GIRTH_MOST_CM   300.0 /* more is a slip of the pen */

typedef enum {
    QX_TREE_FREE,    /* may be used */
    QX_TREE_MISSING, /* no tree there, or dead */
    QX_TREE_GUARD,   /* stands there but takes no part: edge, pollinator */
    QX_TREE_ODD      /* stands there, but somebody found it unlike the others */
} qx_tree_status;

typedef struct qx_tree {
    const char *label; /* its own, else "ROW-PLACE" as written */
    const char *row_text, *place_text;
    double row, place;     /* numbers */
    double girth_cm;       /* as circumference; NAN if not given */
    double trunk_area_cm2; /* NAN if not given */
    qx_tree_status status;
    const char *notes; /* "" if none */
    size_t line;       /* of the list */
} qx_tree;

typedef struct qx_trees {
    qx_arena *arena; /* owns everything */
    const char *file;
    const char *text; /* the list as CSV, for the trial file */
    size_t text_length;
    char digest[65]; /* SHA-256 of the file's own bytes */
    bool sized;      /* a size column is there */
    size_t count;    /* in the order of the list */
    const qx_tree *tree;
} qx_trees;

/* Reads a list; every problem with its place (spreadsheets: row and column of the sheet).
 * QX_E_INPUT: problems grew. The caller frees *out with qx_trees_free. */
qx_status
qx_trees_read(qx_ctx *cx, const char *path, qx_problems *problems, qx_trees **out);

/* The same from bytes, CSV or spreadsheet. */
qx_status qx_trees_parse(qx_ctx *cx,
                         const char *file,
                         const char *bytes,
                         size_t length,
                         qx_problems *problems,
                         qx_trees **out);

void qx_trees_free(qx_trees *trees); /* NULL is accepted */

/* "ok", "missing", "guard", "odd". */
const char *qx_tree_status_word(qx_tree_status status);

/* Trunk area of a circumference, cm2. */
double qx_trunk_area(double girth_cm);

#endif
