#include "numeric/spchol.h"

#include <math.h>
#include <string.h>
#include <suitesparse/cholmod.h>

#include "numeric/blas.h"
#include "numeric/chol.h"

struct qx_spchol {
    cholmod_common common;
    cholmod_factor *L;
    cholmod_dense *X, *Y, *E; /* room of the solves */
    const qx_sparse *pattern;
    cholmod_sparse view; /* the pattern as CHOLMOD has it, with the values of a call */
    double *value;       /* of the matrix that was factored */
    bool factored;
};

static void drop(void *thing)
{
    qx_spchol *c = thing;
    cholmod_l_free_dense(&c->X, &c->common);
    cholmod_l_free_dense(&c->Y, &c->common);
    cholmod_l_free_dense(&c->E, &c->common);
    cholmod_l_free_factor(&c->L, &c->common);
    cholmod_l_finish(&c->common);
}

/* CHOLMOD's own words for what went wrong are not for users. */
static void silent(int status, const char *file, int line, const char *message)
{
    (void)status;
    (void)file;
    (void)line;
    (void)message;
}

static qx_status outcome(qx_ctx *cx, const qx_spchol *c)
{
    switch (c->common.status) {
    case CHOLMOD_OK:
    case CHOLMOD_DSMALL:
        return QX_OK;
    case CHOLMOD_OUT_OF_MEMORY:
    case CHOLMOD_TOO_LARGE:
        return qx_fail(cx, QX_E_NOMEM, "no memory for a sparse factor");
    case CHOLMOD_NOT_POSDEF:
        return qx_fail(cx,
                       QX_E_NOT_PD,
                       "matrix is not positive definite at its row %zu",
                       c->L->minor + 1);
    default:
        return qx_fail(cx, QX_E_NUMERIC, "a sparse matrix could not be factored");
    }
}

/* A factor without L, tied to the arena. */
static qx_status
begin(qx_ctx *cx, qx_arena *arena, const qx_sparse *pattern, qx_spchol **out)
{
    qx_spchol *c = NULL;
    QX_NEW_IN(cx, arena, c, 1);
    QX_NEW_IN(cx, arena, c->value, pattern->start[pattern->cols]);
    if (!cholmod_l_start(&c->common)) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a sparse factor");
    }
    const qx_status status = qx_arena_defer(arena, drop, c);
    if (status != QX_OK) {
        drop(c);
        return qx_fail(cx, status, "no memory for a sparse factor");
    }
    c->common.print = 0;
    c->common.error_handler = silent;
    c->common.supernodal = CHOLMOD_SUPERNODAL;
    c->common.final_ll = 1;
    /* Ordering by minimum degree alone: no library of graph partitions is looked for. */
    c->common.nmethods = 1;
    c->common.method[0].ordering = CHOLMOD_AMD;
    c->common.postorder = 1;
    c->pattern = pattern;
    c->view = (cholmod_sparse){.nrow = pattern->rows,
                               .ncol = pattern->cols,
                               .nzmax = pattern->start[pattern->cols],
                               .p = pattern->start,
                               .i = pattern->row,
                               .x = c->value,
                               .stype = -1,
                               .itype = CHOLMOD_LONG,
                               .xtype = CHOLMOD_REAL,
                               .dtype = CHOLMOD_DOUBLE,
                               .sorted = 1,
                               .packed = 1};
    *out = c;
    return QX_OK;
}

static qx_status check_pattern(qx_ctx *cx, const qx_sparse *p)
{
    if (p->rows != p->cols || p->cols == 0) {
        return qx_fail(
            cx, QX_E_SHAPE, "a symmetric matrix of at least one row is needed");
    }
    for (size_t j = 0; j < p->cols; j++) {
        if (p->start[j] == p->start[j + 1] || p->row[p->start[j]] != j) {
            return qx_fail(cx,
                           QX_E_SHAPE,
                           "column %zu does not begin with its diagonal: the lower "
                           "triangle of a symmetric matrix is needed",
                           j);
        }
    }
    return QX_OK;
}

qx_status
qx_spchol_new(qx_ctx *cx, qx_arena *arena, const qx_sparse *pattern, qx_spchol **out)
{
    qx_spchol *c = NULL;
    QX_TRY(check_pattern(cx, pattern));
    QX_TRY(begin(cx, arena, pattern, &c));
    if (c == NULL) { /* never: for the eyes of the optimiser */
        return QX_E_NOMEM;
    }
    c->L = cholmod_l_analyze(&c->view, &c->common);
    QX_TRY(outcome(cx, c));
    *out = c;
    return QX_OK;
}

qx_status
qx_spchol_again(qx_ctx *cx, qx_arena *arena, const qx_spchol *like, qx_spchol **out)
{
    qx_spchol *c = NULL;
    QX_TRY(begin(cx, arena, like->pattern, &c));
    if (c == NULL) { /* never: for the eyes of the optimiser */
        return QX_E_NOMEM;
    }
    c->L = cholmod_l_copy_factor(like->L, &c->common);
    QX_TRY(outcome(cx, c));
    *out = c;
    return QX_OK;
}

qx_status qx_spchol_factor(qx_ctx *cx, qx_spchol *c, const double value[])
{
    const qx_sparse *p = c->pattern;
    c->factored = false;
    for (size_t e = 0; e < p->start[p->cols]; e++) {
        if (!isfinite(value[e])) {
            return qx_fail(
                cx, QX_E_NUMERIC, "an entry of a matrix is not a finite number");
        }
        c->value[e] = value[e];
    }
    qx_blas_ready();
    (void)cholmod_l_factorize(&c->view, c->L, &c->common);
    QX_TRY(outcome(cx, c));
    if (c->L->minor < p->cols) {
        return qx_fail(cx,
                       QX_E_NOT_PD,
                       "matrix is not positive definite at its row %zu",
                       c->L->minor + 1);
    }
    c->factored = true;
    return QX_OK;
}

qx_status qx_spchol_solve(qx_ctx *cx, qx_spchol *c, qx_mat B)
{
    cholmod_dense rhs = {.nrow = B.rows,
                         .ncol = B.cols,
                         .nzmax = B.ld * B.cols,
                         .d = B.ld,
                         .x = B.at,
                         .xtype = CHOLMOD_REAL,
                         .dtype = CHOLMOD_DOUBLE};
    if (!c->factored || B.rows != c->pattern->rows) {
        return qx_fail(cx, QX_E_ARG, "nothing is factored that fits %zu rows", B.rows);
    }
    if (B.cols == 0) {
        return QX_OK;
    }
    (void)cholmod_l_solve2(
        CHOLMOD_A, c->L, &rhs, NULL, &c->X, NULL, &c->Y, &c->E, &c->common);
    QX_TRY(outcome(cx, c));
    const double *x = c->X->x;
    for (size_t j = 0; j < B.cols; j++) {
        memcpy(&QX_AT(B, 0, j), x + j * c->X->d, B.rows * sizeof *x);
    }
    return QX_OK;
}

/* One supernode: columns first ... first + cols - 1, the rows of its block (its own columns
 * first), the block itself (rows x cols, column-major). */
typedef struct supernode {
    size_t first, cols, rows;
    const SuiteSparse_long *row;
    size_t at; /* where its block begins */
} supernode;

static supernode node_of(const cholmod_factor *L, size_t s)
{
    const SuiteSparse_long *super = L->super, *pi = L->pi, *px = L->px, *row = L->s;
    return (supernode){(size_t)super[s],
                       (size_t)(super[s + 1] - super[s]),
                       (size_t)(pi[s + 1] - pi[s]),
                       row + pi[s],
                       (size_t)px[s]};
}

double qx_spchol_logdet(const qx_spchol *c)
{
    double sum = 0.0;
    if (!c->factored) {
        return NAN;
    }
    for (size_t s = 0; s < c->L->nsuper; s++) {
        const supernode n = node_of(c->L, s);
        const double *x = (const double *)c->L->x + n.at;
        for (size_t j = 0; j < n.cols; j++) {
            sum += log(x[j + j * n.rows]);
        }
    }
    return 2.0 * sum;
}

size_t qx_spchol_small_pivots(const qx_spchol *c, double least)
{
    const SuiteSparse_long *perm = c->L->Perm;
    size_t count = 0;
    for (size_t s = 0; c->factored && s < c->L->nsuper; s++) {
        const supernode n = node_of(c->L, s);
        const double *x = (const double *)c->L->x + n.at;
        for (size_t j = 0; j < n.cols; j++) {
            const double root = x[j + j * n.rows];
            count +=
                !(root * root > least * c->value[c->pattern->start[perm[n.first + j]]]);
        }
    }
    return count;
}

double qx_spchol_entries(const qx_spchol *c)
{
    return (double)c->L->xsize;
}

double qx_spchol_flops(const qx_spchol *c)
{
    double sum = 0.0;
    for (size_t s = 0; s < c->L->nsuper; s++) {
        const supernode n = node_of(c->L, s);
        for (size_t j = 0; j < n.cols; j++) {
            sum += (double)(n.rows - j) * (double)(n.rows - j);
        }
    }
    return sum;
}

/* Room of the inverse, for the supernode with the most rows. */
typedef struct room {
    double *z;        /* as the blocks of L */
    size_t *node;     /* supernode of each column */
    size_t *position; /* of a row among those below the columns; NONE elsewhere */
    qx_mat below, y, zy, square, inverse;
} room;

#define NONE ((size_t)-1)

static qx_status room_make(qx_ctx *cx, const cholmod_factor *L, room *r)
{
    size_t most_cols = 0, most_below = 0;
    qx_arena *scratch = qx_ctx_scratch(cx);
    QX_NEW(cx, r->z, L->xsize);
    QX_NEW(cx, r->node, L->n);
    QX_NEW(cx, r->position, L->n);
    for (size_t s = 0; s < L->nsuper; s++) {
        const supernode n = node_of(L, s);
        most_cols = n.cols > most_cols ? n.cols : most_cols;
        most_below = n.rows - n.cols > most_below ? n.rows - n.cols : most_below;
        for (size_t j = 0; j < n.cols; j++) {
            r->node[n.first + j] = s;
            r->position[n.first + j] = NONE;
        }
    }
    QX_TRY(qx_mat_new(cx, scratch, most_below, most_below, &r->below));
    QX_TRY(qx_mat_new(cx, scratch, most_cols, most_below, &r->y));
    QX_TRY(qx_mat_new(cx, scratch, most_below, most_cols, &r->zy));
    QX_TRY(qx_mat_new(cx, scratch, most_cols, most_cols, &r->square));
    return qx_mat_new(cx, scratch, most_cols, most_cols, &r->inverse);
}

/* Z_RR, both triangles, from the supernodes that hold its columns. */
static void gather(const cholmod_factor *L, room *r, const supernode *n, qx_mat below)
{
    const SuiteSparse_long *rows = n->row + n->cols;
    for (size_t k = 0; k < below.rows; k++) {
        r->position[rows[k]] = k;
    }
    for (size_t k = 0; k < below.cols; k++) {
        const supernode t = node_of(L, r->node[rows[k]]);
        const size_t j = (size_t)rows[k] - t.first;
        const double *z = r->z + t.at + j * t.rows;
        for (size_t i = j; i < t.rows; i++) {
            const size_t at = r->position[t.row[i]];
            if (at != NONE) {
                QX_AT(below, at, k) = QX_AT(below, k, at) = z[i];
            }
        }
    }
    for (size_t k = 0; k < below.rows; k++) {
        r->position[rows[k]] = NONE;
    }
}

/* One column alone: most supernodes of a nested layout, not worth a call to BLAS. */
static void invert_column(const double *x, room *r, const supernode *n, qx_mat below)
{
    double *z = r->z + n->at;
    double sum = 0.0;
    for (size_t i = 0; i < below.rows; i++) {
        z[i + 1] = 0.0;
    }
    for (size_t k = 0; k < below.cols; k++) {
        const double y = x[k + 1] / x[0];
        for (size_t i = 0; i < below.rows; i++) {
            z[i + 1] -= QX_AT(below, i, k) * y;
        }
    }
    for (size_t k = 0; k < below.rows; k++) {
        sum += x[k + 1] / x[0] * z[k + 1];
    }
    z[0] = 1.0 / (x[0] * x[0]) - sum;
}

static qx_status invert_node(qx_ctx *cx, const qx_spchol *c, room *r, const supernode *n)
{
    double *x = (double *)c->L->x + n->at;
    const size_t m = n->rows - n->cols;
    const qx_mat L = {.at = x, .rows = n->rows, .cols = n->cols, .ld = n->rows};
    const qx_mat Z = {
        .at = r->z + n->at, .rows = n->rows, .cols = n->cols, .ld = n->rows};
    const qx_mat below = qx_mat_of(r->below.at, m, m);
    gather(c->L, r, n, below);
    if (n->cols == 1) {
        invert_column(x, r, n, below);
        return QX_OK;
    }
    const qx_mat y = qx_mat_of(r->y.at, n->cols, m); /* Y' */
    const qx_mat zy = qx_mat_of(r->zy.at, m, n->cols);
    const qx_mat square = qx_mat_of(r->square.at, n->cols, n->cols);
    const qx_mat inverse = qx_mat_of(r->inverse.at, n->cols, n->cols);
    for (size_t j = 0; j < n->cols; j++) {
        for (size_t i = 0; i < n->cols; i++) {
            QX_AT(square, i, j) = i >= j ? QX_AT(L, i, j) : 0.0;
        }
        for (size_t i = 0; i < m; i++) {
            QX_AT(y, j, i) = QX_AT(L, n->cols + i, j);
        }
    }
    QX_TRY(qx_chol_solve_lower(cx, 't', square, y));
    QX_TRY(qx_mat_multiply(cx, 'n', 't', -1.0, below, y, 0.0, zy));
    QX_TRY(qx_chol_inverse(cx, square, inverse));
    QX_TRY(qx_mat_multiply(cx, 'n', 'n', -1.0, y, zy, 1.0, inverse));
    qx_mat_copy(qx_mat_part(Z, 0, 0, n->cols, n->cols), inverse);
    qx_mat_copy(qx_mat_part(Z, n->cols, 0, m, n->cols), zy);
    return QX_OK;
}

/* Where each entry of the pattern stands among the blocks of L. */
static qx_status find_places(qx_ctx *cx, const qx_spchol *c, const room *r, double out[])
{
    const SuiteSparse_long *perm = c->L->Perm;
    const qx_sparse *p = c->pattern;
    size_t *inverse_perm;
    QX_NEW(cx, inverse_perm, p->cols);
    for (size_t k = 0; k < p->cols; k++) {
        inverse_perm[perm[k]] = k;
    }
    for (size_t j = 0; j < p->cols; j++) {
        for (size_t e = p->start[j]; e < p->start[j + 1]; e++) {
            const size_t a = inverse_perm[p->row[e]], b = inverse_perm[j];
            const size_t col = a < b ? a : b;
            const SuiteSparse_long row = (SuiteSparse_long)(a < b ? b : a);
            const supernode n = node_of(c->L, r->node[col]);
            size_t low = 0, high = n.rows; /* rows are ascending */
            while (high - low > 1) {
                const size_t middle = low + (high - low) / 2;
                *(n.row[middle] <= row ? &low : &high) = middle;
            }
            out[e] = r->z[n.at + low + (col - n.first) * n.rows];
        }
    }
    return QX_OK;
}

static qx_status inverse(qx_ctx *cx, qx_spchol *c, double out[])
{
    room r = {0};
    QX_TRY(room_make(cx, c->L, &r));
    for (size_t s = c->L->nsuper; s-- > 0;) {
        const supernode n = node_of(c->L, s);
        QX_TRY(invert_node(cx, c, &r, &n));
    }
    return find_places(cx, c, &r, out);
}

qx_status qx_spchol_inverse(qx_ctx *cx, qx_spchol *c, double out[])
{
    qx_status status;
    if (!c->factored) {
        return qx_fail(cx, QX_E_ARG, "nothing is factored yet");
    }
    QX_SCRATCH(cx, status, inverse(cx, c, out));
    return status;
}
